"""Seams that have been seen: the choice goes by the photos of sawn leaves, and tells what it saw."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grainplan.boards import Grain, Leaf
from grainplan.frame import Bay, PanelMaking
from grainplan.match.assign import choose_leaves
from grainplan.match.cost import say_step
from grainplan.match.surfaces import LeafSurface
from grainplan.picture import Picture
from tests.drawn.flat import grow_any
from tests.drawn.paint import draw_cut
from tests.drawn.solid import Plane
from tests.test_assign import INCH, make_board, make_request

DEPTH_MM = {(1, "near"): 2.0, (1, "far"): 8.35, (2, "near"): 11.525, (2, "far"): 17.9}
LENGTH_MM = 760.0


@pytest.fixture(scope="module")
def cuts():
    """Four true surfaces of each of three drawn boards, as photos of sawn leaves at 2 px/mm."""
    solids = [grow_any(seed, length_mm=LENGTH_MM) for seed in (3, 4, 5)]
    return [
        (
            solid.width_mm,
            {k: Picture(draw_cut(solid, Plane("z", z, 2.0)).astype(np.uint8), 2.0) for k, z in DEPTH_MM.items()},
        )
        for solid in solids
    ]


def make_seen_request(cuts, names="AB", *, swap=None, **more):
    """One narrow bay; `swap` turns the far surface of leaf 1 of a board upside down across, so that nothing meets."""
    boards, surfaces = [], {}
    for name, (width, pictures) in zip(names, cuts, strict=False):
        grain = Grain(ring_angle_deg=25.0, colour_lab=(68.0, 8.0, 24.0))
        boards.append(make_board(name, LENGTH_MM / INCH, width / INCH, grain=grain))
        for (number, surface), picture in pictures.items():
            if name == swap and (number, surface) == (1, "far"):
                picture = Picture(picture.pixels[::-1].copy(), 2.0)
            surfaces[Leaf(name, number), surface] = LeafSurface(picture, "leaf photo")
    width = min(c[0] for c in cuts)
    bay = Bay("side", 2 * (width - 40) - 12.7, panel_mm=400.0, **more)
    request = make_request([bay], boards, making=PanelMaking(float_mm=INCH / 4, strips=2))
    return replace(request, surfaces=surfaces)


@pytest.mark.parametrize("swap", ["A", "B"])
def test_true_mates_are_preferred_to_edges_that_do_not_meet(cuts, swap):
    plan = choose_leaves(make_seen_request([cuts[0], cuts[0]], swap=swap))
    (bay,) = plan.bays
    assert bay.panels["panel"].strips[0].leaf.board != swap
    (seam,) = bay.seams
    assert seam.fit is not None
    assert seam.strangers is not None
    assert seam.fit > seam.strangers + 0.1
    assert seam.tone_de is not None
    assert seam.step_mm is not None
    assert {s.seen for s in bay.panels["panel"].strips} == {"leaf photo"}
    assert f"fit by {seam.fit:.2f}" in bay.why


def test_best_place_along_and_across_is_looked_for(cuts):
    """Without anything seen the bay starts at the foot; with photos it lies where its seam fits best."""
    request = make_seen_request(cuts, "ABC")
    seen, unseen = choose_leaves(request), choose_leaves(replace(request, surfaces={}))
    assert seen.bays[0].seams[0].fit is not None
    assert unseen.bays[0].seams[0].fit is None
    assert unseen.bays[0].panels["panel"].strips[0].x_mm[0] == pytest.approx(25.4)
    board = unseen.bays[0].panels["panel"].strips[0].leaf.board
    kept = [o for o in seen.others if o.bays[0].panels["panel"].strips[0].leaf.board == board]
    assert all(other.cost >= seen.cost for other in kept)


def test_a_stand_in_is_never_scored(cuts):
    request = make_seen_request(cuts, "A")
    guessed = {key: LeafSurface(found.picture, "stand-in") for key, found in request.surfaces.items()}
    (bay,) = choose_leaves(replace(request, surfaces=guessed)).bays
    assert bay.seams[0].fit is None
    assert "not yet seen" in bay.seams[0].caveats[0]
    assert bay.panels["panel"].strips[0].seen == "stand-in"


def test_a_prediction_is_scored_and_told(cuts):
    request = make_seen_request(cuts, "A")
    inside = {key: LeafSurface(found.picture, "inside", 0.6) for key, found in request.surfaces.items()}
    (bay,) = choose_leaves(replace(request, surfaces=inside)).bays
    assert bay.seams[0].fit is not None
    assert any("is predicted, confidence 0.60" in caveat for caveat in bay.seams[0].caveats)
    assert "as predicted" in bay.why


def test_backs_are_seen_where_both_sides_are(cuts):
    """The back of a pair shows A1 near against A2 far, which lay much further apart than the mates on the front."""
    (bay,) = choose_leaves(make_seen_request([cuts[0]], "A", seen="both")).bays
    front, back = bay.seams
    assert (front.side, back.side) == ("front", "back")
    assert front.fit is not None
    assert back.fit is not None
    assert back.gap_mm == pytest.approx(2 * 6.35 + 3.175)
    assert front.fit > back.fit


@pytest.mark.parametrize(
    ("step", "words"), [(0.0, "fine"), (3.2, "fine"), (3.3, "fair"), (6.4, "fair"), (9, "plain to see")]
)
def test_steps_in_words_of_the_published_tolerances(step, words):
    """Architectural Woodwork Standards (2009), section 8, p. 193: 1/8 in and 1/4 in."""
    assert say_step(step) == words
