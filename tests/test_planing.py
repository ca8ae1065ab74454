"""Planing arrows against the fibres of drawn boards, and against a picture in the mind."""

from __future__ import annotations

import numpy as np
import pytest

from grainplan.boards import Leaf, Pith
from grainplan.errors import NotFound
from grainplan.match.planing import PlaningArrow, point_arrows
from grainplan.measured import Measured
from grainplan.wood.figure import find_run_out
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import PithLine, Plane, locate

A1 = Leaf("A", 1)


def follow_fibre(pith: PithLine, start: tuple[float, float], ends: tuple[float, float]) -> float:
    """How much deeper the fibre through (y, z) at x = ends[0] lies at x = ends[1], mm: same ring, same place round."""
    solid = grow_board(
        1, Growth(length_mm=1000.0, width_mm=150.0, thickness_mm=40.0, pith=pith, wave_mm=0.0, ring_variation=0.0)
    )
    here = locate(solid, Plane("x", ends[0], 4.0))
    there = locate(solid, Plane("x", ends[1], 4.0))
    row, column = round(start[1] * 4), round(start[0] * 4)
    off = (there.rho_mm - here.rho_mm[row, column]) ** 2 + (there.tau_mm - here.tau_mm[row, column]) ** 2
    found = np.unravel_index(int(off.argmin()), off.shape)[0]
    return (int(found) - row) / 4.0


@pytest.mark.parametrize("lean_mm", [30.0, -24.0])
def test_the_run_out_is_that_of_drawn_fibres(lean_mm: float) -> None:
    """A fibre followed through the drawn solid for 200 mm dives as far as the angle says."""
    drawn = PithLine(60.0, 100.0 - lean_mm / 2, 60.0, 100.0 + lean_mm / 2)
    dive = follow_fibre(drawn, (90.0, 20.0), (400.0, 600.0))
    found = find_run_out(Pith((60.0, 100.0 - lean_mm / 2), (60.0, 100.0 + lean_mm / 2), 3.0), 1000.0)
    assert isinstance(found, Measured)
    assert 200.0 * np.tan(np.radians(found.value)) == pytest.approx(dive, abs=0.5)
    assert found.doubt == pytest.approx(np.degrees(np.arctan(np.hypot(3.0, 3.0) / 1000.0)))


def test_the_cutter_travels_where_fibres_climb() -> None:
    """Fibres that dive from the face toward the head climb to the near surface toward the foot (common practice: plane
    with the grain rising ahead of the cutter).
    """
    arrows = point_arrows(Pith((60.0, 80.0), (60.0, 120.0), 6.0), 1000.0, [A1, Leaf("A", 2)])
    assert [a.sentence for a in arrows[:2]] == ["A1 near: plane toward the foot", "A1 far: plane toward the head"]
    assert len(arrows) == 4
    other = point_arrows(Pith((60.0, 120.0), (60.0, 80.0), 6.0), 1000.0, [A1])
    assert [a.toward for a in other] == ["head", "foot"]
    assert isinstance(other[0], PlaningArrow)
    assert other[0].run_out_deg == pytest.approx(2.29, abs=0.01)


def test_what_cannot_be_told_is_said() -> None:
    straight = point_arrows(Pith((60.0, 80.0), (60.0, 84.0), 6.0), 1800.0, [A1])
    assert isinstance(straight, NotFound)
    assert "lean by 0.1° give or take 0.3°" in straight.reason
    assert isinstance(point_arrows(Pith((60.0, 80.0), None, 6.0), 1800.0, [A1]), NotFound)
