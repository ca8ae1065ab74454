"""What flaws do to a bay at every place along a leaf: what would be shown of them, and where that is ruled out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Flaw, Surface
from grainplan.match.cuts import BayCut
from grainplan.plan import Foot, Span

Floats = NDArray[np.float64]
SQUARE_INCH_MM2 = 25.4**2


@dataclass(frozen=True, slots=True)
class Showing:
    """A part of a leaf that stays in sight: which leaf, which of its surfaces, and where across the board."""

    leaf: int
    surfaces: tuple[Surface, ...]
    y_mm: Span


def price_flaws(
    flaws: tuple[Flaw, ...], shown: list[Showing], starts_mm: Floats, *, lie: tuple[BayCut, Foot], leaves: int
) -> Floats:
    """Square inches of flaw in sight, by place along the board; infinite where a flaw that is to be avoided would show.

    What falls behind the rail, into a groove, or into what is trimmed off is not in sight and does no harm.

    Parameters
    ----------
    flaws : the board's flaws.
    shown : what stays in sight across, leaf by leaf.
    starts_mm : places of the first cut, from the foot of the board.
    lie : the bay along the leaf, and which way the board's foot stands.
    leaves : number of leaves of the board; "back" is the far surface of the last one.
    """
    cut, foot = lie
    harm = np.zeros(len(starts_mm))
    for flaw in flaws:
        across = 0.0
        hit = False
        for part in shown:
            if not _concerns(flaw, part, leaves):
                continue
            overlap = min(part.y_mm[1], flaw.box.y1) - max(part.y_mm[0], flaw.box.y0)
            hit = hit or overlap > 0 or (overlap == 0 and flaw.box.height == 0)
            across += max(overlap, 0.0)
        if not hit:
            continue
        along = np.zeros(len(starts_mm))
        meets = np.zeros(len(starts_mm), bool)
        for piece in cut.pieces:
            low, high = cut.place(piece.sight_mm, 0.0, foot)
            overlap_mm = np.minimum(starts_mm + high, flaw.box.x1) - np.maximum(starts_mm + low, flaw.box.x0)
            meets |= overlap_mm > 0
            along += np.maximum(overlap_mm, 0.0)
        harm += np.where(meets, np.inf if flaw.avoid else 0.0, 0.0)
        harm += along * across * flaw.confidence / SQUARE_INCH_MM2
    return harm


def find_free_places(flaws: tuple[Flaw, ...], cut: BayCut) -> list[float]:
    """Starts along the board at which a bay just clears a flaw, on either side or behind its rail; foot down and up."""
    places = []
    feet: tuple[Foot, ...] = ("down", "up")
    for flaw in flaws:
        for foot in feet:
            for piece in cut.pieces:
                low, high = cut.place(piece.sight_mm, 0.0, foot)
                places += [flaw.box.x1 - low, flaw.box.x0 - high]
    return places


def _concerns(flaw: Flaw, part: Showing, leaves: int) -> bool:
    if flaw.on == "through":
        return True
    if flaw.on == "face":
        return part.leaf == 0 and "near" in part.surfaces
    return part.leaf == leaves - 1 and "far" in part.surfaces
