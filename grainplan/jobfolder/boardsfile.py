"""Measured boards ↔ `out/boards.json` and the pictures in `out/boards/`."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from PIL import Image

from grainplan.boards import (
    SIDES,
    BoardSide,
    Flaw,
    FlawKind,
    FlawPlace,
    Grain,
    MeasuredBoard,
    Pith,
    Point,
    RoughBoard,
    Sawn,
)
from grainplan.errors import PlanError
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.jobfolder.planfile import Table, read_json, read_maybe, read_words, round_mm
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.measured import Measured
from grainplan.picture import KeptPicture, Picture, read_picture

BOARDS_FILE = Path("out", "boards.json")
_AGAIN = "grainplan measure"


def write_boards(job: Job, boards: Sequence[MeasuredBoard]) -> Path:
    """Write what was measured: pictures first, then the file that names them; answers with that file."""
    path = job.folder / BOARDS_FILE
    make_folder(path.parent / "boards")
    densities = {side.picture.px_per_mm for board in boards for side in board.sides.values()}
    if len(densities) > 1:
        raise ValueError(f"all sides of a job are flattened to one density, got {sorted(densities)}")
    px_per_mm = densities.pop() if densities else 2.0
    for board in boards:
        for name, side in board.sides.items():
            replace_file(path.parent / _picture_name(board.name, name), _encode_png(side.picture))
    table = {
        "px_per_mm": px_per_mm,
        "job_sha256": job.sha256,
        "boards": [_board_to_json(board) for board in boards],
    }
    replace_file(path, (json.dumps(table, ensure_ascii=False, indent=1) + "\n").encode())
    return path


def read_boards(job: Job) -> tuple[MeasuredBoard, ...]:
    """Every board of the job as it was measured, with its pictures.

    A board counts as measured while its sizes, its photos and their corners are what they were; flaws that the maker
    has entered since are taken from the job.

    Raises
    ------
    PlanError
        When nothing was measured, a file is missing or damaged, or a board has changed since.
    """
    known = read_known_boards(job)
    missing = [board.name for board in job.boards if board.name not in known]
    if missing:
        raise PlanError(
            f"board{'s' if len(missing) > 1 else ''} {', '.join(missing)} changed or came since the photos "
            f"were measured; measure again with: {_AGAIN}"
        )
    return tuple(known[board.name] for board in job.boards)


def read_known_boards(job: Job) -> dict[str, MeasuredBoard]:
    """Those boards of the job whose measurements still hold, by name; see :func:`read_boards`."""
    path = job.folder / BOARDS_FILE
    table = read_json(path, again=_AGAIN)
    try:
        px_per_mm = float(table["px_per_mm"])
        rows = {str(row["name"]): row for row in table["boards"]}
        return {
            board.name: _read_board(rows[board.name], board, path.parent, px_per_mm=px_per_mm)
            for board in job.boards
            if board.name in rows and rows[board.name].get("measured_from") == mark_board(board)
        }
    except KeyError as error:
        raise PlanError(f"{path} lacks {error}; measure again with: {_AGAIN}") from None
    except (TypeError, ValueError, AttributeError) as error:
        raise PlanError(f"{path} is damaged ({error}); measure again with: {_AGAIN}") from None


def round_figures(board: MeasuredBoard) -> MeasuredBoard:
    """The board with its figures as the file keeps them: so that a plan is the same before and after they are read."""
    row = _board_to_json(board)
    found = tuple(_read_flaw(flaw) for flaw in row["flaws"] if flaw["found_by"] != "maker")
    by_maker = tuple(flaw for flaw in board.flaws if flaw.found_by == "maker")
    return replace(
        board,
        length_mm=_read_size(row, "length"),
        width_mm=_read_size(row, "width"),
        grain=_read_grain(row),
        pith=_read_pith(row["pith_yz_mm"]),
        flaws=by_maker + found,
    )


def mark_board(board: RoughBoard) -> str:
    """A short mark of all that a board's measurements depend on: its sizes, its photo files and their corners."""
    photos = []
    for side in SIDES:
        for photo in board.photos.get(side, ()):
            try:
                stat = photo.path.stat()
                state: tuple[int, int] | None = (stat.st_size, stat.st_mtime_ns)
            except OSError:
                state = None
            photos.append((side, photo.path.name, photo.corners, photo.foot, photo.x_mm, photo.grey_card, state))
    sizes = (board.length_mm, board.width_mm, board.width_head_mm, board.thickness_mm)
    return hashlib.sha256(repr((sizes, photos)).encode()).hexdigest()[:16]


def _picture_name(board: str, side: str) -> str:
    return f"boards/{board}-{side}.png"


def _encode_png(picture: Picture) -> bytes:
    """As PNG, quickly: photos of wood hardly shrink with more effort."""
    dpi = picture.px_per_mm * 25.4
    buffer = io.BytesIO()
    Image.fromarray(picture.pixels).save(buffer, "PNG", dpi=(dpi, dpi), compress_level=1)
    return buffer.getvalue()


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def _point(point: Point | None) -> list[float] | None:
    return None if point is None else [round_mm(v) for v in point]


def _board_to_json(board: MeasuredBoard) -> Table:
    grain, pith = board.grain, board.pith
    table: Table = {"name": board.name}
    for what, size in (("length", board.length_mm), ("width", board.width_mm)):
        table[f"{what}_mm"] = round_mm(size.value)
        if size.doubt:
            table[f"{what}_doubt_mm"] = round_mm(size.doubt)
        if size.caveats:
            table[f"{what}_caveats"] = list(size.caveats)
    table["sides"] = {
        name: {
            "picture": _picture_name(board.name, name),
            "photo_px_per_mm": _round(side.photo_px_per_mm, 3),
            "scale_doubt_percent": _round(side.scale_doubt_percent, 2),
            "caveats": list(side.caveats),
        }
        for name, side in board.sides.items()
    }
    table["grain"] = {
        "angle_deg": _round(grain.angle_deg, 2),
        "straightness": _round(grain.straightness, 3),
        "ring_spacing_mm": _round(grain.ring_spacing_mm, 2),
        "ring_angle_deg": _round(grain.ring_angle_deg, 2),
        "sawn": grain.sawn,
    }
    if grain.run_out_deg is not None:
        table["grain"]["run_out_deg"] = _round(grain.run_out_deg.value, 2)
        table["grain"]["run_out_doubt_deg"] = _round(grain.run_out_deg.doubt, 2)
    if grain.caveats:
        table["grain"]["caveats"] = list(grain.caveats)
    table["pith_yz_mm"] = None
    if pith is not None:
        table["pith_yz_mm"] = {
            "foot": _point(pith.foot_yz_mm),
            "head": _point(pith.head_yz_mm),
            "doubt_mm": round_mm(pith.doubt_mm),
        }
    table["colour_lab"] = None if grain.colour_lab is None else [_round(v, 2) for v in grain.colour_lab]
    table["flaws"] = [_flaw_to_json(flaw) for flaw in board.flaws]
    if board.caveats:
        table["caveats"] = list(board.caveats)
    table["measured_from"] = mark_board(board.board)
    table["marks"] = {name: side.picture.mark for name, side in board.sides.items()}
    return table


def _flaw_to_json(flaw: Flaw) -> Table:
    table: Table = {
        "kind": flaw.kind,
        "on": flaw.on,
        "from_mm": [round_mm(flaw.box.x0), round_mm(flaw.box.y0)],
        "to_mm": [round_mm(flaw.box.x1), round_mm(flaw.box.y1)],
        "found_by": flaw.found_by,
        "confidence": _round(flaw.confidence, 3),
    }
    if not flaw.avoid:
        table["avoid"] = False
    return table


def _read_board(row: Mapping[str, Any], board: RoughBoard, folder: Path, *, px_per_mm: float) -> MeasuredBoard:
    found = tuple(_read_flaw(flaw) for flaw in row["flaws"] if flaw["found_by"] != "maker")
    paths = {side: folder / str(row["sides"][side]["picture"]) for side in SIDES if side in row["sides"]}
    marks = row.get("marks", {})
    pictures = {
        side: KeptPicture(path, px_per_mm, mark=str(marks[side])) if side in marks else read_picture(path, px_per_mm)
        for side, path in paths.items()
    }
    return MeasuredBoard(
        board=board,
        length_mm=_read_size(row, "length"),
        width_mm=_read_size(row, "width"),
        sides={side: _read_side(row["sides"][side], picture) for side, picture in pictures.items()},
        grain=_read_grain(row),
        pith=_read_pith(row["pith_yz_mm"]),
        flaws=board.flaws + board.list_open(found),
        caveats=read_words(row.get("caveats", [])),
    )


def _read_size(row: Mapping[str, Any], what: str) -> Measured:
    doubt = float(row.get(f"{what}_doubt_mm", 0.0))
    return Measured(float(row[f"{what}_mm"]), doubt, read_words(row.get(f"{what}_caveats", [])))


def _read_side(table: Mapping[str, Any], picture: Picture) -> BoardSide:
    return BoardSide(
        picture=picture,
        photo_px_per_mm=float(table["photo_px_per_mm"]),
        scale_doubt_percent=float(table["scale_doubt_percent"]),
        caveats=read_words(table["caveats"]),
    )


def _read_grain(row: Mapping[str, Any]) -> Grain:
    grain, lab = row["grain"], row["colour_lab"]
    sawn = grain["sawn"]
    if sawn is not None and sawn not in get_args(Sawn):
        raise ValueError(f"sawn is {sawn!r}")
    return Grain(
        angle_deg=read_maybe(grain["angle_deg"]),
        straightness=read_maybe(grain["straightness"]),
        ring_spacing_mm=read_maybe(grain["ring_spacing_mm"]),
        ring_angle_deg=read_maybe(grain["ring_angle_deg"]),
        sawn=sawn,
        colour_lab=None if lab is None else (float(lab[0]), float(lab[1]), float(lab[2])),
        run_out_deg=_read_run_out(grain),
        caveats=read_words(grain.get("caveats", [])),
    )


def _read_run_out(grain: Mapping[str, Any]) -> Measured | None:
    angle, doubt = (read_maybe(grain.get(key)) for key in ("run_out_deg", "run_out_doubt_deg"))
    return None if angle is None or doubt is None else Measured(angle, doubt)


def _read_pith(table: Mapping[str, Any] | None) -> Pith | None:
    return (
        None
        if table is None
        else Pith(_read_point(table["foot"]), _read_point(table["head"]), float(table["doubt_mm"]))
    )


def _read_point(value: Any) -> Point | None:
    return None if value is None else (float(value[0]), float(value[1]))


def _read_flaw(table: Mapping[str, Any]) -> Flaw:
    kind, place = table["kind"], table["on"]
    if kind not in get_args(FlawKind) or place not in get_args(FlawPlace):
        raise ValueError(f"a flaw is {kind!r} on {place!r}")
    (x0, y0), (x1, y1) = table["from_mm"], table["to_mm"]
    return Flaw(
        kind=kind,
        on=place,
        box=Box(float(x0), float(y0), float(x1), float(y1)),
        avoid=bool(table.get("avoid", True)),
        found_by="program",
        confidence=float(table["confidence"]),
    )
