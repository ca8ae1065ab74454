"""After the saw: real surfaces come in, and a leaf that is gone never loses the rest."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grainplan import steps
from grainplan.aftersaw import read_leaves
from grainplan.boards import Leaf
from grainplan.choice import Outcome


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return steps.run_plan(steps.copy_sample(tmp_path_factory.mktemp("saw") / "job"))


@pytest.fixture
def job(planned: Outcome, tmp_path: Path) -> Path:
    """A copy of the sample with its boards measured."""
    shutil.copytree(planned.job.folder, tmp_path / "job")
    return tmp_path / "job"


def add(job: Path, words: str) -> None:
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(words)


def first_leaf(outcome: Outcome, bay: str) -> Leaf:
    planned = next(b for b in outcome.plan.bays if b.name == bay)
    return planned.panels["lower"].strips[0].leaf


def test_a_lost_leaf_costs_its_bay_and_no_other(planned: Outcome, job: Path) -> None:
    lost = first_leaf(planned, "left door")
    add(job, f'\n[[leaf]]\nleaf = "{lost.name}"\nlost = "it split along the pith"\n')
    after = steps.run_plan(job)
    used = {strip.leaf for bay in after.plan.bays for panel in bay.panels.values() for strip in panel.strips}
    assert lost not in used
    assert {bay.name for bay in after.plan.bays} >= {"right door", "left side", "right side"}


@pytest.mark.parametrize(
    ("thickness", "cup", "gone"), [("1/4 in", "0 in", False), ("1/4 in", "1/64 in", True), ("7/32 in", "0 in", True)]
)
def test_a_leaf_too_thin_for_its_panel_is_gone(job: Path, thickness: str, cup: str, *, gone: bool) -> None:
    add(job, f'\n[[leaf]]\nleaf = "A1"\nthickness = "{thickness}"\ncup = "{cup}"\n')
    (leaf,) = read_leaves(steps.open_job(job))
    assert bool(leaf.lost) == gone
    if gone:
        assert "1/4 in" in str(leaf.lost)


def test_a_leaf_photo_takes_the_place_of_what_was_guessed(planned: Outcome, job: Path) -> None:
    """The far surface is photographed like the back: rolled over, so its picture is mirrored across."""
    leaf = first_leaf(planned, "left door")
    board = planned.job.board(leaf.board)
    wide, high = 1200, round(1200 * board.width_mm / board.length_mm)
    ramp = np.linspace(60, 200, high, dtype=np.uint8)[:, None, None]
    Image.fromarray(np.broadcast_to(ramp, (high, wide, 3)).copy()).save(job / "photos" / "far.png")
    corners = [[0, high - 1], [wide - 1, high - 1], [wide - 1, 0], [0, 0]]
    add(job, f'\n[[leaf]]\nleaf = "{leaf.name}"\nfar = {{ photo = "photos/far.png", corners = {corners} }}\n')
    (read,) = read_leaves(steps.open_job(job))
    shown = read.pictures["far"].pixels.mean(axis=(1, 2))
    assert shown[:40].mean() > shown[-40:].mean()  # bright at y = 0: the photo's lowest row
    after = steps.run_plan(job)
    seen = {
        (strip.leaf, strip.surface): strip.seen
        for bay in after.plan.bays
        for panel in bay.panels.values()
        for strip in panel.strips
    }
    assert seen.get((leaf, "far"), "leaf photo") == "leaf photo"
