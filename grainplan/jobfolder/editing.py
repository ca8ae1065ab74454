"""Changing `job.toml` without losing a word of it: the maker's comments, order and spelling stay.

An edit is a function from the text of the file to a new text; :func:`save_job` makes them in turn, checks that the
result is a job, and replaces the file in one step.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from grainplan.boards import Flaw, Point, Side
from grainplan.errors import GrainplanError
from grainplan.job import Job, Keep
from grainplan.jobfolder.reading import JOB_FILE, read_job_bytes
from grainplan.jobfolder.safesave import SaveError, make_folder, replace_file
from grainplan.jobfolder.tomltext import Place, TomlText, render
from grainplan.units import Units, parse_length, spell_length

Edit = Callable[[TomlText], TomlText]
_NAMED_BY = {"bay": "name", "board": "name", "keep": "bay", "leaf": "leaf"}


def save_job(job: Job, edits: Iterable[Edit]) -> Job:
    """Make edits to the file of a job, and answer with the job as it is now.

    Parameters
    ----------
    job : Job
        As it was read; the file must not have changed since.
    edits : iterable of Edit
        Made in turn; all of them, or none.

    Raises
    ------
    SaveError
        When somebody else changed the file, the disk is full, or the folder cannot be written. The file is untouched.
    JobFileError
        When the job would be faulty after the edits. The file is untouched. A photo that is not there is no fault here:
        what was typed must not be lost for it.
    """
    path = job.folder / job.file_name
    try:
        before = path.read_bytes()
    except OSError as error:
        raise SaveError(f"{path} cannot be read: {error.strerror or error}") from None
    after = edit_bytes(before, edits)
    changed = read_job_bytes(after, path, missing_photos="told")
    if after != before or changed.sha256 != job.sha256:
        replace_file(path, after, only_if_sha256=job.sha256)
    return changed


def edit_bytes(before: bytes, edits: Iterable[Edit]) -> bytes:
    """Make edits to a job file at hand as bytes; its byte order mark and its kind of line ends stay."""
    mark = b"\xef\xbb\xbf" if before.startswith(b"\xef\xbb\xbf") else b""
    text = before.removeprefix(mark).decode("utf-8")
    ends = "\r\n" if text.count("\r\n") * 2 > text.count("\n") else "\n"
    edited = TomlText(text.replace("\r\n", "\n"))
    for edit in edits:
        edited = edit(edited)
    if edited.text == text.replace("\r\n", "\n"):
        return before
    return mark + edited.text.replace("\n", ends).encode("utf-8")


def new_job(folder: Path, *, title: str | None = None) -> Path:
    """Start a job folder whose job file explains every line; answers with the file.

    Raises
    ------
    GrainplanError
        When there is a job already; it is never overwritten.
    """
    path = folder / JOB_FILE
    if path.exists() or path.is_symlink():
        raise GrainplanError(f"{path} is there already and stays as it is; name another folder")
    make_folder(folder / "photos")
    template = files("grainplan.jobfolder").joinpath("new_job.toml").read_bytes()
    name = title or folder.absolute().name.replace("-", " ").replace("_", " ").strip().capitalize()
    fit = name.isprintable() and 0 < len(name) <= 120
    replace_file(path, edit_bytes(template, [set_value(("title",), name)] if fit else []))
    return path


def set_value(place: Place, value: Any) -> Edit:
    """Set one value. Lists of tables are gone into by name: ``("bay", "left door", "width")``, or by place from 0."""
    return lambda text: text.set_value(_find(text, place), value)


def remove_value(place: Place) -> Edit:
    """Take one key out, so that the program's default holds again."""
    return lambda text: text.remove_value(_find(text, place))


def set_length(place: Place, length_mm: float, *, units: Units) -> Edit:
    """Set a length that the program knows in mm, written in the job's units."""
    return set_value(place, spell_length(length_mm, units))


def add_bay(row: Mapping[str, Any]) -> Edit:
    """Add a bay after the others; `row` as in the file."""
    return lambda text: text.add_row(("bay",), row)


def add_board(row: Mapping[str, Any]) -> Edit:
    """Add a board after the others; `row` as in the file."""
    return lambda text: text.add_row(("board",), row)


def remove_bay(name: str) -> Edit:
    """Take a bay out, with its keep, its leave-outs, and its name as another bay's mirror image."""

    def edit(text: TomlText) -> TomlText:
        text = _drop(text, "keep", lambda row: row.get("bay") == name)
        text = _drop(text, "leave_out", lambda row: row.get("bay") == name)
        for i, row in enumerate(_rows(text, "bay")):
            if row.get("mirror") == name:
                text = text.remove_value(("bay", i, "mirror"))
        return text.remove_row(_find(text, ("bay", name)))

    return edit


def remove_board(name: str) -> Edit:
    """Take a board out, with the keeps, leave-outs and leaf reports that speak of it or of its pieces."""

    def edit(text: TomlText) -> TomlText:
        place = _find(text, ("board", name))
        row = _rows(text, "board")[int(place[1])]
        names = {name, *(str(piece.get("name")) for piece in row.get("pieces", []) if isinstance(piece, dict))}
        text = _drop(text, "keep", lambda row: any(_board_of(leaf) in names for leaf in row.get("leaves", [])))
        text = _drop(text, "leave_out", lambda row: row.get("board") in names)
        text = _drop(text, "leaf", lambda row: _board_of(row.get("leaf")) in names)
        return text.remove_row(place)

    return edit


def rename_bay(old: str, new: str) -> Edit:
    """Give a bay another name, wherever the file speaks of it."""

    def edit(text: TomlText) -> TomlText:
        text = text.set_value((*_find(text, ("bay", old)), "name"), new)
        for table, key in (("bay", "mirror"), ("keep", "bay"), ("leave_out", "bay")):
            for i, row in enumerate(_rows(text, table)):
                if row.get(key) == old:
                    text = text.set_value((table, i, key), new)
        return text

    return edit


def rename_board(old: str, new: str) -> Edit:
    """Give a board, or a piece of one, another name, wherever the file speaks of it or of its leaves."""

    def renamed(leaf: Any) -> Any:
        return f"{new}{leaf[len(old) :]}" if _board_of(leaf) == old else leaf

    def edit(text: TomlText) -> TomlText:
        text = text.set_value((*_find_piece(text, old), "name"), new)
        for i, row in enumerate(_rows(text, "leave_out")):
            if row.get("board") == old:
                text = text.set_value(("leave_out", i, "board"), new)
        for i, row in enumerate(_rows(text, "leaf")):
            if _board_of(row.get("leaf")) == old:
                text = text.set_value(("leaf", i, "leaf"), renamed(row["leaf"]))
        for i, row in enumerate(_rows(text, "keep")):
            for j, leaf in enumerate(row.get("leaves", [])):
                if _board_of(leaf) == old:
                    text = text.set_value(("keep", i, "leaves", j), renamed(leaf))
        return text

    return edit


def keep_bay(keep: Keep, *, units: Units) -> Edit:
    """Hold a bay to its leaves, and to the place where they are cut if `keep` has one; an earlier keep is replaced."""
    bay = keep.bay
    row: dict[str, Any] = {"bay": bay, "leaves": [leaf.name for leaf in keep.leaves]}
    if keep.x_mm is not None and keep.y_mm is not None:
        row["where"] = [spell_length(v, units) for v in (keep.x_mm, keep.y_mm)]
    if keep.foot is not None:
        row["foot"] = keep.foot

    def edit(text: TomlText) -> TomlText:
        for i, old in enumerate(_rows(text, "keep")):
            if old.get("bay") == bay:
                for key in row:
                    text = text.set_value(("keep", i, key), row[key])
                for key in ("where", "foot"):
                    text = text if key in row else text.remove_value(("keep", i, key))
                return text
        return text.add_row(("keep",), row)

    return edit


def undo_keep(bay: str) -> Edit:
    """Let a bay be chosen anew."""
    return lambda text: _drop(text, "keep", lambda row: row.get("bay") == bay)


def leave_out(board: str, bay: str | None = None) -> Edit:
    """Use a board nowhere, or not in one bay; told twice it stands once."""
    row = {"board": board} if bay is None else {"board": board, "bay": bay}
    return lambda text: text if row in _rows(text, "leave_out") else text.add_row(("leave_out",), row)


def take_back(board: str, bay: str | None = None) -> Edit:
    """Undo :func:`leave_out` of the same board and bay."""
    return lambda text: _drop(text, "leave_out", lambda row: row.get("board") == board and row.get("bay") == bay)


def set_photo(board: str, side: Side, *, photo: str | None) -> Edit:
    """Give a side of a board its one photo, by its path in the job folder; None takes the side's photo away."""

    def edit(text: TomlText) -> TomlText:
        place = (*_find(text, ("board", board)), side)
        return text.remove_value(place) if photo is None else text.set_value(place, {"photo": photo})

    return edit


def set_corners(board: str, side: Side, *, corners: Sequence[Point], photo: int = 0) -> Edit:
    """Set the four corners of a side's photo, to a tenth of a pixel; `photo` counts from 0 where there are several."""
    points = [[_tenth(x), _tenth(y)] for x, y in corners]

    def edit(text: TomlText) -> TomlText:
        place = _find(text, ("board", board))
        row = _rows(text, "board")[int(place[1])]
        several = isinstance(row.get(side), list)
        return text.set_value((*place, side, *((photo,) if several else ()), "corners"), points)

    return edit


def set_flaws(board: str, flaws: Sequence[Flaw], *, units: Units) -> Edit:
    """Write the flaws of a board anew; those that stay the same keep their comments."""
    rows = [_flaw_row(flaw, units) for flaw in flaws]
    wanted = [_flaw_mark(row, units) for row in rows]

    def edit(text: TomlText) -> TomlText:
        place = (*_find(text, ("board", board)), "flaw")
        written = _rows(text, "board")[int(place[1])].get("flaw", [])
        old = [_flaw_mark(row, units) for row in written]
        for i in reversed([i for i, mark in enumerate(old) if mark not in wanted]):
            text = text.remove_row((*place, i))
        for row, mark in zip(rows, wanted, strict=True):
            if mark not in old:
                text = text.add_row(place, row)
        return text

    return edit


def _flaw_mark(row: Mapping[str, Any], units: Units) -> tuple[Any, ...]:
    """What two rows share that tell of one flaw, however its lengths are spelt."""
    corners = [tuple(round(parse_length(v, units), 2) for v in row[key]) for key in ("from", "to")]
    return (row["kind"], row["on"], row.get("avoid", True), *sorted(corners))


def _flaw_row(flaw: Flaw, units: Units) -> dict[str, Any]:
    box = flaw.box
    return {
        "kind": flaw.kind,
        "on": flaw.on,
        "from": [spell_length(v, units) for v in (box.x0, box.y0)],
        "to": [spell_length(v, units) for v in (box.x1, box.y1)],
        "avoid": flaw.avoid,
    }


def _tenth(pixels: float) -> float | int:
    rounded = round(float(pixels), 1)
    return int(rounded) if rounded.is_integer() else rounded


def _board_of(leaf: object) -> str | None:
    return leaf.rstrip("0123456789") if isinstance(leaf, str) else None


def _rows(text: TomlText, table: str) -> list[dict[str, Any]]:
    rows = text.data.get(table, [])
    return [row if isinstance(row, dict) else {} for row in rows] if isinstance(rows, list) else []


def _drop(text: TomlText, table: str, unwanted: Callable[[dict[str, Any]], bool]) -> TomlText:
    for i in reversed(range(len(rows := _rows(text, table)))):
        if unwanted(rows[i]):
            text = text.remove_row((table, i))
    return text


def _find_piece(text: TomlText, name: str) -> Place:
    """The row of a board, or of a piece of one."""
    for i, board in enumerate(_rows(text, "board")):
        for j, piece in enumerate(board.get("pieces") or []):
            if isinstance(piece, dict) and piece.get("name") == name:
                return ("board", i, "pieces", j)
    return _find(text, ("board", name))


def _find(text: TomlText, place: Place) -> Place:
    """Names of bays, boards, keeps and leaves in a place, as places from 0."""
    if len(place) < 2 or place[0] not in _NAMED_BY or isinstance(place[1], int):
        return place
    table = str(place[0])
    for i, row in enumerate(_rows(text, table)):
        if row.get(_NAMED_BY[table]) == place[1]:
            return (table, i, *place[2:])
    raise GrainplanError(f"the job file has no {table} {render(place[1])}; open the job again")
