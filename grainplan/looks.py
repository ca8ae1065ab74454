"""What the app shows beside the steps: photos, boards square-on, their ends with the cuts, the piece as it stands."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

import cv2
import numpy as np
from PIL import Image

from grainplan.boards import (
    BROAD_SIDES,
    BoardSide,
    BroadSide,
    Leaf,
    MeasuredBoard,
    Point,
    RoughBoard,
    Side,
    SidePhoto,
    Surface,
)
from grainplan.choice import Outcome, choose_again, resaw_boards
from grainplan.errors import GrainplanError, NotFound, PlanError
from grainplan.job import Job
from grainplan.jobfolder.boardsfile import BOARDS_FILE, read_known_boards
from grainplan.jobfolder.planfile import read_plan
from grainplan.match.seen import keep_compared
from grainplan.match.surfaces import SurfaceKey
from grainplan.photos.flatten import flatten_side
from grainplan.photos.load import REDUCTIONS, load_photo, read_header
from grainplan.photos.locate import locate_side
from grainplan.picture import Picture, Pixels
from grainplan.pieces import cut_free
from grainplan.plan import OtherPlan, PlannedBay
from grainplan.progress import ShouldStop, never_stop
from grainplan.repair import still_fits
from grainplan.show.board_end import BoardEnd, draw_board_end
from grainplan.show.foretold import FORETOLD_FOLDER
from grainplan.show.markers import draw_markers
from grainplan.show.mist import cover_with_mist
from grainplan.show.panel_picture import PieceSide
from grainplan.show.preview import Piece, draw_bay, draw_piece, gather_piece, show_guesses
from grainplan.steps import recall_plan

SCREEN_PX = 1800
SMALL_PX = 800
"""Up to this width a picture bears no signs: they would hide the wood. Words beside it say what is predicted."""


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
    if not still_fits(plan, job, {board.name for board in boards}):
        return None
    return recall_plan(plan, job, boards)


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


def draw_side_of(
    job: Job, outcome: Outcome | None, side: PieceSide, *, width_px: int = 1250, misty: bool = False
) -> Pixels:
    """The piece from the front or from behind, in its own wood where there is a plan, else as open frames.

    With `misty`, whatever the program guesses lies under a mist, the thicker the less is known.
    """
    piece = replace(gather_shown(job, outcome), noted=False, signed=width_px > SMALL_PX)
    return draw_piece(show_guesses(piece) if misty else piece, side, width_px=width_px)


def draw_bay_of(job: Job, outcome: Outcome, bay: str, *, misty: bool = False) -> Pixels:
    """One bay large."""
    piece = replace(gather_shown(job, outcome), noted=False)
    return draw_bay(show_guesses(piece) if misty else piece, bay)


def mark_choice(job: Job, outcome: Outcome | None) -> Hashable:
    """Something that changes when the piece looks otherwise: its bays, what fills them, or the pictures of the leaves.

    Parameters
    ----------
    job : Job
        Whose bays and frame are drawn.
    outcome : Outcome or None
    """
    drawn = (job.title, job.frame, job.bays, job.shop.joint_mm, mark_measured(job))
    if outcome is None:
        return drawn
    return (*drawn, id(outcome.surfaces), tuple((bay.name, bay.lie) for bay in outcome.plan.bays))


def take_other(outcome: Outcome, other: OtherPlan) -> Outcome:
    """One of the other choices as if it were the one that was made."""
    return replace(outcome, plan=replace(outcome.plan, bays=other.bays, cost=other.cost, status="best found"))


def compare_seams(outcome: Outcome, *, should_stop: ShouldStop = never_stop) -> None:
    """Fill the seam comparisons of an outcome that was read from the disk."""
    with suppress(GrainplanError, KeyboardInterrupt):
        choose_again(outcome, outcome.job, should_stop=should_stop)
        keep_compared(outcome.books)


def gather_shown(job: Job, outcome: Outcome | None) -> Piece:
    """What can be drawn of a job as it stands."""
    if outcome is None:
        return Piece(job.title, job.frame, job.shop.joint_mm, job.bays, {})
    return gather_piece(job, outcome.plan, outcome.surfaces)


def list_surfaces(outcome: Outcome | None, board: str) -> Mapping[SurfaceKey, str]:
    """The surfaces of a board's leaves from its face to its back, each with what its picture is worth."""
    if outcome is None:
        return {}
    worth = {
        "leaf photo": "as its photo shows it",
        "own side": "the outside of the board",
        "none": "nobody has seen it",
    }
    told: dict[SurfaceKey, str] = {}
    for (leaf, surface), seen in outcome.surfaces.items():
        if leaf.board == board and seen.picture is not None:
            said = worth.get(seen.seen, "the nearest outside, to give an idea")
            if seen.seen == "inside":
                said = f"foretold; expected likeness {seen.confidence:.2f}, where 1 is the same and 0 is chance"
            told[leaf, surface] = f"{leaf.name} {surface}: {said}"
    return told


def draw_surface(outcome: Outcome, key: SurfaceKey, *, misty: bool = False, width_px: int = 1600) -> Pixels:
    """One surface of a leaf, board frame; ValueError where there is no picture of it."""
    surface = outcome.surfaces[key]
    picture = (cover_with_mist(surface) if misty else surface).picture
    if picture is None:
        raise ValueError(f"nobody has seen {key[0].name} {key[1]}")
    size = (width_px, max(1, round(picture.pixels.shape[0] * width_px / picture.pixels.shape[1])))
    return np.asarray(cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def print_scale_sheets(*, letter: bool) -> bytes:
    """The scale sheets to lay beside a board, as PDF at true size."""
    return draw_markers("Letter" if letter else "A4")


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


def list_moved(before: Outcome, after: Outcome) -> tuple[PlannedBay, ...]:
    """The bays that lie otherwise than they did, by more than a tenth of a millimetre."""
    was = {bay.name: bay.lie for bay in before.plan.bays}
    return tuple(bay for bay in after.plan.bays if bay.lie != was.get(bay.name))


def list_likenesses(folder: Path, leaf: Leaf) -> tuple[Path, ...]:
    """Pictures of what was foretold of a leaf above what the saw has shown, where the last choice has drawn them."""
    paths = [folder / "out" / FORETOLD_FOLDER / f"{leaf.name}-{surface}.png" for surface in get_args(Surface)]
    return tuple(path for path in paths if path.is_file())


def pack_results(folder: Path) -> bytes:
    """Everything that stands in `out/`, without the boards' own pictures and compared seams, as one ZIP file."""
    out = folder / "out"
    sheet = io.BytesIO()
    with zipfile.ZipFile(sheet, "w", zipfile.ZIP_STORED) as pack:
        for path in sorted(out.rglob("*")):
            inside = path.relative_to(out)
            if path.is_file() and inside.parts[0] not in ("boards", "seams") and path.suffix != ".tmp":
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
