"""From a chosen candidate to the bay as it is written down: strips, seams, how the grain runs on."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from grainplan.boards import Leaf, MeasuredBoard, Surface
from grainplan.match.arrange import Option, StripPlace
from grainplan.match.baytypes import BayType
from grainplan.match.candidates import TICKS_PER_MM
from grainplan.match.judge import expect_jump, look_ahead, turn_seam
from grainplan.match.pooling import Stacked
from grainplan.plan import Continuity, PlannedBay, PlannedPanel, Seam, SeenAs, Span, Strip

UNSEEN = "from the ring angle alone: these surfaces are not yet seen"


def write_bay(stacked: Stacked, row: int, name: str) -> PlannedBay:
    """One bay as the plan tells it.

    Parameters
    ----------
    stacked : Stacked
    row : int
        The chosen candidate.
    name : str
        Of the bay.
    """
    table = stacked.table
    kind = stacked.types.types[int(table.rows.kind[row])]
    stock = stacked.stock[int(table.rows.board[row])]
    option = table.options[int(table.option[row])]
    first = int(table.rows.leaf[row])
    start = stock.end_mm + int(table.rows.x0[row]) / TICKS_PER_MM
    y_mm = float(table.y_mm[row])
    panels = {}
    for piece in kind.cut.pieces:
        span = kind.cut.place(piece.sawn_mm, start, option.foot)
        strips = tuple(
            _write_strip(stacked, stock.board, (first, strip), option, (span, y_mm)) for strip in option.strips
        )
        panels[piece.part] = PlannedPanel(piece.size.width_mm, piece.size.height_mm, strips)
    seams = [
        seam
        for piece in kind.cut.pieces
        for seam in _write_seams(stacked, stock.board, (first, y_mm), option, (kind, piece.part))
    ]
    return PlannedBay(name, panels, tuple(seams), _write_continuity(kind, stock.board, option))


def _write_strip(
    stacked: Stacked, board: MeasuredBoard, leaf: tuple[int, StripPlace], option: Option, place: tuple[Span, float]
) -> Strip:
    (first, strip), (span, y_mm) = leaf, place
    number = first + strip.leaf + 1
    return Strip(
        Leaf(board.name, number),
        strip.surface,
        option.foot,
        say_seen(stacked, Leaf(board.name, number), strip.surface),
        (round(span[0], 3), round(span[1], 3)),
        (round(y_mm + strip.y_mm[0], 3), round(y_mm + strip.y_mm[1], 3)),
    )


def say_seen(stacked: Stacked, leaf: Leaf, surface: Surface) -> SeenAs:
    """What the picture of a leaf's surface is."""
    found = stacked.request.surfaces.get((leaf, surface))
    return "none" if found is None else found.seen


def _write_seams(
    stacked: Stacked, board: MeasuredBoard, place: tuple[int, float], option: Option, panel: tuple[BayType, str]
) -> list[Seam]:
    kind, part = panel
    first, y_mm = place
    last = len(option.strips) - 1
    seams = []
    for i, pair in enumerate(pairwise(option.strips)):
        sides: list[tuple[Literal["front", "back"], tuple[StripPlace, StripPlace], tuple[int, int]]]
        sides = [("front", pair, (i, i + 1))]
        if kind.bay.seen == "both":
            sides.append(("back", turn_seam(pair), (i, i + 1)))
        for side, seam, between in sides:
            outlook = look_ahead(stacked.request, board, first, seam, place=(y_mm, option.foot))
            known = isinstance(outlook.step, float)
            seams.append(
                Seam(
                    part,  # type: ignore[arg-type]
                    side,
                    between,
                    option.arrangement.match,
                    round(outlook.edge_y_mm, 3),
                    None if outlook.gap_mm is None else round(outlook.gap_mm, 3),
                    step_mm=round(outlook.step, 2) if isinstance(outlook.step, float) else None,
                    caveats=(UNSEEN if known else outlook.step.reason,),  # type: ignore[union-attr]
                )
            )
    assert len(seams) >= last
    return seams


def _write_continuity(kind: BayType, board: MeasuredBoard, option: Option) -> Continuity | None:
    cut = kind.cut
    if cut.hidden_mm is None or cut.leaf_mm is None:
        return None
    jump = expect_jump(kind, board)
    step = None if jump is None else round(jump, 2)
    return Continuity(round(cut.hidden_mm, 3), round(cut.leaf_mm, 3), (step,) * len(option.strips))
