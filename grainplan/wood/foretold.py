"""How far a foretold surface was from the real one, once the leaf is sawn and photographed."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.picture import Picture
from grainplan.wood.ring_figure import PX_PER_MM, show_figure
from grainplan.wood.solid_grid import Floats, Reals

RIM_MM = 4.0
MOVED_MM = (1.0, 4.0)
"""How far along and across a leaf's photo may lie off in its board's frame: corners are typed, edges trimmed."""
WINDOW_MM = (100.0, 30.0)
SHIFT_MM = 5.0
FAR_COUNTS_LESS = 0.2
"""What the furthest shift of a ring line is believed less: where rings are narrow, the next one looks like the same."""
LEAST_LIKE = 0.3
"""A window that agrees less than this with its like says nothing about where its lines went."""


@dataclass(frozen=True, slots=True)
class Meeting:
    """A foretold surface beside the real one.

    Parameters
    ----------
    agreement : float
        Correlation of their lightness, -1 to 1, smoothed over about 1 mm and without slow changes of tone, after the
        photo was moved to where it agrees best.
    across_mm : float
        How far across the board the photo was moved.
    shift_mm : float or None
        How far off the ring lines are on the mean, square to the length; None where they cannot be followed.
    """

    agreement: float
    across_mm: float
    shift_mm: float | None


def compare_foretold(foretold: Picture, real: Picture) -> Meeting:
    """Hold what was foretold of a surface against its photo, both in the board frame."""
    first, second = show_figure(foretold), show_figure(real, like=foretold)
    across = _find_move(first, second)
    moved = _move(second, across)
    rim = round(RIM_MM * PX_PER_MM)
    inner = np.s_[rim:-rim, rim:-rim]
    with np.errstate(invalid="ignore"):  # a picture without any figure agrees with nothing
        agreement = float(np.nan_to_num(np.corrcoef(first[inner].ravel(), moved[inner].ravel())[0, 1]))
    return Meeting(agreement, across, _follow_lines(first, moved))


def lay_upon(foretold: Picture, real: Picture) -> Picture:
    """The photo moved across the board to where it agrees best with what was foretold, on the same pixels."""
    across = _find_move(show_figure(foretold), show_figure(real, like=foretold))
    shape = (foretold.pixels.shape[1], foretold.pixels.shape[0])
    pixels = np.asarray(cv2.resize(real.pixels, shape, interpolation=cv2.INTER_AREA), np.float32)
    moved = _move(pixels, across * foretold.px_per_mm)
    return Picture(np.asarray(moved + 0.5, np.uint8), foretold.px_per_mm)


def _move(values: Floats, across_px: float) -> Floats:
    """Moved back by so many rows; the rim repeats."""
    turn = np.array([[1, 0, 0], [0, 1, -across_px]], np.float32)
    shape = (values.shape[1], values.shape[0])
    return np.asarray(cv2.warpAffine(values, turn, shape, borderMode=cv2.BORDER_REPLICATE))


def _find_move(first: Floats, second: Floats) -> float:
    """How far the second lies further across the board than the first, mm, to a part of a pixel."""
    along, across = (round(way * PX_PER_MM) for way in MOVED_MM)
    core = np.ascontiguousarray(first[across:-across, along:-along])
    alike = cv2.matchTemplate(second, core, cv2.TM_CCOEFF_NORMED).max(axis=1).astype(np.float64)
    return (_find_peak(alike) - across) / PX_PER_MM


def _find_peak(values: Reals) -> float:
    """Place of the highest of evenly spaced values, by a parabola through it and its neighbours."""
    top = int(values.argmax())
    if not 0 < top < values.size - 1:
        return float(top)
    before, here, after = values[top - 1 : top + 2]
    return top + 0.5 * float(before - after) / (float(before - 2 * here + after) - 1e-12)


def _follow_lines(first: Floats, second: Floats) -> float | None:
    """Mean size of the shift across, window by window, each counted by how well it was found again."""
    wide, high, reach = (round(way * PX_PER_MM) for way in (*WINDOW_MM, SHIFT_MM))
    shifts = np.arange(-reach, reach + 1) / PX_PER_MM
    belief = 1.0 - FAR_COUNTS_LESS * (shifts / SHIFT_MM) ** 2
    found, weights = [], []
    for top in range(reach, first.shape[0] - high - reach + 1, high):
        for left in range(0, first.shape[1] - wide + 1, wide):
            part = np.ascontiguousarray(first[top : top + high, left : left + wide])
            around = np.ascontiguousarray(second[top - reach : top + high + reach, left : left + wide])
            alike = cv2.matchTemplate(around, part, cv2.TM_CCOEFF_NORMED)[:, 0].astype(np.float64)
            if alike.max() >= LEAST_LIKE:
                found.append(abs(_find_peak(alike * belief) - reach) / PX_PER_MM)
                weights.append(float(alike.max()))
    return float(np.average(found, weights=weights)) if found else None
