"""Flaws that the program proposes on a broad side. The maker has the last word.

Knots and wane are found here; dark streaks along the grain (checks, pith, pitch pockets), fine checks and stains in
rooms of their own, sapwood in another, since its border is sought on all sides of a board together.

The knot weights were fitted to the labels of 16 frames and two boards of sawn softwood (Kodytek, Bodzas, Bilik 2021,
doi 10.5281/zenodo.4694695, CC BY 4.0), as a logistic regression over the pixels; a third board was kept apart.
"""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np

from grainplan.boards import Flaw
from grainplan.geometry import Box, Floats, list_runs
from grainplan.picture import Picture
from grainplan.wood.checks import find_checks
from grainplan.wood.stain import find_stains
from grainplan.wood.streaks import find_streaks

_PX_PER_MM = 2.0  # at which the weights were fitted
# Deviation in L*, a*, b* from the wood around, smoothed over 0.5, 1.25 and 3 mm; then, over 1.5 and 4 mm, the logarithm
# of the brightness change along the grain, and that of its ratio to the change across it.
_KNOT_WEIGHTS = (
    (-0.0273, 0.0150, 0.0431),
    (-0.0207, -0.2599, 0.0319),
    (-0.1639, 1.7469, -1.7616),
    (0.6355, 0.4267),
    (1.8767, 0.3499),
)
_KNOT_BIAS = -3.752
_KNOT_RIM = 2.0  # score at which a knot ends, and
_KNOT_LEAST = 3.5  # which its middle must reach
_LEAST_MM2 = 1.5
_AROUND_MM = 42.0  # window of the median that stands for the wood around
_NARROWEST, _WIDEST = 0.2, 1.9  # length over width of the core; longer ones are the tips of cathedrals and streaks
_END_MM = 4.0  # the saw's own marks at the very ends
_WITHIN = 0.7  # of a spot, in a stain: then it is part of it
_WANE_SHARE = 0.45  # of the wood's lightness: below that it is background, seen past the edge
_WANE_LEAST_MM = (25.0, 3.0)


def propose_flaws(picture: Picture, on: Literal["face", "back"], *, known: tuple[Flaw, ...] = ()) -> tuple[Flaw, ...]:
    """Propose flaws on a flattened broad side.

    Parameters
    ----------
    picture : Picture
        The face or the back, in the board frame.
    on : {"face", "back"}
        Which of the two.
    known : tuple of Flaw
        The maker's own: where one of them lies on this side, nothing is proposed.

    Returns
    -------
    tuple of Flaw
        ``found_by="program"``, ``avoid=False`` until the maker accepts it, with a confidence from 0 to 1: on the boards
        that the weights were fitted to, about that share of the proposals touched a labelled flaw.
    """
    pixels, density = picture.pixels, picture.px_per_mm
    scale = _PX_PER_MM / density
    if abs(scale - 1) > 1e-6:
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
        pixels = np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=how), np.uint8)
    lab = np.asarray(cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2Lab), np.float32)
    around = _find_around(lab)
    wane, knots = _find_wane(lab, on), _find_knots(lab, around, on)
    streaks = find_streaks(lab, around, on, knots=knots)
    small = [*knots, *_name_lines(streaks, find_checks(pixels, on, others=knots))]
    stains = find_stains(pixels, _PX_PER_MM, on, small=small)
    found = [*wane, *stains, *(f for f in small if not any(_is_of(f, s, picture.height_mm) for s in stains))]
    mine = (*(f for f in known if f.found_by == "maker"), *wane)
    return tuple(f for f in found if f in wane or not any(own.answers(f) for own in mine))


def score_knots(lab: Floats, around: Floats) -> Floats:
    """How much every pixel looks like a knot: the logarithm of the odds, at 2 px/mm.

    Parameters
    ----------
    lab, around : ndarray, shape (rows, columns, 3)
        CIE L*a*b*, and that of the wood around each place.
    """
    off = lab - around
    score = np.full(lab.shape[:2], _KNOT_BIAS, np.float32)
    for sigma, weights in zip((1.0, 2.5, 6.0), _KNOT_WEIGHTS[:3], strict=True):
        score += cv2.GaussianBlur(off, (0, 0), sigma) @ np.array(weights, np.float32)
    light = cv2.GaussianBlur(np.ascontiguousarray(lab[:, :, 0]), (0, 0), 1.0)
    across, along = (np.asarray(g, np.float32) ** 2 for g in np.gradient(light))
    for sigma, (change, ratio) in zip((3.0, 8.0), _KNOT_WEIGHTS[3:], strict=True):
        one, other = (cv2.GaussianBlur(g, (0, 0), sigma) + np.float32(0.02) for g in (along, across))
        score += np.float32(change) * np.log(one) + np.float32(ratio) * np.log(one / other)
    return np.asarray(cv2.GaussianBlur(score, (0, 0), 1.0))


def _find_around(lab: Floats) -> Floats:
    """The colour of the wood around each place, knots left out: a median over some 40 mm, on a small copy."""
    small = cv2.resize(lab, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    coded = np.clip(small * (2.5, 1.0, 1.0) + (0.0, 128.0, 128.0), 0, 255).astype(np.uint8)
    window = round(_AROUND_MM * _PX_PER_MM * 0.25) | 1
    median = np.dstack([cv2.medianBlur(np.ascontiguousarray(coded[:, :, i]), window) for i in range(3)])
    plain = (median - np.array([0.0, 128.0, 128.0])) / np.array([2.5, 1.0, 1.0])
    size = (lab.shape[1], lab.shape[0])
    return np.asarray(cv2.resize(plain.astype(np.float32), size, interpolation=cv2.INTER_LINEAR), np.float32)


def _find_knots(lab: Floats, around: Floats, on: Literal["face", "back"]) -> list[Flaw]:
    score = score_knots(lab, around)
    count, regions, stats, _ = cv2.connectedComponentsWithStats((score > _KNOT_RIM).astype(np.uint8), connectivity=8)
    rows, columns = score.shape
    found = []
    for i in range(1, count):
        x, y, wide, tall, area = (int(v) for v in stats[i])
        if area < _LEAST_MM2 * _PX_PER_MM**2:
            continue
        # At the rim a little floor or arris shows: a thin strip there is no knot.
        if (y <= 1 or y + tall >= rows - 1) and tall < 4 * _PX_PER_MM:
            continue
        if (x <= 1 or x + wide >= columns - 1) and wide < _END_MM * _PX_PER_MM:
            continue
        part = (slice(y, y + tall), slice(x, x + wide))
        own = np.where(regions[part] == i, score[part], -np.inf)
        best = float(own.max())
        core = own > 0.5 * (best + _KNOT_RIM)
        if best >= _KNOT_LEAST and _NARROWEST < np.count_nonzero(core.any(0)) / np.count_nonzero(core.any(1)) < _WIDEST:
            confidence = 0.6 + 0.36 * min(1.0, (best - _KNOT_LEAST) / 3.5)
            box = Box(*(v / _PX_PER_MM for v in (x, y, x + wide, y + tall)))
            found.append(Flaw("knot", on, box, False, "program", round(confidence, 2)))
    return found


def _name_lines(streaks: list[Flaw], lines: list[Flaw]) -> list[Flaw]:
    """Streaks and fine lines, each place told once: a fine line makes a check of what looked like a pocket of pitch."""
    sure = [s for s in streaks if s.kind != "pitch"]
    fine = [line for line in lines if not any(line.box.overlaps(s.box) for s in sure)]
    pockets = [s for s in streaks if s.kind == "pitch" and not any(s.box.overlaps(line.box) for line in fine)]
    return [*sure, *fine, *pockets]


def _is_of(flaw: Flaw, stain: Flaw, width_mm: float) -> bool:
    """Whether a dark spot is but a part of a stain; knots stay where a stripe crosses them."""
    a, b = flaw.box, stain.box
    if flaw.kind == "knot" and b.height >= width_mm:
        return False
    wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
    return wide > 0 and high > 0 and wide * high >= _WITHIN * a.area


def _find_wane(lab: Floats, on: Literal["face", "back"]) -> list[Flaw]:
    """Stretches along an edge where the wood is missing, and dark background is seen."""
    light = lab[:, :, 0]
    limit = _WANE_SHARE * float(np.median(light))
    rows = light.shape[0]
    found = []
    for lower in (False, True):
        dark = cv2.blur(np.ascontiguousarray(light[::-1] if lower else light), (9, 3)) < limit
        depth = np.where(dark.all(axis=0), 0, np.argmin(dark, axis=0)) / _PX_PER_MM
        for start, end in list_runs(depth >= 1.0):
            deepest = float(np.quantile(depth[start:end], 0.95))
            if (end - start) / _PX_PER_MM < _WANE_LEAST_MM[0] or deepest < _WANE_LEAST_MM[1]:
                continue
            across = (rows / _PX_PER_MM - deepest, rows / _PX_PER_MM) if lower else (0.0, deepest)
            box = Box(start / _PX_PER_MM, across[0], end / _PX_PER_MM, across[1])
            found.append(Flaw("wane", on, box, False, "program", 0.7))
    return found
