"""What stays of the leaves of opened boards, long and wide enough to be kept."""

from __future__ import annotations

from grainplan.boards import Leaf
from grainplan.match.cost import USEFUL_LENGTH_MM
from grainplan.match.faces import list_faces
from grainplan.match.lying import FilledBay
from grainplan.match.places import Stock
from grainplan.plan import Offcut, Span
from grainplan.shop import Shop
from grainplan.units import Units, format_length

USEFUL_WIDTH_MM = 25.4 * 1.5
"""A narrower rip is kindling (common practice)."""


def list_offcuts(stock: list[Stock], bays: dict[str, FilledBay], shop: Shop) -> tuple[Offcut, ...]:
    """Whole-width ends and gaps along each leaf of an opened board, then what was ripped off beside the strips.

    Parameters
    ----------
    stock : list of Stock
    bays : by name.
    shop : Shop
    """
    taken: dict[Leaf, list[tuple[Span, Span]]] = {}
    for bay in bays.values():
        for lying in bay.lying:
            for face in list_faces(lying.option, bay.kind.cut):
                sawn = [face.cut.place(p.sawn_mm, lying.start_mm, lying.option.foot) for p in face.cut.pieces]
                x_mm = (min(start for start, _ in sawn), max(end for _, end in sawn))
                for strip in face.strips:
                    leaf = Leaf(lying.stock.board.name, lying.first + strip.leaf + 1)
                    y_mm = (lying.y_mm + strip.y_mm[0], lying.y_mm + strip.y_mm[1])
                    taken.setdefault(leaf, []).append((x_mm, y_mm))
    opened = {leaf.board for leaf in taken}
    found: list[Offcut] = []
    for board in stock:
        if board.board.name in opened:
            for number in range(board.leaves):
                if number not in board.lost:
                    leaf = Leaf(board.board.name, number + 1)
                    found += _list_on_leaf(board, leaf, taken.get(leaf, []), shop)
    return tuple(found)


def tell_running_rest(bay: FilledBay, shop: Shop, units: Units) -> tuple[str, ...]:
    """What stays beside the narrower last strip of a running match: it could begin another panel, and no bay has it."""
    said = []
    for lying in bay.lying:
        strips = lying.option.strips
        widths = [strip.y_mm[1] - strip.y_mm[0] for strip in strips]
        rest = max(widths) - min(widths) - shop.rip_mm
        if lying.option.arrangement.match == "running" and rest >= USEFUL_WIDTH_MM:
            leaf = Leaf(lying.stock.board.name, lying.first + strips[widths.index(min(widths))].leaf + 1)
            said.append(
                f"{leaf.name} gives only {format_length(min(widths), units)} of its width here; the "
                f"{format_length(rest, units)} beside it are an offcut that could begin another panel"
            )
    return tuple(said)


def _list_on_leaf(board: Stock, leaf: Leaf, taken: list[tuple[Span, Span]], shop: Shop) -> list[Offcut]:
    end = board.board.board.length_mm - board.end_mm
    found, cursor = [], board.end_mm
    for x0, x1 in _merge([x for x, _ in taken]):
        limit = x0 - (shop.crosscut_mm if x0 > board.end_mm else 0.0)
        if limit - cursor >= USEFUL_LENGTH_MM:
            found.append(_cut_off(board, leaf, (cursor, limit), (board.edge_mm, None)))
        found += _list_beside(board, leaf, (x0, x1), [y for x, y in taken if x0 <= x[0] < x1], shop.rip_mm)
        cursor = x1 + shop.crosscut_mm
    if end - cursor >= USEFUL_LENGTH_MM:
        found.append(_cut_off(board, leaf, (cursor, end), (board.edge_mm, None)))
    return found


def _list_beside(board: Stock, leaf: Leaf, x_mm: Span, strips: list[Span], rip_mm: float) -> list[Offcut]:
    """What stays between the strips of one stretch, and between the outer ones and the edges of the board."""
    if x_mm[1] - x_mm[0] < USEFUL_LENGTH_MM:
        return []
    found, cursor = [], board.edge_mm
    for y0, y1 in _merge(strips):
        if y0 - rip_mm - cursor >= USEFUL_WIDTH_MM:
            found.append(_cut_off(board, leaf, x_mm, (cursor, y0 - rip_mm)))
        cursor = max(cursor, y1 + rip_mm)
    rest = _cut_off(board, leaf, x_mm, (cursor, None))
    if _mean_width(rest) >= USEFUL_WIDTH_MM:
        found.append(rest)
    return found


def _cut_off(board: Stock, leaf: Leaf, x_mm: Span, y_mm: tuple[float, float | None]) -> Offcut:
    """A left-over piece; where its far side is None it reaches to the board's edge, which may run aslant."""
    low, high = y_mm
    ends = (high, high) if high is not None else tuple(board.board.board.width_at(x) - board.edge_mm for x in x_mm)
    foot, head = ((round(low, 3), round(max(low, end), 3)) for end in ends)
    return Offcut(leaf, (round(x_mm[0], 3), round(x_mm[1], 3)), foot, None if head == foot else head)


def _mean_width(offcut: Offcut) -> float:
    ends = (offcut.y_mm, offcut.y_head_mm or offcut.y_mm)
    return sum(high - low for low, high in ends) / 2


def _merge(spans: list[Span]) -> list[Span]:
    merged: list[Span] = []
    for low, high in sorted(spans):
        if merged and low < merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged
