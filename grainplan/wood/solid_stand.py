"""How the rings stand in a board, told by its face and its back alone.

Lines along the grain are followed on each side by itself, which gives one bar code for the face and one for the back,
by place across the board. For a supposed pith both codes become codes of distance from it; where the pith is right they
are the same code, but for shifts that change slowly (a hidden chain of shifts, summed over by the forward algorithm:
Rabiner 1989, doi 10.1109/5.18626), and rings are as wide at one edge as at the other. Many places are tried. Two
sides tell the tilt of the rings well, their curvature roughly, and hardly which side is the bark's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.solid_code import SeenSide, fall_into_step, place_rings, prepare_side
from grainplan.wood.solid_grid import LAYERS, Floats, Layer, NodeGrid, Reals, place_pixels
from grainplan.wood.solid_pith import PithLine
from grainplan.wood.solid_relax import pull_along_lines, read_cells, relax

FAR_MM = 5000.0
"""A pith so far to the side that lines of one ring are lines of one place across."""
STEP_MM = 0.25
DISTANCES_MM = (60.0, 90.0, 130.0, 190.0, 270.0, 400.0, 800.0)
TURN_DEG = 4.0
"""Piths tried: so far from the middle of the board, and in so many directions."""
FINER = ((0.85, 1.0, 1.18), (-2.0, -1.0, 0.0, 1.0, 2.0))
"""Round the best: distances as parts of it, and turns, degrees."""
RIM_MM = 5.0
"""A pith inside the board shows as such and is not sought here."""
FINE_MM, SLOW_MM = 0.3, 5.0
"""Smoothing of the codes, and what is slower than rings."""
FAINT = 0.1
"""Deviation of a code, in those of its side, below which it says nothing."""
MOST_SHIFT_MM, USUAL_SHIFT_MM, WANDER_MM = 2.5, 0.9, 0.25
"""Shift of one code against the other: the most, its deviation, and by how much it changes over a millimetre."""
ALIKE = 0.65
"""Correlation of the codes where they belong together."""
INDEPENDENT_MM = 1.2
"""Length of code that counts as one look."""
LEAST_CODE_MM = 10.0
EVEN, FLATTEST = 0.3, 0.12
"""Deviation of the logarithm of ring widths across a board, and the sine below which waves hide how flat rings lie."""
COOL = 2.0
"""Evidence is divided by this where likelihoods are told, for its looks are not quite independent; drawn boards."""
SAME_DEG = 12.0
"""Directions of the pith that differ by less, or by half a turn, mean the same tilt of the rings."""
RIGHT = 0.85
"""No tilt is told surer than this: of eighteen drawn boards that told one, three told a wrong one."""
LEAST_EVIDENCE, LEAST_LIKELY = 4.0, 0.3
"""Below either, nothing is told: sides of different boards seldom reach the first, nor do sides without lines."""

Values = np.ndarray[tuple[int], np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Stand:
    """A pith that face and back agree with, and how likely the tilt of the rings is the true one, 0 to 1."""

    pith: PithLine
    likely: float

    def tilt_deg(self, y_mm: float, z_mm: float) -> float:
        """Angle between ring and face in the cross-section at a place, 0 flat to 90 quarter."""
        y, z = self.pith.foot_yz_mm
        return float(np.degrees(np.arctan2(abs(y_mm - y), abs(z_mm - z))))


@dataclass(frozen=True, slots=True, eq=False)
class _Strip:
    """One side by place across: mean lightness of its lines, where it was seen, and line counts (places, per mm)."""

    z_mm: float
    values: Values
    seen: np.ndarray[tuple[int], np.dtype[np.bool_]]
    at_mm: Values
    per_mm: Values


@dataclass(frozen=True, slots=True, eq=False)
class _Branch:
    """A code by distance from a supposed pith, of even strength, and where it was seen."""

    values: Values
    seen: np.ndarray[tuple[int], np.dtype[np.bool_]]


def find_stand(sides: Mapping[Layer, Picture], grid: NodeGrid) -> Stand | NotFound:
    """Find the pith that the codes of face and back agree with best.

    Parameters
    ----------
    sides : mapping of side to Picture
        Face and back; others are not looked at.
    grid : NodeGrid
        Of the board, with its thickness.

    Returns
    -------
    Stand or NotFound
        Not found where no tilt of the rings is much likelier than the others.
    """
    broad: tuple[Layer, Layer] = ("face", "back")
    strips = [_read_strip(sides[layer], grid, layer) for layer in broad]
    middle = np.array(grid.size_mm[1:]) / 2.0
    places = [_place(middle, far, turn) for far in DISTANCES_MM for turn in np.arange(0.0, 360.0, TURN_DEG)]
    places = [place for place in places if not _is_inside(place, grid)]
    found = [_judge(strips, place) for place in places]
    best = places[int(np.argmax(found))]
    away = best - middle
    far, turn = float(np.hypot(*away)), float(np.degrees(np.arctan2(away[1], away[0])))
    finer = [_place(middle, far * part, turn + more) for part in FINER[0] for more in FINER[1]]
    finer = [place for place in finer if not _is_inside(place, grid)]
    best = max(finer, key=lambda place: _judge(strips, place))
    belief = np.exp((np.array(found) - max(found)) / COOL)
    turns = np.degrees([np.arctan2(*(place - middle)[::-1]) for place in places])
    off = np.abs((turns - turn + 90.0) % 180.0 - 90.0)
    likely = RIGHT * float(belief[off < SAME_DEG].sum() / belief.sum())
    if max(found) < LEAST_EVIDENCE or likely < LEAST_LIKELY:
        return NotFound(
            "there is no photo of an end, and face and back alone do not tell how the rings stand: "
            "photograph one end at least"
        )
    pith = (float(best[0]), float(best[1]))
    return Stand(PithLine(pith, pith, grid.size_mm[0]), likely)


def _place(middle: Reals, far_mm: float, turn_deg: float) -> Reals:
    turn = np.radians(turn_deg)
    return np.asarray(middle + far_mm * np.array([np.cos(turn), np.sin(turn)]), dtype=np.float64)


def _is_inside(place: Reals, grid: NodeGrid) -> bool:
    return bool((place > -RIM_MM).all() and (place < np.array(grid.size_mm[1:]) + RIM_MM).all())


def _read_strip(picture: Picture, grid: NodeGrid, layer: Layer) -> _Strip:
    """Follow the lines of one side along the board, as if all rings stood upright, and take the mean of each."""
    pith = PithLine((-FAR_MM, 0.0), (-FAR_MM, 0.0), grid.size_mm[0])
    steps, counts = grid.layer_steps(layer), grid.layer_counts(layer)
    at = place_pixels(grid, layer, np.arange(counts[0]) * steps[0], np.arange(counts[1]) * steps[1])
    distance = np.broadcast_to(pith.distance(*at), (counts[1], counts[0]))
    pulls = {layer: pull_along_lines(read_cells(picture, grid, layer), distance, grid, layer)}
    side = prepare_side(picture, grid, layer, pith=pith, calm=pulls[layer].calm)
    nodes = relax(grid, pulls, start=np.zeros(grid.counts), tolerance=1e-4)
    nodes = fall_into_step({layer: side}, grid, pulls, start=nodes)
    return _average_lines(side, place_rings(side, nodes, grid) - FAR_MM, grid)


def _average_lines(side: SeenSide, across_mm: Floats, grid: NodeGrid) -> _Strip:
    """Mean lightness of a side's lines by place across, and how many lines there are to a millimetre."""
    count = int(grid.size_mm[1] / STEP_MM) + 1
    index = np.clip(np.round(across_mm / STEP_MM).astype(int), 0, count - 1).ravel()
    weight = np.bincount(index, minlength=count)
    values = np.bincount(index, side.values.ravel(), count) / (weight + 5.0)
    seen = weight > 0.3 * float(np.median(weight[weight > 0]))
    level = _smooth(values, FINE_MM)
    level = level - _smooth(level, 8.0)
    # Rice's formula: the zero crossings of a line follow from its power and that of its slope.
    crossings = np.sqrt(_smooth(np.gradient(level, STEP_MM) ** 2, 10.0) / (_smooth(level**2, 10.0) + 1e-9))
    at = np.arange(10.0, grid.size_mm[1] - 9.0, 10.0)
    per_mm = np.interp(at, np.arange(count) * STEP_MM, crossings)
    depth = 0.0 if LAYERS[side.layer][1] == 0 else grid.size_mm[2]
    return _Strip(depth, values, seen, at, per_mm)


def _smooth(values: Reals, sigma_mm: float) -> Reals:
    sigma = sigma_mm / STEP_MM
    wide = 2 * int(4.0 * sigma + 0.5) + 1
    smooth = cv2.GaussianBlur(np.atleast_2d(values), (wide, 1), sigma, borderType=cv2.BORDER_REFLECT)
    return np.asarray(smooth, dtype=np.float64).reshape(values.shape)


def _judge(strips: list[_Strip], pith: Reals) -> float:
    """Logarithm of how much likelier the codes are with this pith than without any."""
    branches = _lay_branches(strips, pith)
    pairs = [(one, other) for at, one in enumerate(branches) for other in branches[at + 1 :]]
    return sum(_compare(one, other) for one, other in pairs) + _judge_widths(strips, pith)


def _lay_branches(strips: list[_Strip], pith: Reals) -> list[_Branch]:
    """The codes by distance from the pith: of each side, and of either way from the foot of the perpendicular."""
    parts = []
    for strip in strips:
        across = np.arange(strip.values.size) * STEP_MM - pith[0]
        for mine in (across < 0, across > 0):
            mine &= strip.seen
            if mine.sum() * STEP_MM > LEAST_CODE_MM:
                parts.append((np.hypot(across[mine], pith[1] - strip.z_mm), strip.values[mine]))
    first = min((float(away.min()) for away, _ in parts), default=0.0)
    count = int((max((float(away.max()) for away, _ in parts), default=0.0) - first) / STEP_MM) + 2
    return [_lay_branch(away - first, values, count) for away, values in parts]


def _lay_branch(away_mm: Reals, values: Reals, count: int) -> _Branch:
    index = np.round(away_mm / STEP_MM).astype(int)
    weight = _smooth(np.bincount(index, minlength=count).astype(np.float64), FINE_MM)
    total = _smooth(np.bincount(index, values, count).astype(np.float64), FINE_MM)
    seen = weight > 0.05
    code = np.where(seen, total / np.maximum(weight, 1e-6), 0.0)
    share = _smooth(seen.astype(np.float64), SLOW_MM) + 1e-6
    code = np.where(seen, code - _smooth(code, SLOW_MM) / share, 0.0)
    strength = np.sqrt(_smooth(code * code, SLOW_MM) / share)
    seen &= strength > FAINT
    return _Branch(np.where(seen, code / np.maximum(strength, FAINT), 0.0), seen)


def _compare(one: _Branch, other: _Branch) -> float:
    """Log likelihood ratio of two codes being one, summed over all slowly changing shifts."""
    reach, block = round(MOST_SHIFT_MM / STEP_MM), round(1.0 / STEP_MM)
    values, seen = (np.pad(part, reach) for part in (other.values, other.seen))
    size = one.values.size // block * block
    if size < LEAST_CODE_MM / STEP_MM:
        return 0.0
    slots = np.arange(size)[:, None] + np.arange(2 * reach + 1)[None]
    mine = one.values[:size, None]
    theirs, both = values[slots], seen[slots] & one.seen[:size, None]
    gain = -0.5 * np.log(1 - ALIKE**2) - (ALIKE**2 * (mine**2 + theirs**2) - 2 * ALIKE * mine * theirs) / (
        2 * (1 - ALIKE**2)
    )
    steps = (both * gain).reshape(-1, block, 2 * reach + 1).sum(axis=1) * (STEP_MM / INDEPENDENT_MM)
    steps = steps[both.reshape(-1, block, 2 * reach + 1).any(axis=(1, 2))]
    return _sum_shifts(steps) if len(steps) >= LEAST_CODE_MM else 0.0


def _sum_shifts(steps: Reals) -> float:
    """Logarithm of the mean, over all chains of shifts, of what their steps give."""
    shifts = (np.arange(steps.shape[1]) - steps.shape[1] // 2) * STEP_MM
    usual = np.exp(-0.5 * (shifts / USUAL_SHIFT_MM) ** 2)
    change = np.exp(-0.5 * ((shifts[:, None] - shifts[None]) / WANDER_MM) ** 2) * usual[None]
    change /= change.sum(axis=1, keepdims=True)
    most = steps.max(axis=1)
    belief, total = usual / usual.sum(), float(most.sum())
    for gains in np.exp(steps - most[:, None]):
        belief = (belief @ change) * gains
        whole = float(belief.sum())
        total += np.log(whole)
        belief /= whole
    return float(total)


def _judge_widths(strips: list[_Strip], pith: Reals) -> float:
    """Rings are about as wide everywhere: what their lines' distance across says of how steep they stand."""
    found = []
    for strip in strips:
        across = strip.at_mm - pith[0]
        sine = across / np.hypot(across, pith[1] - strip.z_mm)
        found.append(np.log(strip.per_mm / np.hypot(sine, FLATTEST)))
    widths = np.concatenate(found)
    off = (widths - np.median(widths)) / EVEN
    return -0.25 * float(np.minimum(off * off, 9.0).sum())  # half, since neighbours look at the same lines
