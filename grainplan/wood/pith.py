"""Where the middle of the tree was, read from the end of a board.

Ring lines are circles about the pith to first order, so the normals of the lines meet there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.orient import even_out, measure_direction, measure_tensor

Reals = NDArray[np.float64]
SEARCH_MM = 320.0
"""How far beyond the board the pith is sought."""
OUTLIER = 0.2
"""Sine of the angle between line and circle from which a place counts as disturbed."""
KINK_AREA_MM2 = 220.0
"""Area of an end over which the bends of the rings hang together; found on drawn boards, for the doubt alone."""
WORST_DOUBT = 0.35
"""Doubt of the pith's distance, as a part of it, beyond which the rings say too little about it."""


@dataclass(frozen=True, slots=True)
class PithPlace:
    """The pith at one end of a board.

    Parameters
    ----------
    y_mm, z_mm : float
        Place in the plane of the end, board frame; it may lie outside the board.
    doubt_mm : float
        Half width of the range that holds its distance about 19 times in 20.
    """

    y_mm: float
    z_mm: float
    doubt_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class RingLines:
    """Places on an end with the direction of the ring line there.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        y and z, mm.
    along : ndarray, shape (n, 2)
        Unit vectors along the ring line.
    weight : ndarray, shape (n,)
        0 to 1.
    """

    places: Reals
    along: Reals
    weight: Reals


def trace_ring_lines(end: Picture, *, step_mm: float = 1.0) -> RingLines:
    """Directions of the ring lines over the end of a board, on a grid."""
    density = end.px_per_mm
    field = measure_direction(end)
    tensor = measure_tensor(even_out(end.lightness(), density), density)
    strength = np.minimum(tensor.columns + tensor.rows, 1.0)
    step = max(1, round(step_mm * density))
    edge = min(round(0.5 * density), min(field.sure.shape) // 4)
    rows, columns = np.mgrid[edge : field.sure.shape[0] - edge : step, edge : field.sure.shape[1] - edge : step]
    angle = np.radians(field.angle_deg[rows, columns].ravel().astype(np.float64))
    places = np.stack([(columns.ravel() + 0.5) / density, (rows.ravel() + 0.5) / density], axis=1)
    weight = (field.sure[rows, columns] ** 2 * strength[rows, columns]).ravel().astype(np.float64)
    return RingLines(places, np.stack([np.cos(angle), np.sin(angle)], axis=1), weight)


def join_ring_lines(ends: Sequence[RingLines]) -> RingLines:
    """The ring lines of both ends, laid upon each other."""
    return RingLines(
        np.concatenate([end.places for end in ends]),
        np.concatenate([end.along for end in ends]),
        np.concatenate([end.weight for end in ends]),
    )


def find_pith(end: Picture) -> PithPlace | NotFound:
    """Find the pith on the photo of an end, from the directions of the ring lines alone.

    Parameters
    ----------
    end : Picture
        Foot or head in the board frame: columns y, rows z.

    Returns
    -------
    PithPlace or NotFound
        Not found where no ring lines are seen or where they curve too little to tell how far off the pith is.
    """
    return find_pith_of_lines(trace_ring_lines(end), size_mm=(end.width_mm, end.height_mm))


def find_pith_of_lines(lines: RingLines, *, size_mm: tuple[float, float]) -> PithPlace | NotFound:
    """Find the point that all normals of the ring lines pass by most closely; several starts, robust to knots."""
    if lines.places.shape[0] < 20 or lines.weight.sum() < 5.0:
        return NotFound("the photo of the end shows no ring lines")
    results = [_improve_centre(lines, start) for start in list_starts(lines, size_mm)]
    centre, _, information = min(results, key=lambda result: result[1])
    middle = np.array(size_mm) / 2.0
    distance = float(np.hypot(*(centre - middle)))
    misfit = _measure_misfit(lines, centre)
    area = size_mm[0] * size_mm[1]
    independent = max(area / KINK_AREA_MM2, 2.0)
    spread = np.linalg.inv(information / lines.weight.sum() * independent + 1e-12 * np.eye(2)) * misfit**2
    doubt = 2.0 * float(np.sqrt(np.linalg.eigvalsh(spread)[-1]))
    if doubt > WORST_DOUBT * max(distance, 40.0) or distance > 1.5 * SEARCH_MM + max(size_mm) / 2:
        return NotFound("the rings on the end curve too little to tell how far away the pith is")
    return PithPlace(float(centre[0]), float(centre[1]), doubt)


def list_starts(lines: RingLines, size_mm: tuple[float, float]) -> list[Reals]:
    """The best places of a coarse search over and round the end."""
    pick = np.random.default_rng(0).permutation(lines.places.shape[0])[:300]
    places, along, weight = lines.places[pick], lines.along[pick], lines.weight[pick]
    y = np.arange(-SEARCH_MM, size_mm[0] + SEARCH_MM, 16.0)
    z = np.arange(-SEARCH_MM, size_mm[1] + SEARCH_MM, 16.0)
    centres = np.stack(np.meshgrid(y, z), axis=-1).reshape(-1, 1, 2)
    away = places[None] - centres
    sine = (away * along[None]).sum(axis=2) / (np.linalg.norm(away, axis=2) + 1e-6)
    cost = (np.log1p((sine / OUTLIER) ** 2) @ weight / weight.sum()).reshape(z.size, y.size)
    lowest = cv2.erode(cost, np.ones((3, 3), np.uint8))
    found = np.argwhere(cost <= lowest)
    order = np.argsort(cost[found[:, 0], found[:, 1]])[:6]
    return [np.array([y[column], z[row]]) for row, column in found[order]]


def _weigh(lines: RingLines, centre: Reals) -> tuple[Reals, Reals, float]:
    """Sine of the angle between line and circle at each place, its derivative by the centre, and the cost."""
    away = lines.places - centre
    distance = np.linalg.norm(away, axis=1) + 1e-6
    unit = away / distance[:, None]
    sine = (lines.along * unit).sum(axis=1)
    slope = -(lines.along - sine[:, None] * unit) / distance[:, None]
    cost = float(np.log1p((sine / OUTLIER) ** 2) @ lines.weight / lines.weight.sum())
    return sine, slope, cost


def _measure_misfit(lines: RingLines, centre: Reals) -> float:
    """Robust root mean square of the sine."""
    sine, _, _ = _weigh(lines, centre)
    keep = lines.weight / (1.0 + (sine / OUTLIER) ** 2)
    return float(np.sqrt((keep * sine**2).sum() / keep.sum()))


def _improve_centre(lines: RingLines, start: Reals) -> tuple[Reals, float, Reals]:
    """Damped least squares with Cauchy weights; the centre, its cost, and the information matrix."""
    centre = start.astype(np.float64)
    sine, slope, cost = _weigh(lines, centre)
    damping = 1e-3
    information = np.eye(2)
    for _ in range(40):
        keep = lines.weight / (1.0 + (sine / OUTLIER) ** 2)
        information = (slope * keep[:, None]).T @ slope
        pull = (slope * keep[:, None]).T @ sine
        move = -np.linalg.solve(information + damping * np.diag(np.diag(information)) + 1e-12 * np.eye(2), pull)
        trial = _weigh(lines, centre + move)
        if trial[2] < cost:
            centre, (sine, slope, cost) = centre + move, trial
            damping = max(damping / 5.0, 1e-5)
            if float(np.abs(move).max()) < 0.02:
                break
        else:
            damping *= 8.0
            if damping > 1e6:
                break
    return centre, cost, information
