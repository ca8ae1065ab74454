"""The whole line over real boards: photos and labelled flaws of an open data set (see realboards.py for its source)."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grainplan import steps
from grainplan.choice import Outcome
from grainplan.geometry import Box
from grainplan.plan import Strip
from tests.realboards import make_real_job


@pytest.fixture(scope="module")
def outcome(photo_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return steps.run_all(make_real_job(photo_data, tmp_path_factory.mktemp("real") / "pine"))


def test_every_bay_is_filled_with_strips_of_75_mm(outcome: Outcome) -> None:
    assert not outcome.plan.unfilled
    assert len(outcome.plan.bays) == 3
    for bay in outcome.plan.bays:
        for panel in bay.panels.values():
            assert [round(s.y_mm[1] - s.y_mm[0], 2) for s in panel.strips] == [75.0, 75.0]


def test_every_strip_is_clear_of_every_labelled_flaw(outcome: Outcome) -> None:
    """What is seen of a strip shows no flaw; in the groove and in what is trimmed it does no harm."""
    looked_at = 0
    for bay in outcome.plan.bays:
        for panel in bay.panels.values():
            for place, strip in enumerate(panel.strips):
                seen = find_seen(outcome, strip, outer_on_left=place == 0)
                for flaw in outcome.job.board(strip.leaf.board).flaws:
                    looked_at += 1
                    assert not flaw.box.overlaps(seen), f"{bay.name}: {strip.leaf.name} shows {flaw}"
    assert looked_at >= 12 * 49  # 49 labels or more on each board, twelve strips


def find_seen(outcome: Outcome, strip: Strip, *, outer_on_left: bool) -> Box:
    """The part of a strip of a two-strip panel that stands in the opening, board frame."""
    shop, making = outcome.job.shop, outcome.job.panel
    end_mm = shop.over_length_mm + making.groove_mm - making.end_gap_mm
    assert making.float_mm is not None
    outer_mm = shop.over_width_mm + making.groove_mm - making.float_mm / 2
    low, high = strip.y_mm
    if outer_on_left == strip.flipped:  # the left edge of a flipped strip is the one of larger y
        low, high = low + shop.joint_mm, high - outer_mm
    else:
        low, high = low + outer_mm, high - shop.joint_mm
    return Box(strip.x_mm[0] + end_mm, low, strip.x_mm[1] - end_mm, high)


def test_the_pictures_show_the_boards_own_wood(outcome: Outcome) -> None:
    front = next(p for p in outcome.files if p.name == "front.png")
    with Image.open(front) as image:
        pixels = np.asarray(image.convert("RGB")).astype(int)
    assert pixels.std() > 10
    wood = np.mean([b.sides["face"].picture.pixels.mean(axis=(0, 1)) for b in outcome.boards], axis=0)
    near = np.abs(pixels - wood).max(axis=2) < 60
    assert near.mean() > 0.1


def test_what_nobody_saw_is_not_scored(outcome: Outcome) -> None:
    for bay in outcome.plan.bays:
        for seam in bay.seams:
            assert seam.fit is None
            assert seam.caveats
