"""The pith placed anew by placed rings, and how the rings stand without a photo of an end."""

from __future__ import annotations

import numpy as np
import pytest

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, fit_solid
from grainplan.wood.solid_grid import lay_grid
from grainplan.wood.solid_pith import PithLine
from grainplan.wood.solid_refit import move_pith, refit_pith
from grainplan.wood.solid_stand import RIGHT, Stand, find_stand
from tests.drawn.compare import judge_level
from tests.drawn.flat import grow_any, photograph_flat, show_depth
from tests.drawn.solid import Solid

UNSEEN = tuple(range(4100, 4104))
LENGTH_MM = 700.0


@pytest.mark.parametrize("true_yz", [(40.0, 90.0), (-60.0, -80.0), (210.0, 120.0)])
def test_circles_tell_their_middle(true_yz: tuple[float, float]) -> None:
    """Rings that are circles, given as bends of circles about another place, lead back to their own."""
    grid = lay_grid((600.0, 150.0, 22.0))
    true = PithLine(true_yz, (true_yz[0] + 6.0, true_yz[1] - 8.0), 600.0)
    wrong = PithLine((true_yz[0] * 1.2, true_yz[1] * 1.3), (true_yz[0] * 1.2, true_yz[1] * 1.3), 600.0)
    nodes = move_pith(np.zeros(grid.counts), grid, true, wrong)
    found = refit_pith(nodes, grid, wrong, seen=("face", "back", "foot", "head"), height_mm=0.5)
    for mine, theirs in ((found.foot_yz_mm, true.foot_yz_mm), (found.head_yz_mm, true.head_yz_mm)):
        assert np.hypot(*np.subtract(mine, theirs)) < 0.03 * np.hypot(*np.subtract(theirs, (75.0, 11.0)))


def test_another_pith_leaves_the_rings_where_they_are() -> None:
    grid = lay_grid((300.0, 120.0, 22.0))
    old, new = PithLine((40.0, 80.0), (44.0, 82.0), 300.0), PithLine((50.0, 70.0), (50.0, 75.0), 300.0)
    nodes = np.random.default_rng(3).normal(size=grid.counts)
    back = move_pith(move_pith(nodes, grid, old, new), grid, new, old)
    np.testing.assert_allclose(back, nodes, atol=1e-9)


@pytest.fixture(scope="module")
def endless() -> list[tuple[Solid, dict[str, Picture]]]:
    boards = [grow_any(seed, length_mm=LENGTH_MM) for seed in UNSEEN]
    return [(board, {side: photograph_flat(board, side) for side in ("face", "back")}) for board in boards]


def test_face_and_back_tell_how_the_rings_stand(endless: list[tuple[Solid, dict[str, Picture]]]) -> None:
    """The tilt in the middle of the board: right for most, and never told for certain."""
    misses = []
    for board, sides in endless:
        grid = lay_grid((sides["face"].width_mm, sides["face"].height_mm, board.thickness_mm))
        found = find_stand(sides, grid)  # type: ignore[arg-type]
        middle = board.width_mm / 2, board.thickness_mm / 2
        line = board.pith
        pith = (line.y_foot_mm + line.y_head_mm) / 2, (line.z_foot_mm + line.z_head_mm) / 2
        true = np.degrees(np.arctan2(abs(middle[0] - pith[0]), abs(middle[1] - pith[1])))
        if isinstance(found, Stand):
            misses.append(abs(found.tilt_deg(*middle) - true))
            assert found.likely <= RIGHT
    assert len(misses) >= 2
    assert np.mean(np.array(misses) < 12) >= 0.5
    assert np.median(misses) < 8


def test_no_end_is_told_and_no_pretence_is_made(endless: list[tuple[Solid, dict[str, Picture]]]) -> None:
    reached, told = [], []
    for board, sides in endless:
        found = fit_solid(sides, thickness_mm=board.thickness_mm)  # type: ignore[arg-type]
        if isinstance(found, NotFound):
            assert "photograph one end" in found.reason
            continue
        assert isinstance(found, BoardSolid)
        assert any("undetermined" in caveat for caveat in found.caveats)
        agreement, _, promise = judge_level(found, show_depth(board, 11.0), 11.0)
        reached.append(agreement)
        told.append(promise)
        assert promise < agreement + 0.25
    assert np.mean(told) < np.mean(reached) + 0.1
    assert max(reached) > 0.4


def test_sides_without_lines_tell_nothing() -> None:
    rng = np.random.default_rng(5)
    noise = {side: Picture(rng.integers(120, 180, (240, 800, 3), dtype=np.uint8), 2.0) for side in ("face", "back")}
    assert isinstance(fit_solid(noise, thickness_mm=22.0), NotFound)  # type: ignore[arg-type]
