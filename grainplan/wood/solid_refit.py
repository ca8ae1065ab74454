"""The pith placed anew, once the rings are placed on all sides.

The directions of ring lines tell the pith only roughly. Rings that are known again from side to side tell it better: it
is the straight line that their places keep their distance from, but for the tree's own bends, which hang together over
a known way (generalised least squares; the bends are those of :mod:`solid_fill`).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from grainplan.wood.solid_fill import PARTS
from grainplan.wood.solid_grid import LAYERS, Layer, NodeGrid, Reals, place_pixels, take_layer
from grainplan.wood.solid_pith import LEAN_MM, PithLine

SAMPLE_MM = (110.0, 14.0, 6.0)
"""Distance of the places that are compared, along, across and through: nearer ones bend alike."""
READ_MM = 0.3
"""Deviation of one ring place read on a side, for itself."""
STARTS_MM = (100.0, 170.0, 300.0, 500.0, 900.0)
"""Distances of the pith that are tried, beside the one told by the lines."""
FREE = (50.0, 0.15, 0.3)
"""Deviations of what ring places do not tell by themselves: where they begin (mm), their scale, and how the scale
changes from one edge of the rings seen to the other."""
WORST_DOUBT = 0.3
"""Doubt of the distance, one deviation as a part of it, beyond which the pith stays where the lines put it."""
ROUNDS = 25


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Places on the sides (n, 3), their rings, mm, and what makes their bends independent of each other."""

    share: Reals
    yz_mm: Reals
    ring_mm: Reals
    whiten: Reals


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A pith (mean y and z, half lean in y and z), its cost, and the normal equations of the next step."""

    guess: Reals
    cost: float
    information: Reals
    pull: Reals


def refit_pith(nodes: Reals, grid: NodeGrid, pith: PithLine, *, seen: Collection[Layer], height_mm: float) -> PithLine:
    """Place the pith by the rings that were placed on all sides.

    Parameters
    ----------
    nodes : ndarray, shape of the grid
        Distortion against `pith`, mm; only its values on the sides that are `seen` are used.
    grid : NodeGrid
    pith : PithLine
        As the lines on the sides tell it.
    seen : collection of sides
    height_mm : float
        Deviation of the bends.

    Returns
    -------
    PithLine
        Without branches; the same where the rings do not tell better.
    """
    plain = replace(pith, cones=())
    places = _gather(nodes, grid, plain, seen, height_mm)
    foot, head = np.array(pith.foot_yz_mm), np.array(pith.head_yz_mm)
    middle = np.array(grid.size_mm[1:]) / 2.0
    away = (foot + head) / 2.0 - middle
    told = float(np.hypot(*away))
    starts = [middle + away * (distance / max(told, 1.0)) for distance in (told, *STARTS_MM)]
    found = [_improve(places, np.concatenate([start, (foot - head) / 2.0])) for start in starts]
    best = min(found, key=lambda trial: trial.cost)
    way = best.guess[:2] - middle
    distance = max(float(np.hypot(*way)), 1.0)
    spread = np.linalg.inv(best.information + 1e-9 * np.eye(4))[:2, :2]
    if float(np.sqrt(way @ spread @ way)) > WORST_DOUBT * distance**2:
        return plain
    y, z, lean_y, lean_z = (float(value) for value in best.guess)
    return PithLine((y + lean_y, z + lean_z), (y - lean_y, z - lean_z), grid.size_mm[0])


def move_pith(nodes: Reals, grid: NodeGrid, old: PithLine, new: PithLine) -> Reals:
    """The distortion against another pith that leaves all rings where they are."""
    x, y, z = np.meshgrid(*(np.arange(n) * d for n, d in zip(grid.counts, grid.step_mm, strict=True)), indexing="ij")
    moved: list[Reals] = [replace(pith, cones=()).distance(x, y, z) for pith in (old, new)]
    return np.asarray(nodes + moved[0] - moved[1], dtype=np.float64)


def _gather(nodes: Reals, grid: NodeGrid, pith: PithLine, seen: Collection[Layer], height_mm: float) -> _Places:
    places, rings = [], []
    for layer in seen:
        picks = []
        for axis in grid.axes(layer):
            count = max(3, round(grid.size_mm[axis] / SAMPLE_MM[axis]) + 1)
            picks.append(np.unique(np.linspace(0, grid.counts[axis] - 1, count).round().astype(int)))
        columns, rows = picks
        if LAYERS[layer][0] != 2:
            rows = rows[1:-1]  # the rims are those of the broad sides
        steps = grid.layer_steps(layer)
        at = place_pixels(grid, layer, columns * steps[0], rows * steps[1])
        bend = take_layer(nodes, layer)[np.ix_(rows, columns)]
        rings.append((pith.distance(*at) + bend).ravel())
        places.append(np.stack([np.broadcast_to(values, bend.shape).ravel() for values in at], axis=1))
    where = np.concatenate(places)
    alike = np.zeros((len(where), len(where)))
    for share, reach in PARTS:
        scaled = where / np.array(reach)
        square = (scaled**2).sum(axis=1)
        alike += share * np.exp(-0.5 * np.maximum(square[:, None] + square[None] - 2.0 * scaled @ scaled.T, 0.0))
    spread = height_mm**2 * alike + READ_MM**2 * np.eye(len(where))
    whiten = np.linalg.inv(np.linalg.cholesky(spread))
    return _Places(1.0 - 2.0 * where[:, 0] / grid.size_mm[0], where[:, 1:], np.concatenate(rings), whiten)


def _try(places: _Places, guess: Reals) -> _Trial:
    """Compare the rings with their distance from a pith, what they leave open (see `FREE`) fitted by the way."""
    off = places.yz_mm - (guess[:2] + places.share[:, None] * guess[2:])
    away = np.hypot(off[:, 0], off[:, 1]) + 1e-6
    reach = away - away.mean()
    free = np.stack([np.ones_like(reach), reach, reach**2 / max(float(np.abs(reach).max()), 1.0)], axis=1)
    unit = off / away[:, None]
    slope = np.concatenate([unit, places.share[:, None] * unit], axis=1)  # of the misfit, by the guess
    misfit, free, slope = (places.whiten @ values for values in (places.ring_mm - away, free, slope))
    held = np.diag(1.0 / np.array(FREE) ** 2)
    inner = free.T @ free + held
    factors = np.linalg.solve(inner, free.T @ misfit)
    rest = misfit - free @ factors
    slope = slope * (1.0 + factors[1])
    steep = slope - free @ np.linalg.solve(inner, free.T @ slope)
    lean = np.array([0.0, 0.0, 1.0, 1.0]) / LEAN_MM**2
    cost = float(rest @ rest + factors @ held @ factors + (lean * guess**2).sum())
    return _Trial(guess, cost, slope.T @ steep + np.diag(lean), steep.T @ rest + lean * guess)


def _improve(places: _Places, start: Reals) -> _Trial:
    """Damped least squares."""
    best, damping = _try(places, start), 1e-3
    for _ in range(ROUNDS):
        held = best.information + damping * np.diag(np.diag(best.information)) + 1e-9 * np.eye(4)
        trial = _try(places, best.guess - np.linalg.solve(held, best.pull))
        if trial.cost < best.cost:
            gain = best.cost - trial.cost
            best, damping = trial, max(damping / 5.0, 1e-6)
            if gain < 1e-3:
                break
        else:
            damping *= 8.0
            if damping > 1e6:
                break
    return best
