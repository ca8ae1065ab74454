"""What becomes of each leaf: its pieces, the lines that free them in order, and what machines will not take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from grainplan.boards import Leaf, RoughBoard
from grainplan.errors import PlanError
from grainplan.frame import Part
from grainplan.job import Job
from grainplan.plan import BoardUse, Plan, Span, Strip
from grainplan.resaw import cut_pieces
from grainplan.shop import Shop
from grainplan.units import MM_PER_INCH

SHORTEST_CROSSCUT_MM = 6 * MM_PER_INCH
"""Table saw manuals name 6 in as the least that is crosscut; the maker's own manual governs."""

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
    """

    kind: str
    lines_mm: tuple[float, ...]
    on: str


def list_pieces(plan: Plan) -> tuple[SawnPiece, ...]:
    """All strips of a plan, bay by bay, from the foot up and left to right."""
    return tuple(
        SawnPiece(strip, bay.name, part, position, len(panel.strips))
        for bay in plan.bays
        for part, panel in bay.panels.items()
        for position, strip in enumerate(panel.strips)
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


def list_leaves(use: BoardUse) -> tuple[Leaf, ...]:
    """The leaves of a board, from its face side."""
    return tuple(Leaf(use.name, number) for number in range(1, use.leaves + 1))


def order_cuts(pieces: Sequence[SawnPiece], length_mm: float, *, width_mm: float) -> tuple[SawStep, ...]:
    """In which order the pieces of one leaf are freed by straight cuts that go right through.

    A leaf whose pieces lie in clean rows along it is ripped first, so that a row keeps one straight edge; otherwise it
    is crosscut first.

    Parameters
    ----------
    pieces : sequence of SawnPiece
        All of one leaf.
    length_mm, width_mm : float
        Of the leaf.
    """
    if not pieces:
        return ()
    return tuple(_free(list(pieces), ((0.0, length_mm), (0.0, width_mm)), "the leaf", None))


def flag_piece(piece: SawnPiece, shop: Shop) -> tuple[str, ...]:
    """What machines will not take about a strip, in sentences without its name."""
    said = []
    if piece.length_mm < SHORTEST_CROSSCUT_MM:
        said.append("shorter than most table saw manuals allow to crosscut: saw it by hand")
    if piece.length_mm < shop.shortest_planed_mm:
        said.append("shorter than the planer takes: thickness it while it is part of its leaf, true its edges by hand")
    return tuple(said)


def flag_leaf(use: BoardUse, length_mm: float, *, shop: Shop) -> tuple[str, ...]:
    """What machines will not take about the leaves of a board, in sentences."""
    said = []
    if use.finished_leaf_mm < shop.thinnest_planed_mm - 1e-6:
        said.append("thinner than the planer takes: use a drum sander, or a carrier board if the manual allows one")
    if length_mm < shop.shortest_planed_mm:
        said.append("shorter than the planer takes: thickness it by hand or with a drum sander")
    return tuple(said)


def _free(pieces: list[SawnPiece], region: tuple[Span, Span], on: str, last: str | None) -> list[SawStep]:
    """Cuts that free the pieces inside a region (x, y), which is called `on`; never the same kind twice in a row."""
    for kind in _kinds(pieces, last):
        axis = 0 if kind == "crosscut" else 1
        span = _along(axis)
        groups = _cluster(pieces, span)
        lines = _edges(groups, span, region[axis])
        if not lines:
            continue
        steps = [SawStep(kind, tuple(lines), on)]
        for group in groups:
            part = (min(span(p)[0] for p in group), max(span(p)[1] for p in group))
            inner = (part, region[1]) if axis == 0 else (region[0], part)
            steps += _free(group, inner, _call(group, kind, alone=len(groups) == 1), kind)
        return steps
    return [SawStep("by hand", (), on)] if len(pieces) > 1 else []


def _kinds(pieces: list[SawnPiece], last: str | None) -> tuple[str, ...]:
    if last is not None:
        return ("rip",) if last == "crosscut" else ("crosscut",)
    rows = _cluster(pieces, _along(1))
    clean = all(_alike(_along(1)(p), _along(1)(row[0])) for row in rows for p in row)
    return ("rip", "crosscut") if clean else ("crosscut", "rip")


def _along(axis: int) -> Callable[[SawnPiece], Span]:
    return (lambda p: p.strip.x_mm) if axis == 0 else (lambda p: p.strip.y_mm)


def _alike(one: Span, other: Span) -> bool:
    return abs(one[0] - other[0]) < _SAME_MM and abs(one[1] - other[1]) < _SAME_MM


def _cluster(pieces: list[SawnPiece], span: Callable[[SawnPiece], Span]) -> list[list[SawnPiece]]:
    """Groups of pieces that no line between them can part, in order."""
    groups: list[list[SawnPiece]] = []
    reach = float("-inf")
    for piece in sorted(pieces, key=span):
        start, end = span(piece)
        if start < reach - _SAME_MM:
            groups[-1].append(piece)
        else:
            groups.append([piece])
        reach = max(reach, end)
    return groups


def _edges(groups: list[list[SawnPiece]], span: Callable[[SawnPiece], Span], region: Span) -> list[float]:
    """Both edges of every group, without those that are edges of the region already."""
    ends = [(min(span(p)[0] for p in g), max(span(p)[1] for p in g)) for g in groups]
    lines = sorted({round(v, 4) for pair in ends for v in pair})
    return [v for v in lines if v - region[0] > _SAME_MM and region[1] - v > _SAME_MM]


def _call(group: list[SawnPiece], kind: str, *, alone: bool) -> str:
    """What a part is called once it is free: by its piece, or by where it lay."""
    if len(group) == 1:
        return group[0].place
    if alone:
        return "what is left"
    return "the row with " + group[0].place if kind == "rip" else "the length with " + group[0].place
