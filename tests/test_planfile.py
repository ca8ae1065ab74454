"""plan.json and boards.json, both ways: the examples of the format as they stand, and what a damaged file says."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from grainplan.boards import BoardSide, Flaw, Grain, Leaf, MeasuredBoard, Pith
from grainplan.errors import PlanError
from grainplan.geometry import Box
from grainplan.jobfolder.boardsfile import read_boards, read_known_boards, write_boards
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json, read_plan, write_plan
from grainplan.jobfolder.reading import read_job
from grainplan.measured import Measured
from grainplan.picture import Picture
from grainplan.plan import Continuity, OtherPlan, Weights
from tests.job_example import EXAMPLE, make_job_folder

PLAN_TEXT = Path(__file__).with_name("plan_example.json").read_text(encoding="utf-8")
BOARDS_TEXT = Path(__file__).with_name("boards_example.json").read_text(encoding="utf-8")


def _ordered(text):
    """Every table as a list of pairs, so that a comparison sees the order of keys too."""
    return json.loads(text, object_pairs_hook=list)


def test_the_plan_of_the_format_goes_in_and_comes_out_the_same():
    plan = plan_from_json(json.loads(PLAN_TEXT))
    assert _ordered(json.dumps(plan_to_json(plan))) == _ordered(PLAN_TEXT)


def test_the_plan_of_the_format_is_read_for_what_it_says():
    plan = plan_from_json(json.loads(PLAN_TEXT))
    assert (plan.status, plan.cost, plan.bound) == ("proven best", 12.41, 12.41)
    assert plan.boards[0].cuts_mm == (10.72,)
    lower = plan.bays[0].panels["lower"]
    assert [strip.leaf for strip in lower.strips] == [Leaf("A", 1), Leaf("A", 2)]
    assert [strip.flipped for strip in lower.strips] == [True, False]
    assert plan.bays[0].seams[0].fit is None
    assert plan.offcuts[0].x_mm == (1289.05, 1803.4)
    assert plan.unfilled[0].name == "…"


def test_what_a_plan_has_more_goes_through_the_file(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    plan = plan_from_json(json.loads(PLAN_TEXT))
    bay = replace(
        plan.bays[0], why="its pair is the widest", continuity=Continuity(63.5, 63.5, (0.0, None), (0.8, None))
    )
    full = replace(
        plan,
        job_sha256=job.sha256,
        bays=(bay, replace(bay, name="single", panels={"panel": bay.panels["lower"]}, continuity=None)),
        others=(OtherPlan(13.0, "gives up the cathedral", (bay,)),),
        weights=Weights(seams=2.0),
    )
    write_plan(job, full)
    assert read_plan(job) == full


def test_lengths_are_written_to_a_hundredth_of_a_millimetre():
    plan = plan_from_json(json.loads(PLAN_TEXT))
    strip = replace(plan.bays[0].panels["lower"].strips[0], x_mm=(25.40499, 815.97501), y_mm=(-0.0, 1.0))
    panel = replace(plan.bays[0].panels["lower"], strips=(strip,))
    written = plan_to_json(replace(plan, bays=(replace(plan.bays[0], panels={"panel": panel}),)))
    assert written["bays"][0]["panel"]["strips"][0]["x_mm"] == [25.4, 815.98]
    assert str(written["bays"][0]["panel"]["strips"][0]["y_mm"][0]) == "0.0"


def _spoil(path, value):
    table = json.loads(PLAN_TEXT)
    here = table
    for step in path[:-1]:
        here = here[step]
    if value is None:
        del here[path[-1]]
    else:
        here[path[-1]] = value
    return table


STRIP = ("bays", 0, "lower", "strips", 0)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ((*STRIP, "flipped"), False, "A1 with its far surface in front and its foot down is flipped"),
        ((*STRIP, "foot"), "up", "not flipped, but the file says otherwise"),
        ((*STRIP, "foot"), "sideways", "foot is 'sideways'"),
        ((*STRIP, "leaf"), "A", "no leaf"),
        ((*STRIP, "seen"), "guessed", "seen is 'guessed'"),
        ((*STRIP, "x_mm"), [5, 1], "runs backwards"),
        ((*STRIP, "x_mm"), None, "lacks 'x_mm'"),
        (("status",), "best", "status is 'best'"),
        (("grainplan",), 2, "format 2"),
        (("bays",), 3, "damaged"),
        (("caveats",), "one", "damaged"),
        (("cost",), None, "lacks 'cost'"),
        (("cost_parts",), [], "damaged"),
        (("boards", 0, "leaves"), "two", "damaged"),
    ],
)
def test_a_plan_that_cannot_be_is_told(path, value, says):
    with pytest.raises(PlanError, match="grainplan plan") as told:
        plan_from_json(_spoil(path, value))
    assert says in str(told.value)


def test_a_missing_a_torn_and_an_outdated_plan_are_told(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    with pytest.raises(PlanError, match="is not there"):
        read_plan(job)
    write_plan(job, plan_from_json(json.loads(PLAN_TEXT)))
    with pytest.raises(PlanError, match="has changed since"):
        read_plan(job)
    assert read_plan(job, of_any_state=True).title == "Hall cupboard"
    file = tmp_path / "out" / "plan.json"
    file.write_bytes(file.read_bytes()[:400])
    with pytest.raises(PlanError, match="cannot be read"):
        read_plan(job)


EXAMPLE_KNOT = Box(508.0, 25.4, 558.8, 63.5)
ELSEWHERE = Box(1508.0, 25.4, 1558.8, 63.5)


def _measured(job, *, knot=ELSEWHERE):
    """Board A with the figures of the format's example and a drawn picture for each side."""
    noise = np.random.default_rng(7)
    sizes = {"face": (368, 3658), "back": (368, 3658), "foot": (48, 368)}
    sides = {
        name: BoardSide(Picture(noise.integers(0, 255, (*size, 3), dtype=np.uint8), 2.0), 1.8, 0.3, ("a caveat",))
        for name, size in sizes.items()
    }
    grain = Grain(1.8, 0.93, 2.9, 17.0, "plain", (68.1, 7.9, 24.0), ("the ends are dark",))
    found = Flaw("knot", "face", knot, found_by="program", confidence=0.86)
    return MeasuredBoard(
        board=job.board("A"),
        length_mm=Measured(1828.8, 2.5, ("from one photo",)),
        width_mm=Measured(184.15, 0.0),
        sides=sides,
        grain=grain,
        pith=Pith((61.0, 84.0), None, 6.0),
        flaws=(*job.board("A").flaws, found),
        caveats=("lit from one side",),
    )


def test_measured_boards_go_through_their_file_with_every_pixel(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    board = _measured(job)
    write_boards(job, [board])
    (again,) = read_boards(job)
    for side, was in board.sides.items():
        assert np.array_equal(again.sides[side].picture.pixels, was.picture.pixels)
        assert again.sides[side].picture.px_per_mm == 2.0
        assert again.sides[side].caveats == was.caveats
    assert replace(again, sides={}) == replace(board, sides={})


def test_boards_json_has_the_keys_of_the_format_in_its_order(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    full = _measured(job, knot=EXAMPLE_KNOT)
    plain = replace(
        full,
        length_mm=Measured(1828.8, 0.0),
        sides={"face": replace(full.sides["face"], caveats=())},
        grain=replace(full.grain, caveats=()),
        pith=Pith((61.0, 84.0), (66.0, 90.0), 6.0),
        flaws=full.flaws[1:],
        caveats=(),
    )
    written = json.loads(write_boards(job, [plain]).read_text())
    mark = written["boards"][0].pop("measured_from")
    assert len(mark) == 16
    assert written["boards"][0].pop("marks") == {"face": plain.sides["face"].picture.mark}
    assert written.pop("job_sha256") == job.sha256
    example = json.loads(BOARDS_TEXT)
    del example["job_sha256"]
    assert _ordered(json.dumps(written)) == _ordered(json.dumps(example))


def test_measurements_hold_until_the_board_changes(tmp_path):
    folder = make_job_folder(tmp_path, EXAMPLE)
    job = read_job(folder)
    measured = _measured(job)
    write_boards(job, [measured])
    (known,) = read_boards(job)
    assert known.sides["face"].picture.mark == measured.sides["face"].picture.mark
    (folder / "job.toml").write_text(EXAMPLE.replace('"13 in"', '"12 in"').replace('"1 in"]', '"2 in"]'))
    other = read_job(folder)
    (again,) = read_boards(other)
    assert [flaw.box.y0 for flaw in again.flaws] == pytest.approx([50.8, 25.4]), "the maker's flaw is the new one"
    (folder / "job.toml").write_text(EXAMPLE.replace('"72 in"', '"71 in"'))
    with pytest.raises(PlanError, match="board A changed"):
        read_boards(read_job(folder))
    (folder / "job.toml").write_text(EXAMPLE)
    (folder / "photos" / "a-face.jpg").write_bytes(b"another photo")
    assert read_known_boards(read_job(folder)) == {}


def test_a_damaged_measurement_is_told(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    with pytest.raises(PlanError, match="grainplan measure"):
        read_boards(job)
    path = write_boards(job, [_measured(job)])
    (tmp_path / "out/boards/A-back.png").unlink()
    with pytest.raises(PlanError, match=r"A-back\.png is missing"):
        read_boards(job)
    table = json.loads(path.read_text())
    table["boards"][0]["grain"]["sawn"] = "crooked"
    path.write_text(json.dumps(table))
    with pytest.raises(PlanError, match="damaged"):
        read_boards(job)
