"""What becomes of each leaf: its pieces, the lines that free them in order, and what machines will not take."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from grainplan import machines
from grainplan.boards import Leaf, RoughBoard
from grainplan.errors import PlanError
from grainplan.frame import Part
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.plan import BoardUse, Offcut, Plan, Span, Strip
from grainplan.resaw import cut_pieces
from grainplan.shop import Shop
from grainplan.units import Units

_SAME_MM = 0.05


@dataclass(frozen=True, slots=True)
class SawnPiece:
    """A strip as it is sawn out of its leaf.

    Parameters
    ----------
    strip : Strip
    bay : str
    part : {"lower", "upper", "panel"}
    position : int
        From 0 at the left of its panel as seen from the front.
    of : int
        How many strips that panel has.
    """

    strip: Strip
    bay: str
    part: Part
    position: int
    of: int

    @property
    def place(self) -> str:
        """Where it goes: "left door, lower panel, strip 1 of 2"."""
        panel = "panel" if self.part == "panel" else f"{self.part} panel"
        strip = f", strip {self.position + 1} of {self.of}" if self.of > 1 else ""
        return f"{self.bay}, {panel}{strip}"

    @property
    def length_mm(self) -> float:
        """Along the grain, mm."""
        return self.strip.x_mm[1] - self.strip.x_mm[0]

    @property
    def width_mm(self) -> float:
        """Across the grain, mm."""
        return self.strip.y_mm[1] - self.strip.y_mm[0]


@dataclass(frozen=True, slots=True)
class LeafArea:
    """A part of a leaf that is to be freed: a strip, or an offcut that is worth keeping.

    Parameters
    ----------
    name : str
    x_mm, y_mm : (float, float)
        From the foot, from the face edge.
    kept : bool
        An offcut: nothing is sawn for its own sake.
    """

    name: str
    x_mm: Span
    y_mm: Span
    kept: bool = False


@dataclass(frozen=True, slots=True)
class SawStep:
    """Cuts of one kind on one part of a leaf.

    Parameters
    ----------
    kind : {"rip", "crosscut", "by hand"}
        "by hand": no straight cut through the part frees a piece; it is sawn out along its lines.
    lines_mm : tuple of float
        From the face edge (rip) or from the foot (crosscut).
    on : str
        Which part of the leaf meets the saw.
    length_mm : float
        How long that part is as it meets the saw.
    """

    kind: str
    lines_mm: tuple[float, ...]
    on: str
    length_mm: float = math.inf


def list_pieces(plan: Plan) -> tuple[SawnPiece, ...]:
    """All strips of a plan, bay by bay, from the foot up and left to right."""
    return tuple(
        SawnPiece(strip, bay.name, part, position, len(panel.strips))
        for bay in plan.bays
        for part, panel in bay.panels.items()
        for position, strip in enumerate(panel.strips)
    )


@dataclass(frozen=True, slots=True)
class SparePiece:
    """A strip that is left in its leaf until a panel needs it.

    Parameters
    ----------
    strip : Strip
    position, of : int
        From 0 at the left of the panel that it would make, and how many strips that has.
    could_replace : tuple of str
        Panels, "left door, lower panel".
    """

    strip: Strip
    position: int
    of: int
    could_replace: tuple[str, ...]

    @property
    def name(self) -> str:
        """As it stands on the leaf: "SPARE 1 of 2"."""
        return f"SPARE {self.position + 1} of {self.of}"


def list_spares(plan: Plan) -> tuple[SparePiece, ...]:
    """All spare strips of a plan."""
    return tuple(
        SparePiece(
            strip,
            position,
            len(spare.strips),
            tuple(f"{p.bay}, {'panel' if p.panel == 'panel' else f'{p.panel} panel'}" for p in spare.replaces),
        )
        for spare in plan.spares
        for position, strip in enumerate(spare.strips)
    )


def find_stock(job: Job, name: str) -> RoughBoard:
    """The board, or the piece of one, that a plan names.

    Raises
    ------
    PlanError
        When the job has none of that name.
    """
    for board in job.boards:
        for stock in (board, *cut_pieces(board)):
            if stock.name == name:
                return stock
    raise PlanError(f"the plan saws board {name}, which the job does not have; plan the job again")


def list_sawn(plan: Plan) -> tuple[BoardUse, ...]:
    """The boards that a bay takes leaves from; the others stay whole, whatever they could give."""
    taken = {piece.strip.leaf.board for piece in list_pieces(plan)}
    return tuple(use for use in plan.boards if use.name in taken)


def list_leaves(use: BoardUse) -> tuple[Leaf, ...]:
    """The leaves of a board, from its face side."""
    return tuple(Leaf(use.name, number) for number in range(1, use.leaves + 1))


def list_areas(pieces: Sequence[SawnPiece], offcuts: Sequence[Offcut]) -> tuple[LeafArea, ...]:
    """What is to be freed out of one leaf."""
    return (
        *(LeafArea(p.place, p.strip.x_mm, p.strip.y_mm) for p in pieces),
        *(LeafArea("the piece to keep", o.x_mm, o.sound_y_mm, kept=True) for o in offcuts),
    )


def order_cuts(areas: Sequence[LeafArea], leaf: Box, *, shop: Shop) -> tuple[SawStep, ...]:
    """In which order the areas of one leaf are freed by straight cuts that go right through.

    A leaf whose areas lie in clean rows along it is ripped first, so that a row keeps one straight edge; otherwise it
    is crosscut first. Two areas a kerf apart are parted by one cut, on the line of the one nearer the foot or the face
    edge.

    Parameters
    ----------
    areas : sequence of LeafArea
        All of one leaf.
    leaf : Box
        The whole leaf, board frame.
    shop : Shop
        For the kerfs.
    """
    if all(area.kept for area in areas):
        return ()
    return tuple(_free(list(areas), ((leaf.x0, leaf.x1), (leaf.y0, leaf.y1)), _On("the leaf"), shop))


def merge_steps(steps: Sequence[SawStep]) -> tuple[SawStep, ...]:
    """The same cuts on several parts, one after another, told once."""
    merged: list[SawStep] = []
    for step in steps:
        if merged and step.lines_mm and (merged[-1].kind, merged[-1].lines_mm) == (step.kind, step.lines_mm):
            shorter = min(step.length_mm, merged[-1].length_mm)
            merged[-1] = replace(step, on="each piece", length_mm=shorter)
        else:
            merged.append(step)
    return tuple(merged)


def flag_piece(piece: SawnPiece, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """What machines will not take about a strip, in sentences without its name."""
    return (
        *machines.tell_short_crosscut(piece.length_mm, shop, units=units),
        *machines.tell_short_strip(piece.length_mm, shop, units=units),
        *machines.tell_narrow_rip(piece.width_mm, shop, units=units),
    )


def flag_cuts(steps: Sequence[SawStep], shop: Shop, *, units: Units) -> tuple[str, ...]:
    """Rips that meet the saw in a piece too short for it, in sentences without the leaf's name."""
    return tuple(
        f"{step.on} is {said}"
        for step in steps
        if step.kind == "rip"
        for said in machines.tell_short_rip(step.length_mm, shop, units=units)
    )


def flag_leaf(use: BoardUse, length_mm: float, *, job: Job) -> tuple[str, ...]:
    """What machines will not take about the leaves of a board, in sentences."""
    return (
        *machines.tell_thin_leaf(use.finished_leaf_mm, job.shop, units=job.units),
        *machines.tell_short_leaf(length_mm, job.shop, units=job.units),
    )


@dataclass(frozen=True, slots=True)
class _On:
    """What a part of a leaf is called, and by which kind of cut it came free."""

    name: str
    after: str | None = None


def _free(areas: list[LeafArea], region: tuple[Span, Span], on: _On, shop: Shop) -> list[SawStep]:
    """Cuts that free the areas inside a region (x, y); never the same kind twice in a row."""
    for kind in _kinds(areas, on.after):
        axis = 0 if kind == "crosscut" else 1
        span = _along(axis)
        groups = _cluster(areas, span)
        lines = _edges(groups, span, region[axis], shop.crosscut_mm if axis == 0 else shop.rip_mm)
        if not lines:
            continue
        steps = [SawStep(kind, tuple(lines), on.name, region[0][1] - region[0][0])]
        for group in groups:
            if all(area.kept for area in group):
                continue
            part = _extent(group, span)
            inner = (part, region[1]) if axis == 0 else (region[0], part)
            steps += _free(group, inner, _On(_call(group, kind, alone=len(groups) == 1), kind), shop)
        return steps
    return [SawStep("by hand", (), on.name)] if len(areas) > 1 else []


def _kinds(areas: list[LeafArea], last: str | None) -> tuple[str, ...]:
    if last is not None:
        return ("rip",) if last == "crosscut" else ("crosscut",)
    rows = _cluster(areas, _along(1))
    clean = all(_alike(area.y_mm, row[0].y_mm) for row in rows for area in row)
    return ("rip", "crosscut") if clean else ("crosscut", "rip")


def _along(axis: int) -> Callable[[LeafArea], Span]:
    return (lambda area: area.x_mm) if axis == 0 else (lambda area: area.y_mm)


def _alike(one: Span, other: Span) -> bool:
    return abs(one[0] - other[0]) < _SAME_MM and abs(one[1] - other[1]) < _SAME_MM


def _extent(group: list[LeafArea], span: Callable[[LeafArea], Span]) -> Span:
    return min(span(area)[0] for area in group), max(span(area)[1] for area in group)


def _cluster(areas: list[LeafArea], span: Callable[[LeafArea], Span]) -> list[list[LeafArea]]:
    """Groups of areas that no line between them can part, in order."""
    groups: list[list[LeafArea]] = []
    reach = float("-inf")
    for area in sorted(areas, key=span):
        start, end = span(area)
        if start < reach - _SAME_MM:
            groups[-1].append(area)
        else:
            groups.append([area])
        reach = max(reach, end)
    return groups


def _edges(groups: list[list[LeafArea]], span: Callable[[LeafArea], Span], region: Span, kerf_mm: float) -> list[float]:
    """The lines that part the groups from one another and from the waste; what is only kept asks for none."""
    lines: list[float] = []
    for group in groups:
        if all(area.kept for area in group):
            continue
        start, end = _extent(group, span)
        if not lines or start - lines[-1] > kerf_mm + _SAME_MM:
            lines.append(round(start, 4))
        lines.append(round(end, 4))
    return [v for v in lines if v - region[0] > _SAME_MM and region[1] - v > _SAME_MM]


def _call(group: list[LeafArea], kind: str, *, alone: bool) -> str:
    """What a part is called once it is free: by its area, or by where it lay."""
    if len(group) == 1:
        return group[0].name
    if alone:
        return "what is left"
    first = next(area for area in group if not area.kept)
    return "the row with " + first.name if kind == "rip" else "the length with " + first.name
