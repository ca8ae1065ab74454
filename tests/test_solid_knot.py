"""Knots as branches through a board: where they run, and what is drawn of them inside, against drawn boards."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from grainplan.wood.solid_knot import KnotPlace, lay_cones
from grainplan.wood.solid_pith import PithLine
from tests.drawn.compare import show_figure
from tests.drawn.flat import photograph_flat, show_depth
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import Knot, Plane, Solid, locate
from tests.drawn.solid import PithLine as DrawnPith

DEPTH_MM = 11.0
UNSEEN = (9301, 9302)


def grow_knotty(seed: int) -> Solid:
    """A board with two branches that lean alike, about as in one tree."""
    random = np.random.default_rng(seed)
    y, z = random.uniform(0.0, 130.0), 22.0 + random.uniform(40.0, 110.0)
    tilt = float(random.choice([-1.0, 1.0]) * random.uniform(5.0, 25.0))
    knots = []
    for x in (150.0, 360.0):
        across, down = random.uniform(30.0, 100.0) - y, DEPTH_MM - z
        reach = float(np.hypot(across, down) / np.cos(np.radians(tilt)))
        around = float(np.degrees(np.arctan2(down, across)))
        knots.append(Knot(x, around, tilt + random.normal(0.0, 4.0), random.uniform(6.0, 12.0), reach))
    pith = DrawnPith(y - 2.0, z - 3.0, y + 2.0, z + 3.0)
    look = ("ash", "pine")[seed % 2]
    growth = Growth(length_mm=500.0, width_mm=130.0, look=look, pith=pith, knots=tuple(knots), wave_mm=1.2)
    return grow_board(seed, growth)


def box_knots(board: Solid) -> list[KnotPlace]:
    """The boxes that a maker would draw round the knots on face and back."""
    places = []
    for side, depth in (("face", 0.0), ("back", board.thickness_mm)):
        wood = (locate(board, Plane("z", depth, 2.0)).knot > 0.5).astype(np.uint8)
        for x, y, wide, high, area in cv2.connectedComponentsWithStats(wood)[2][1:]:
            if area > 30:
                places.append(KnotPlace(side, Box(x / 2, y / 2, (x + wide) / 2, (y + high) / 2)))  # type: ignore[arg-type]
    return places


@pytest.fixture(scope="module", params=UNSEEN)
def knotty(request: pytest.FixtureRequest) -> tuple[Solid, list[KnotPlace], dict[str, Picture], BoardSolid]:
    board = grow_knotty(request.param)
    sides = {side: photograph_flat(board, side, seed=request.param) for side in ("face", "back", "foot", "head")}
    places = box_knots(board)
    found = fit_solid(sides, knots=places)  # type: ignore[arg-type]
    assert isinstance(found, BoardSolid)
    return board, places, sides, found


def mark_round(board: Solid, radii: int) -> np.ndarray:
    """Knots at the middle depth, widened by so many pixels."""
    wood = (locate(board, Plane("z", DEPTH_MM, 2.0)).knot > 0.5).astype(np.uint8)
    return cv2.dilate(wood, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radii + 1,) * 2)) > 0


Knotty = tuple[Solid, list[KnotPlace], dict[str, Picture], BoardSolid]


def test_knots_and_the_wood_round_them_are_drawn_inside(knotty: Knotty) -> None:
    """With the knots known, their place inside agrees; without, it does not."""
    board, _, sides, found = knotty
    plain = fit_solid(sides)  # type: ignore[arg-type]
    assert isinstance(plain, BoardSolid)
    truth = show_figure(show_depth(board, DEPTH_MM))
    near, wood = mark_round(board, 24), mark_round(board, 0)
    round_it = near & ~mark_round(board, 2)
    figures = [show_figure(draw_level(solid, DEPTH_MM).rings_alone) for solid in (found, plain)]
    reached = [[np.corrcoef(figure[where], truth[where])[0, 1] for where in (near, round_it)] for figure in figures]
    assert reached[0][0] > 0.7
    assert reached[0][0] > reached[1][0] + 0.3
    assert reached[0][1] > reached[1][1]
    whole = draw_level(found, DEPTH_MM).picture.pixels.astype(float)
    true = show_depth(board, DEPTH_MM).pixels.astype(float)
    assert np.abs(whole[wood].mean(axis=0) - true[wood].mean(axis=0)).max() < 15.0


def test_branches_lean_as_they_do(knotty: Knotty) -> None:
    board, _, _, found = knotty
    assert len(found.pith.cones) == len(board.knots)
    for knot in board.knots:
        tilts = [float(np.degrees(np.arcsin(cone.way[0]))) for cone in found.pith.cones]
        assert min(abs(tilt - knot.tilt_deg) for tilt in tilts) < 6.0


def test_the_program_is_less_sure_beside_a_knot(knotty: Knotty) -> None:
    board, _, _, found = knotty
    view = draw_level(found, DEPTH_MM)
    sure = cv2.resize(view.sure, view.picture.pixels.shape[1::-1])
    beside = mark_round(board, 16) & ~mark_round(board, 0)
    assert sure[beside].mean() < 0.7 * sure[~mark_round(board, 60)].mean()


PITH = PithLine((50.0, 80.0), (50.0, 80.0), 1000.0)


def test_one_place_and_the_pith_tell_a_branch() -> None:
    """A knot on the side away from the pith goes through; seen on the near side alone, it ends inside."""
    face = lay_cones([KnotPlace("face", Box(190.0, 40.0, 210.0, 60.0))], PITH, 22.0)
    assert face[0].way == pytest.approx((0.0, 0.0, -1.0), abs=0.01)
    assert float(face[0].radius(np.array(80.0))) == pytest.approx(10.0, abs=0.5)
    assert face[0].end_mm == float("inf")
    back = lay_cones([KnotPlace("back", Box(190.0, 40.0, 210.0, 60.0))], PITH, 22.0)
    assert 58.0 < back[0].end_mm < 80.0


def test_two_places_of_one_branch_become_one_and_lend_their_lean() -> None:
    pair = [KnotPlace("face", Box(190.0, 40.0, 210.0, 60.0)), KnotPlace("back", Box(183.0, 43.0, 197.0, 57.0))]
    lone = KnotPlace("face", Box(600.0, 41.0, 618.0, 59.0))
    cones = lay_cones([*pair, lone], PITH, 22.0)
    assert len(cones) == 2
    assert cones[0].way[0] / -cones[0].way[2] == pytest.approx(10.0 / 22.0, abs=0.02)
    assert cones[1].way[0] / -cones[1].way[2] == pytest.approx(10.0 / 22.0, abs=0.02)


def test_knots_on_either_side_of_the_pith_are_two_branches() -> None:
    inside = PithLine((50.0, 11.0), (50.0, 11.0), 1000.0)
    both = [KnotPlace(side, Box(190.0, 40.0, 210.0, 60.0)) for side in ("face", "back")]  # type: ignore[arg-type]
    cones = lay_cones(both, inside, 22.0)
    assert len(cones) == 2
    assert cones[0].way[2] * cones[1].way[2] < 0.0
