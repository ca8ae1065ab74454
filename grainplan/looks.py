"""What the app shows beside the steps: photos, boards square-on, their ends with the cuts, the piece as it stands."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from grainplan.boards import BROAD_SIDES, BoardSide, BroadSide, Flaw, MeasuredBoard, Point, RoughBoard, Side, SidePhoto
from grainplan.choice import Outcome, resaw_as, resaw_boards, see_surfaces, size_bay
from grainplan.errors import NotFound, PlanError
from grainplan.frame import Bay
from grainplan.job import Job
from grainplan.jobfolder.boardsfile import BOARDS_FILE, read_known_boards
from grainplan.jobfolder.planfile import PLAN_FILE, read_plan
from grainplan.photos.flatten import flatten_side
from grainplan.photos.load import REDUCTIONS, load_photo, read_header
from grainplan.photos.locate import locate_side
from grainplan.picture import Picture, Pixels
from grainplan.pieces import cut_free
from grainplan.plan import PlannedBay, Seam
from grainplan.resaw import Resaw, Stock, compare_leaf_counts
from grainplan.show.board_end import BoardEnd, draw_board_end
from grainplan.show.panel_picture import PieceSide
from grainplan.show.preview import Piece, draw_bay, draw_piece, gather_piece, show_guesses
from grainplan.units import format_length

SCREEN_PX = 1800


@dataclass(frozen=True, slots=True)
class ShownPhoto:
    """A photo as it is sent to the page.

    Parameters
    ----------
    jpeg : bytes
        Reduced, upright.
    size_px : (int, int)
        Width and height of the whole upright photo, in whose pixels corners count.
    identity : str
        Changes when the photo does.
    """

    jpeg: bytes
    size_px: tuple[int, int]
    identity: str


def find_outcome(job: Job, measured: Mapping[str, MeasuredBoard]) -> Outcome | None:
    """The plan that lies in `out/`, perhaps of an earlier state of the job.

    None where there is none, or it speaks of boards and bays that are no longer what they were.
    """
    try:
        plan = read_plan(job, of_any_state=True)
    except PlanError:
        return None
    job, boards = cut_free(job, tuple(measured.values()))
    used = {strip.leaf.board for bay in plan.bays for panel in bay.panels.values() for strip in panel.strips}
    if not used <= {board.name for board in boards} or not {bay.name for bay in plan.bays} <= {
        bay.name for bay in job.bays
    }:
        return None
    return Outcome(job, boards, plan, see_surfaces(job, boards, resaw_as(plan, job)), (job.folder / PLAN_FILE,))


def mark_measured(job: Job) -> int:
    """Something that changes when the boards are measured again."""
    path = job.folder / BOARDS_FILE
    return path.stat().st_mtime_ns if path.is_file() else 0


def find_measured(job: Job) -> Mapping[str, MeasuredBoard]:
    """Those boards whose measurements still hold, by name."""
    try:
        return read_known_boards(job)
    except PlanError:
        return {}


def show_photo(path: Path, *, longest_px: int = SCREEN_PX) -> ShownPhoto:
    """Read a photo for the screen, upright, no finer than the screen needs; :class:`PhotoError` where it cannot be."""
    header = read_header(path)
    longest = max(header.width_px, header.height_px)
    reduction = next((r for r in REDUCTIONS if longest / r >= longest_px), 1)
    pixels = load_photo(header, reduction=reduction).pixels
    scale = min(1.0, longest_px / max(pixels.shape[:2]))
    size = tuple(max(1, round(n * scale)) for n in (header.width_px / reduction, header.height_px / reduction))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    stat = path.stat()
    return ShownPhoto(
        encode_jpeg(np.asarray(small, np.uint8)),
        (header.width_px, header.height_px),
        f"{path.name}-{stat.st_size}-{stat.st_mtime_ns}",
    )


def encode_jpeg(pixels: Pixels, *, quality: int = 82) -> bytes:
    """A picture as JPEG, for the page."""
    sheet = io.BytesIO()
    Image.fromarray(pixels).save(sheet, "JPEG", quality=quality)
    return sheet.getvalue()


@dataclass(frozen=True, slots=True)
class FoundBoard:
    """Where a board was found in a photo: its corners, px of the whole upright photo, and how sure that is."""

    corners: tuple[Point, ...]
    says: str


def find_corners(board: RoughBoard, side: Side, photo: SidePhoto) -> FoundBoard | NotFound:
    """Find the board's corners in a photo, to be looked at and corrected; PhotoError where it cannot be read."""
    found = locate_side(replace(board, photos={side: (replace(photo, x_mm=None),)}), side)
    if isinstance(found, NotFound):
        return found
    says = f"Found in the photo, within about {found.doubt_px:.0f} px; look at the four corners."
    return FoundBoard(
        tuple((float(x), float(y)) for x, y in found.corners_px.round(1)), " ".join([says, *found.caveats])
    )


def take_stretch(board: RoughBoard, x_mm: tuple[float, float]) -> RoughBoard:
    """The stretch of a board that one photo shows, as a board of its own; flaws left out."""
    start, end = board.width_at(x_mm[0]), board.width_at(x_mm[1])
    return replace(board, length_mm=x_mm[1] - x_mm[0], width_mm=start, width_head_mm=end, flaws=(), pieces=())


def square_on(board: RoughBoard, side: Side, photo: Path, *, corners: Sequence[Point]) -> BoardSide | NotFound:
    """One side as these corners would make it, to be looked at before they are written down.

    Raises
    ------
    PhotoError
        When the corners cannot be right: turned the other way, in line, or outside the photo.
    """
    first, second, third, fourth = ((float(x), float(y)) for x, y in corners)
    tried = replace(board, photos={side: (SidePhoto(photo, (first, second, third, fourth)),)})
    return flatten_side(tried, side, px_per_mm=1.0 if side in ("face", "back") else 4.0)


def mark_flaws(picture: Picture, board: RoughBoard, side: Side) -> Pixels:
    """A square-on face or back with the maker's flaws outlined where they show; an end is left as it is."""
    marked = picture.pixels.copy()
    scale = picture.px_per_mm
    for flaw in board.flaws if side in BROAD_SIDES else ():
        if flaw.on in ("through", side):
            start = round(flaw.box.x0 * scale), round(flaw.box.y0 * scale)
            end = round(flaw.box.x1 * scale), round(flaw.box.y1 * scale)
            cv2.rectangle(marked, start, end, (164, 66, 47), 2, cv2.LINE_AA)
    return marked


def draw_end(job: Job, name: str, *, boards: Sequence[MeasuredBoard] = ()) -> str:
    """A board's foot end as SVG, to one scale with all others of the job, with its leaves and cuts."""
    board = job.board(name)
    measured = next((b for b in boards if b.name == name), None)
    picture = measured.sides["foot"].picture if measured and "foot" in measured.sides else None
    end = BoardEnd(board, resaw_boards(job)[name], job.shop, job.units, picture)
    return draw_board_end(end, room_mm=max(b.largest_width_mm for b in job.boards))


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


def draw_side_of(
    job: Job, outcome: Outcome | None, side: PieceSide, *, width_px: int = 1250, misty: bool = False
) -> Pixels:
    """The piece from the front or from behind, in its own wood where there is a plan, else as open frames.

    With `misty`, whatever the program guesses lies under a mist, the thicker the less is known.
    """
    piece = gather_shown(job, outcome)
    return draw_piece(show_guesses(piece) if misty else piece, side, width_px=width_px)


def draw_bay_of(job: Job, outcome: Outcome, bay: str) -> Pixels:
    """One bay large."""
    return draw_bay(gather_shown(job, outcome), bay)


def gather_shown(job: Job, outcome: Outcome | None) -> Piece:
    """What can be drawn of a job as it stands."""
    if outcome is None:
        return Piece(job.title, job.frame, job.shop.joint_mm, job.bays, {})
    return gather_piece(job, outcome.plan, outcome.surfaces)


def draw_face(board: MeasuredBoard, *, width_px: int = 1100) -> Pixels:
    """A board's face square-on, for a row of the rack; its back, where there is no photo of the face.

    Raises
    ------
    ValueError
        When neither side is measured.
    """
    side = board.sides.get("face") or board.sides.get("back")
    if side is None:
        raise ValueError(f"board {board.name} has no measured broad side")
    pixels = side.picture.pixels
    size = (width_px, max(1, round(pixels.shape[0] * width_px / pixels.shape[1])))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def draw_broad_side(board: MeasuredBoard, side: BroadSide, *, width_px: int = 2600) -> Pixels:
    """A measured side square-on, as fine as a screen that is brought close can use."""
    pixels = board.sides[side].picture.pixels
    scale = min(1.0, width_px / pixels.shape[1])
    size = (max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def list_proposed(flaws: Sequence[Flaw]) -> tuple[Flaw, ...]:
    """Those flaws that the program proposes and nobody has answered yet."""
    return tuple(flaw for flaw in flaws if flaw.found_by == "program")


def tell_flaw(job: Job, flaw: Flaw) -> str:
    """A flaw in a sentence: what, where it shows, how large, how far from the foot and the face edge."""
    on = "through every leaf" if flaw.on == "through" else f"on the {flaw.on}"
    size = f"{_length(job, flaw.box.width)} × {_length(job, flaw.box.height)}"
    where = f"{_length(job, flaw.box.x0)} from the foot, {_length(job, flaw.box.y0)} from the face edge"
    if flaw.found_by == "program":
        return f"Perhaps a {flaw.kind} {on}, {flaw.confidence:.0%} sure: {size}, {where}."
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
        beside = f" (strangers {seam.strangers:.2f})" if seam.strangers is not None else ""
        told.append(f"fit {seam.fit:.2f}{beside}")
    if seam.step_mm is not None:
        told.append(f"lines step by {_length(job, seam.step_mm)}")
    return ", ".join(told)


def tell_difference(before: Outcome, after: Outcome) -> str:
    """What a move of the hand costs, in the cost's one unit."""
    more = after.plan.cost - before.plan.cost
    if abs(more) < 0.005:
        return f"It costs the same: {after.plan.cost:.2f}."
    return f"It costs {after.plan.cost:.2f}, {abs(more):.2f} {'more' if more > 0 else 'less'} than before."


def list_moved(before: Outcome, after: Outcome) -> tuple[PlannedBay, ...]:
    """The bays that lie otherwise than they did, by more than a tenth of a millimetre."""
    was = {bay.name: _lie(bay) for bay in before.plan.bays}
    return tuple(bay for bay in after.plan.bays if _lie(bay) != was.get(bay.name))


def _lie(bay: PlannedBay) -> tuple[object, ...]:
    return tuple(
        (part, s.leaf, s.surface, s.foot, *(round(v, 1) for v in (*s.x_mm, *s.y_mm)))
        for part, panel in bay.panels.items()
        for s in panel.strips
    )


def pack_results(folder: Path) -> bytes:
    """Everything that stands in `out/`, without the boards' own pictures, as one ZIP file."""
    out = folder / "out"
    sheet = io.BytesIO()
    with zipfile.ZipFile(sheet, "w", zipfile.ZIP_STORED) as pack:
        for path in sorted(out.rglob("*")):
            inside = path.relative_to(out)
            if path.is_file() and inside.parts[0] != "boards" and path.suffix != ".tmp":
                pack.write(path, inside)
    return sheet.getvalue()


def list_results(folder: Path) -> Mapping[str, Path]:
    """The files that a maker takes along, by the words they are known by."""
    named = {
        "Shop sheets": "sheets.pdf",
        "Labels": "labels.pdf",
        "Picture of the front": "front.png",
        "Picture from behind": "back.png",
        "The plan": "plan.json",
    }
    return {words: folder / "out" / name for words, name in named.items() if (folder / "out" / name).is_file()}


def _tell_leaves(job: Job, found: Resaw) -> str:
    count = f"{found.leaves} {'leaf' if found.leaves == 1 else 'leaves'}"
    told = [f"{count} of {_length(job, found.finished_leaf_mm)}", f"{_length(job, found.spare_mm)} to spare"]
    if found.leaves > 1:
        told.append(f"mates {_length(job, found.mate_gap_mm)} apart")
    return ", ".join(told) + (" — tight" if found.tight else "")


def _length(job: Job, length_mm: float) -> str:
    return format_length(length_mm, job.units)
