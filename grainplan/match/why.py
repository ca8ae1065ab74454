"""Each choice in a sentence from its own numbers, and what another plan gives up."""

from __future__ import annotations

from grainplan.match.cost import say_step
from grainplan.match.lying import FilledBay
from grainplan.match.pooling import Stacked
from grainplan.plan import PlannedBay
from grainplan.units import format_length

PART_WORDS = {
    "seams": "in the seams",
    "tone": "in colour",
    "continuity": "in how the grain runs on",
    "flaws": "in flaws and turned wood",
    "wood": "in wood",
}


def explain_bay(stacked: Stacked, bay: FilledBay, planned: PlannedBay, cheapest: dict[str, float]) -> str:
    """Why a bay is cut from where it is.

    Parameters
    ----------
    stacked : Stacked
    bay : FilledBay
    planned : PlannedBay
    cheapest : mapping of board name to float
        What the look of this bay would cost at the best place of each board.
    """
    boards = " and ".join(dict.fromkeys(lying.stock.board.name for lying in bay.lying))
    says = [f"From board {boards}: {_say_seams(stacked, planned)}"]
    if rail := _say_rail(stacked, planned):
        says.append(rail)
    own = sum(bay.parts)
    others = sorted((cost, name) for name, cost in cheapest.items() if name not in boards.split(" and "))
    if others:
        cost, name = others[0]
        difference = own - cost
        if difference > 0.005:
            says.append(
                f"board {name} would look better by {difference:.2f}, but the wood or another bay makes it cost more"
            )
        else:
            says.append(f"the next best board for its look, {name}, would be worse by {max(0.0, -difference):.2f}")
    else:
        says.append("no other board is long, wide and sound enough for it")
    return "; ".join(says) + "."


def _say_seams(stacked: Stacked, planned: PlannedBay) -> str:
    front = [seam for seam in planned.seams if seam.side == "front"]
    if not front:
        return "one strip, so there is no seam"
    fits = [seam.fit for seam in front if seam.fit is not None]
    if fits:
        panels = [panel for panel in planned.panels.values() for strip in panel.strips if strip.seen == "inside"]
        how = "as predicted" if panels else "as seen"
        least, most = f"{min(fits):.2f}", f"{max(fits):.2f}"
        return f"its seams, {how}, fit by {least}" + (f" to {most}" if most != least else "")
    steps = [seam.step_mm for seam in front if seam.step_mm is not None]
    if steps:
        worst = max(steps)
        length = format_length(worst, stacked.request.units)
        return f"rings should meet within {length} at the seam, which is {say_step(worst)}"
    return "how its seams will meet is not known, for " + (front[0].caveats or ("nothing was seen",))[0]


def _say_rail(stacked: Stacked, planned: PlannedBay) -> str:
    """What happens at the rail, where it is known; nothing where grain simply runs on unseen."""
    rail = planned.continuity
    if rail is None:
        return ""
    steps = [step for step in rail.step_mm if step is not None]
    fits = [fit for fit in rail.fit if fit is not None]
    how = "the panels mirror each other across the rail" if rail.end_match else "the grain runs on behind the rail"
    if fits:
        worst = format_length(max(steps), stacked.request.units)
        return f"{how} with a fit of {min(fits):.2f} at the least, its lines within {worst}"
    if rail.end_match and steps:
        return f"{how}, rings within {format_length(max(steps), stacked.request.units)}"
    return ""


def explain_difference(best: dict[str, float], other: dict[str, float], moved: list[str]) -> str:
    """What another plan gives up, and what it gains, beside the best one.

    Parameters
    ----------
    best, other : mapping of cost part to float
    moved : list of str
        Which bays change their boards, as phrases ("left side from E instead of B").
    """
    changes = sorted(((other[part] - best[part], part) for part in best), key=lambda c: -abs(c[0]))
    worse = [f"{change:.2f} {PART_WORDS[part]}" for change, part in changes if change > 0.005]
    better = [f"{-change:.2f} {PART_WORDS[part]}" for change, part in changes if change < -0.005]
    total = sum(other.values()) - sum(best.values())
    says = f"{', '.join(moved)}: costs {total:.2f} more" if total > 0.005 else f"{', '.join(moved)}: costs the same"
    if worse:
        says += f"; gives up {', '.join(worse)}"
    if better:
        says += f"; gains {', '.join(better)}"
    return says + "."


def name_moves(best: dict[str, FilledBay], other: dict[str, FilledBay]) -> list[str]:
    """Bays that come from other boards than in the best plan."""
    moved = []
    for name in sorted(best.keys() | other.keys(), key=lambda n: list(best).index(n) if n in best else len(best)):
        was, now = (_boards_of(plan.get(name)) for plan in (best, other))
        if was != now:
            moved.append(f"{name} from {now} instead of {was}")
    return moved


def _boards_of(bay: FilledBay | None) -> str:
    if bay is None:
        return "nothing"
    return " and ".join(dict.fromkeys(lying.stock.board.name for lying in bay.lying))
