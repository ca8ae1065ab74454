"""What the app changes in a job folder: every change is checked first, then written in one step, or not at all."""

from __future__ import annotations

import math
import re
import string
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from grainplan.boards import (
    SIDES,
    BroadSide,
    ClearSpot,
    Flaw,
    MeasuredBoard,
    Piece,
    Point,
    RoughBoard,
    Side,
    SidePhoto,
    Surface,
)
from grainplan.errors import GrainplanError, NotFound
from grainplan.frame import Bay
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.jobfolder import editing
from grainplan.jobfolder.reading import find_job_file
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.jobfolder.tomltext import Place, TomlText
from grainplan.match.pinning import pin_bay
from grainplan.photos.load import read_header
from grainplan.photos.locate import locate_side
from grainplan.plan import PlannedBay
from grainplan.units import MM_PER_INCH, spell_length

Corners = tuple[Point, ...]
_ENDINGS = {
    "JPEG": ".jpg",
    "MPO": ".jpg",
    "PNG": ".png",
    "HEIF": ".heic",
    "TIFF": ".tif",
    "WEBP": ".webp",
    "BMP": ".bmp",
}


def mark_file(folder: Path) -> tuple[int, int]:
    """Something that changes when the job file does."""
    stat = find_job_file(folder).stat()
    return stat.st_mtime_ns, stat.st_size


def read_written(folder: Path) -> dict[str, Any]:
    """The job file word for word; empty where it is no TOML, which reading the job tells in a sentence."""
    try:
        return TomlText(find_job_file(folder).read_text(encoding="utf-8-sig")).data
    except ValueError:
        return {}


def write_values(job: Job, values: Mapping[Place, Any]) -> Job:
    """Set values of the job file by their places; None takes a value out, so that the program's own holds again.

    Raises
    ------
    SaveError
        When somebody else changed the file, or it cannot be written. It is untouched.
    JobFileError
        When the job would be faulty then. The file is untouched.
    """
    return editing.save_job(job, [_edit_value(job, place, value) for place, value in values.items()])


def make_single(job: Job, bay: str) -> Job:
    """Give a bay one panel, as high as its two and the rail between them."""
    was = _find_bay(job, bay)
    if was.panel_mm is not None:
        return job
    whole = (was.lower_mm or 0.0) + (was.rail_mm or 0.0) + (was.upper_mm or 0.0)
    edits = [editing.remove_value(("bay", bay, key)) for key in ("lower", "rail", "upper")]
    return editing.save_job(job, [*edits, editing.set_length(("bay", bay, "panel"), whole, units=job.units)])


def make_double(job: Job, bay: str) -> Job:
    """Divide a bay's one panel by a rail as wide as the top rail, a third of the rest above it."""
    was = _find_bay(job, bay)
    if was.panel_mm is None:
        return job
    step = MM_PER_INCH / 8 if job.units == "in" else 1.0
    rail = min(job.frame.top_rail_mm, was.panel_mm / 4)
    upper = max(round((was.panel_mm - rail) / 3 / step) * step, was.arch_mm + step)
    sizes = {"lower": was.panel_mm - rail - upper, "rail": rail, "upper": upper}
    edits = [editing.remove_value(("bay", bay, "panel"))]
    edits += [editing.set_length(("bay", bay, key), size, units=job.units) for key, size in sizes.items()]
    return editing.save_job(job, edits)


def add_board(job: Job, sizes: Mapping[str, str]) -> Job:
    """Put another board into the job, under the next free letter; `sizes` are its length, width and thickness."""
    return editing.save_job(job, [editing.add_board({"name": find_free_name(job), **sizes})])


def add_bay_like(job: Job, row: Mapping[str, Any]) -> Job:
    """Add a bay like another one, `row` as in the file, under a name of its own; it is nobody's mirror image."""
    taken = {bay.name.casefold() for bay in job.bays}
    stem = str(row.get("name", "bay"))
    name = next(n for n in (f"{stem} {count}" for count in range(2, len(taken) + 3)) if n.casefold() not in taken)
    like = {key: value for key, value in row.items() if key not in ("name", "mirror", "done")}
    return editing.save_job(job, [editing.add_bay({"name": name, **like})])


def swap_bays(job: Job, at: int, other: int) -> Job:
    """Let two bays change places in the order of the job, in which bays of one view stand in a row."""
    return editing.save_job(job, [lambda text: text.swap_rows(("bay", at), other=other)])


def add_piece(job: Job, board: str) -> Job:
    """Cut a board free into one piece more before it is resawn: first into two halves, crosscut in the middle.

    A further piece is the head half of the last one. Names and places are the maker's to change.
    """
    rough = job.board(board)
    step = MM_PER_INCH / 8 if job.units == "in" else 1.0
    whole = Piece(board, Box(0.0, 0.0, rough.length_mm, rough.largest_width_mm))
    *rest, last = rough.pieces or (whole,)
    middle = round((last.box.x0 + last.box.x1) / 2 / step) * step
    taken = {piece.name for piece in rest} | {b.name for b in job.boards}
    words = ("foot", "head", *string.ascii_lowercase)
    names = [name for name in (f"{board} {word}" for word in words) if name not in taken]
    first = names[0] if last is whole else last.name
    second = next(name for name in names if name != first)
    halves = [
        Piece(first, Box(last.box.x0, last.box.y0, middle, last.box.y1)),
        Piece(second, Box(min(middle + job.shop.crosscut_mm, last.box.x1), last.box.y0, last.box.x1, last.box.y1)),
    ]
    return editing.save_job(job, [_set_pieces(job, rough, [*rest, *halves])])


def leave_whole(job: Job, board: str) -> Job:
    """Resaw a board as it is, without cutting it into pieces first."""
    return editing.save_job(job, [_set_pieces(job, job.board(board), [])])


def _set_pieces(job: Job, board: RoughBoard, pieces: Sequence[Piece]) -> editing.Edit:
    rows = [
        {
            "name": piece.name,
            "x": [spell_length(v, job.units) for v in (piece.box.x0, piece.box.x1)],
            "y": [spell_length(v, job.units) for v in (piece.box.y0, piece.box.y1)],
        }
        for piece in pieces
    ]
    return _set_rows(("board", board.name, "pieces"), rows)


def set_grey_card(job: Job, place: Place, *, box: Box | None) -> Job:
    """Note where a grey card lies in a photo, in its pixels; `place` is that of the photo in the job file."""
    if box is None:
        return editing.save_job(job, [editing.remove_value((*place, "grey_card"))])
    points = [[round(box.x0), round(box.y0)], [round(box.x1), round(box.y1)]]
    return editing.save_job(job, [editing.set_value((*place, "grey_card"), points)])


def remove_board(job: Job, name: str) -> Job:
    """Take a board out of the job; its photos stay in the folder."""
    return editing.save_job(job, [editing.remove_board(name)])


def remove_bay(job: Job, name: str) -> Job:
    """Take a bay out of the job."""
    return editing.save_job(job, [editing.remove_bay(name)])


def add_photo(job: Job, board: str, side: Side, *, content: bytes) -> Job:
    """Put a photo of a board's side into `photos/` and name it in the job file, alone for that side.

    Raises
    ------
    PhotoError
        When it is no picture that can be read; nothing is changed then.
    """
    path = _take_photo(job, f"{_file_stem(board)}-{side}", content=content, what=f"the photo of the {side}")
    return editing.save_job(job, [editing.set_photo(board, side, photo=path)])


def add_stretch(job: Job, board: str, side: BroadSide, *, content: bytes) -> Job:
    """Add the photo of the next stretch of a long side, toward the head; each overlaps the next by a third.

    Where the photos that are there already reach the head, all are spread evenly anew, and corners that stood for
    another stretch are taken out.
    """
    rough = job.board(board)
    path = _take_photo(job, f"{_file_stem(board)}-{side}", content=content, what=f"the photo of the {side}")
    before = rough.photos.get(side, ())
    spread, step = _spread_evenly(rough.length_mm, before), MM_PER_INCH / 4 if job.units == "in" else 5.0

    def edit(text: TomlText) -> TomlText:
        rows = text.data["board"]
        at = next(i for i, row in enumerate(rows) if row.get("name") == board)
        old = rows[at].get(side, [])
        shots = [*(dict(shot) for shot in (old if isinstance(old, list) else [old])), {"photo": path}]
        for shot, stretch, was in zip(shots, spread, [*before, None], strict=True):
            if was is None or was.x_mm is None or max(abs(a - b) for a, b in zip(was.x_mm, stretch, strict=True)) > 1:
                shot.pop("corners", None)
                shot["x"] = [spell_length(min(round(v / step) * step, rough.length_mm), job.units) for v in stretch]
        return text.set_value(("board", at, side), shots)

    return editing.save_job(job, [edit])


def remove_photo(job: Job, *, board: str, side: Side, at: int) -> Job:
    """Take the photo at `at` (from 0) off a side; the file stays in `photos/`."""

    def edit(text: TomlText) -> TomlText:
        row = next(i for i, b in enumerate(text.data["board"]) if b.get("name") == board)
        shots = text.data["board"][row][side]
        rest = [shot for i, shot in enumerate(shots) if i != at] if isinstance(shots, list) else []
        if not rest:
            return text.remove_value(("board", row, side))
        return text.set_value(("board", row, side), rest)

    return editing.save_job(job, [edit])


def _spread_evenly(length_mm: float, photos: Sequence[SidePhoto]) -> list[tuple[float, float]]:
    """The stretch of each photo and of one more."""
    last = photos[-1].x_mm if photos else None
    if last is not None and last[1] < length_mm - 1:
        reach = last[1] - last[0]
        return [
            *(photo.x_mm or (0.0, length_mm) for photo in photos),
            (last[1] - reach / 3, min(length_mm, last[1] + reach * 2 / 3)),
        ]
    count = len(photos) + 1
    reach = length_mm / (1 + (count - 1) * 2 / 3)
    return [(i * reach * 2 / 3, min(length_mm, i * reach * 2 / 3 + reach)) for i in range(count)]


def _file_stem(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "board"


def _take_photo(job: Job, stem: str, *, content: bytes, what: str) -> str:
    """Put a photo into `photos/` under a free name; answers with its path in the job folder."""
    folder = job.folder / "photos"
    make_folder(folder)
    waiting = folder / f"{stem}.new"
    replace_file(waiting, content)
    try:
        kind = read_header(waiting).kind
        path = _free_path(folder, stem, _ENDINGS.get(kind, ".jpg"))
        waiting.rename(path)
    except GrainplanError as error:
        raise type(error)(str(error).replace(waiting.name, what)) from None
    finally:
        waiting.unlink(missing_ok=True)
    return f"photos/{path.name}"


def set_corners(job: Job, board: str, side: Side, *, corners: Sequence[Point], photo: int = 0) -> Job:
    """Write the corners of a side's photo into the job file; `photo` counts from 0 where there are several."""
    return editing.save_job(job, [editing.set_corners(board, side, corners=corners, photo=photo)])


def write_found_corners(job: Job) -> tuple[Job, tuple[str, ...]]:
    """Write the corners that are found in photos without typed ones into the job file, to be looked at and corrected.

    Returns
    -------
    Job, tuple of str
        The job as it is now, and a sentence for each such photo: how sure its corners are, or why they are not found.
    """
    edits, told = [], []
    for board in job.boards:
        for side in SIDES:
            photos = board.photos.get(side, ())
            if len(photos) != 1 or photos[0].corners is not None:
                continue
            found = locate_side(board, side)
            if isinstance(found, NotFound):
                told.append(found.reason)
                continue
            points = [(float(x), float(y)) for x, y in found.corners_px]
            edits.append(editing.set_corners(board.name, side, corners=points))
            told.append(f"board {board.name}, {side}: corners found, within about {found.doubt_px:.0f} px")
    return editing.save_job(job, edits) if edits else job, tuple(told)


def write_found_wane(job: Job, boards: Sequence[MeasuredBoard]) -> tuple[Job, tuple[str, ...]]:
    """Write wane and missing corners that photos show into the job file as the maker's flaws; a sentence a board."""
    edits, told = [], []
    for measured in boards:
        found = [f for f in measured.flaws if f.kind == "wane" and f.found_by == "program"]
        rough = measured.board
        if not found or rough.cut_from is not None:
            continue
        mine = [Flaw(f.kind, f.on, _round_out(f.box, job, rough)) for f in found]
        edits.append(editing.set_flaws(rough.name, [*rough.flaws, *mine], units=job.units))
        places = "place" if len(mine) == 1 else "places"
        told.append(f"board {rough.name}: {len(mine)} {places} without wood written as flaws, to be corrected")
    return editing.save_job(job, edits) if edits else job, tuple(told)


def add_flaw(job: Job, board: str, flaw: Flaw) -> Job:
    """Add a flaw of the maker's to a board, after those that are there; its box is widened to whole small steps."""
    rough = job.board(board)
    mine = replace(flaw, box=_round_out(flaw.box, job, rough), found_by="maker", confidence=1.0)
    return editing.save_job(job, [editing.set_flaws(board, [*rough.flaws, mine], units=job.units)])


def accept_flaw(job: Job, board: str, proposed: Flaw, *, box: Box) -> Job:
    """Take a flaw that the program proposes over as the maker's own, in this box; no panel may show it then.

    Where it was moved off its first place, that place is noted as clear, so that it is not proposed there again.
    """
    rough = job.board(board)
    mine = Flaw(proposed.kind, proposed.on, _round_out(box, job, rough))
    edits = [editing.set_flaws(board, [*rough.flaws, mine], units=job.units)]
    if not mine.box.overlaps(proposed.box) and proposed.on != "through":
        edits.append(_set_clear(job, rough, [*rough.clear, ClearSpot(proposed.on, proposed.box, proposed.kind)]))
    return editing.save_job(job, edits)


def move_flaw(job: Job, board: str, place: int, *, box: Box) -> Job:
    """Put the maker's flaw at `place` (from 0) into another box; its comments in the file stay."""
    rough = job.board(board)
    moved = _round_out(box, job, rough)
    spelt = {"from": (moved.x0, moved.y0), "to": (moved.x1, moved.y1)}
    where: Place = ("board", board, "flaw", place)
    return editing.save_job(
        job,
        [
            editing.set_value((*where, key), [spell_length(v, job.units) for v in corner])
            for key, corner in spelt.items()
        ],
    )


def remove_flaw(job: Job, board: str, place: int) -> Job:
    """Take the flaw at `place` (from 0) off a board."""
    flaws = [flaw for at, flaw in enumerate(job.board(board).flaws) if at != place]
    return editing.save_job(job, [editing.set_flaws(board, flaws, units=job.units)])


def call_clear(job: Job, board: str, proposed: Flaw) -> Job:
    """Note that a flaw that the program proposes is none: it is not proposed again."""
    if proposed.on == "through":
        raise ValueError("a proposal lies on the face or on the back")
    rough = job.board(board)
    return editing.save_job(
        job, [_set_clear(job, rough, [*rough.clear, ClearSpot(proposed.on, proposed.box, proposed.kind)])]
    )


def forget_clear(job: Job, board: str, side: BroadSide) -> Job:
    """Let the program propose again what was called clear on one side."""
    rough = job.board(board)
    return editing.save_job(job, [_set_clear(job, rough, [spot for spot in rough.clear if spot.on != side])])


def _set_clear(job: Job, board: RoughBoard, spots: Sequence[ClearSpot]) -> editing.Edit:
    rows = [
        {
            **({"kind": spot.kind} if spot.kind else {}),
            "on": spot.on,
            "from": [spell_length(v, job.units) for v in (spot.box.x0, spot.box.y0)],
            "to": [spell_length(v, job.units) for v in (spot.box.x1, spot.box.y1)],
        }
        for spot in spots
    ]
    return _set_rows(("board", board.name, "clear"), rows)


def _set_rows(place: Place, rows: Sequence[Mapping[str, Any]]) -> editing.Edit:
    """A list of tables under one key; the key goes with the last of them."""
    return editing.set_value(place, rows) if rows else editing.remove_value(place)


def _round_out(box: Box, job: Job, board: RoughBoard) -> Box:
    """A box on whole sixteenths or millimetres that holds `box`, within the board."""
    step = MM_PER_INCH / 16 if job.units == "in" else 1.0
    low = [math.floor(v / step + 0.01) * step for v in (box.x0, box.y0)]
    high = [math.ceil(v / step - 0.01) * step for v in (box.x1, box.y1)]
    return Box(
        max(0.0, low[0]),
        max(0.0, low[1]),
        min(board.length_mm, max(high[0], low[0] + step)),
        min(board.largest_width_mm, max(high[1], low[1] + step)),
    )


def report_leaf(job: Job, leaf: str) -> Job:
    """Begin to tell what became of a leaf after the saw."""
    return editing.save_job(job, [lambda text: text.add_row(("leaf",), {"leaf": leaf})])


def forget_leaf(job: Job, leaf: str) -> Job:
    """Take back all that was told of a leaf; its photos stay in the folder."""
    at = _find_leaf(job, leaf)
    return editing.save_job(job, [lambda text: text.remove_row(("leaf", at))])


def add_leaf_photo(job: Job, leaf: str, surface: Surface, *, content: bytes) -> Job:
    """Put a photo of a sawn surface into `photos/` and name it in the job file.

    Raises
    ------
    PhotoError
        When it is no picture that can be read; nothing is changed then.
    """
    path = _take_photo(job, f"{_file_stem(leaf)}-{surface}", content=content, what=f"the photo of {leaf} {surface}")
    return editing.save_job(job, [editing.set_value(("leaf", _find_leaf(job, leaf), surface), {"photo": path})])


def set_leaf_corners(job: Job, leaf: str, surface: Surface, *, corners: Sequence[Point]) -> Job:
    """Write the corners of a leaf's photo into the job file, to a tenth of a pixel."""
    points = [[round(x, 1), round(y, 1)] for x, y in corners]
    return editing.save_job(job, [editing.set_value(("leaf", _find_leaf(job, leaf), surface, "corners"), points)])


def _find_leaf(job: Job, leaf: str) -> int:
    """The place of a leaf's report in the job file, from 0."""
    for at, report in enumerate(job.leaf_reports):
        if report.leaf.name == leaf:
            return at
    raise ValueError(f"nothing is told of leaf {leaf} yet")


def keep_leaves(job: Job, *planned: PlannedBay) -> Job:
    """Hold bays to the leaves and the places that they have in a plan."""
    return editing.save_job(job, [editing.keep_bay(pin_bay(bay), units=job.units) for bay in planned])


def call_made(job: Job, planned: PlannedBay) -> Job:
    """Note that a bay is made: it stays as it is, on the leaves that it has in a plan."""
    made = editing.set_value(("bay", planned.name, "done"), value=True)
    return editing.save_job(job, [editing.keep_bay(pin_bay(planned), units=job.units), made])


def call_unmade(job: Job, bay: str) -> Job:
    """Note that a bay is not made yet; it stays kept."""
    return editing.save_job(job, [editing.remove_value(("bay", bay, "done"))])


def let_go(job: Job, bay: str) -> Job:
    """Let a kept bay be chosen anew."""
    return editing.save_job(job, [editing.undo_keep(bay)])


def leave_out(job: Job, *, board: str, bay: str | None = None) -> Job:
    """Do not use a board in this bay, or in none."""
    return editing.save_job(job, [editing.leave_out(board, bay)])


def allow_again(job: Job, *, board: str, bay: str | None = None) -> Job:
    """Undo :func:`leave_out`."""
    return editing.save_job(job, [editing.take_back(board, bay)])


def find_free_name(job: Job) -> str:
    """The next letter that no board is called by."""
    taken = {board.name.casefold() for board in job.boards}
    names = [*string.ascii_uppercase, *(a + b for a in string.ascii_uppercase for b in string.ascii_uppercase)]
    return str(next(name for name in names if name.casefold() not in taken))


def _find_bay(job: Job, name: str) -> Bay:
    for bay in job.bays:
        if bay.name == name:
            return bay
    raise ValueError(f"the job has no bay {name}")


def _edit_value(job: Job, place: Place, value: Any) -> editing.Edit:
    if value is None:
        return editing.remove_value(place)
    if len(place) == 3 and place[0] == "bay" and place[2] == "name":
        return editing.rename_bay(job.bays[int(place[1])].name, value)
    if place[0] == "board" and place[-1] == "name":
        board = job.boards[int(place[1])]
        return editing.rename_board(board.pieces[int(place[3])].name if "pieces" in place else board.name, value)
    return editing.set_value(place, value)


def _free_path(folder: Path, stem: str, ending: str) -> Path:
    """A name that no photo has yet: the maker's own files are never overwritten."""
    path, count = folder / f"{stem}{ending}", 2
    while path.exists():
        path, count = folder / f"{stem}-{count}{ending}", count + 1
    return path
