"""`job.toml` → a checked :class:`Job`. All that is wrong is told at once, each in a sentence of its own."""

from __future__ import annotations

import copy
import hashlib
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError

from grainplan.errors import JobFileError
from grainplan.job import Job
from grainplan.jobfolder.build import build_job
from grainplan.jobfolder.checks import JobCheck
from grainplan.jobfolder.photopaths import check_photo_paths
from grainplan.jobfolder.shape import JobShape
from grainplan.jobfolder.values import guess_word, show_value
from grainplan.jobfolder.words import Faults, Loc, tell_shape_faults, tell_syntax_fault

JOB_FILE = "job.toml"
FORMAT = 1
_LARGEST_FILE = 5_000_000
MissingPhotos = Literal["refused", "told"]
"""What becomes of a job whose photos are not all in its folder: it cannot be used, or only says so."""


def find_job_file(folder_or_file: Path) -> Path:
    """The job file of a folder, or the file itself.

    Raises
    ------
    JobFileError
        When neither is there.
    """
    path = Path(folder_or_file)
    try:
        if path.is_dir():
            path = path / JOB_FILE
        if path.is_file():
            return path.absolute()
        if path.is_dir():
            raise JobFileError([f"{path} is a folder, and a file of that name is needed; move it away"])
        known = sorted(p.name for p in path.parent.glob("*.toml")) if path.parent.is_dir() else []
    except (OSError, ValueError):
        raise JobFileError([f"{show_value(str(path))} cannot be the name of a file or folder"]) from None
    guess = guess_word(path.name, known)
    if guess:
        raise JobFileError([f"{path} is not there; did you mean {path.parent / guess}?"])
    raise JobFileError([f"{path} is not there; give the job folder, or start one with: grainplan new {path.parent}"])


def read_job(folder_or_file: Path, *, missing_photos: MissingPhotos = "refused") -> Job:
    """Read and check a job.

    Parameters
    ----------
    folder_or_file : Path
        The job folder, or the job file in it.
    missing_photos : {"refused", "told"}
        Whether a photo that is named and not there is a fault, or stands in `Job.missing_photos` alone: who changes or
        saves a job must be able to, whatever became of its photos.

    Raises
    ------
    JobFileError
        With one sentence for everything that is wrong with the file, in the order of the file.
    """
    path = find_job_file(folder_or_file)
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise JobFileError([f"{path} is {path.stat().st_size / 1e6:.0f} MB large, which no job file is"])
        written = path.read_bytes()
    except OSError as error:
        raise JobFileError([f"{path} cannot be read: {error.strerror or error}"]) from None
    return read_job_bytes(written, path, missing_photos=missing_photos)


def read_job_bytes(written: bytes, path: Path, *, missing_photos: MissingPhotos = "refused") -> Job:
    """Check a job file that is at hand as bytes, as if they stood in the file `path`; see :func:`read_job`."""
    sha256 = hashlib.sha256(written).hexdigest()
    return read_job_table(_parse(written), path, sha256=sha256, missing_photos=missing_photos)


def read_job_table(
    raw: dict[str, Any], path: Path, *, sha256: str = "", missing_photos: MissingPhotos = "refused"
) -> Job:
    """Check what a job file says, as the TOML reader gives it; see :func:`read_job`."""
    faults = Faults(raw)
    _check_format(raw, faults)
    shape = _pour(raw, faults)
    JobCheck(shape, faults).run()
    missing = Faults(raw) if missing_photos == "told" else faults
    check_photo_paths(shape, path.parent, faults, missing=missing)
    if len(faults):
        raise JobFileError(faults.sentences(), faults.places())
    try:
        job = build_job(shape, path, sha256=sha256)
        return replace(job, missing_photos=missing.sentences() if missing is not faults else ())
    except ValueError as error:
        raise JobFileError([str(error)]) from error


def _parse(written: bytes) -> dict[str, Any]:
    try:
        text = written.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = written[: error.start].count(b"\n") + 1
        raise JobFileError(
            [f"line {line} has a letter that is not in UTF-8; save the file as UTF-8 text in your editor"]
        ) from None
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise JobFileError([tell_syntax_fault(error, text)]) from None
    except RecursionError:
        raise JobFileError(["a value has brackets within brackets without end; a job file needs none of it"]) from None
    except ValueError as error:  # a number of more digits than Python turns into one, a month 13, …
        what = "a number has far too many digits" if "digits" in str(error) else f"a date cannot be read ({error})"
        raise JobFileError([f"{what}; a job file needs none of it"]) from None


def _check_format(raw: dict[str, Any], faults: Faults) -> None:
    number = raw.get("grainplan")
    if number is None:
        faults.add((), f"the format number is missing; write grainplan = {FORMAT} as the first line")
    elif isinstance(number, bool) or not isinstance(number, int) or number < 1:
        faults.add(("grainplan",), f"the format number is {FORMAT}; you wrote {show_value(number)}")
    elif number > FORMAT:
        faults.add(
            ("grainplan",),
            f"this file is of format {show_value(number)}, and this program knows format {FORMAT}; use a newer program",
        )


def _pour(raw: dict[str, Any], faults: Faults) -> JobShape:
    """Pour the file into its shapes; what is refused is told, set aside, and the rest poured again."""
    rest = copy.deepcopy(raw)
    _list_photos(rest)
    context = {"units": "mm" if raw.get("units") == "mm" else "in"}
    while True:
        try:
            return JobShape.model_validate(rest, context=context)
        except ValidationError as error:
            for loc in tell_shape_faults(error, faults, raw):
                _set_aside(rest, loc)


def _list_photos(raw: dict[str, Any]) -> None:
    """A side is one photo or a list of them; make it a list always."""
    for table, sides in (("board", ("face", "back", "foot", "head")), ("leaf", ("near", "far"))):
        rows = raw.get(table)
        for row in rows if isinstance(rows, list) else []:
            for side in sides if isinstance(row, dict) else ():
                if isinstance(row.get(side), dict):
                    row[side] = [row[side]]


def _set_aside(rest: dict[str, Any], loc: Loc) -> None:
    here: Any = rest
    for step in loc[:-1]:
        here = here[step]
    if isinstance(here, list):
        here[int(loc[-1])] = {}  # an empty table keeps the places of the others
    else:
        here.pop(loc[-1], None)
