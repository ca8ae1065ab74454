"""A lost leaf costs as little as can be: what is done and what need not change stays where it was."""

import shutil
import time
from dataclasses import replace
from pathlib import Path

import pytest

from grainplan import changes, picture, repair, steps
from grainplan.boards import Leaf
from grainplan.choice import Outcome
from grainplan.match import seen
from grainplan.match.shelf import SEAMS_FOLDER
from grainplan.plan import Plan
from tests.drawn.flat import grow_any
from tests.drawn.forest import Growth, grow_board
from tests.drawn.sawn_job import write_job

BAYS = "".join(
    f'[[bay]]\nname = "{name}"\nwidth = 210\nupper = 90\nlower = 150\nrail = 40\n'
    for name in ("left", "middle", "right")
)
SEEDS = {"A": 7300, "B": 7301, "C": 7302, "D": 7303}


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    solids = {name: grow_any(seed, length_mm=340.0) for name, seed in SEEDS.items()}
    return steps.run_plan(write_job(tmp_path_factory.mktemp("repair") / "job", solids, BAYS))


@pytest.fixture
def job(planned: Outcome, tmp_path: Path) -> Path:
    shutil.copytree(planned.job.folder, tmp_path / "job")
    return tmp_path / "job"


def lie(plan: Plan) -> dict[str, list[tuple[object, ...]]]:
    return {
        bay.name: [
            (part, s.leaf, s.surface, s.foot, *(round(v, 1) for v in (*s.x_mm, *s.y_mm)))
            for part, panel in bay.panels.items()
            for s in panel.strips
        ]
        for bay in plan.bays
    }


def leaves(plan: Plan, bay: str) -> list[Leaf]:
    planned = next(b for b in plan.bays if b.name == bay)
    return [strip.leaf for strip in planned.panels["lower"].strips]


def lose(job: Path, leaf: Leaf, why: str = "it split along the pith") -> None:
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[[leaf]]\nleaf = "{leaf.name}"\nlost = "{why}"\n')


def test_only_the_hurt_bay_changes_and_it_is_told(planned: Outcome, job: Path) -> None:
    lost = leaves(planned.plan, "middle")[0]
    lose(job, lost)
    after = steps.run_plan(job)
    was, now = lie(planned.plan), lie(after.plan)
    assert {name for name in was if was[name] != now[name]} == {"middle"}
    assert lost not in leaves(after.plan, "middle")
    (said,) = [told for told in after.plan.caveats if told.startswith(f"leaf {lost.name} is lost")]
    assert "it split along the pith" in said
    assert "middle moves from" in said
    assert "other 2 bays stay as they were" in said


def test_planned_again_the_repair_stays(planned: Outcome, job: Path) -> None:
    lose(job, leaves(planned.plan, "left")[0])
    first = steps.run_plan(job)
    again = steps.run_plan(job)
    assert lie(again.plan) == lie(first.plan)
    assert again.plan.caveats == first.plan.caveats


def test_what_was_seen_and_compared_is_not_done_again(planned: Outcome, job: Path) -> None:
    """The app hands on what it has; the answer is that of a plan made from the folder."""
    lose(job, leaves(planned.plan, "right")[0])
    from_folder = steps.run_plan(job)
    changed = steps.open_job(job)
    began = time.process_time()
    at_hand = steps.plan_measured(changed, planned.boards, before=planned)
    spent = time.process_time() - began
    assert at_hand.surfaces is planned.surfaces
    assert lie(at_hand.plan) == lie(from_folder.plan)
    shutil.rmtree(job / SEAMS_FOLDER)
    began = time.process_time()
    repair.make_plan(changed, planned.boards)
    assert spent < time.process_time() - began


def test_seams_that_were_compared_once_are_found_on_the_disk(
    planned: Outcome, job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new process takes them from there, looks at no picture again, and comes to the same plan to the last digit."""
    for name in ("compare_edges", "compare_ends", "measure_strangers", "score_run_on", "even_surface"):
        monkeypatch.setattr(seen, name, lambda *_, **__: pytest.fail("it was kept"))
    monkeypatch.setattr(picture, "read_picture", lambda *_: pytest.fail("nobody need look at it"))
    again = steps.run_plan(job)
    assert replace(again.plan, job_sha256="") == replace(planned.plan, job_sha256="")


def test_without_what_was_kept_the_plan_is_the_same(planned: Outcome, job: Path) -> None:
    for path in (job / SEAMS_FOLDER).iterdir():
        path.write_bytes(path.read_bytes()[:-1])
    again = steps.run_plan(job)
    assert replace(again.plan, job_sha256="") == replace(planned.plan, job_sha256="")
    assert all(path.stat().st_size > 1000 for path in (job / SEAMS_FOLDER).iterdir())


def test_when_the_wood_runs_out_the_rest_stays(planned: Outcome, job: Path) -> None:
    """One leaf of each board is lost but of the two that the outer bays stand on."""
    keep = {leaf.board for bay in ("left", "right") for leaf in leaves(planned.plan, bay)}
    for name in SEEDS:
        if name not in keep:
            lose(job, Leaf(name, 1))
    after = steps.run_plan(job)
    was, now = lie(planned.plan), lie(after.plan)
    assert [bay.name for bay in after.plan.unfilled] == ["middle"]
    assert all(now[name] == was[name] for name in ("left", "right"))


@pytest.mark.parametrize(
    ("report", "why"), [("thickness = 6.5\ncup = 0.5", "0.5 mm of cup"), ('lost = "it split"', "it split")]
)
def test_a_kept_bay_whose_leaf_is_lost_is_chosen_anew(planned: Outcome, job: Path, report: str, why: str) -> None:
    """The board has no third leaf."""
    first, second = leaves(planned.plan, "left")
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[[keep]]\nbay = "left"\nleaves = ["{first.name}", "{second.name}"]\n')
        file.write(f'\n[[leaf]]\nleaf = "{first.name}"\n{report}\n')
    after = steps.run_plan(job)
    assert first not in leaves(after.plan, "left")
    assert any(told.startswith("left was kept on") and why in told for told in after.plan.caveats)
    assert any("it is chosen anew" in told for told in after.plan.caveats)


@pytest.fixture(scope="module")
def thick(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    """Two boards of three leaves each, a bay on each."""
    solids = {name: grow_board(seed, Growth(340.0, 150.0, 31.5, "ash")) for name, seed in (("A", 7310), ("B", 7311))}
    bays = "".join(BAYS.partition('[[bay]]\nname = "right"')[:1])
    return steps.run_plan(write_job(tmp_path_factory.mktemp("thick") / "job", solids, bays))


def test_what_is_left_of_a_kept_bay_stays_in_it(thick: Outcome, tmp_path: Path) -> None:
    """At its place, with another leaf of the board; also when something else changes after that."""
    job = tmp_path / "job"
    shutil.copytree(thick.job.folder, job)
    left = next(bay for bay in thick.plan.bays if bay.name == "left")
    changes.keep_leaves(steps.open_job(job), left)
    steps.run_plan(job)
    board = left.leaves[0].board
    (unused,) = {Leaf(board, n) for n in (1, 2, 3)} - set(left.leaves)
    lost, stays = sorted(left.leaves, key=lambda leaf: abs(leaf.number - unused.number))[::-1]
    lose(job, lost)
    after = steps.run_plan(job)
    assert set(leaves(after.plan, "left")) == {stays, unused}
    now = next(bay for bay in after.plan.bays if bay.name == "left")
    assert [s.x_mm for s in now.strips] == [pytest.approx(s.x_mm, abs=0.02) for s in left.strips]
    assert lie(after.plan)["middle"] == lie(thick.plan)["middle"]
    (said,) = [told for told in after.plan.caveats if told.startswith("left was kept on")]
    assert (
        f"which is lost (it split along the pith); what is left of it stays: {stays.name}, with {unused.name}" in said
    )
    changes.write_values(steps.open_job(job), {("weights", "tone"): 1.1})
    assert lie(steps.run_plan(job).plan)["left"] == lie(after.plan)["left"]


def test_a_finished_bay_holds_its_wood(planned: Outcome, job: Path) -> None:
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text.replace('name = "left"\n', 'name = "left"\ndone = true\n'), encoding="utf-8")
    lose(job, leaves(planned.plan, "right")[0])
    after = steps.run_plan(job)
    assert lie(after.plan)["left"] == lie(planned.plan)["left"]
    assert not after.job.keeps


@pytest.mark.parametrize("is_kept", [False, True])
def test_a_finished_bay_may_be_thinner_than_was_planned(planned: Outcome, job: Path, *, is_kept: bool) -> None:
    """It was sanded; what is made is not lost for that."""
    made = next(bay for bay in planned.plan.bays if bay.name == "left")
    if is_kept:
        changes.call_made(steps.open_job(job), made)
    else:
        text = (job / "job.toml").read_text(encoding="utf-8")
        (job / "job.toml").write_text(text.replace('name = "left"\n', 'name = "left"\ndone = true\n'), encoding="utf-8")
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[[leaf]]\nleaf = "{made.leaves[0].name}"\nthickness = 6.0\n')
    after = steps.run_plan(job)
    assert lie(after.plan)["left"] == lie(planned.plan)["left"]
    assert not after.plan.unfilled


def test_another_bay_gives_way_where_that_fills_one_more(planned: Outcome, job: Path) -> None:
    """A leaf is lost whose bay can only stand on the wood of another, which itself finds other wood."""
    spare = next(name for name in SEEDS if name not in {s.board for b in BAY_NAMES for s in leaves(planned.plan, b)})
    text = (job / "job.toml").read_text(encoding="utf-8")
    shut = f'\n[[leave_out]]\nbay = "left"\nboard = "{spare}"\n'
    (job / "job.toml").write_text(text + shut, encoding="utf-8")
    lose(job, leaves(planned.plan, "left")[0])
    after = steps.run_plan(job)
    assert not after.plan.unfilled
    was, now = lie(planned.plan), lie(after.plan)
    moved = {name for name in was if was[name] != now[name]}
    assert len(moved) == 2
    assert any(told.startswith("to make room, ") for told in after.plan.caveats)


BAY_NAMES = ("left", "middle", "right")
