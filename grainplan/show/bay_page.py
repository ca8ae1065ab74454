"""A page a bay: its panels with the strips in order, their sizes, the room to move, and how they are glued up."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.arch import Arch
from grainplan.boards import MeasuredBoard
from grainplan.errors import PlanError
from grainplan.frame import Bay, Part
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.movement import Wood, YearOfPanel, follow_year
from grainplan.plan import Continuity, PlannedBay, Seam
from grainplan.show import cautions
from grainplan.show.cutting import SawnPiece, find_stock
from grainplan.show.layout import Page, draw_table, write_size
from grainplan.show.paper import BROAD, HIDDEN, SMALL, THIN, Ink, Pen, Point, break_lines, measure_words
from grainplan.units import Units, format_length

_DRAWING_MM = 96.0
_TRIANGLE = Pen(0.35, grey=0.5)


@dataclass(frozen=True, slots=True)
class BaySheet:
    """What the page of a bay tells.

    Parameters
    ----------
    bay : Bay
    planned : PlannedBay
    pieces : tuple of SawnPiece
        Of this bay, from the foot up, left to right.
    year : YearOfPanel
        Of its widest panel, in the wood that moves most.
    """

    bay: Bay
    planned: PlannedBay
    pieces: tuple[SawnPiece, ...]
    year: YearOfPanel

    def pieces_of(self, part: Part) -> tuple[SawnPiece, ...]:
        """The strips of one panel, left to right."""
        return tuple(p for p in self.pieces if p.part == part)


def gather_bay(job: Job, planned: PlannedBay, *, bay: Bay, measured: tuple[MeasuredBoard, ...] = ()) -> BaySheet:
    """Pick out of a job and a plan what belongs to one bay, and follow its panels through the year.

    Raises
    ------
    PlanError
        When the plan has other panels than the bay.
    """
    if set(planned.panels) != set(bay.sight_heights_mm):
        raise PlanError(
            f"the plan fills {', '.join(planned.panels)} of bay {bay.name}, which has "
            f"{', '.join(bay.sight_heights_mm)}; plan the job again"
        )
    pieces = tuple(
        SawnPiece(strip, planned.name, part, position, len(panel.strips))
        for part, panel in planned.panels.items()
        for position, strip in enumerate(panel.strips)
    )
    width = max(panel.width_mm for panel in planned.panels.values())
    float_mm = bay.width_mm + 2 * job.panel.groove_mm - width
    angles = {m.name: m.grain.ring_angle_deg for m in measured}
    years = []
    for name in sorted({p.strip.leaf.board for p in pieces}):
        stock = find_stock(job, name)
        wood = Wood(job.species[stock.species], stock.moisture_percent, angles.get(name))
        years.append(follow_year(width, wood, climate=job.climate, float_mm=float_mm, groove_mm=job.panel.groove_mm))
    return BaySheet(bay, planned, pieces, max(years, key=lambda y: y.grows_mm + y.shrinks_mm))


def draw_bay_page(page: Page, sheet: BaySheet, *, job: Job) -> None:
    """Fill the page of a bay."""
    page.begin()
    top = page.y_mm
    _draw_panels(page, sheet, job=job)
    left = page.left_mm + _DRAWING_MM + 8
    width = page.right_mm - left
    page.y_mm = top
    page.head("Strips, left to right as seen from the front", at_mm=left)
    page.y_mm += 6
    rows = [
        (
            "panel" if p.part == "panel" else p.part,
            str(p.position + 1),
            p.strip.leaf.name,
            p.strip.surface,
            p.strip.foot,
            f"{write_size(p.length_mm, job.units)} × {write_size(p.width_mm, job.units)}",
        )
        for p in sheet.pieces
    ]
    shares = (("panel", 0.15), ("strip", 0.1), ("leaf", 0.15), ("shows", 0.14), ("foot", 0.14), ("sawn size", 0.32))
    page.y_mm += draw_table(page, (left, page.y_mm), [(h, s * width) for h, s in shares], rows=rows, ink=Ink(11)) + 2
    page.head("Sizes: along the grain × across", at_mm=left)
    page.y_mm += 6
    page.y_mm += (
        draw_table(
            page,
            (left, page.y_mm),
            [
                ("panel", 0.2 * width),
                ("glued, rough", 0.27 * width),
                ("finished", 0.27 * width),
                ("seen", 0.26 * width),
            ],
            rows=_size_rows(sheet, job=job),
            ink=Ink(10.5),
        )
        + 2
    )
    page.head("Room to move", at_mm=left)
    page.y_mm += 6 + page.paper.write_points((left, page.y_mm + 6), _tell_room(sheet, job=job), width_mm=width) + 2
    page.head("Glue up and fit", at_mm=left)
    page.y_mm += 6 + page.paper.write_points(
        (left, page.y_mm + 6), _tell_gluing(sheet, job=job), Ink(8.8), width_mm=width
    )
    _write_caveats(page, [*sheet.planned.caveats, *_seam_words(sheet, job=job)], left_mm=left)


def _write_caveats(page: Page, caveats: list[str], *, left_mm: float) -> None:
    """What is doubtful about this bay, in small letters; on a page of their own where the column is full."""
    left, width = left_mm, page.right_mm - left_mm
    for caveat in caveats:
        if page.y_mm + len(break_lines(caveat, SMALL, width_mm=width)) * SMALL.line_mm > page.bottom_mm:
            page.paper.turn_page()
            page.begin(continued=True)
            left, width = page.left_mm, page.inner_mm
        page.y_mm += 0.6 + page.paper.write_block((left, page.y_mm), caveat, SMALL, width_mm=width)


def _size_rows(sheet: BaySheet, *, job: Job) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for part, panel in sheet.planned.panels.items():
        rough = (panel.height_mm + 2 * job.shop.over_length_mm, panel.width_mm + 2 * job.shop.over_width_mm)
        seen = (sheet.bay.sight_heights_mm[part], sheet.bay.width_mm)
        sizes = (rough, (panel.height_mm, panel.width_mm), seen)
        rows.append((part, *(" × ".join(write_size(v, job.units) for v in pair) for pair in sizes)))
        if panel.field_mm is not None:
            field = " × ".join(write_size(v, job.units) for v in reversed(panel.field_mm))
            rows.append(("its field", "", field, ""))
    return rows


def _tell_room(sheet: BaySheet, *, job: Job) -> list[str]:
    year, units = sheet.year, job.units
    points = [
        f"Float {format_length(year.float_mm, units)} in all: as made, {format_length(year.float_mm / 2, units)} of "
        f"each groove stays empty, and {format_length(job.panel.end_gap_mm, units)} at each end.",
        f"To the dampest room ({year.moisture_dampest:.1f} % moisture) it grows {format_length(year.grows_mm, units)}; "
        f"to the driest ({year.moisture_driest:.1f} %) it shrinks {format_length(year.shrinks_mm, units)} and each "
        f"side still lies {format_length(year.engagement_driest_mm, units)} deep. A board may move more than "
        "the tables say.",
        cautions.NEVER_GLUE_EDGES,
    ]
    if year.room_dampest_mm < 0:
        points.insert(0, "⚠ The panel grows by more than its float in the dampest room: it will push the stiles apart.")
    return points


def _tell_gluing(sheet: BaySheet, *, job: Job) -> list[str]:
    units = job.units
    points = [
        "Lay the strips out as drawn, show sides up, and draw the triangle across them before anything is moved.",
        *(
            [
                f"Take {format_length(job.shop.joint_mm, units)} off each glued edge; joint mates together.",
                *cautions.GLUE,
            ]
            if any(p.of > 1 for p in sheet.pieces)
            else []
        ),
        *_tell_edge(sheet, job=job),
        "Trim evenly: the seam, or the middle of the panel, stays in the middle of the opening.",
    ]
    if sheet.planned.is_end_matched:
        points.insert(
            1,
            "End match: the upper panel's leaves stand on their head; the arrows of all its strips point up."
            if sheet.pieces_of("upper")[0].strip.foot == "up"
            else "End match: the lower panel's leaves stand on their head; the arrows of all its strips point up.",
        )
    if sheet.bay.arch_mm:
        arch, reach = Arch(sheet.bay.width_mm, sheet.bay.arch_mm), job.panel.groove_mm - job.panel.end_gap_mm
        points.append(
            f"Arched top: the rail's edge has a radius of {format_length(arch.radius_mm, units)} "
            f"(rise {format_length(arch.rise_mm, units)}), the panel's {format_length(arch.radius_mm + reach, units)}."
        )
    return [*points, cautions.FINISH_FIRST]


def _tell_edge(sheet: BaySheet, *, job: Job) -> list[str]:
    """How the edge of a panel is shaped that enters its groove by a tongue."""
    making, units = job.panel, job.units
    if all(panel.tongue_mm is None for panel in sheet.planned.panels.values()):
        return []
    tongue, wide = format_length(making.enters_mm, units), format_length(making.groove_mm, units)
    deep = format_length(making.thickness_mm - making.enters_mm, units)
    how = "Rebate" if making.edge == "rebated" else "Raise the field"
    said = f"{how} once it is trimmed: {wide} wide and {deep} deep all round; the tongue left is {tongue} thick."
    if making.groove_width_mm is not None:
        said += f" Try it in the groove of {format_length(making.groove_width_mm, units)} before the frame is glued."
    return [said, cautions.SMALL_EDGE]


def _seam_words(sheet: BaySheet, *, job: Job) -> list[str]:
    """How well the seams are foretold, in a sentence each for the side that is seen first; and the lean of mates."""
    told: dict[tuple[str, str], list[str]] = {}
    for seam in sheet.planned.seams:
        if seam.side == "front":
            told.setdefault(_tell_seam(seam, job.units), []).append(seam.panel)
    words = [f"{where}{_name_panels(panels)}: {how}" for (where, how), panels in told.items()]
    if sheet.planned.continuity is not None:
        words.append(_tell_rail(sheet.planned.continuity, job.units))
    if any(s.match == "book" for s in sheet.planned.seams):
        words.append(cautions.LEAN)
    return words


def _name_panels(panels: list[str]) -> str:
    named = [panel for panel in panels if panel != "panel"]
    return f", {' and '.join(named)}" if named else ""


def _tell_seam(seam: Seam, units: Units) -> tuple[str, str]:
    """Which strips meet, and how well."""
    told = [f"gap {format_length(seam.gap_mm, units)}" if seam.gap_mm is not None else "gap not known"]
    if seam.fit is not None:
        told.append(
            f"fit {seam.fit:.2f}" + (f" (strangers {seam.strangers:.2f})" if seam.strangers is not None else "")
        )
    if seam.step_mm is not None:
        told.append(f"ring lines step about {format_length(seam.step_mm, units, smallest=16)}")
    doubt = f" ({seam.caveats[0]})" if seam.caveats else ""
    return f"Strips {seam.between[0] + 1} and {seam.between[1] + 1}", f"{seam.match}, {', '.join(told)}{doubt}."


def _tell_rail(rail: Continuity, units: Units) -> str:
    """What happens to the grain behind the middle rail, strip by strip."""
    hidden = format_length(rail.hidden_mm, units)
    if rail.end_match:
        told = f"End match: the upper panel stands on its head and mirrors the lower one across the rail ({hidden})"
    elif abs(rail.leaf_mm - rail.hidden_mm) < 0.01:
        told = f"Rail: the {hidden} that it hides are left out on the leaf, so grain lines run on behind it"
    else:
        given = format_length(rail.leaf_mm, units)
        told = f"Rail: it hides {hidden} and the leaf gives {given} for it, so the grain jumps"
    steps = [step for step in rail.step_mm if step is not None]
    fits = [fit for fit in rail.fit if fit is not None]
    if fits:
        told += f"; fit {min(fits):.2f} to {max(fits):.2f}" if len(fits) > 1 else f"; fit {fits[0]:.2f}"
        told += f" (strangers {rail.strangers:.2f})" if rail.strangers is not None else ""
    if steps and max(steps) > 0:
        told += f"; lines miss their other half by up to {format_length(max(steps), units, smallest=32)}"
    return told + (f" ({rail.caveats[0]})." if rail.caveats else ".")


def _draw_panels(page: Page, sheet: BaySheet, *, job: Job) -> None:
    """The bay from the front, to scale: rough panels dashed, finished ones drawn out, what is seen in broad lines."""
    paper, bay = page.paper, sheet.bay
    over, reach = job.shop.over_length_mm, job.panel.groove_mm - job.panel.end_gap_mm
    seen_height = sum(bay.sight_heights_mm.values()) + (bay.rail_mm or 0.0)
    tall = seen_height + 2 * (reach + over)
    wide = max(p.width_mm for p in sheet.planned.panels.values()) + 2 * job.shop.over_width_mm
    top = page.y_mm + 5
    scale = min((page.bottom_mm - top) / tall, _DRAWING_MM / wide)
    middle = page.left_mm + _DRAWING_MM / 2
    paper.write((page.left_mm, page.y_mm + 2.5), f"From the front, foot down, at 1 : {1 / scale:.1f}", SMALL)
    base, crown = top + (tall - reach - over) * scale, top + (reach + over) * scale
    half = bay.width_mm * scale * 0.46
    paper.draw_line([(middle - half, base - 2), (middle, crown + 2), (middle + half, base - 2)], _TRIANGLE, close=True)
    sill = base
    for part, sight in bay.sight_heights_mm.items():
        frame = _Opening(middle, sill, scale, bay.width_mm, sight)
        _draw_panel(page, sheet, part=part, opening=frame, job=job)
        sill -= (sight + (bay.rail_mm or 0.0)) * scale


@dataclass(frozen=True, slots=True)
class _Opening:
    """A sight opening on the page: its middle and sill in mm of paper, and the real size it is drawn from."""

    middle_mm: float
    sill_mm: float
    scale: float
    width_mm: float
    height_mm: float

    def at(self, from_middle_mm: float, up_mm: float) -> Point:
        return self.middle_mm + from_middle_mm * self.scale, self.sill_mm - up_mm * self.scale

    def box(self, *, beside_mm: float, beyond_mm: float) -> Box:
        """The opening made wider at each side and longer at each end."""
        x0, y1 = self.at(-self.width_mm / 2 - beside_mm, -beyond_mm)
        x1, y0 = self.at(self.width_mm / 2 + beside_mm, self.height_mm + beyond_mm)
        return Box(x0, y0, x1, y1)


def _draw_panel(page: Page, sheet: BaySheet, *, part: Part, opening: _Opening, job: Job) -> None:
    paper, panel = page.paper, sheet.planned.panels[part]
    reach = job.panel.groove_mm - job.panel.end_gap_mm
    beside = (panel.width_mm - opening.width_mm) / 2
    arched = sheet.bay.arch_mm > 0 and part == list(sheet.planned.panels)[-1]
    rough = opening.box(beside_mm=beside + job.shop.over_width_mm, beyond_mm=reach + job.shop.over_length_mm)
    paper.draw_box(rough, HIDDEN)
    for wider, longer, pen in ((beside, reach, THIN), (0.0, 0.0, BROAD)):
        paper.draw_line(
            _outline(opening, sheet.bay, beside_mm=wider, beyond_mm=longer)
            if arched
            else _square(opening.box(beside_mm=wider, beyond_mm=longer)),
            pen,
            close=True,
        )
    _draw_strips(page, sheet.pieces_of(part), box=opening.box(beside_mm=beside, beyond_mm=reach))


def _square(box: Box) -> list[Point]:
    return [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)]


def _outline(opening: _Opening, bay: Bay, *, beside_mm: float, beyond_mm: float) -> list[Point]:
    """An arched panel's edge: sides and foot straight, the top about the arch's own centre."""
    arch = Arch(bay.width_mm, bay.arch_mm)
    half, crown = opening.width_mm / 2 + beside_mm, opening.height_mm + beyond_mm
    places = [half - 2 * half * n / 40 for n in range(41)]
    curve = [opening.at(x, crown - arch.drop_from_crown(x, outward_mm=beyond_mm)) for x in places]
    return [opening.at(-half, -beyond_mm), opening.at(half, -beyond_mm), *curve]


def _draw_strips(page: Page, pieces: tuple[SawnPiece, ...], *, box: Box) -> None:
    """Seams and, on each strip, its leaf, the side that shows, and an arrow to its foot."""
    paper = page.paper
    width = box.width / len(pieces)
    for piece in pieces:
        left = box.x0 + width * piece.position
        middle, y = left + width / 2, (box.y0 + box.y1) / 2
        if piece.position:
            paper.draw_line([(left, box.y0), (left, box.y1)], Pen(0.3, (3.0, 1.0, 0.6, 1.0)))
        size = min(16.0, width * 0.9)
        paper.write((middle, y - 3), piece.strip.leaf.name, Ink(size, bold=True, align="middle"), paper_under=True)
        shows = f"{piece.strip.surface} side"
        if measure_words(shows, Ink(7.5)) > width - 1:
            shows = piece.strip.surface
        paper.write((middle, y + 1.2), shows, Ink(7.5, align="middle"), paper_under=True)
        ends = ((middle, y + 3.5), (middle, y + 12.5))
        start, end = ends if piece.strip.foot == "down" else ends[::-1]
        paper.draw_arrow(start, end, Pen(0.6), head_mm=3.0)
