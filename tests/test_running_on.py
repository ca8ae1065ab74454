"""How the grain runs on behind the rail, judged on pictures of the leaves: it counts, and the plan tells it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grainplan.boards import Grain, Leaf
from grainplan.frame import PanelMaking
from grainplan.job import Keep
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json
from grainplan.match.assign import choose_leaves
from grainplan.match.surfaces import LeafSurface
from grainplan.picture import Picture
from tests.test_assign import INCH, make_bay, make_board, make_request

PX = 1.0
BREAK_MM = 900.0


def draw_lines(seed, rows=190):
    """Lines along the grain, each as wide as a ring: lightness by the place across the board alone."""
    rng = np.random.default_rng(seed)
    light = np.convolve(rng.normal(0, 1, rows + 8), np.ones(4) / 4, "same")[4:-4]
    return 170 + 28 * light / light.std()


def draw_surface(length, *, seed, broken):
    """A surface whose lines all change at `BREAK_MM` where it is broken; else they run from end to end."""
    first, second = draw_lines(seed), draw_lines(seed + 100 if broken else seed)
    columns = np.arange(round(length))
    light = np.where(columns[None, :] < BREAK_MM, first[:, None], second[:, None])
    noise = np.random.default_rng(seed + 7).normal(0, 2, light.shape)
    grey = np.clip(light + noise, 0, 255).astype(np.uint8)
    return LeafSurface(Picture(np.repeat(grey[:, :, None], 3, axis=2), PX), "leaf photo")


def make_seen(board, *, seed, broken, leaves=2):
    """Surfaces of all leaves, mates alike, so that only the rail tells places apart."""
    surface = draw_surface(board.board.length_mm, seed=seed, broken=broken)
    return {(Leaf(board.name, n + 1), side): surface for n in range(leaves) for side in ("near", "far")}


def make_whole(name="A", length=100, **more):
    return make_board(name, length=length, grain=Grain(angle_deg=0.0, ring_angle_deg=20.0), **more)


def rail_of(bay):
    """What the rail hides, along the board."""
    lower, upper = (bay.panels[part].strips[0].x_mm for part in ("lower", "upper"))
    return sorted((*lower, *upper))[1:3]


def test_the_rail_keeps_away_from_where_the_lines_break():
    board = make_whole()
    request = make_request([make_bay()], [board], surfaces=make_seen(board, seed=3, broken=True))
    plan = choose_leaves(request)
    (bay,) = plan.bays
    low, high = rail_of(bay)
    assert not low - 20 < BREAK_MM < high + 20
    assert min(bay.continuity.fit) > 0.9
    assert max(bay.continuity.step_mm) < 0.6
    assert bay.continuity.strangers < 0.6
    again = plan_from_json(plan_to_json(plan)).bays[0].continuity
    assert again == bay.continuity
    # Held where the rail hides the break, the same bay fits badly there and costs more.
    start = BREAK_MM - (bay.panels["lower"].strips[0].x_mm[1] - bay.panels["lower"].strips[0].x_mm[0]) - 15
    kept = Keep("left door", tuple(s.leaf for s in bay.panels["lower"].strips), start, foot="down")
    held = choose_leaves(replace(request, kept=(kept,)))
    assert max(held.bays[0].continuity.fit) < 0.5
    assert held.cost_parts["continuity"] > plan.cost_parts["continuity"] + 0.2


def test_a_board_is_not_taken_because_nobody_has_seen_it():
    """Its rail is taken to be as good as those of the seen boards are on the average."""
    seen, unseen = make_whole("A"), make_whole("B")
    request = make_request([make_bay()], [seen, unseen], surfaces=make_seen(seen, seed=5, broken=False))
    both = {
        b.name: choose_leaves(replace(request, boards=(b,), uses={b.name: request.uses[b.name]}))
        for b in (seen, unseen)
    }
    known, guessed = (both[name].cost_parts["continuity"] for name in "AB")
    assert guessed == 0.0  # nothing at all is seen there
    plan = choose_leaves(request)
    assert plan.bays[0].panels["lower"].strips[0].leaf.board == "A"
    assert known < 0.1


@pytest.mark.parametrize("foot", ["down", "up"])
def test_end_match_is_scored_on_its_pictures(foot):
    """All leaves alike: the upper panel is the lower one's mirror image wherever it is cut, whichever end is up."""
    board = make_whole(thickness=2)
    making = PanelMaking(float_mm=INCH / 4, strips=2, end_match=True)
    surfaces = make_seen(board, seed=9, broken=False, leaves=5)
    request = make_request([make_bay()], [board], making=making, surfaces=surfaces)
    leaves = tuple(Leaf("A", n) for n in (1, 2))
    leaves = leaves if foot == "down" else leaves[::-1]
    plan = choose_leaves(replace(request, kept=(Keep("left door", leaves, foot=foot),)))
    (bay,) = plan.bays
    assert bay.continuity.end_match
    assert bay.panels["lower"].strips[0].foot == foot
    assert min(bay.continuity.fit) > 0.9
    assert max(bay.continuity.step_mm) < 0.6


def test_end_match_of_strangers_fits_badly():
    board = make_whole(thickness=2)
    making = PanelMaking(float_mm=INCH / 4, strips=2, end_match=True)
    surfaces = {}
    for n in range(5):
        for i, side in enumerate(("near", "far")):
            surfaces[Leaf("A", n + 1), side] = draw_surface(board.board.length_mm, seed=20 + 2 * n + i, broken=False)
    request = make_request([make_bay()], [board], making=making, surfaces=surfaces)
    (bay,) = choose_leaves(request).bays
    assert max(bay.continuity.fit) < 0.8
