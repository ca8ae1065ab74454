"""A label a leaf and a label a strip, to stick on as they come off the saw."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.plan import Plan
from grainplan.show.cutting import (
    SawnPiece,
    SparePiece,
    find_stock,
    list_leaves,
    list_pieces,
    list_sawn,
    list_spares,
)
from grainplan.show.layout import write_size
from grainplan.show.paper import (
    MARGIN_MM,
    SMALL,
    Ink,
    Paper,
    PaperName,
    Pen,
    choose_paper,
    measure_words,
    shorten_words,
)
from grainplan.units import Units

_COLUMNS = 2
_LABEL_MM = 40.0
_HEAD_MM = 16.0


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on one label.

    Parameters
    ----------
    name : str
        In the largest letters: the leaf.
    kind : str
        "leaf 1 of 2" or "strip 1 of 2", beside the name.
    lines : tuple of str
        Where it comes from or goes, and its size.
    shows : str
        Which side shows, or what else must be seen at a glance.
    foot_down : bool
        Which way the arrow to the foot points when the label is read.
    """

    name: str
    kind: str
    lines: tuple[str, ...]
    shows: str
    foot_down: bool


def write_labels(job: Job, plan: Plan) -> tuple[Label, ...]:
    """The labels of a plan: all leaves of the boards that are sawn, all strips bay by bay, then the spares."""
    pieces = list_pieces(plan)
    leaves = []
    for use in list_sawn(plan):
        stock = find_stock(job, use.name)
        for leaf in list_leaves(use):
            mine = [p for p in pieces if p.strip.leaf == leaf]
            gives = "for: " + "; ".join(dict.fromkeys(p.bay for p in mine)) if mine else "keep it whole"
            if any(spare.strip.leaf == leaf for spare in list_spares(plan)):
                gives += "; with a SPARE"
            size = (
                f"{write_size(stock.length_mm, job.units)} × {write_size(stock.width_mm, job.units)}{_unit(job.units)}"
            )
            lines = (f"board {use.name}, counted from its face side", gives, size)
            leaves.append(
                Label(leaf.name, f"leaf {leaf.number} of {use.leaves}", lines, _tell_sides(mine), foot_down=True)
            )
    spares = (_label_spare(spare, units=job.units) for spare in list_spares(plan))
    return (*leaves, *(_label_strip(p, units=job.units) for p in pieces), *spares)


def draw_labels(job: Job, plan: Plan, *, paper: PaperName | None = None) -> bytes:
    """The labels as one PDF, to cut apart along the dotted lines.

    Parameters
    ----------
    job : Job
    plan : Plan
    paper : {"A4", "Letter"} or None
        None: Letter for a job in inches, A4 for one in millimetres.

    Raises
    ------
    PlanError
        When the plan names a board that the job does not have.
    """
    pile = Paper(paper or choose_paper(job.units), f"{job.title}: labels", upright=True)
    labels = write_labels(job, plan)
    rows = int((pile.height_mm - 2 * MARGIN_MM - _HEAD_MM) // _LABEL_MM)
    width = (pile.width_mm - 2 * MARGIN_MM) / _COLUMNS
    for place in range(0, max(1, len(labels)), rows * _COLUMNS):
        _draw_head(pile, job.title)
        for number, label in enumerate(labels[place : place + rows * _COLUMNS]):
            row, column = divmod(number, _COLUMNS)
            x, y = MARGIN_MM + column * width, MARGIN_MM + _HEAD_MM + row * _LABEL_MM
            _draw_label(pile, label, box=Box(x, y, x + width, y + _LABEL_MM))
        pile.turn_page()
    return pile.finish()


def _draw_head(pile: Paper, title: str) -> None:
    width = pile.width_mm - 2 * MARGIN_MM
    pile.write((MARGIN_MM, MARGIN_MM + 4), shorten_words(title, Ink(11, bold=True), width_mm=width), Ink(11, bold=True))
    words = (
        "Stick each label on the side that will not show, upright as the piece stands in the furniture; the arrow "
        "points to the foot of the board. A leaf's label: arrow to its foot."
    )
    pile.write_block((MARGIN_MM, MARGIN_MM + 5.5), words, SMALL, width_mm=width)


def _draw_label(pile: Paper, label: Label, *, box: Box) -> None:
    pile.draw_box(box, Pen(0.15, (0.5, 1.0)))
    name = Ink(34, bold=True)
    while measure_words(label.name, name) > box.width * 0.5 and name.size_pt > 10:
        name = Ink(name.size_pt - 2, bold=True)
    pile.write((box.x0 + 4, box.y0 + 14), label.name, name)
    pile.write((box.x0 + 7 + measure_words(label.name, name), box.y0 + 14), label.kind, Ink(12))
    room = box.width - 24
    pile.write(
        (box.x0 + 4, box.y0 + 21.5), shorten_words(label.shows, Ink(12, bold=True), width_mm=room), Ink(12, bold=True)
    )
    for number, words in enumerate(label.lines):
        ink = Ink(10, bold=number == 0)
        pile.write((box.x0 + 4, box.y0 + 27.5 + 4.6 * number), shorten_words(words, ink, width_mm=room), ink)
    x = box.x1 - 10
    ends = ((x, box.y0 + 9), (x, box.y1 - 9))
    start, end = ends if label.foot_down else ends[::-1]
    pile.draw_arrow(start, end, Pen(1.2), head_mm=6)
    foot_y = box.y1 - 4.5 if label.foot_down else box.y0 + 7
    pile.write((x, foot_y), "FOOT", Ink(9, bold=True, align="middle"))


def _label_strip(piece: SawnPiece, *, units: Units) -> Label:
    panel = "panel" if piece.part == "panel" else f"{piece.part} panel"
    size = f"{write_size(piece.length_mm, units)} × {write_size(piece.width_mm, units)}{_unit(units)} as sawn"
    return Label(
        piece.strip.leaf.name,
        f"strip {piece.position + 1} of {piece.of}",
        (f"{piece.bay}, {panel}", "from the left, as seen from the front", size),
        f"{piece.strip.surface.upper()} side shows",
        foot_down=piece.strip.foot == "down",
    )


def _label_spare(spare: SparePiece, *, units: Units) -> Label:
    strip = spare.strip
    length, width = strip.x_mm[1] - strip.x_mm[0], strip.y_mm[1] - strip.y_mm[0]
    first, *more = spare.could_replace
    also = f"or {more[0]}" + (f" and {len(more) - 1} more" if len(more) > 1 else "") if more else "for no other panel"
    size = f"{write_size(length, units)} × {write_size(width, units)}{_unit(units)}, left in its leaf"
    return Label(
        strip.leaf.name,
        spare.name,
        (f"for {first}", also, size),
        f"{strip.surface.upper()} side would show",
        foot_down=strip.foot == "down",
    )


def _tell_sides(pieces: list[SawnPiece]) -> str:
    sides = sorted({p.strip.surface for p in pieces})
    if not sides:
        return "SPARE: not used"
    return f"{sides[0].upper()} side shows" if len(sides) == 1 else "near and far side show: see strips"


def _unit(units: Units) -> str:
    return f" {units}"
