"""The panels of a bay that show the same strips: all of them, or in an end match each panel for itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from grainplan.match.arrange import Option, StripPlace
from grainplan.match.cuts import BayCut
from grainplan.plan import Foot


@dataclass(frozen=True, slots=True)
class Face:
    """Strips side by side, and the panels that are made of them.

    Attributes
    ----------
    strips : left to right as seen from the front.
    foot : which way their foot stands.
    cut : the bay along its leaves with these panels alone; laid by the foot of the whole bay, not by this one.
    """

    strips: tuple[StripPlace, ...]
    foot: Foot
    cut: BayCut


def list_faces(option: Option, cut: BayCut) -> tuple[Face, ...]:
    """What a bay shows when its leaves are opened in this way."""
    if not option.is_end_matched:
        return (Face(option.strips, option.foot, cut),)
    return tuple(
        Face(option.strips_of(piece.part), option.foot_of(piece.part), replace(cut, pieces=(piece,)))
        for piece in cut.pieces
    )
