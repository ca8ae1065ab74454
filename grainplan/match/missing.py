"""Why a bay stays empty, with the number that is missing: width, length, leaves, or one more board."""

from __future__ import annotations

from collections.abc import Collection

from grainplan.match.baytypes import BayType
from grainplan.match.cuts import strip_width
from grainplan.match.places import Stock, usable_width
from grainplan.match.pooling import Stacked
from grainplan.plan import Unfilled
from grainplan.units import format_length

MOST_STRIPS = 4


def explain_unfilled(stacked: Stacked, filled: Collection[str]) -> tuple[Unfilled, ...]:
    """What is missing for each bay that got no leaves."""
    found = []
    for bay in stacked.request.bays:
        if bay.name in filled or bay.done:
            continue
        reason = stacked.types.impossible.get(bay.name)
        if reason is None:
            index = stacked.types.type_of(bay.name)
            assert index is not None
            reason = _find_reason(stacked, index)
        found.append(Unfilled(bay.name, reason))
    return tuple(found)


def _find_reason(stacked: Stacked, index: int) -> str:
    kind = stacked.types.types[index]
    if bool((stacked.table.rows.kind == index).any()):
        return _all_taken(stacked, kind)
    stock = [s for s in stacked.stock if s.index in kind.boards]
    if not stock:
        return "every board is left out for it; allow one"
    with_leaves = [s for s in stock if s.leaves > 0]
    if not with_leaves:
        return _no_leaves(stacked, stock)
    for reason in (
        _too_narrow(stacked, kind, with_leaves),
        _too_short(stacked, kind, with_leaves),
        _too_few_leaves(stacked, kind, with_leaves),
    ):
        if reason:
            return reason
    return (
        "boards are long and wide enough, but a flaw that is to be avoided would show wherever it is laid; "
        "allow one of the flaws (avoid = false), or crosscut it away and use the rest as a board of its own"
    )


def _say(stacked: Stacked, length_mm: float) -> str:
    return format_length(length_mm, stacked.request.units)


def _all_taken(stacked: Stacked, kind: BayType) -> str:
    making, shop = stacked.request.making, stacked.request.shop
    strips = making.strips or 2
    width = _say(stacked, strip_width(kind.size, strips, shop) + 2 * shop.edge_waste_mm)
    length = _say(stacked, kind.cut.length_mm + 2 * shop.end_waste_mm)
    return (
        f"all wood that would fit is taken by other bays; one more board of at least {length} by {width} that gives "
        f"{strips} {'leaf' if strips == 1 else 'leaves'} would fill it"
    )


def _no_leaves(stacked: Stacked, stock: list[Stock]) -> str:
    wide = [s for s in stock if s.board.board.largest_width_mm > stacked.request.shop.saw_height_mm]
    if wide:
        board = wide[0].board.board
        over = board.largest_width_mm - stacked.request.shop.saw_height_mm
        return (
            f"board {board.name} is {_say(stacked, over)} too wide for the resaw; rip it first and enter its pieces, "
            "or enter a saw that takes it"
        )
    thickest = max(stock, key=lambda s: s.board.board.thickness_mm).board.board
    thickness = _say(stacked, stacked.request.making.thickness_mm)
    return (
        f"no board gives a leaf of {thickness}: the thickest, {thickest.name}, is "
        f"{_say(stacked, thickest.thickness_mm)} before it is flattened; plan a thinner leaf or find a thicker board"
    )


def _too_narrow(stacked: Stacked, kind: BayType, stock: list[Stock]) -> str:
    making, shop = stacked.request.making, stacked.request.shop
    spans = [(s, usable_width(s, s.end_mm, kind.cut.length_mm)) for s in stock]
    board, (low, high) = max(spans, key=lambda pair: pair[1][1] - pair[1][0])
    strips = making.strips or MOST_STRIPS
    needed = strip_width(kind.size, strips, shop)
    lacking = needed - (high - low)
    if lacking <= 1e-6:
        return ""
    more = next((n for n in range(strips + 1, MOST_STRIPS + 1) if strip_width(kind.size, n, shop) <= high - low), None)
    help_ = f"{more} strips a panel would fit" if more else "a narrower bay or a wider board is needed"
    return (
        f"{strips} strip{'s' if strips > 1 else ''} a panel take {_say(stacked, needed)} of width, and the widest "
        f"board, {board.board.name}, gives {_say(stacked, high - low)}: {_say(stacked, lacking)} is missing; {help_}"
    )


def _too_short(stacked: Stacked, kind: BayType, stock: list[Stock]) -> str:
    longest = max(stock, key=lambda s: s.length_mm)
    lacking = kind.cut.length_mm + stacked.request.shop.crosscut_mm - longest.length_mm
    if lacking <= 1e-6:
        return ""
    saving = 0.0 if kind.cut.leaf_mm is None else _room_behind_rail(stacked, kind)
    help_ = ' rail_grain = "save" would do' if saving >= lacking > 0 else " a longer board is needed"
    return (
        f"it takes {_say(stacked, kind.cut.length_mm)} of length, and the longest board, {longest.board.name}, gives "
        f"{_say(stacked, longest.length_mm - stacked.request.shop.crosscut_mm)}: {_say(stacked, lacking)} is missing;"
        + help_
    )


def _room_behind_rail(stacked: Stacked, kind: BayType) -> float:
    """What `rail_grain` "save" would spare, mm."""
    if stacked.request.making.rail_grain == "save" or len(kind.cut.pieces) < 2:
        return 0.0
    lower, upper = kind.cut.pieces
    return upper.sawn_mm[0] - lower.sawn_mm[1] - stacked.request.shop.crosscut_mm


def _too_few_leaves(stacked: Stacked, kind: BayType, stock: list[Stock]) -> str:
    most = max(s.leaves - len(s.lost) for s in stock)
    strips = stacked.request.making.strips
    thickness = _say(stacked, stacked.request.making.thickness_mm)
    if kind.cut.end_matched and most < 2 * (strips or 1):
        return (
            f"an end match opens {2 * strips if strips else 'twice as many'} leaves of one board, those of the upper "
            f"panel beside those of the lower one, and no board gives more than {most} of {thickness}; take the end "
            "match away, plan a thinner leaf or fewer strips a panel, or find a thicker board"
        )
    if strips is None or most >= strips:
        return ""
    return (
        f"its panels open {strips} leaves of one board, and no board gives more than {most} of {thickness}; plan a "
        "thinner leaf, fewer strips a panel, or a thicker board"
    )
