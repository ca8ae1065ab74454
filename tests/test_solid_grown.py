"""Short pieces that a branch bends all through: pith and branch found together, against drawn pieces."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from grainplan.wood.solid_grid import lay_grid
from grainplan.wood.solid_grown import grow_together
from grainplan.wood.solid_knot import KnotPlace
from tests.drawn.compare import show_figure
from tests.drawn.flat import photograph_flat, show_depth
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import Knot, Plane, Solid, locate
from tests.drawn.solid import PithLine as DrawnPith

SIZE_MM = (110.0, 100.0, 40.0)
UNSEEN = (9430, 9431)
SIDES = ("face", "back", "foot", "head")


def grow_short(seed: int) -> Solid:
    """A short piece with one thick branch through it."""
    random = np.random.default_rng(seed)
    length, width, thickness = SIZE_MM
    y, z = random.uniform(10.0, 90.0), thickness + random.uniform(20.0, 60.0)
    tilt = random.uniform(-20.0, 20.0)
    across, down = random.uniform(20.0, 80.0) - y, thickness / 2.0 - z
    reach = float(np.hypot(across, down) / np.cos(np.radians(tilt)))
    around = float(np.degrees(np.arctan2(down, across)))
    knot = Knot(random.uniform(35.0, 75.0), around, tilt, random.uniform(12.0, 20.0), reach)
    growth = Growth(
        length_mm=length,
        width_mm=width,
        thickness_mm=thickness,
        look=("ash", "pine")[seed % 2],
        pith=DrawnPith(y - 1.0, z - 1.0, y + 1.0, z + 1.0),
        knots=(knot,),
        wave_mm=0.8,
    )
    return grow_board(seed, growth)


def box_knots(board: Solid) -> list[KnotPlace]:
    """The boxes that a maker would draw round the knot on face and back."""
    places = []
    for side, depth in (("face", 0.0), ("back", board.thickness_mm)):
        rows, columns = np.nonzero(locate(board, Plane("z", depth, 2.0)).knot > 0.5)
        if rows.size > 30:
            ends = columns.min() / 2, rows.min() / 2, (columns.max() + 1) / 2, (rows.max() + 1) / 2
            places.append(KnotPlace(side, Box(*(float(end) for end in ends))))  # type: ignore[arg-type]
    return places


def agree_away(board: Solid, solid: BoardSolid) -> float:
    """Correlation with the true surfaces, outside the knot and 6 mm round it, mean over three depths."""
    found = []
    for share in (0.25, 0.5, 0.75):
        depth = share * board.thickness_mm
        wood = (locate(board, Plane("z", depth, 2.0)).knot > 0.5).astype(np.uint8)
        away = cv2.dilate(wood, np.ones((25, 25), np.uint8)) == 0
        told, true = show_figure(draw_level(solid, depth).rings_alone), show_figure(show_depth(board, depth))
        found.append(np.corrcoef(told[away], true[away])[0, 1])
    return float(np.mean(found))


@pytest.fixture(scope="module", params=UNSEEN)
def short(request: pytest.FixtureRequest) -> tuple[Solid, dict[str, Picture], BoardSolid]:
    board = grow_short(request.param)
    sides = {side: photograph_flat(board, side, seed=request.param) for side in SIDES}
    found = fit_solid(sides, knots=box_knots(board))  # type: ignore[arg-type]
    assert isinstance(found, BoardSolid)
    return board, sides, found


def test_the_pith_is_found_though_a_branch_bends_the_rings(short: tuple[Solid, dict[str, Picture], BoardSolid]) -> None:
    board, _, found = short
    true = np.array([board.pith.y_foot_mm, board.pith.z_foot_mm])
    away = float(np.hypot(*(true - np.array(SIZE_MM[1:]) / 2.0)))
    assert float(np.hypot(*(np.array(found.pith.foot_yz_mm) - true))) < 0.1 * away
    assert len(found.pith.cones) == 1


def test_the_wood_away_from_the_branch_is_foretold(short: tuple[Solid, dict[str, Picture], BoardSolid]) -> None:
    board, sides, found = short
    unknown = fit_solid(sides)  # type: ignore[arg-type]
    assert agree_away(board, found) > 0.5
    assert not isinstance(unknown, BoardSolid) or agree_away(board, found) > agree_away(board, unknown)


def test_plain_or_long_boards_are_left_to_their_ends(short: tuple[Solid, dict[str, Picture], BoardSolid]) -> None:
    """No knots, a small one, or two that are no one branch: pith and branches are found one after the other."""
    _, sides, _ = short
    grid = lay_grid(SIZE_MM)
    small = [KnotPlace("face", Box(50.0, 50.0, 56.0, 56.0))]
    apart = [KnotPlace("face", Box(0.0, 0.0, 40.0, 40.0)), KnotPlace("face", Box(70.0, 60.0, 110.0, 100.0))]
    for knots in ([], small, apart):
        assert grow_together(sides, grid, knots) is None  # type: ignore[arg-type]
