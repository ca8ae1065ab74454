"""What the machines will not take of a bay: each limit is held against the piece as it meets that machine."""

from __future__ import annotations

from collections.abc import Iterator

from grainplan.match.lying import FilledBay
from grainplan.match.request import Request
from grainplan.units import format_length

_NEARLY_MM = 1e-6


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
    shop, units = request.shop, request.units
    for lying in bay.lying:
        board = lying.stock.board.board
        if board.length_mm < shop.shortest_planed_mm - _NEARLY_MM:
            yield (
                f"the leaves of board {board.name} are {format_length(board.length_mm, units)} long and the planer "
                f"takes {format_length(shop.shortest_planed_mm, units)} at the least: thickness them by hand or with a "
                "drum sander"
            )


def _warn_of_strips(request: Request, bay: FilledBay) -> Iterator[str]:
    shop, units = request.shop, request.units
    for piece in bay.kind.cut.pieces:
        length = piece.sawn_mm[1] - piece.sawn_mm[0]
        if length < shop.shortest_crosscut_mm - _NEARLY_MM:
            yield (
                f"the pieces of the {_name(piece.part)} are {format_length(length, units)} long and nothing under "
                f"{format_length(shop.shortest_crosscut_mm, units)} is crosscut at the saw: cut them by hand"
            )
        elif length < shop.shortest_ripped_mm - _NEARLY_MM:
            yield (
                f"the pieces of the {_name(piece.part)} are {format_length(length, units)} long and nothing under "
                f"{format_length(shop.shortest_ripped_mm, units)} is ripped at the saw: rip their strips while the "
                "leaf is long, before it is crosscut"
            )
        narrowest = min(
            strip.y_mm[1] - strip.y_mm[0] for lying in bay.lying for strip in lying.option.strips_of(piece.part)
        )
        if narrowest < shop.narrowest_ripped_mm - _NEARLY_MM:
            yield (
                f"a strip of the {_name(piece.part)} is {format_length(narrowest, units)} wide and nothing under "
                f"{format_length(shop.narrowest_ripped_mm, units)} is ripped at the saw: saw it on the bandsaw, or "
                "take fewer strips a panel"
            )
    for lying in bay.lying:
        if lying.stock.board.board.crook_mm > 0:
            yield f"board {lying.stock.board.name} has a crook: true one edge before its strips are ripped"


def _name(part: str) -> str:
    return "panel" if part == "panel" else f"{part} panel"
