"""A page a board: the end with its cuts, the saw's fence, planing after the rest, and the lines on every leaf."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from grainplan.boards import Leaf, MeasuredBoard, RoughBoard
from grainplan.errors import NotFound
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.match.planing import point_arrows
from grainplan.plan import BoardUse, Offcut, Plan
from grainplan.show import cautions
from grainplan.show.cutting import (
    SawnPiece,
    SawStep,
    SparePiece,
    find_stock,
    flag_cuts,
    flag_leaf,
    flag_piece,
    list_areas,
    list_leaves,
    list_pieces,
    list_spares,
    merge_steps,
    order_cuts,
)
from grainplan.show.layout import (
    Page,
    draw_dimensions_below,
    draw_dimensions_left,
    draw_face_mark,
    draw_table,
    write_finely,
    write_size,
)
from grainplan.show.paper import BODY, BROAD, HIDDEN, SMALL, THIN, Ink, Pen, break_lines, shorten_words, spread_apart
from grainplan.units import Units, format_length

_MOST_END_MM = 205.0
_LEFT_MM = 15.0
_HAIR_MM = 0.2
_SAWING_MM = 7.4
_DIMENSIONS_MM = 5.9
_BESIDE_MM = 7.0 + _DIMENSIONS_MM + 1.2  # what a leaf's name and dimensions take beside its drawing
_LEAST_LEAF_MM = 16.0
_UNIT_NAMES: dict[Units, str] = {"in": "inches", "mm": "millimetres"}


@dataclass(frozen=True, slots=True)
class BoardSheet:
    """What the page of a board tells: the board, its cuts, the pieces that its leaves become, and what comes first."""

    stock: RoughBoard
    use: BoardUse
    pieces: tuple[SawnPiece, ...]
    offcuts: tuple[Offcut, ...]
    kerf_mm: float
    first: str = ""
    arrows: tuple[str, ...] = ()
    spares: tuple[SparePiece, ...] = ()

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """From the face side."""
        return list_leaves(self.use)

    def pieces_of(self, leaf: Leaf) -> tuple[SawnPiece, ...]:
        """What is sawn out of one leaf, from its foot."""
        return tuple(sorted((p for p in self.pieces if p.strip.leaf == leaf), key=lambda p: p.strip.x_mm))


def gather_board(job: Job, plan: Plan, *, use: BoardUse, measured: MeasuredBoard | None = None) -> BoardSheet:
    """Pick out of a job and a plan what belongs to one board, or to a piece of one that is cut free first.

    Where the board was measured and its pith found at both ends, the leaves get their planing arrows.

    Raises
    ------
    PlanError
        When the job has no board of that name.
    """
    stock = find_stock(job, use.name)
    return BoardSheet(
        stock,
        use,
        tuple(p for p in list_pieces(plan) if p.strip.leaf.board == use.name),
        tuple(o for o in plan.offcuts if o.leaf.board == use.name),
        job.shop.kerf_mm,
        _tell_first(stock, job.units),
        () if measured is None else _tell_arrows(measured, use),
        tuple(s for s in list_spares(plan) if s.strip.leaf.board == use.name),
    )


def _tell_arrows(measured: MeasuredBoard, use: BoardUse) -> tuple[str, ...]:
    """Which way to plane each surface, where the fibres run out of the board."""
    if measured.pith is None:
        return ()
    arrows = point_arrows(measured.pith, measured.board.length_mm, list_leaves(use))
    if isinstance(arrows, NotFound):
        return ()
    ways = {arrow.surface: arrow.toward for arrow in arrows}  # all leaves of a board lean alike
    told = ", ".join(f"{surface} surfaces toward the {toward}" for surface, toward in ways.items())
    return (f"Plane {told}; try it with a light cut.",)


def _tell_first(stock: RoughBoard, units: Units) -> str:
    """Where a piece lies in the board that it is cut from, or nothing where the board is whole."""
    if stock.cut_from is None:
        return ""
    name, box = stock.cut_from
    x0, x1, y0, y1 = (write_size(v, units) for v in (box.x0, box.x1, box.y0, box.y1))
    return (
        f"First cut it out of board {name}: {x0} to {x1} from the foot, {y0} to {y1} from the face edge "
        f"({_UNIT_NAMES[units]})."
    )


def draw_board_pages(page: Page, sheet: BoardSheet, *, job: Job) -> None:
    """Fill the page of a board, and as many further pages as its leaves need."""
    page.begin()
    page.y_mm += _draw_end(page, sheet)
    page.y_mm += _draw_shop_work(page, sheet, job=job)
    told = {leaf: _tell_cuts(sheet, leaf, job=job) for leaf in sheet.leaves}
    scale = _choose_scale(page, sheet, told=told)
    page.make_room(_SAWING_MM + _block_mm(page, sheet, scale=scale, words=next(iter(told.values()))))
    _draw_sawing(page)
    for leaf, words in told.items():
        page.make_room(_block_mm(page, sheet, scale=scale, words=words))
        _draw_leaf(page, sheet, leaf=leaf, scale=scale, units=job.units)
        width = page.inner_mm - _LEFT_MM
        page.y_mm += page.paper.write_block((page.left_mm + _LEFT_MM, page.y_mm), words, width_mm=width) + 1.2
    _draw_notes(page, sheet, job=job)


def _draw_end(page: Page, sheet: BoardSheet) -> float:
    """The foot end to scale, face side up: rough, flattened, the kerfs, and the triangle that keeps the order."""
    paper, use, stock = page.paper, sheet.use, sheet.stock
    scale = min(1.0, _MOST_END_MM / stock.largest_width_mm)
    said = "full size" if scale == 1.0 else f"at 1 : {1 / scale:.2f}"
    paper.write((page.left_mm, page.y_mm + 2.5), f"Foot end, {said}, face side up, face edge at the left", SMALL)
    left, top = page.left_mm + 6, page.y_mm + 7
    width, loss = stock.largest_width_mm * scale, (stock.thickness_mm - use.flat_thickness_mm) / 2
    face = top + loss * scale
    paper.draw_box(Box(left, top, left + width, top + stock.thickness_mm * scale), HIDDEN)
    paper.draw_box(Box(left, face, left + width, face + use.flat_thickness_mm * scale), BROAD)
    for cut in use.cuts_mm:
        kerf = Box(left, face + cut * scale, left + width, face + (cut + sheet.kerf_mm) * scale)
        paper.draw_box(kerf, Pen(0.0), fill=0.0)
    back = face + use.flat_thickness_mm * scale
    middle, half = left + width / 2, min(width * 0.3, use.flat_thickness_mm * scale * 1.6)
    paper.draw_line([(middle - half, back), (middle, face), (middle + half, back)], Pen(0.5))
    z = face
    for leaf, sawn in zip(sheet.leaves, use.sawn_leaf_mm, strict=True):
        size = Ink(min(13.0, max(6.0, sawn * scale * 2.0)), bold=True)
        paper.write((left + 3, z + sawn * scale / 2 + size.size_pt * 0.126), leaf.name, size, paper_under=True)
        z += (sawn + sheet.kerf_mm) * scale
    paper.write((left + width * 0.72, top - 1.2), "FACE SIDE", Ink(8, bold=True))
    paper.write((left + width * 0.72, top + stock.thickness_mm * scale + 3.6), "back", Ink(8))
    paper.write((left - 2, (face + back) / 2), "face edge", Ink(7, align="middle"), turned=True)
    _draw_fences(page, sheet, left_mm=left + width, face_mm=face, scale=scale)
    return 7 + stock.thickness_mm * scale + 5.5


def _draw_fences(page: Page, sheet: BoardSheet, *, left_mm: float, face_mm: float, scale: float) -> None:
    """At the right of the end: each cut with its turn in the order of sawing."""
    paper, cuts = page.paper, sheet.use.cuts_mm
    ys = [face_mm + (c + sheet.kerf_mm / 2) * scale for c in cuts]
    for turn, y, word_y in zip(range(len(cuts), 0, -1), ys, spread_apart(ys, least_mm=5.0), strict=True):
        paper.draw_line([(left_mm + 1, y), (left_mm + 4, y), (left_mm + 8, word_y)], THIN)
        paper.write((left_mm + 9, word_y + 1.6), f"{_nth(turn)} cut", Ink(11, bold=True))


def _draw_shop_work(page: Page, sheet: BoardSheet, *, job: Job) -> float:
    """Three columns: flatten and mark; the fence in saw order, with its cautions; planing after the rest."""
    column = (page.inner_mm - 12) / 3
    xs = [page.left_mm + n * (column + 6) for n in range(3)]
    heights = []
    for x, head, draw in zip(
        xs,
        ("1 · Flatten and mark", "2 · Resaw, last leaf first", "3 · Rest, then plane"),
        (_draw_flattening, _draw_saw_order, _draw_planing),
        strict=True,
    ):
        page.head(head, at_mm=x)
        heights.append(draw(page, sheet, x, column, job))
    return max(heights) + 2.5


def _draw_flattening(page: Page, sheet: BoardSheet, x: float, width: float, job: Job) -> float:
    stock, use, units = sheet.stock, sheet.use, job.units
    bent = [
        f"{what} {format_length(value, units)}"
        for what, value in (("cup", stock.cup_mm), ("bow", stock.bow_mm), ("twist", stock.twist_mm))
        if value > 0
    ]
    points = [
        *([sheet.first] if sheet.first else []),
        "Chalk FOOT on the end that the photos call foot; pencil the loop on the face side, tails to the face edge.",
        "Draw the triangle on the foot end, point at the face: each leaf then carries its slice of it.",
        f"Flatten the face, true the face edge, plane the back parallel: {write_finely(use.flat_thickness_mm, units)}"
        f" from {format_length(stock.thickness_mm, units)} rough" + (f" ({', '.join(bent)})." if bent else "."),
    ]
    return page.paper.write_points((x, page.y_mm + 6), points, width_mm=width) + 6


def _draw_saw_order(page: Page, sheet: BoardSheet, x: float, width: float, job: Job) -> float:
    use, paper = sheet.use, page.paper
    y = page.y_mm + 6
    if not use.cuts_mm:
        y += paper.write_block((x, y), "One leaf: nothing to resaw, plane it to thickness.", width_mm=width)
        return _draw_resaw_notes(page, use, (x, y), width_mm=width) - page.y_mm
    rows = [
        (_nth(turn), write_finely(cut, job.units), sheet.leaves[number + 1].name)
        for turn, (number, cut) in enumerate(reversed(list(enumerate(use.cuts_mm))), start=1)
    ]
    columns = (("cut", 12.0), ("fence to blade, flat face to fence", width - 32.0), ("comes off", 20.0))
    y += draw_table(page, (x, y), columns, rows=rows, ink=Ink(12, bold=True))
    words = f"Kerf {write_finely(sheet.kerf_mm, job.units)}: make a test cut first."
    y += paper.write_block((x, y), words, width_mm=width)
    if use.tight:
        spare = f"only {format_length(use.spare_mm, job.units)}" if use.spare_mm >= _HAIR_MM else "nothing"
        words = f"TIGHT: {spare} to spare. A cut that wanders spoils a leaf."
        y += paper.write_block((x, y), words, Ink(9.5, bold=True), width_mm=width)
    y = _draw_resaw_notes(page, use, (x, y), width_mm=width)
    y += paper.write_points((x, y + 0.8), cautions.RESAW, Ink(7.5), width_mm=width)
    return y - page.y_mm


def _draw_resaw_notes(page: Page, use: BoardUse, at_mm: tuple[float, float], *, width_mm: float) -> float:
    """Doubts of how the board is resawn, where it is; where they end, mm."""
    x, y = at_mm
    for caveat in use.caveats:
        if not (use.tight and caveat.startswith("tight")):
            y += page.paper.write_block((x, y), f"⚠ {_sentence(caveat)}", Ink(8.5, bold=True), width_mm=width_mm)
    return y


def _draw_planing(page: Page, sheet: BoardSheet, x: float, width: float, job: Job) -> float:
    use, paper, units = sheet.use, page.paper, job.units
    y = page.y_mm + 6
    last = len(sheet.leaves)
    outer = job.shop.outer_planing_mm + use.spare_mm / 2
    rows = [
        (
            leaf.name,
            write_size(use.sawn_leaf_mm[leaf.number - 1], units, smallest=64),
            write_size(outer if leaf.number == 1 else job.shop.planing_mm, units, smallest=64),
            write_size(outer if leaf.number == last else job.shop.planing_mm, units, smallest=64),
            write_size(use.finished_leaf_mm, units, smallest=64),
        )
        for leaf in sheet.leaves
    ]
    share = width / 5
    heads = ("leaf", "sawn", "off near", "off far", "finished")
    y += draw_table(page, (x, y), [(h, share) for h in heads], rows=rows)
    points = [
        "Stack the leaves on stickers, both sides open to the air, until they stop moving; only then plane them.",
        "Sawn surfaces first, and no more than is told here; the spare is planed off the outside.",
        *sheet.arrows,
        cautions.PLANE,
    ]
    return y - page.y_mm + paper.write_points((x, y), points, Ink(8.5), width_mm=width)


def _draw_sawing(page: Page) -> None:
    """The head of the leaves, with the cautions for the cuts that follow."""
    page.head("4 · Saw the pieces out")
    x, ink = page.left_mm + 58, Ink(7)
    for number, words in enumerate((cautions.RIP, cautions.CROSSCUT)):
        page.paper.write((x, page.y_mm + ink.line_mm * (number + 0.8)), words, ink)
    page.y_mm += _SAWING_MM


def _choose_scale(page: Page, sheet: BoardSheet, *, told: Mapping[Leaf, str]) -> float:
    """As large as the page is wide; a little smaller where all leaves then stay together, on this page or the next."""
    stock = sheet.stock
    scale = min((page.inner_mm - _LEFT_MM - 6) / stock.length_mm, 60.0 / stock.largest_width_mm)
    beside = sum(_block_mm(page, sheet, scale=0.0, words=words) for words in told.values())
    for top in (page.y_mm, page.top_mm):
        height = (page.bottom_mm - top - _SAWING_MM - beside - 0.1) / len(told)
        if height >= _LEAST_LEAF_MM:
            return min(scale, height / stock.largest_width_mm)
    return scale


def _block_mm(page: Page, sheet: BoardSheet, *, scale: float, words: str) -> float:
    """Height of all that is drawn and written about one leaf, mm."""
    lines = len(break_lines(words, BODY, width_mm=page.inner_mm - _LEFT_MM))
    return sheet.stock.largest_width_mm * scale + _BESIDE_MM + lines * BODY.line_mm


def _tell_cuts(sheet: BoardSheet, leaf: Leaf, *, job: Job) -> str:
    """The cuts of one leaf in order, in words."""
    pieces = sheet.pieces_of(leaf)
    spare = " What is marked SPARE stays in its leaf until a panel needs it." if _spares_of(sheet, leaf) else ""
    if not pieces:
        return "Not used: keep it whole." + spare
    measured_from = {"rip": " from the face edge", "crosscut": " from the foot"}
    steps = [
        f"{n} {step.kind} {step.on}"
        + (f" at {', '.join(write_size(v, job.units) for v in step.lines_mm)}" if step.lines_mm else "")
        + measured_from.get(step.kind, ", along its lines")
        for n, step in enumerate(_order_leaf(sheet, leaf, job=job), start=1)
    ]
    return (". ".join(steps) + "." if steps else "The whole leaf is one piece: no cut.") + spare


def _spares_of(sheet: BoardSheet, leaf: Leaf) -> tuple[SparePiece, ...]:
    return tuple(s for s in sheet.spares if s.strip.leaf == leaf)


def _order_leaf(sheet: BoardSheet, leaf: Leaf, *, job: Job) -> tuple[SawStep, ...]:
    """The cuts of one leaf in order."""
    areas = list_areas(sheet.pieces_of(leaf), [o for o in sheet.offcuts if o.leaf == leaf])
    whole = Box(0.0, 0.0, sheet.stock.length_mm, sheet.stock.largest_width_mm)
    return merge_steps(order_cuts(areas, whole, shop=job.shop))


def _draw_leaf(page: Page, sheet: BoardSheet, *, leaf: Leaf, scale: float, units: Units) -> None:
    """A leaf seen on its near side, foot at the left, with the lines that its pieces are sawn along."""
    paper, pieces, left = page.paper, sheet.pieces_of(leaf), page.left_mm + _LEFT_MM
    height = sheet.stock.largest_width_mm * scale
    paper.write((page.left_mm, page.y_mm + 4.5), leaf.name, Ink(15, bold=True))
    said = f"near side up, foot at the left, at 1 : {1 / scale:.1f}, {_UNIT_NAMES[units]} from foot and face edge"
    paper.write((page.left_mm + _LEFT_MM, page.y_mm + 4.5), said, SMALL)
    top = page.y_mm + 7
    _draw_outline(page, sheet, left_mm=left, top_mm=top, scale=scale)
    for offcut in sheet.offcuts:
        if offcut.leaf == leaf:
            _draw_offcut(page, offcut, left_mm=left, top_mm=top, scale=scale)
    for spare in _spares_of(sheet, leaf):
        _draw_spare(page, spare, left_mm=left, top_mm=top, scale=scale)
    for piece in pieces:
        _draw_piece(page, piece, left_mm=left, top_mm=top, scale=scale)
    if leaf.number == 1:
        draw_face_mark(page, Box(left + 2, top, left + 9, top + min(9.0, height * 0.45)))
    ys = sorted({round(v, 2) for p in pieces for v in p.strip.y_mm})
    draw_dimensions_left(page, left, [(top + y * scale, write_size(y, units)) for y in ys])
    xs = sorted({round(v, 2) for p in pieces for v in p.strip.x_mm})
    used = draw_dimensions_below(page, top + height, [(left + x * scale, write_size(x, units)) for x in xs])
    page.y_mm = top + height + max(used, _DIMENSIONS_MM)


def _draw_outline(page: Page, sheet: BoardSheet, *, left_mm: float, top_mm: float, scale: float) -> None:
    stock = sheet.stock
    length, foot, head = stock.length_mm, stock.width_at(0.0), stock.width_at(stock.length_mm)
    corners = [
        (left_mm, top_mm),
        (left_mm + length * scale, top_mm),
        (left_mm + length * scale, top_mm + head * scale),
        (left_mm, top_mm + foot * scale),
    ]
    page.paper.draw_line(corners, BROAD, close=True)
    page.paper.write(
        (left_mm + length * scale + 4, top_mm + head * scale / 2), "head", Ink(8, align="middle"), turned=True
    )


def _draw_offcut(page: Page, offcut: Offcut, *, left_mm: float, top_mm: float, scale: float) -> None:
    ends = (offcut.y_mm, offcut.y_head_mm or offcut.y_mm)
    foot, head = (
        [(left_mm + x * scale, top_mm + y * scale) for y in across] for x, across in zip(offcut.x_mm, ends, strict=True)
    )
    page.paper.draw_line([*foot, *reversed(head)], Pen(0.1, grey=0.6), close=True, fill=0.9)
    middle = [sum(values) / 4 for values in zip(*foot, *head, strict=True)]
    page.paper.write((middle[0], middle[1] + 1), "keep", Ink(8, align="middle"))


def _draw_spare(page: Page, spare: SparePiece, *, left_mm: float, top_mm: float, scale: float) -> None:
    """A spare strip where it stays in its leaf: dashed, with the panels that it could replace."""
    x, y = spare.strip.x_mm, spare.strip.y_mm
    box = Box(left_mm + x[0] * scale, top_mm + y[0] * scale, left_mm + x[1] * scale, top_mm + y[1] * scale)
    page.paper.draw_box(box, Pen(0.25, (1.6, 1.0)), fill=0.96)
    middle, ink = ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2), Ink(8.5, align="middle")
    words = f"for {' or '.join(spare.could_replace)}"
    page.paper.write((middle[0], middle[1] - 0.6), spare.name, Ink(9.5, bold=True, align="middle"))
    if box.height > 9:
        page.paper.write((middle[0], middle[1] + 3.6), shorten_words(words, ink, width_mm=box.width - 2), ink)


def _draw_piece(page: Page, piece: SawnPiece, *, left_mm: float, top_mm: float, scale: float) -> None:
    """A strip on its leaf: its outline to saw along, where it goes, which side shows, which way its foot stands."""
    strip, paper = piece.strip, page.paper
    box = Box(
        left_mm + strip.x_mm[0] * scale,
        top_mm + strip.y_mm[0] * scale,
        left_mm + strip.x_mm[1] * scale,
        top_mm + strip.y_mm[1] * scale,
    )
    paper.draw_box(box, Pen(0.35), fill=1.0)
    place = piece.place.removeprefix(piece.bay + ", ")
    lines = ((piece.bay, Ink(10.5, bold=True, align="middle")), (place, Ink(8.5, align="middle")))
    shows = (f"shows {strip.surface}, foot {strip.foot}", Ink(8.5, align="middle"))
    room = box.height - 1
    chosen = [line for n, line in enumerate((*lines, shows)) if room > 4.4 * (n + 1)]
    y = (box.y0 + box.y1) / 2 - 4.2 * (len(chosen) - 1) / 2 + 1.3
    for words, ink in chosen:
        paper.write(((box.x0 + box.x1) / 2, y), shorten_words(words, ink, width_mm=box.width - 2), ink)
        y += 4.2


def _draw_notes(page: Page, sheet: BoardSheet, *, job: Job) -> None:
    """Flags and doubts of this board."""
    stock, use, shop = sheet.stock, sheet.use, job.shop
    flags = [f"Leaves of board {use.name}: {said}." for said in flag_leaf(use, stock.length_mm, job=job)]
    if stock.largest_width_mm > shop.saw_height_mm:
        sizes = [format_length(v, job.units) for v in (stock.largest_width_mm, shop.saw_height_mm)]
        flags.append(
            f"Board {use.name} is {sizes[0]} wide and the resaw takes {sizes[1]}: rip it first, and plan again."
        )
    flags += [
        f"{p.strip.leaf.name}, {p.place}: {said}."
        for p in sheet.pieces
        for said in flag_piece(p, shop, units=job.units)
    ]
    for leaf in sheet.leaves:
        cuts = _order_leaf(sheet, leaf, job=job) if sheet.pieces_of(leaf) else ()
        flags += [f"{leaf.name}: {said}." for said in flag_cuts(cuts, shop, units=job.units)]
    flags += _tell_outer_sides(sheet, job=job)
    ink = Ink(9, bold=True)
    for said in flags:
        page.make_room(2 * ink.line_mm)
        page.y_mm += page.paper.write_block((page.left_mm, page.y_mm), f"⚠ {said}", ink, width_mm=page.inner_mm) + 0.4


def _tell_outer_sides(sheet: BoardSheet, *, job: Job) -> list[str]:
    """What is planed off the board's own face or back where a bay shows it: what the photo shows is gone by then."""
    outer = job.shop.outer_planing_mm + sheet.use.spare_mm / 2
    both = {bay.name for bay in job.bays if bay.seen == "both"}
    said = []
    for number, surface, side in ((1, "near", "face"), (sheet.use.leaves, "far", "back")):
        mine = [p for p in sheet.pieces if p.strip.leaf.number == number]
        if any(p.strip.surface == surface or p.bay in both for p in mine):
            said.append(
                f"The {side} of board {sheet.use.name} is seen in the piece: {format_length(outer, job.units)} is "
                "planed off it after flattening, and what lies below may look different."
            )
    return said


def _nth(number: int) -> str:
    endings = {1: "st", 2: "nd", 3: "rd"}
    return f"{number}{'th' if 10 <= number % 100 <= 20 else endings.get(number % 10, 'th')}"


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")
