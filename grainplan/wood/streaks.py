"""Dark streaks along the grain: checks, pitch pockets and the pith where it lies in the surface.

Year rings are darker than the wood between them too, but as yellow as it or redder; what is filled with air, dirt, bark
or old resin is greyer as well: both must be so, by more than the wood's own lines are. Tuned on eight frames and two
boards of sawn softwood (Kodytek, Bodzas, Bilik 2021, doi 10.5281/zenodo.4694695, CC BY 4.0), measured on the other
eight frames and a third board. There are few labels, so the confidences are low. Fine checks are sought in a room of
their own; pale resin is not seen, and a short check looks like a pocket of pitch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Flaw, FlawKind
from grainplan.geometry import Box, Floats

_PX_PER_MM = 2.0
_DARKER, _GREYER = 6.0, 3.0  # L* and b*, at least
_TENTH = 0.9  # and by so much more than a tenth of the wood is: the lines of some woods are dark and grey themselves
_OVER_TENTH = (1.5, 2.0)
_MOST_PER_M = 8.0  # more than that are the wood's own figure; then only what is twice as grey as most of them counts
_MOST_OF_THEM, _TWICE = 0.85, 2.0
_SHORTEST_MM = 6.0
_SLIMMEST = 3.0  # length over width
_STEEPEST_DEG = 30.0
_RIM_MM = 2.5  # along the edges and ends a little floor or arris shows
_EDGE_MM = 6.0  # a dark line that runs along an edge is its arris
_KNOT_SHARE = 0.4  # of a streak's length, over knots: then it belongs to them
_AT_END_MM = 6.0
_CHECK_WIDEST_MM, _CHECK_SHORTEST_MM = 1.3, 20.0
_PITH_NARROWEST_MM, _PITH_SHORTEST_MM = 3.5, 45.0
_CONFIDENCE: dict[FlawKind, float] = {"check": 0.4, "pith": 0.6, "pitch": 0.3}


@dataclass(frozen=True, slots=True)
class Streak:
    """A dark grey thing along the grain: its box, how long and wide it is, mm, and how much it stands out."""

    box: Box
    length_mm: float
    width_mm: float
    slant_deg: float
    darker: float
    greyer: float


def find_streaks(lab: Floats, around: Floats, on: Literal["face", "back"], *, knots: list[Flaw]) -> list[Flaw]:
    """Checks, pitch pockets and pith on a flattened broad side.

    Parameters
    ----------
    lab, around : ndarray, shape (rows, columns, 3)
        CIE L*a*b* at 2 px/mm, and that of the wood around each place.
    on : {"face", "back"}
    knots : list of Flaw
        Already found; a streak that lies mostly on them is theirs.
    """
    rows, columns = lab.shape[:2]
    size = columns / _PX_PER_MM, rows / _PX_PER_MM
    found: list[Flaw] = []
    for streak in _leave_figure(list_streaks(lab, around), max(_MOST_PER_M, _MOST_PER_M * size[0] / 1000)):
        box = streak.box
        at_edge = box.y1 < _EDGE_MM or box.y0 > size[1] - _EDGE_MM
        long = streak.length_mm >= _SHORTEST_MM and streak.length_mm >= _SLIMMEST * streak.width_mm
        if at_edge or not long or streak.slant_deg > _STEEPEST_DEG:
            continue
        over = sum(max(0.0, min(box.x1, k.box.x1) - max(box.x0, k.box.x0)) for k in knots if k.box.overlaps(box))
        if over < _KNOT_SHARE * box.width:
            kind = _name(streak, size[0])
            found.append(Flaw(kind, on, box, False, "program", _CONFIDENCE[kind]))
    return found


def _leave_figure(streaks: list[Streak], most: float) -> list[Streak]:
    """Only what stands out, where the wood's own lines are streaks too."""
    if len(streaks) <= most:
        return streaks
    limit = _TWICE * float(np.quantile([s.greyer for s in streaks], _MOST_OF_THEM))
    left = [s for s in streaks if s.greyer > limit]
    return left if len(left) <= most else []


def list_streaks(lab: Floats, around: Floats) -> list[Streak]:
    """Everything that is darker and greyer than the wood around it by more than the wood varies."""
    off = cv2.GaussianBlur(np.asarray(around - lab, np.float32), (0, 0), sigmaX=2.0, sigmaY=0.7)
    dark, grey = (np.asarray(off[:, :, i], np.float32) for i in (0, 2))
    limits = [
        max(least, share * float(np.quantile(v[::2, ::2], _TENTH)))
        for v, least, share in zip((dark, grey), (_DARKER, _GREYER), _OVER_TENTH, strict=True)
    ]
    mask = ((dark > limits[0]) & (grey > limits[1])).astype(np.uint8)
    rim = round(_RIM_MM * _PX_PER_MM)
    for side in (mask[:rim], mask[-rim:], mask[:, :rim], mask[:, -rim:]):
        side[:] = 0
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 13), np.uint8)), np.uint8)
    count, regions, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    least = round(_SHORTEST_MM * _PX_PER_MM)
    chosen = [i for i in range(1, count) if stats[i, cv2.CC_STAT_WIDTH] >= least]
    return [_measure(np.asarray(regions, np.int32), np.asarray(stats[i], np.int32), i, (dark, grey)) for i in chosen]


def _measure(regions: NDArray[np.int32], stats: NDArray[np.int32], number: int, off: tuple[Floats, Floats]) -> Streak:
    x, y, wide, tall, area = (int(v) for v in stats)
    part = (slice(y, y + tall), slice(x, x + wide))
    rows, columns = np.nonzero(regions[part] == number)
    spread, turn = np.linalg.eigh(np.cov(np.vstack([columns, rows])))
    length = float(np.sqrt(12 * max(float(spread[1]), 1e-3))) / _PX_PER_MM
    slant = abs(float(np.degrees(np.arctan2(turn[1, 1], turn[0, 1]))))
    darker, greyer = (float(v[part][rows, columns].mean()) for v in off)
    box = Box(*(v / _PX_PER_MM for v in (x, y, x + wide, y + tall)))
    width = area / _PX_PER_MM**2 / max(length, 0.5)
    return Streak(box, length, width, min(slant, 180 - slant), darker, greyer)


def _name(streak: Streak, length_mm: float) -> FlawKind:
    """A thin one, long or at an end, is a check; a broad long one the pith; any other a pocket of pitch."""
    at_end = streak.box.x0 < _AT_END_MM or streak.box.x1 > length_mm - _AT_END_MM
    thin = streak.width_mm < _CHECK_WIDEST_MM * (2.0 if at_end else 1.0)
    if thin and (at_end or streak.length_mm >= _CHECK_SHORTEST_MM):
        return "check"
    broad = streak.width_mm >= _PITH_NARROWEST_MM and streak.length_mm >= _PITH_SHORTEST_MM
    return "pith" if broad else "pitch"
