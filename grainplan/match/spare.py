"""A spare pair, where the maker wishes for one: wood that is kept for the day when a leaf of a panel is lost.

First it is looked for in what the plan leaves over of the boards that are sawn; then another board is sawn for it, or
all bays are chosen anew with room for it, whichever costs less.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from grainplan.errors import GrainplanError
from grainplan.frame import Bay, BaySize, PanelSize, Part
from grainplan.geometry import Box
from grainplan.job import LeaveOut
from grainplan.match.assign import choose_leaves
from grainplan.match.assign_exact import Effort
from grainplan.match.candidates import KEPT_SLACK
from grainplan.match.pinning import pin_bay
from grainplan.match.places import TICKS_PER_MM
from grainplan.match.request import Request
from grainplan.plan import Plan, PlannedBay, Spare, SpareFor, Strip
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.shop import Shop
from grainplan.units import format_length

MOST_SPARES = 3
NONE = "No spare pair: "
STOPPED = "it was stopped before one was found"
GONE = "the spare pair lies where a bay lies now, and is looked for again with the next choice"
LITTLE = 0.01
"""How much the spare itself matters beside a bay: it only decides between equals."""
_SAME_MM = 0.05
_SLACK_MM = KEPT_SLACK / TICKS_PER_MM


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A panel that a spare is looked for: its bay, which of its panels, and its sizes."""

    bay: Bay
    part: Part
    size: PanelSize

    @property
    def weight(self) -> float:
        """How much would be lost with it."""
        return self.bay.matters * self.size.width_mm * self.size.height_mm

    @property
    def kind(self) -> tuple[float, float, str]:
        """Panels of one kind are looked for once."""
        return (round(self.size.width_mm, 2), round(self.size.height_mm, 2), self.bay.seen)


def choose_with_spare(
    request: Request,
    *,
    progress: Progress = keep_quiet,
    should_stop: ShouldStop = never_stop,
    effort: Effort | None = None,
) -> Plan:
    """Choose leaves for all bays, and where it is wished find what could replace one of their panels.

    Parameters
    ----------
    request : Request
        With `spare_pair` as the maker wishes.
    progress, should_stop : callable
    effort : Effort or None

    Returns
    -------
    Plan
        With its spares, or with the reason why there is none; a sentence of it stands among the caveats.
    """
    if not request.spare_pair:
        return choose_leaves(request, progress=progress, should_stop=should_stop, effort=effort)
    plan = choose_leaves(request, progress=part_of(progress, 0.0, 0.7), should_stop=should_stop, effort=effort)
    wanted = _list_wanted(request, plan)
    if not wanted or should_stop():
        return plan
    progress(0.75, "looking for a spare pair")
    spares = _find_left_over(request, plan, wanted, should_stop)
    if not spares and not should_stop():
        progress(0.9, "nothing is left over for a spare pair: looking whether room can be made")
        plan, spares, reason = _make_room(request, plan, wanted, should_stop)
    if not spares:
        reason = STOPPED if should_stop() else reason
        return replace(plan, no_spare=reason, caveats=(*plan.caveats, f"{NONE}{reason}"))
    return replace(plan, spares=spares, caveats=(*plan.caveats, *map(_tell, spares)))


def carry_over(plan: Plan, earlier: Plan, *, shop: Shop) -> Plan:
    """A plan that was changed by hand, with those spares of the earlier one that its bays leave alone.

    No other spare is looked for: that takes several choices, and the hand wants its answer at once.

    Parameters
    ----------
    plan, earlier : Plan
    shop : Shop
        Whose saws need their kerf between a bay and a spare.
    """
    taken = [(strip.leaf, _box_of(strip)) for bay in plan.bays for strip in bay.strips]
    kept, told = [], [f"{NONE}{earlier.no_spare}"] if earlier.no_spare else []
    for spare in earlier.spares:
        wanted = [(strip.leaf, _make_room_around(_box_of(strip), shop)) for strip in spare.strips]
        if any(leaf == other and box.overlaps(at) for leaf, box in wanted for other, at in taken):
            told.append(f"{GONE} ({' | '.join(strip.leaf.name for strip in spare.strips)})")
        else:
            kept.append(spare)
            told.append(_tell(spare))
    return replace(plan, spares=tuple(kept), no_spare=earlier.no_spare, caveats=(*plan.caveats, *told))


def _box_of(strip: Strip) -> Box:
    return Box(strip.x_mm[0], strip.y_mm[0], strip.x_mm[1], strip.y_mm[1])


def _make_room_around(box: Box, shop: Shop) -> Box:
    x, y = (max(0.0, kerf - _SLACK_MM) for kerf in (shop.crosscut_mm, shop.rip_mm))
    return Box(box.x0 - x, box.y0 - y, box.x1 + x, box.y1 + y)


def _tell(spare: Spare) -> str:
    return f"Spare {'pair' if len(spare.strips) == 2 else 'set'}: {spare.says}"


def _list_wanted(request: Request, plan: Plan) -> list[_Wanted]:
    """The panels of the plan, the one that would be missed most first."""
    filled = {bay.name for bay in plan.bays}
    panels = [
        _Wanted(bay, part, size)
        for bay in request.bays
        if bay.name in filled
        for part, size in request.sizes[bay.name].panels.items()
    ]
    return sorted(panels, key=lambda w: -w.weight)


def _find_left_over(request: Request, plan: Plan, wanted: list[_Wanted], should_stop: ShouldStop) -> tuple[Spare, ...]:
    """Spares in what stays of the boards that are sawn anyhow, each for panels that the ones before it do not fit."""
    spares: list[Spare] = []
    held = replace(request, kept=tuple(pin_bay(bay) for bay in plan.bays), spare_pair=False)
    sawn = {leaf.board for bay in plan.bays for leaf in bay.leaves}
    tried: set[tuple[float, float, str]] = set()
    for want in wanted:
        if should_stop():
            break
        covered = any(f.bay == want.bay.name and f.panel == want.part for s in spares for f in s.replaces)
        if covered or want.kind in tried:
            continue
        tried.add(want.kind)
        asked, name = _ask_for(held, want)
        closed = [board.name for board in request.boards if board.name not in sawn]
        asked = replace(asked, left_out=(*asked.left_out, *(LeaveOut(board, name) for board in closed)))
        found = _solve(asked, should_stop)
        mine = None if found is None else _take_out(found, name, plan)
        if found is None or mine is None:
            continue
        cost = max(0.0, found.cost_parts["wood"] - plan.cost_parts["wood"])
        spares.append(_describe(request, mine, (want, wanted), cost=cost))
        held = replace(asked, kept=(*asked.kept, pin_bay(mine)))
        if len(spares) == MOST_SPARES:
            break
    return tuple(spares)


def _make_room(
    request: Request, plan: Plan, wanted: list[_Wanted], should_stop: ShouldStop
) -> tuple[Plan, tuple[Spare, ...], str]:
    """A spare from a board that is sawn for it, or with all bays chosen anew; else the plan as it was, and why."""
    held = replace(request, kept=tuple(pin_bay(bay) for bay in plan.bays), spare_pair=False)
    reason = ""
    tried: set[tuple[float, float, str]] = set()
    for want in wanted:
        if want.kind in tried:
            continue
        tried.add(want.kind)
        offers = []
        for base, is_same in ((held, True), (replace(request, spare_pair=False), False)):
            asked, name = _ask_for(base, want)
            found = _solve(asked, should_stop, others=0 if is_same else Effort().others)
            if should_stop():
                return plan, (), STOPPED
            if found is None:
                continue
            mine = _take_out(found, name, plan if is_same else None)
            reason = reason or _find_reason(found, name)
            if mine is not None and len(found.unfilled) <= len(plan.unfilled):
                offers.append((found.cost, not is_same, found, mine))
        if offers:
            cost, is_new, found, mine = min(offers, key=lambda offer: (round(offer[0], 3), offer[1]))
            spare = _describe(request, mine, (want, wanted), cost=max(0.0, cost - plan.cost), is_new=is_new)
            return (_without(found, mine.name) if is_new else plan), (spare,), ""
    return plan, (), reason or "no board has the wood for one beside the bays"


def _ask_for(request: Request, want: _Wanted) -> tuple[Request, str]:
    """The request with one bay more: a single panel of the size that is wanted."""
    name, taken = "spare pair", {bay.name for bay in request.bays}
    while name in taken:
        name += "'"
    bay = Bay(name, want.size.sight_width_mm, panel_mm=want.size.sight_height_mm, seen=want.bay.seen, matters=LITTLE)
    size = BaySize(name, {"panel": want.size}, request.sizes[want.bay.name].float_mm)
    return replace(request, bays=(*request.bays, bay), sizes={**request.sizes, name: size}), name


def _solve(request: Request, should_stop: ShouldStop, *, others: int = 0) -> Plan | None:
    try:
        return choose_leaves(request, should_stop=should_stop, effort=Effort(others=others))
    except GrainplanError:  # a choice that is kept is in the way of the others once a spare is asked for
        return None


def _take_out(found: Plan, name: str, plan: Plan | None) -> PlannedBay | None:
    """The spare of a plan; None where there is none, or where it moved a bay of `plan` that was to stay."""
    if plan is not None and any(_lies_elsewhere(bay, found) for bay in plan.bays):
        return None
    return next((bay for bay in found.bays if bay.name == name), None)


def _lies_elsewhere(bay: PlannedBay, found: Plan) -> bool:
    now = next((other for other in found.bays if other.name == bay.name), None)
    if now is None:
        return True
    was_is = [(bay.panels[part].strips, now.panels[part].strips) for part in bay.panels]
    if any(len(was) != len(new) for was, new in was_is):
        return True
    pairs = [pair for was, new in was_is for pair in zip(was, new, strict=True)]
    return any(
        a.leaf != b.leaf
        or max(abs(x - y) for x, y in zip((*a.x_mm, *a.y_mm), (*b.x_mm, *b.y_mm), strict=True)) > _SAME_MM
        for a, b in pairs
    )


def _without(found: Plan, name: str) -> Plan:
    """A plan that was chosen with room for a spare, without the bay that stood for it."""
    others = tuple(replace(other, bays=tuple(bay for bay in other.bays if bay.name != name)) for other in found.others)
    return replace(found, bays=tuple(bay for bay in found.bays if bay.name != name), others=others)


def _find_reason(found: Plan, name: str) -> str:
    return next((unfilled.reason for unfilled in found.unfilled if unfilled.name == name), "")


def _list_fitting(mine: _Wanted, wanted: list[_Wanted]) -> Iterator[SpareFor]:
    """The panels that a spare of this size could replace: as large or smaller, and not seen on a side more."""
    for other in wanted:
        fits = (
            other.size.width_mm <= mine.size.width_mm + _SAME_MM
            and other.size.height_mm <= mine.size.height_mm + _SAME_MM
        )
        if fits and (other.bay.seen == mine.bay.seen or mine.bay.seen == "both"):
            yield SpareFor(other.bay.name, other.part)


def _describe(
    request: Request, mine: PlannedBay, wanted: tuple[_Wanted, list[_Wanted]], *, cost: float, is_new: bool = False
) -> Spare:
    """What a spare could replace, where it lies and what it adds; `wanted` is its own panel, and all of the plan."""
    strips = mine.panels["panel"].strips
    replaces = tuple(_list_fitting(*wanted))
    x, y = (
        f"{format_length(span[0], request.units)} to {format_length(span[1], request.units)}"
        for span in (strips[0].x_mm, strips[0].y_mm)
    )
    leaves = " | ".join(strip.leaf.name for strip in strips)
    could = _join([f"{f.bay} ({f.panel})" if f.panel != "panel" else f.bay for f in replaces])
    adds = f"it adds {cost:.2f} to the cost" if cost > 0.005 else "it costs nothing more"
    if is_new:
        adds += ", and all bays were chosen so that it is there"
    says = f"{leaves}, {x} from the foot and {y} from the face edge, could replace {could}; {adds}."
    return Spare(replaces, strips, round(cost, 3), says)


def _join(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
