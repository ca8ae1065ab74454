"""What the machines will not take of a bay: each limit is held against the piece as it meets that machine."""

from __future__ import annotations

from collections.abc import Iterator

from grainplan import machines
from grainplan.match.lying import FilledBay
from grainplan.match.request import Request


def warn_of_machines(request: Request, bay: FilledBay) -> tuple[str, ...]:
    """Sentences for the maker, each with the piece, its number and the limit that it falls under.

    Parameters
    ----------
    request : Request
        With the shop, its limits and the units to tell them in.
    bay : FilledBay
    """
    return tuple(dict.fromkeys((*_warn_of_leaves(request, bay), *_warn_of_strips(request, bay))))


def _warn_of_leaves(request: Request, bay: FilledBay) -> Iterator[str]:
    """Leaves go through the planer whole, before anything is sawn out of them."""
    for lying in bay.lying:
        board = lying.stock.board.board
        for said in machines.tell_short_leaf(board.length_mm, request.shop, units=request.units):
            yield f"a leaf of board {board.name}: {said}"


def _warn_of_strips(request: Request, bay: FilledBay) -> Iterator[str]:
    shop, units = request.shop, request.units
    for piece in bay.kind.cut.pieces:
        length = piece.sawn_mm[1] - piece.sawn_mm[0]
        narrowest = min(
            strip.y_mm[1] - strip.y_mm[0] for lying in bay.lying for strip in lying.option.strips_of(piece.part)
        )
        for said in (
            *(
                machines.tell_short_crosscut(length, shop, units=units)
                or machines.tell_short_rip(length, shop, units=units)
            ),
            *machines.tell_narrow_rip(narrowest, shop, units=units),
        ):
            yield f"a strip of the {_name(piece.part)}: {said}"
    for lying in bay.lying:
        if lying.stock.board.board.crook_mm > 0:
            yield f"board {lying.stock.board.name} has a crook: true one edge before its strips are ripped"


def _name(part: str) -> str:
    return "panel" if part == "panel" else f"{part} panel"
