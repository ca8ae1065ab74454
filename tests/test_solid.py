"""The board as a solid: surfaces inside against the truth of drawn boards that the program was not tuned on."""

from __future__ import annotations

import numpy as np
import pytest

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.solid import (
    BoardSolid,
    draw_level,
    expect_agreement,
    fit_solid,
    measure_level_direction,
    measure_level_rings,
)
from tests.drawn.compare import agree, blend_sides, judge_level, judge_places, know_sides_exactly, show_figure
from tests.drawn.flat import grow_any, photograph_flat, show_depth
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import PithLine, Plane, Solid, locate, measure_line_direction

SIDES = ("face", "back", "foot", "head")
UNSEEN = tuple(range(4000, 4006))
DEPTHS = (0.25, 0.5, 0.75)


def photograph(board: Solid, seed: int = 0, sides: tuple[str, ...] = SIDES) -> dict[str, Picture]:
    return {side: photograph_flat(board, side, seed=seed) for side in sides}


def fit(sides: dict[str, Picture]) -> BoardSolid:
    found = fit_solid(sides)  # type: ignore[arg-type]
    assert isinstance(found, BoardSolid)
    return found


@pytest.fixture(scope="module")
def unseen() -> list[tuple[Solid, dict[str, Picture], BoardSolid]]:
    cases = []
    for seed in UNSEEN:
        board = grow_any(seed, length_mm=800.0)
        sides = photograph(board, seed)
        cases.append((board, sides, fit(sides)))
    return cases


@pytest.fixture(scope="module")
def straight() -> tuple[Solid, BoardSolid]:
    growth = Growth(length_mm=500.0, width_mm=150.0, pith=PithLine(60.0, 75.0, 66.0, 70.0), ring_mm=3.4, wave_mm=0.0)
    board = grow_board(77, growth)
    return board, fit(photograph(board))


def test_a_board_without_waves_is_known_all_through(straight: tuple[Solid, BoardSolid]) -> None:
    board, found = straight
    for share in DEPTHS:
        depth = share * 22.0
        rings = measure_level_rings(found, depth)
        truth = locate(board, Plane("z", depth, 2.0)).rho_mm
        miss = rings - truth - np.median(rings - truth)
        assert np.std(miss) < 0.25
        assert judge_level(found, show_depth(board, depth), depth)[0] > 0.75


def test_at_the_face_and_the_back_the_picture_is_the_photo(straight: tuple[Solid, BoardSolid]) -> None:
    board, found = straight
    for depth in (0.0, 22.0):
        truth = show_figure(show_depth(board, depth))
        assert agree(show_figure(draw_level(found, depth).picture), truth) > 0.95


def test_unseen_boards_inside(unseen: list[tuple[Solid, dict[str, Picture], BoardSolid]]) -> None:
    """Far above blending face and back, and near what an all-knowing reader of the sides would reach."""
    rings, promised, blends, best = [], [], [], []
    for board, sides, found in unseen:
        for share in DEPTHS:
            depth = share * 22.0
            truth = show_depth(board, depth)
            result = judge_level(found, truth, depth)
            rings.append(result[0])
            promised.append(result[2])
            blends.append(agree(show_figure(blend_sides(sides["face"], sides["back"], share)), show_figure(truth)))
        exact = know_sides_exactly(board, found, sides)
        best.append(judge_level(exact, show_depth(board, 11.0), 11.0)[0])
    assert np.median(rings) > 0.5
    assert np.median(rings) > np.median(blends) + 0.35
    assert np.median(rings[1::3]) > np.median(best) - 0.08
    assert abs(np.mean(promised) - np.mean(rings)) < 0.1
    assert np.sqrt(np.mean((np.array(promised) - rings) ** 2)) < 0.15


def test_what_is_promised_for_a_place_is_kept(unseen: list[tuple[Solid, dict[str, Picture], BoardSolid]]) -> None:
    """Windows of 100 × 50 mm, in three groups by what was promised: each achieves about that, in the same order."""
    pairs = [judge_places(found, show_depth(board, 11.0), 11.0) for board, _, found in unseen]
    promised, achieved = (np.concatenate([pair[part] for pair in pairs]) for part in (0, 1))
    groups = np.array_split(np.argsort(promised), 3)
    means = [(promised[group].mean(), achieved[group].mean()) for group in groups]
    assert means[0][1] < means[1][1] < means[2][1]
    assert all(abs(said - kept) < 0.15 for said, kept in means), means


def test_grain_direction_inside(unseen: list[tuple[Solid, dict[str, Picture], BoardSolid]]) -> None:
    misses = []
    for board, _, found in unseen:
        field = measure_level_direction(found, 11.0)
        truth, _ = measure_line_direction(board, Plane("z", 11.0, 2.0))
        rows, columns = np.minimum(truth.shape, field.angle_deg.shape)
        apart = field.angle_deg[:rows, :columns] - truth[:rows, :columns]
        misses.append(np.median(np.abs((apart + 90) % 180 - 90)))
    assert np.median(misses) < 3.0


def test_doubt_grows_toward_the_middle(unseen: list[tuple[Solid, dict[str, Picture], BoardSolid]]) -> None:
    for _, _, found in unseen:
        near, middle = (float(expect_agreement(found, depth).mean()) for depth in (1.0, 11.0))
        assert near > middle


def test_one_end_is_enough_and_is_told() -> None:
    board = grow_board(78, Growth(length_mm=500.0, width_mm=150.0, pith=PithLine(60.0, 75.0, 60.0, 75.0), wave_mm=1.0))
    found = fit(photograph(board, sides=("face", "back", "foot")))
    assert any("head" in caveat for caveat in found.caveats)
    assert judge_level(found, show_depth(board, 11.0), 11.0)[0] > 0.4


def test_same_photos_same_solid() -> None:
    board = grow_board(79, Growth(length_mm=300.0, width_mm=120.0, pith=PithLine(40.0, 75.0, 40.0, 75.0)))
    sides = photograph(board)
    first, second = (draw_level(fit(sides), 7.0).picture.pixels for _ in range(2))
    assert np.array_equal(first, second)


def test_a_back_of_other_pixels_is_no_hindrance() -> None:
    board = grow_board(81, Growth(length_mm=300.0, width_mm=120.0, pith=PithLine(40.0, 75.0, 40.0, 75.0), wave_mm=1.0))
    sides = photograph(board)
    coarse = photograph_flat(board, "back", px_per_mm=1.5)
    sides["back"] = Picture(coarse.pixels[:-1].copy(), 1.5)
    found = fit(sides)
    assert draw_level(found, 18.0).picture.pixels.shape == sides["face"].pixels.shape
    assert judge_level(found, show_depth(board, 18.0), 18.0)[0] > 0.4


def test_what_the_sides_do_not_tell_is_said() -> None:
    board = grow_board(80, Growth(length_mm=200.0, width_mm=100.0))
    sides = photograph(board)
    one_sided = fit_solid({"face": sides["face"], "foot": sides["foot"]})
    assert isinstance(one_sided, NotFound)
    assert "back" in one_sided.reason
    endless = fit_solid({"face": sides["face"], "back": sides["back"]})
    assert isinstance(endless, NotFound)
    assert "end" in endless.reason
    blank = {side: Picture(np.full_like(picture.pixels, 170), 2.0) for side, picture in sides.items()}
    assert isinstance(fit_solid(blank), NotFound)  # type: ignore[arg-type]


def test_a_depth_outside_the_board_is_a_mistake(straight: tuple[Solid, BoardSolid]) -> None:
    with pytest.raises(ValueError, match="depth"):
        draw_level(straight[1], 40.0)
