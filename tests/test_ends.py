"""How the grain runs on across a rail, at every place along a board at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grainplan.boards import Leaf
from grainplan.errors import NotFound
from grainplan.match.bands import EvenSurface, even_surface
from grainplan.match.edges import EdgeScore, Strangers
from grainplan.match.ends import EndRuns, Ends, compare_ends, draw_lines
from grainplan.match.rails import RailCut
from grainplan.match.seen import FINAL_PX_PER_MM, SeamBook
from grainplan.picture import Picture
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_cut
from tests.drawn.seams import SawnBoard, saw_board
from tests.drawn.solid import PithLine, Plane
from tests.test_seams import cuts, make_seen_request

__all__ = ["cuts"]
STRIP = (10.0, 130.0)


@pytest.fixture(scope="module")
def boards() -> list[SawnBoard]:
    return [saw_board(seed, length_mm=420.0) for seed in range(6)]


def run_on(first: EvenSurface, second: EvenSurface, ends: Ends) -> EndRuns:
    run = compare_ends(
        draw_lines(first, ends.grain_deg), draw_lines(second, ends.grain_deg), ends, px_per_mm=first.px_per_mm
    )
    assert run is not None
    return run


@pytest.mark.parametrize(
    ("names", "ends"), [(("A1 far", "A1 far"), Ends(63.5)), (("A1 far", "A2 near"), Ends(0, True))]
)
def test_ends_that_belong_together_are_told_from_strangers(
    boards: list[SawnBoard], names: tuple[str, str], ends: Ends
) -> None:
    at = np.array([150.0, 240.0])
    steep = [place for place, board in enumerate(boards) if board.ring_angle(70.0) > 30 or not ends.mirrored]
    right = []
    for place in steep:
        first = boards[place].surfaces[names[0]]
        mine, strange = (
            run_on(first, boards[other].surfaces[names[1]], ends).average(at, STRIP)[0]
            for other in (place, (place + 3) % len(boards))
        )
        right += list(mine > strange)
    assert np.mean(right) >= 0.9


def test_the_jump_behind_a_rail_is_what_the_leaf_lost_too_little() -> None:
    """Straight rings at 4° to the length, 63.5 mm hidden and only 3.2 mm lost: (63.5 − 3.2) · tan 4° = 4.22 mm."""
    rise = 1000.0 * np.tan(np.radians(4.0))
    pith = PithLine(-400.0, 12.0, -400.0 + rise, 12.0)
    growth = Growth(length_mm=1000.0, width_mm=170.0, pith=pith, ring_mm=4.0, wave_mm=0.0, look="pine", heart_mm=500.0)
    surface = even_surface(Picture(draw_cut(grow_board(4, growth), Plane("z", 12.0, 2.0)), 2.0), px_per_mm=1.0)
    for lost, step in ((3.2, 4.22), (63.5, 0.0)):
        fit, miss = run_on(surface, surface, Ends(lost, grain_deg=4.0, hidden_mm=63.5)).average([500.0], (20.0, 150.0))
        assert miss[0] == pytest.approx(step, abs=0.6)
        assert fit[0] > 0.8


def test_places_beyond_the_board_and_boards_too_small() -> None:
    noise = np.random.default_rng(1).standard_normal((100, 300)).astype(np.float32)
    run = compare_ends(noise, noise, Ends(50.0), px_per_mm=1.0)
    assert run is not None
    fit, miss = run.average([5.0, 150.0, 260.0], (10.0, 90.0))
    assert np.isnan(fit).tolist() == np.isnan(miss).tolist() == [True, False, True]
    assert compare_ends(noise, noise, Ends(290.0), px_per_mm=1.0) is None
    assert compare_ends(noise[:60], noise[:60], Ends(50.0), px_per_mm=1.0) is None


def test_the_book_of_seams_looks_up_rails_and_end_matches(cuts) -> None:
    request = make_seen_request(cuts, "ABC")
    book, close = SeamBook.of(request), SeamBook.of(request, px_per_mm=FINAL_PX_PER_MM)
    board, leaf = request.boards[0], Leaf("A", 1)
    cut = RailCut(300.0, 350.0, 50.0)
    run = book.find_run_on(leaf, "far", cut)
    assert run is not None
    assert book.find_run_on(leaf, "far", RailCut(500.0, 550.0, 50.0)) is run
    strangers = book.find_end_strangers(run.ends)
    assert isinstance(strangers, Strangers)
    assert strangers.pairs == 3
    assert run.average([300.0], STRIP)[0][0] > strangers.level + 0.1
    score = close.score_run_on(leaf, "far", cut, y_mm=STRIP)
    assert isinstance(score, EdgeScore)
    assert score.above_strangers is not None
    assert score.above_strangers > 0.1
    mates = ((leaf, "far"), (Leaf("A", 2), "near"))
    mirrored = book.find_end_match(board, mates)
    assert mirrored is not None
    assert mirrored.ends.reach_mm == pytest.approx(9.0)  # 1.5 · 3.175 / tan 25° is 10.2 mm, in steps of 3 mm
    ended = close.score_end_match(board, mates, (300.0, 300.0), y_mm=STRIP)
    assert isinstance(ended, EdgeScore)
    assert ended.strangers is not None
    unseen = replace(request, surfaces={})
    assert SeamBook.of(unseen).find_run_on(leaf, "far", cut) is None
    assert isinstance(SeamBook(unseen).score_run_on(leaf, "far", cut, y_mm=STRIP), NotFound)
