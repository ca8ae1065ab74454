"""The figure of the wood: how far apart its rings stand, and how its fibres run out of the surface."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Pith
from grainplan.errors import NotFound
from grainplan.measured import Measured
from grainplan.picture import Picture
from grainplan.wood.orient import even_out
from grainplan.wood.pith import trace_ring_lines

PROBE_MM = 14.0
"""How far along a normal the rings are counted, either way: three rings of the widest wood."""
PROBE_STEP_MM = 0.25
CLEAR = 0.05
"""How far from the middle lightness must swing to count, in deviations."""
MISSED_LINES = 0.5
"""Faint and narrow rings that a probe passes without counting them; set on drawn boards."""
PROBE_REACH_MM = 3.0


def measure_ring_spacing(end: Picture) -> Measured | NotFound:
    """Mean width of a ring in the cross-section, square to the rings, mm.

    Dark lines are counted along many short normals; a line counts when lightness has first risen clear of the middle
    and then fallen clear below it, so that fine streaks do not count.
    """
    lines = trace_ring_lines(end, step_mm=1.5)
    strong = lines.weight > 0.3 * lines.weight.max()
    if strong.sum() < 10:
        return NotFound("the photo of the end shows no ring lines")
    probe, inside = _read_probes(end, lines.places[strong], lines.along[strong])
    light = np.zeros(probe.shape[0], dtype=bool)
    count = np.zeros(probe.shape[0])
    for step in range(probe.shape[1]):
        here = inside[:, step]
        count += here & light & (probe[:, step] < -CLEAR)
        light = np.where(here & (probe[:, step] < -CLEAR), False, light | (here & (probe[:, step] > CLEAR)))
    length = float(inside.sum()) * PROBE_STEP_MM
    rings = float(count.sum()) + MISSED_LINES * float(strong.sum())
    if count.sum() < 0.5 * strong.sum():
        return NotFound("too few rings cross the end to tell their spacing")
    spacing = length / rings
    return Measured(spacing, 0.2 * spacing)


def _read_probes(
    end: Picture, places: NDArray[np.float64], along: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Evened lightness along the normal of each place, averaged a little along the ring line; and where it is read."""
    density = end.px_per_mm
    values = cv2.GaussianBlur(even_out(end.lightness(), density, reach_mm=PROBE_REACH_MM), (0, 0), 0.2 * density)
    steps = np.arange(-PROBE_MM, PROBE_MM + 1e-6, PROBE_STEP_MM)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    total = np.zeros((places.shape[0], steps.size))
    inside = np.ones(total.shape, dtype=bool)
    for shift in (-0.7, 0.0, 0.7):
        at = (places + shift * along)[:, None, :] + steps[None, :, None] * normal[:, None, :]
        column, row = ((at[..., axis] * density).astype(int) for axis in (0, 1))
        inside &= (at > 0).all(axis=2) & (column < values.shape[1]) & (row < values.shape[0])
        total += values[np.clip(row, 0, values.shape[0] - 1), np.clip(column, 0, values.shape[1] - 1)]
    return total / 3.0, inside


def find_run_out(pith: Pith, length_mm: float) -> Measured | NotFound:
    """The angle at which fibres dive into the board from foot to head, and its doubt, degrees.

    Parameters
    ----------
    pith : Pith
        Both ends must be known.
    length_mm : float

    Returns
    -------
    Measured or NotFound
        Positive where the fibres run away from the face side on their way to the head.

    Notes
    -----
    Fibres are taken as parallel to the pith: tan φ = (z_head − z_foot) / length, plain geometry. Spiral grain and the
    bends round knots are not in it. The doubts of both ends add as squares.
    """
    if pith.foot_yz_mm is None or pith.head_yz_mm is None:
        return NotFound("the fibres' run-out takes the pith at both ends; photograph both ends of the board")
    slope = (pith.head_yz_mm[1] - pith.foot_yz_mm[1]) / length_mm
    doubt = math.hypot(pith.doubt_mm, pith.doubt_mm) / length_mm
    return Measured(math.degrees(math.atan(slope)), math.degrees(math.atan(doubt)))
