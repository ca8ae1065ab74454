"""A branch in a board: a cone from the pith outward, and how the rings climb along it.

A ring grows over stem and branch in one; close to a branch it therefore lies further from the pith than elsewhere, the
more the nearer (Wood Handbook, FPL-GTR-190, chapter 5, describes the grain that parts round a knot).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Values = NDArray[np.floating]
CLIMB = 1.0
"""How far a ring climbs beside a branch, in radii of it; held to the drawn boards, no published figure is known."""
CORE, REACH = 0.8, 0.9
"""Distances from the axis, in radii: to where the climb is full, and the deviation with which it fades."""
STUB_MM = 0.5
"""Radius at the pith."""


@dataclass(frozen=True, slots=True)
class Cone:
    """One branch.

    Parameters
    ----------
    start_mm : three floats
        Where it begins: x along the board, and y and z from the pith there.
    way : three floats
        Unit vector along the branch: x, y, z of the board frame.
    spread : float
        Millimetres of radius for each millimetre along the branch.
    end_mm : float
        How far along the branch its wood is believed to go on; beyond, it is overgrown.
    flow : float
        0: rings climb beside it by a hump of fixed form. Else, how abruptly the coats of stem and branch flow into one,
        where both were fitted together: 2 slowly, 5 abruptly.
    """

    start_mm: tuple[float, float, float]
    way: tuple[float, float, float]
    spread: float
    end_mm: float = float("inf")
    flow: float = 0.0

    def radius(self, along_mm: Values) -> Reals:
        """Radius at a distance along the branch, mm."""
        return np.asarray(STUB_MM + self.spread * np.maximum(along_mm, 1.0), dtype=np.float64)

    def measure(self, x_mm: Values, across_mm: Values, down_mm: Values) -> Spot:
        """Where places lie to the branch; `across_mm` and `down_mm` are their y and z from the pith."""
        dx, dy, dz = x_mm - self.start_mm[0], across_mm - self.start_mm[1], down_mm - self.start_mm[2]
        along = dx * self.way[0] + dy * self.way[1] + dz * self.way[2]
        off = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - along * along, 0.0))
        here = (along > 0) & (along < self.end_mm)
        if self.flow:  # behind its beginning it ends round, without a step
            off = np.where(along > 0, off, np.sqrt(dx * dx + dy * dy + dz * dz))
            here = along < self.end_mm
        return Spot(
            np.asarray(along, dtype=np.float64),
            np.asarray(np.where(here, off / self.radius(along), np.inf), dtype=np.float64),
        )

    def climb(self, spot: Spot, away_mm: Values) -> Reals:
        """How far the rings are lifted at places, mm: their distance from the pith is that of a ring so much nearer.

        With a `flow`, stem and branch are one growth: the branch's coats, thinner by its spread, join the stem's.
        """
        if self.flow:
            own = np.maximum(spot.share * self.radius(spot.along_mm) / self.spread, 1e-3)
            stem = np.maximum(away_mm, 1e-3)
            return np.asarray(stem - stem * (1.0 + (stem / own) ** self.flow) ** (-1.0 / self.flow), dtype=np.float64)
        fade = np.exp(-0.5 * (np.maximum(spot.share - CORE, 0.0) / REACH) ** 2)
        return np.asarray(CLIMB * self.radius(spot.along_mm) * fade, dtype=np.float64)

    def reach(self, farthest_mm: float) -> tuple[float, float]:
        """From where to where along the board it bends rings that lie no further than this from the pith."""
        if self.flow:
            return -np.inf, np.inf
        along = min(farthest_mm / max(np.sqrt(1.0 - self.way[0] ** 2), 0.2), self.end_mm)
        beside = (CORE + 3.0 * REACH) * float(self.radius(np.array(along)))
        tip = self.start_mm[0] + along * self.way[0]
        return min(self.start_mm[0], tip) - beside, max(self.start_mm[0], tip) + beside


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """Places beside a branch: distance along it, mm, and distance from its axis in radii (inf where it is not)."""

    along_mm: Reals
    share: Reals
