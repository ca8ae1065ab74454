"""Boards cut into pieces before the resaw: their pictures and flaws move with them, and panels come from them."""

from pathlib import Path

import numpy as np
import pytest

from grainplan import steps
from grainplan.jobfolder import editing
from grainplan.jobfolder.reading import read_job
from grainplan.pieces import cut_free
from tests.small_job import make_small_job


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small job with board C ripped clear of its wild edge; its knot lies 2 3/4 to 4 1/2 in from the face edge."""
    folder = make_small_job(tmp_path_factory.mktemp("pieces") / "job")
    pieces = [{"name": "Cx", "x": ["0 in", "74 1/2 in"], "y": ["1/2 in", "7 3/4 in"]}]
    editing.save_job(read_job(folder), [editing.set_value(("board", 2, "pieces"), pieces)])
    return folder


def test_pictures_and_flaws_move_with_a_piece(job: Path) -> None:
    read = steps.open_job(job)
    boards = steps.measure(read)
    whole = next(board for board in boards if board.name == "C")
    cut, pieces = cut_free(read, boards)
    piece = next(board for board in pieces if board.name == "Cx")
    assert "C" not in {board.name for board in cut.boards}
    off = round(12.7 * piece.sides["face"].picture.px_per_mm)
    rows = piece.sides["face"].picture.pixels.shape[0]
    np.testing.assert_array_equal(
        piece.sides["face"].picture.pixels, whole.sides["face"].picture.pixels[off : off + rows]
    )
    assert piece.flaws[0].box.y0 == pytest.approx(whole.flaws[0].box.y0 - 12.7)
    assert "cut board C into pieces" in cut.remarks[-1]


def test_a_panel_comes_from_a_piece_under_its_own_name(job: Path) -> None:
    outcome = steps.run_plan(job)
    used = {s.leaf.board for bay in outcome.plan.bays for panel in bay.panels.values() for s in panel.strips}
    assert "Cx" in used
    assert "C" not in used
    assert any("cut board C into pieces" in caveat for caveat in outcome.plan.caveats)
    assert steps.reach_plan(job).plan.cost == pytest.approx(outcome.plan.cost, abs=1e-3)
    assert all(path.stat().st_size for path in steps.run_sheets(job))


def test_a_job_without_pieces_stays_as_it_is(tmp_path: Path) -> None:
    read = steps.open_job(make_small_job(tmp_path / "job"))
    assert cut_free(read, ())[0] is read
