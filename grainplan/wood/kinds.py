"""What each kind of flaw is called, and what it does to the plan: the same words on the command line and in the app.

That wood near the pith cracks, that resin bleeds through a finish, that a stain may go deeper than a planer, are
common practice.
"""

from __future__ import annotations

from grainplan.boards import Flaw, FlawKind

HINT = 0.5
"""Below this confidence a proposal is told as a hint: more of them are none than are one."""
_CALLED: dict[FlawKind, str] = {
    "knot": "a knot",
    "check": "a check",
    "pith": "the pith",
    "pitch": "a pitch pocket",
    "sapwood": "sapwood",
    "stain": "a stain",
    "wane": "wane",
    "other": "something else",
}
_DOES: dict[FlawKind, str] = {
    "knot": "A knot also bends the rings in what is predicted inside the board.",
    "check": "The plan may lay a check behind a rail or in a groove, where it is still a crack: crosscut it away where "
    "it would weaken the panel.",
    "pith": "The pith is a dark line and the wood beside it tends to crack; where it runs through the board, set it to "
    "every leaf.",
    "pitch": "A pitch pocket may bleed through a finish; it is seldom deep, so it counts on the side where it is seen.",
    "sapwood": "Sapwood is sound and only of another colour: keep it out, or let it show at a cost, as you like it; "
    "where both sides show it, set it to every leaf.",
    "stain": "A stain counts on the side where it is seen; whether it goes deeper than the planer only the cut tells.",
    "wane": "Wane is wood that is not there: a panel there would come out too small, so keep it out.",
    "other": "What it is matters to you alone; the plan treats it as any other flaw.",
}


def name_kind(kind: FlawKind) -> str:
    """The kind with its article: "a knot", "sapwood"."""
    return _CALLED[kind]


def tell_use(flaw: Flaw) -> str:
    """What the plan does with a flaw, in a sentence or two, and what is to be known of its kind."""
    if flaw.found_by == "program":
        plan = "Only looked at: no place is ruled out by it; where it shows it costs by its size and by how sure it is."
    elif flaw.avoid:
        plan = "Kept out of sight: no panel may show it."
    else:
        plan = "It may show, at a cost for each square inch in sight."
    return f"{plan} {_DOES[flaw.kind]}"


def guess_kind(flaw: Flaw) -> str:
    """What the program takes a flaw for, no surer than it is: "perhaps a knot", "a hint of a check"."""
    return f"{'perhaps' if flaw.confidence >= HINT else 'a hint of'} {_CALLED[flaw.kind]}"
