"""Cuts of a board that lie any way: against the drawn solid's own cuts, and against the level that is drawn already."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from grainplan.wood.solid_cut import CutPlane, draw_cut, lay_crosscut, lay_rip
from tests.drawn.flat import photograph_flat
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_cut as paint_cut
from tests.drawn.solid import PithLine, Plane, Solid

SIZE = (400.0, 150.0, 22.0)


@pytest.fixture(scope="module")
def board() -> Solid:
    pith = PithLine(60.0, 75.0, 66.0, 70.0)
    return grow_board(77, Growth(length_mm=SIZE[0], width_mm=SIZE[1], thickness_mm=SIZE[2], pith=pith, ring_mm=3.4))


@pytest.fixture(scope="module")
def found(board: Solid) -> BoardSolid:
    fitted = fit_solid({side: photograph_flat(board, side) for side in ("face", "back", "foot", "head")})  # type: ignore[misc]
    assert isinstance(fitted, BoardSolid)
    return fitted


def even(lightness: np.ndarray) -> np.ndarray:
    smooth = cv2.GaussianBlur(lightness.astype(np.float32), (0, 0), 1.0)
    return (smooth - cv2.GaussianBlur(smooth, (0, 0), 20.0))[4:-4, 8:-8].ravel()


def agree_with(board: Solid, drawn: Picture, plane: Plane) -> float:
    truth = Picture(cv2.resize(paint_cut(board, plane), drawn.pixels.shape[1::-1], interpolation=cv2.INTER_AREA), 2.0)
    return float(np.corrcoef(even(drawn.lightness()), even(truth.lightness()))[0, 1])


def test_a_crosscut_shows_the_rings_of_the_true_end(board: Solid, found: BoardSolid) -> None:
    for x in (40.0, 200.0, 300.0):
        view = draw_cut(found, lay_crosscut(SIZE, x))
        assert view.picture.pixels.shape[:2] == (44, 300)
        right, wrong = (agree_with(board, view.picture, Plane("x", at, 4.0)) for at in (x, SIZE[0] - 1.0))
        assert right > max(0.7, wrong)
        assert 0 < view.confidence <= 1


def test_a_rip_shows_the_rings_of_the_true_edge(board: Solid, found: BoardSolid) -> None:
    view = draw_cut(found, lay_rip(SIZE, 75.0))
    assert view.picture.pixels.shape[:2] == (44, 800)
    right, wrong = (agree_with(board, view.picture, Plane("y", at, 4.0)) for at in (75.0, 40.0))
    assert right > max(0.7, wrong + 0.4)


def test_a_level_cut_is_the_level_that_is_drawn_already(found: BoardSolid) -> None:
    flat = draw_cut(found, CutPlane((0.0, 0.0, 9.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), SIZE[:2]))
    level = draw_level(found, 9.0)
    apart = np.abs(flat.rings_alone.pixels.astype(int) - level.rings_alone.pixels)
    assert np.percentile(apart, 99) < 8  # one softness for the whole board, there one a depth
    assert flat.confidence == pytest.approx(level.confidence, abs=0.05)


def test_a_slanting_cut_passes_through_the_level_that_it_crosses(found: BoardSolid) -> None:
    slope = 12.0 / 400.0
    right = (1 / np.hypot(1, slope), 0.0, slope / np.hypot(1, slope))
    slanting = draw_cut(found, CutPlane((0.0, 0.0, 5.0), right, (0.0, 1.0, 0.0), (400.0, 150.0)))
    level = draw_level(found, 11.0)  # crossed at mid-length
    apart = np.abs(slanting.picture.pixels.astype(int) - level.rings_alone.pixels)[:, :, 1]
    assert apart[:, 395:405].mean() < 0.5 * apart[:, :60].mean()


def test_a_cut_beside_the_board_and_one_that_is_no_plane_are_refused(found: BoardSolid) -> None:
    with pytest.raises(ValueError, match="outside the board of 400 by 150 by 22 mm"):
        draw_cut(found, lay_crosscut(SIZE, 500.0))
    with pytest.raises(ValueError, match="square to each other"):
        CutPlane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.8, 0.6, 0.0), (10.0, 10.0))
