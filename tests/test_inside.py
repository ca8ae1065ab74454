"""What is foreseen is kept, so that it is worked out once; what is damaged is worked out again."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from grainplan import inside
from grainplan.boards import BoardSide, MeasuredBoard, RoughBoard, Side
from grainplan.errors import NotFound
from grainplan.measured import Measured
from tests.drawn.flat import grow_any, photograph_flat

SIDES: tuple[Side, ...] = ("face", "back", "foot", "head")


@pytest.fixture(scope="module")
def board() -> MeasuredBoard:
    solid = grow_any(41, length_mm=300.0)
    sides = {side: BoardSide(photograph_flat(solid, side, px_per_mm=1.0), 1.0, 0.1) for side in SIDES}
    length, width = sides["face"].picture.width_mm, sides["face"].picture.height_mm
    rough = RoughBoard("A", length, width, sides["foot"].picture.height_mm, "white ash", 8.0)
    return MeasuredBoard(rough, Measured(length, 0.5), Measured(width, 0.5), sides)


def test_kept_surfaces_are_the_same_and_not_worked_out_again(
    board: MeasuredBoard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    question = inside.InsideQuestion(board, (6.0, 12.0))
    first = inside.foresee_all([question], tmp_path)["A"]
    monkeypatch.setattr(inside, "fit_solid", lambda _sides: pytest.fail("it was kept"))
    again = inside.foresee_all([question], tmp_path)["A"]
    assert not isinstance(first, NotFound)
    assert not isinstance(again, NotFound)
    for one, other in zip(first, again, strict=True):
        np.testing.assert_array_equal(one.picture.pixels, other.picture.pixels)
        np.testing.assert_array_equal(one.rings_alone.pixels, other.rings_alone.pixels)
        np.testing.assert_allclose(one.sure, other.sure, atol=6e-4)
        assert one.confidence == pytest.approx(other.confidence, abs=1e-4)


def test_what_older_states_of_a_board_left_goes(
    board: MeasuredBoard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The three states that were asked for last stay; another board whose name begins alike is left alone."""
    monkeypatch.setattr(inside, "fit_solid", lambda _sides, **_: NotFound("not now"))
    questions = []
    for place in range(5):
        monkeypatch.setattr(inside, "_KEPT_FORM", 100 + place)
        question = inside.InsideQuestion(board, (6.0, 12.0))
        questions.append(question.names)
        inside.foresee_all([question], tmp_path)
        for path in tmp_path.iterdir():  # older than the next
            os.utime(path, (path.stat().st_atime, path.stat().st_mtime - 10))
        other = tmp_path / f"A-1-{questions[0][0][2:]}.json"
        other.write_text("{}")
    left = {path.stem for path in tmp_path.iterdir()} - {other.stem}
    assert left == {name for names in questions[2:] for name in names}


def test_a_damaged_keep_is_worked_out_again(board: MeasuredBoard, tmp_path: Path) -> None:
    question = inside.InsideQuestion(board, (6.0,))
    inside.foresee_all([question], tmp_path)
    for path in tmp_path.iterdir():
        path.write_bytes(path.read_bytes()[:50])
    found = inside.foresee_all([question], tmp_path)["A"]
    assert not isinstance(found, NotFound)


def test_workers_find_what_one_finds(board: MeasuredBoard, tmp_path: Path) -> None:
    twins = [inside.InsideQuestion(board, (8.0,)), inside.InsideQuestion(_renamed(board, "B"), (8.0,))]
    alone = inside.foresee_all(twins, tmp_path / "alone")
    together = inside.foresee_all(twins, tmp_path / "together", workers=2)
    for name in ("A", "B"):
        (one,), (other,) = alone[name], together[name]
        np.testing.assert_array_equal(one.picture.pixels, other.picture.pixels)


def test_one_broad_side_tells_nothing_and_says_why(board: MeasuredBoard, tmp_path: Path) -> None:
    alone = replace(board, sides={"face": board.sides["face"]})
    for _ in range(2):  # worked out, then kept
        found = inside.foresee_all([inside.InsideQuestion(alone, (6.0,))], tmp_path)["A"]
        assert isinstance(found, NotFound)
        assert "one broad side" in found.reason


def test_stopped_between_boards(board: MeasuredBoard, tmp_path: Path) -> None:
    questions = [inside.InsideQuestion(_renamed(board, name), (6.0,)) for name in ("A", "B")]
    with pytest.raises(KeyboardInterrupt):
        inside.foresee_all(questions, tmp_path, should_stop=lambda: True)
    assert inside.read_kept(questions[0], tmp_path) is not None
    assert inside.read_kept(questions[1], tmp_path) is None


def _renamed(board: MeasuredBoard, name: str) -> MeasuredBoard:
    return replace(board, board=replace(board.board, name=name))
