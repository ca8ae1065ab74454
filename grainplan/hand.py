"""The maker's hand: move one bay, leave all others where they are, and see at once what it costs.

Each change answers with a whole new outcome; nothing is written. The other bays are held to their leaves and places, so
that only what was touched changes. A change that cannot be is told in a sentence, and the plan stays as it was.
"""

from __future__ import annotations

from dataclasses import replace

from grainplan.choice import Outcome, choose_again
from grainplan.errors import GrainplanError
from grainplan.job import Job, Keep
from grainplan.match.pinning import pin_bay
from grainplan.match.spare import carry_over
from grainplan.plan import PlannedBay


def slide_bay(outcome: Outcome, name: str, *, along_mm: float = 0.0, across_mm: float = 0.0) -> Outcome:
    """Take the same leaves from another place: so far toward the head, and so far away from the face edge.

    Raises
    ------
    GrainplanError
        When there is no room there, or a flaw would show.
    """
    pinned = _find(outcome, name)
    if pinned.x_mm is None or pinned.y_mm is None:
        raise GrainplanError(f"{name} is joined of halves from two boards; it cannot be slid as one")
    return _try(outcome, replace(pinned, x_mm=pinned.x_mm + along_mm, y_mm=pinned.y_mm + across_mm))


def turn_bay(outcome: Outcome, name: str) -> Outcome:
    """Stand the leaves of a bay on their other end.

    Which edges meet may have to change with it, so the place across the board is left to the choice.

    Raises
    ------
    GrainplanError
        When the leaves cannot stand that way.
    """
    pinned = _find(outcome, name)
    return _try(outcome, replace(pinned, foot="up" if pinned.foot == "down" else "down", x_mm=None, y_mm=None))


def show_other_surface(outcome: Outcome, name: str) -> Outcome:
    """Bring to the front what the back of a bay shows now: its leaves change sides.

    Raises
    ------
    GrainplanError
        When the leaves cannot lie that way.
    """
    pinned = _find(outcome, name)
    count = len(pinned.leaves) // 2 if _find_bay(outcome, name).is_end_matched else len(pinned.leaves)
    leaves = (*pinned.leaves[:count][::-1], *pinned.leaves[count:][::-1])
    return _try(outcome, replace(pinned, leaves=leaves, y_mm=None))


def change_places(outcome: Outcome, name: str, other: str) -> Outcome:
    """Give each of two bays the leaves of the other; where on the leaves is left to the choice.

    Raises
    ------
    GrainplanError
        When a bay does not fit on the other's leaves.
    """
    first, second = _find(outcome, name), _find(outcome, other)
    return _try(
        outcome,
        Keep(name, second.leaves, foot=second.foot),
        Keep(other, first.leaves, foot=first.foot),
    )


def _find(outcome: Outcome, name: str) -> Keep:
    return pin_bay(_find_bay(outcome, name))


def _find_bay(outcome: Outcome, name: str) -> PlannedBay:
    for bay in outcome.plan.bays:
        if bay.name == name:
            return bay
    raise GrainplanError(f"{name} has no leaves in this plan that could be moved")


def _try(outcome: Outcome, *changed: Keep) -> Outcome:
    """The plan with these bays as told and every other filled bay as it was."""
    names = {keep.bay for keep in changed}
    others = tuple(pin_bay(bay) for bay in outcome.plan.bays if bay.name not in names)
    job: Job = replace(outcome.job, keeps=(*changed, *others), spare_pair=False)
    found = choose_again(outcome, job)
    if outcome.job.spare_pair:
        found = replace(found, plan=carry_over(found.plan, outcome.plan, shop=job.shop))
    return replace(found, job=outcome.job)
