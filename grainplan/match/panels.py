"""From a filled bay to the words of the plan: strips, seams, how the grain runs on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from grainplan.boards import Leaf, Surface
from grainplan.errors import NotFound
from grainplan.frame import Part
from grainplan.match.arrange import StripPlace
from grainplan.match.cuts import PieceCut
from grainplan.match.judge import look_ahead, turn_seam
from grainplan.match.leftovers import tell_running_rest
from grainplan.match.limits import warn_of_machines
from grainplan.match.lying import FilledBay, Lying
from grainplan.match.pooling import Stacked
from grainplan.match.running_on import write_continuity
from grainplan.match.seen import SeamBook
from grainplan.plan import Foot, PlannedBay, PlannedPanel, Seam, SeenAs, Strip

UNSEEN = "from the ring angle alone: these surfaces are not yet seen"
Side = Literal["front", "back"]


@dataclass(frozen=True, slots=True)
class _Standing:
    """One strip of a panel, the place it comes from, and which way its foot stands."""

    lying: Lying
    strip: StripPlace
    foot: Foot


def write_bay(stacked: Stacked, bay: FilledBay, book: SeamBook) -> PlannedBay:
    """One bay as the plan tells it.

    Parameters
    ----------
    stacked : Stacked
    bay : FilledBay
    book : SeamBook
        Where seams that have been seen are measured.
    """
    panels, seams = {}, []
    for piece in bay.kind.cut.pieces:
        standing = _stand(bay, piece.part)
        strips = tuple(_write_strip(stacked, one, bay, piece) for one in standing)
        sizes, making = (piece.size.width_mm, piece.size.height_mm), stacked.request.making
        tongue = making.enters_mm if making.has_tongue else None
        panels[piece.part] = PlannedPanel(*sizes, strips, tongue, making.shape_field(*sizes))
        seams += list(_write_seams(book, standing, bay, piece))
    request = stacked.request
    caveats = (
        *request.sizes[bay.name].caveats,
        *warn_of_machines(request, bay),
        *tell_running_rest(bay, request.shop, request.units),
    )
    return PlannedBay(bay.name, panels, tuple(seams), write_continuity(bay, book), caveats=caveats)


def _stand(bay: FilledBay, part: Part) -> list[_Standing]:
    """The strips of one panel, left to right."""
    return [
        _Standing(lying, strip, lying.option.foot_of(part))
        for lying in bay.lying
        for strip in lying.option.strips_of(part)
    ]


def _write_strip(stacked: Stacked, one: _Standing, bay: FilledBay, piece: PieceCut) -> Strip:
    lying, strip = one.lying, one.strip
    leaf = Leaf(lying.stock.board.name, lying.first + strip.leaf + 1)
    x_mm = bay.kind.cut.place(piece.sawn_mm, lying.start_mm, lying.option.foot)
    return Strip(
        leaf,
        strip.surface,
        one.foot,
        _say_seen(stacked, leaf, strip.surface),
        (round(x_mm[0], 3), round(x_mm[1], 3)),
        (round(lying.y_mm + strip.y_mm[0], 3), round(lying.y_mm + strip.y_mm[1], 3)),
    )


def _say_seen(stacked: Stacked, leaf: Leaf, surface: Surface) -> SeenAs:
    found = stacked.request.surfaces.get((leaf, surface))
    return "none" if found is None else found.seen


def _write_seams(book: SeamBook, standing: list[_Standing], bay: FilledBay, piece: PieceCut) -> Iterator[Seam]:
    for i, (left, right) in enumerate(pairwise(standing)):
        sides: tuple[Side, ...] = ("front",) if bay.kind.bay.seen == "front" else ("front", "back")
        for side in sides:
            if left.lying is right.lying:
                yield _write_seam(book, (left, right), bay, piece, (side, i))
            else:
                yield _write_meeting(left, right, piece.part, (side, i))


def _write_meeting(left: _Standing, right: _Standing, part: Part, at: tuple[Side, int]) -> Seam:
    """The seam between halves from two places."""
    side, i = at
    flipped = (left.strip.surface == "far") != (left.foot == "up")
    edge = left.lying.y_mm + left.strip.y_mm[0 if flipped else 1]
    says = f"two places meet here: {left.lying.stock.board.name} and {right.lying.stock.board.name}"
    return Seam(part, side, (i, i + 1), left.lying.option.arrangement.match, round(edge, 3), None, caveats=(says,))


def _write_seam(
    book: SeamBook, pair: tuple[_Standing, _Standing], bay: FilledBay, piece: PieceCut, at: tuple[Side, int]
) -> Seam:
    (left, right), (side, i), lying = pair, at, pair[0].lying
    shown = (left.strip, right.strip) if side == "front" else turn_seam((left.strip, right.strip))
    board, match = lying.stock.board, lying.option.arrangement.match
    outlook = look_ahead(book.request, board, lying.first, shown, place=(lying.y_mm, left.foot))
    gap = None if outlook.gap_mm is None else round(outlook.gap_mm, 3)
    seam = Seam(piece.part, side, (i, i + 1), match, round(outlook.edge_y_mm, 3), gap)
    run = book.find_run(board, lying.first, shown, lie=(lying.y_mm, left.foot, match))
    if run is not None:
        low, high = bay.kind.cut.place(piece.sight_mm, lying.start_mm, lying.option.foot)
        score = run.score(low, high, strangers=book.find_strangers(board, shown, match))
        if isinstance(score, NotFound):
            return replace(seam, caveats=(score.reason,))
        caveats = (*book.say_doubt(board, lying.first, shown), *score.caveats)
        seam = replace(seam, fit=round(score.fit, 3), step_mm=round(score.step_mm, 2), tone_de=round(score.tone_de, 2))
        return replace(seam, strangers=None if score.strangers is None else round(score.strangers, 3), caveats=caveats)
    if isinstance(outlook.step, float):
        return replace(seam, step_mm=round(outlook.step, 2), caveats=(UNSEEN,))
    return replace(seam, caveats=(outlook.step.reason,))
