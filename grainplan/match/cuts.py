"""How a bay lies on a leaf: the pieces that are sawn out, what of them stays in sight, and what a strip measures."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.errors import NotFound
from grainplan.frame import Bay, BaySize, PanelMaking, PanelSize, Part
from grainplan.movement import size_strip
from grainplan.plan import Foot, Span
from grainplan.shop import Shop


@dataclass(frozen=True, slots=True)
class PieceCut:
    """One panel's length on a leaf, from the bay's first cut, as the bay lies foot down.

    Attributes
    ----------
    sawn_mm : what is sawn out, over-length in.
    sight_mm : what stays in sight between the rails.
    """

    part: Part
    size: PanelSize
    sawn_mm: Span
    sight_mm: Span


@dataclass(frozen=True, slots=True)
class BayCut:
    """All panels of a bay along one leaf.

    Attributes
    ----------
    pieces : from the foot of the furniture up.
    length_mm : from the first cut to the last.
    hidden_mm, leaf_mm : what the rail hides, and how far the two sight lines lie apart on the leaf; None for one panel.
    end_matched : the upper panel stands on its head; both sight lines at the rail lie at one place along the board.
    """

    pieces: tuple[PieceCut, ...]
    length_mm: float
    hidden_mm: float | None = None
    leaf_mm: float | None = None
    end_matched: bool = False

    def place(self, span: Span, start_mm: float, foot: Foot) -> Span:
        """A span of the bay as it lies on the leaf, counted from the board's foot."""
        if foot == "down":
            return start_mm + span[0], start_mm + span[1]
        return start_mm + self.length_mm - span[1], start_mm + self.length_mm - span[0]


def lay_out_bay(bay: Bay, size: BaySize, making: PanelMaking, shop: Shop) -> BayCut | NotFound:
    """Where the panels of a bay lie along a leaf.

    With `rail_grain` "skip" the two sight lines stand exactly a rail apart, so grain lines run on as if behind the
    rail; with "save" the sawn pieces lie one crosscut apart. In an end match both lie at one place, on leaves of their
    own.

    Returns
    -------
    BayCut or NotFound
        NotFound where the rail is too narrow to hold both engagements, the over-lengths and a crosscut.
    """
    parts = list(size.panels)
    first = _cut_piece(parts[0], size.panels[parts[0]], 0.0, shop)
    if len(parts) == 1:
        return BayCut((first,), first.sawn_mm[1])
    assert bay.rail_mm is not None
    upper = size.panels[parts[1]]
    if bay.is_end_matched(making):
        return _lay_out_ends(bay.rail_mm, first, upper, shop)
    if making.rail_grain == "skip":
        start = first.sight_mm[1] + bay.rail_mm - _hidden_end(upper, shop)
        room = start - first.sawn_mm[1]
        if room < shop.crosscut_mm - 1e-6:
            return NotFound(
                f"the middle rail of {bay.name} leaves {room:.1f} mm between the two panels on the leaf, and the "
                f'crosscut takes {shop.crosscut_mm:.1f} mm; lay them close together with rail_grain = "save", or '
                "use less over-length"
            )
    else:
        start = first.sawn_mm[1] + shop.crosscut_mm
    second = _cut_piece(parts[1], upper, start, shop)
    return BayCut((first, second), second.sawn_mm[1], bay.rail_mm, second.sight_mm[0] - first.sight_mm[1])


def _lay_out_ends(rail_mm: float, lower: PieceCut, upper: PanelSize, shop: Shop) -> BayCut:
    """An end match: the upper panel lies on its head beside the lower one, their ends at the rail at one place."""
    start = lower.sight_mm[1] - upper.sight_height_mm - _hidden_end(upper, shop)
    above = _cut_piece("upper", upper, start, shop)
    moved = -min(0.0, start)
    pieces = tuple(
        PieceCut(
            piece.part,
            piece.size,
            (piece.sawn_mm[0] + moved, piece.sawn_mm[1] + moved),
            (piece.sight_mm[0] + moved, piece.sight_mm[1] + moved),
        )
        for piece in (lower, above)
    )
    return BayCut(pieces, max(piece.sawn_mm[1] for piece in pieces), rail_mm, 0.0, end_matched=True)


def strip_width(size: BaySize, strips: int, shop: Shop) -> float:
    """Sawn width of each of `strips` equal strips, mm: the rough panel and what jointing takes, shared out."""
    rough = next(iter(size.panels.values())).rough_width_mm
    return size_strip(rough, strips, joint_mm=shop.joint_mm)


def hidden_side(size: BaySize, shop: Shop) -> float:
    """What of a panel's outer edge, as sawn, is trimmed or stands in the groove, mm."""
    return shop.over_width_mm + next(iter(size.panels.values())).side_engagement_mm


def _hidden_end(panel: PanelSize, shop: Shop) -> float:
    return shop.over_length_mm + panel.end_engagement_mm


def _cut_piece(part: Part, panel: PanelSize, start_mm: float, shop: Shop) -> PieceCut:
    sight = start_mm + _hidden_end(panel, shop)
    return PieceCut(part, panel, (start_mm, start_mm + panel.rough_height_mm), (sight, sight + panel.sight_height_mm))
