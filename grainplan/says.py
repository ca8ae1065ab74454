"""What the app says beside the steps: sizes, resaw, flaws, leaves, seams and costs, in sentences and short words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import get_args

from grainplan import steps
from grainplan.aftersaw import explain_lost
from grainplan.boards import Flaw, Leaf, MeasuredBoard, RoughBoard, Surface
from grainplan.choice import Outcome, resaw_boards, size_bay
from grainplan.errors import NotFound
from grainplan.frame import Bay
from grainplan.job import Job, LeafReport
from grainplan.plan import Plan, PlannedBay, Seam
from grainplan.resaw import Resaw, Stock, compare_leaf_counts, suggest_pieces
from grainplan.show.marks import LIGHT_AND_DARK
from grainplan.species import load_species
from grainplan.units import format_length
from grainplan.wood.kinds import guess_kind


def list_woods() -> tuple[str, ...]:
    """The woods of the species table, by name."""
    return tuple(sorted(load_species()))


def tell_measured(board: MeasuredBoard, job: Job) -> tuple[str, ...]:
    """What the photos told of a board, a line each: sizes and grain, what leaves would cost, then doubts."""
    return tuple(line.strip() for line in steps.describe_board(board, job).split("\n"))


def tell_pieces(job: Job, board: RoughBoard) -> tuple[str, ...]:
    """What cutting a board before the resaw would change; empty where it is best left whole."""
    return suggest_pieces(board, job.shop, finished_mm=job.panel.thickness_mm)


def tell_size(job: Job, board: RoughBoard) -> str:
    """Length, width and thickness of a board, as they are read at the bench."""
    return " × ".join(_length(job, v) for v in (board.length_mm, board.width_mm, board.thickness_mm))


def tell_resaw(job: Job, name: str) -> tuple[str, ...]:
    """How a board is resawn, in sentences; the first is the sum of it."""
    found = resaw_boards(job)[name]
    if isinstance(found, NotFound):
        return (found.reason,)
    return (_tell_leaves(job, found), *found.caveats)


def tell_other_counts(job: Job, name: str) -> tuple[str, ...]:
    """What fewer or more leaves would give, a line each."""
    choices = compare_leaf_counts(Stock.of(job.board(name)), job.shop, finished_mm=job.panel.thickness_mm)
    lines = []
    for choice in choices:
        count = f"{choice.leaves} {'leaf' if choice.leaves == 1 else 'leaves'}"
        if choice.fits:
            tight = ", tight" if choice.tight else ""
            lines.append(f"{count}: {_length(job, choice.spare_mm)} to spare{tight}")
        elif choice.finished_leaf_mm > 0:
            reached = _length(job, choice.finished_leaf_mm)
            lines.append(f"{count}: {_length(job, -choice.spare_mm)} short; {reached} each would be reached")
        else:
            lines.append(f"{count}: {_length(job, -choice.spare_mm)} short")
    return tuple(lines)


def list_cautions(outcome: Outcome | None) -> tuple[str, ...]:
    """What no flat picture shows of the choice, and what is only foretold."""
    if outcome is None:
        return ()
    told = []
    strips = [s for bay in outcome.plan.bays for panel in bay.panels.values() for s in panel.strips]
    guessed = sum(strip.seen == "inside" for strip in strips)
    standing_in = sum(strip.seen == "stand-in" for strip in strips)
    if guessed:
        told.append(
            f"{guessed} of {len(strips)} strips are predicted: their rings are worked out from the outside of the "
            "board, their fine fibres only look like it. The saw may show otherwise."
        )
    if standing_in:
        told.append(f"{standing_in} of {len(strips)} strips show the nearest outside of the board, to give an idea.")
    if any(seam.match == "book" for bay in outcome.plan.bays for seam in bay.seams):
        told.append(LIGHT_AND_DARK)
    return tuple(told)


def tell_cost(plan: Plan) -> tuple[str, ...]:
    """What the cost is made of, the largest part first."""
    named = {
        "seams": "how lines meet",
        "tone": "differences of tone",
        "continuity": "grain across the rail",
        "flaws": "flaws that show",
        "wood": "wood used",
    }
    parts = sorted(plan.cost_parts.items(), key=lambda part: -part[1])
    return tuple(f"{named.get(part, part)}: {cost:.2f}" for part, cost in parts if cost >= 0.005)


def list_proposed(flaws: Sequence[Flaw]) -> tuple[Flaw, ...]:
    """Those flaws that the program proposes and nobody has answered yet."""
    return tuple(flaw for flaw in flaws if flaw.found_by == "program")


def tell_flaw(job: Job, flaw: Flaw) -> str:
    """A flaw in a sentence: what, where it shows, how large, how far from the foot and the face edge."""
    on = "through every leaf" if flaw.on == "through" else f"on the {flaw.on}"
    size = f"{_length(job, flaw.box.width)} × {_length(job, flaw.box.height)}"
    where = f"{_length(job, flaw.box.x0)} from the foot, {_length(job, flaw.box.y0)} from the face edge"
    if flaw.found_by == "program":
        guess = guess_kind(flaw)
        return f"{guess[0].upper()}{guess[1:]} {on}, {flaw.confidence:.0%} sure: {size}, {where}."
    return f"{flaw.kind.capitalize()} {on}, {size}, {where}."


def tell_panels(job: Job, bay: Bay) -> tuple[str, ...]:
    """The finished panels of a bay, a line each, and what is to be said about their room to move."""
    size = size_bay(job, bay)
    lines = [
        f"{part} panel: {_length(job, panel.width_mm)} × {_length(job, panel.height_mm)} finished"
        for part, panel in size.panels.items()
    ]
    return (*lines, f"{_length(job, size.float_mm)} room across the grain", *size.caveats)


def tell_strips(job: Job, bay: PlannedBay) -> tuple[tuple[str, str, str], ...]:
    """The leaves of a bay: panel, leaves left to right with the surface that shows, where they lie on their board."""
    rows = []
    across: dict[str, None] = {}
    for part, panel in bay.panels.items():
        leaves = " · ".join(f"{s.leaf.name} {s.surface}" for s in panel.strips)
        along = dict.fromkeys(f"{_length(job, s.x_mm[0])} to {_length(job, s.x_mm[1])} along" for s in panel.strips)
        rows.append((part, leaves, "; ".join(along)))
        for s in panel.strips:
            foot = ", foot up" if s.foot == "up" else ""
            across[f"{_length(job, s.y_mm[0])} to {_length(job, s.y_mm[1])} across{foot}"] = None
    return (*rows, ("", "", "; ".join(across)))


def tell_seam(job: Job, seam: Seam) -> str:
    """A seam in a sentence: what kind it is, how far apart its surfaces were, and how well its lines meet."""
    told = [f"{seam.panel}, {seam.side}: {seam.match}"]
    if seam.gap_mm is not None:
        told.append(f"surfaces {_length(job, seam.gap_mm)} apart in the board")
    if seam.fit is not None:
        beside = f"; wood that does not belong together: {seam.strangers:.2f}" if seam.strangers is not None else ""
        told.append(f"lines meet {seam.fit:.2f} (1 is perfect{beside})")
    if seam.step_mm is not None:
        told.append(f"lines step by {_length(job, seam.step_mm)}")
    return ", ".join(told)


def tell_difference(before: Outcome, after: Outcome) -> str:
    """What a move of the hand costs, in the cost's one unit."""
    more = after.plan.cost - before.plan.cost
    if abs(more) < 0.005:
        return f"It costs the same: {after.plan.cost:.2f}."
    return f"It costs {after.plan.cost:.2f}, {abs(more):.2f} {'more' if more > 0 else 'less'} than before."


def list_leaves(job: Job, outcome: Outcome | None) -> Mapping[str, tuple[Leaf, ...]]:
    """The leaves of every board, or of every piece that is cut free of one, as it was planned to be sawn."""
    if outcome is not None:
        return {use.name: tuple(Leaf(use.name, n + 1) for n in range(use.leaves)) for use in outcome.plan.boards}
    found = resaw_boards(job)
    return {
        board.name: tuple(Leaf(board.name, n + 1) for n in range(resaw.leaves if isinstance(resaw, Resaw) else 0))
        for board in job.boards
        for resaw in (found[board.name],)
    }


def find_report(job: Job, leaf: Leaf) -> LeafReport | None:
    """What the maker has told of a leaf."""
    return next((report for report in job.leaf_reports if report.leaf == leaf), None)


def find_stock(job: Job, outcome: Outcome | None, leaf: Leaf) -> RoughBoard | None:
    """The board, or the piece of one, that a leaf is sawn from."""
    boards = (*(outcome.job.boards if outcome else ()), *job.boards)
    return next((board for board in boards if board.name == leaf.board), None)


def tell_leaf(job: Job, leaf: Leaf) -> str:
    """How a leaf stands after the saw, in a few words."""
    report = find_report(job, leaf)
    if report is None:
        return "nothing told yet"
    if lost := explain_lost(report, job):
        return f"lost: {lost}"
    told = [_length(job, report.thickness_mm)] if report.thickness_mm else []
    told += [f"{surface} photographed" for surface in get_args(Surface) if getattr(report, surface) is not None]
    return ", ".join(told) or "sawn"


def tell_doubts(outcome: Outcome | None, leaf: Leaf) -> tuple[str, ...]:
    """What the last choice said of this leaf: whether its photo shows it, how far the prediction was from it."""
    if outcome is None:
        return ()
    named = re.compile(rf"(?<![\w]){re.escape(leaf.name)}(?![\w])")
    return tuple(caveat for caveat in outcome.plan.caveats if named.search(caveat))


def find_places(outcome: Outcome | None, leaf: Leaf) -> tuple[str, ...]:
    """The bays that a leaf goes into."""
    return tuple(
        bay.name
        for bay in (outcome.plan.bays if outcome else ())
        if any(strip.leaf == leaf for panel in bay.panels.values() for strip in panel.strips)
    )


def _tell_leaves(job: Job, found: Resaw) -> str:
    count = f"{found.leaves} {'leaf' if found.leaves == 1 else 'leaves'}"
    told = [f"{count} of {_length(job, found.finished_leaf_mm)}", f"{_length(job, found.spare_mm)} to spare"]
    if found.leaves > 1:
        told.append(f"mates {_length(job, found.mate_gap_mm)} apart")
    return ", ".join(told) + (" — tight" if found.tight else "")


def _length(job: Job, length_mm: float) -> str:
    return format_length(length_mm, job.units)
