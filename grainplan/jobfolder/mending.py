"""A job file that cannot be used: where its faults are, saving it as the maker types it, and the way back.

Here alone a file is saved faults and all, so that no word of the maker's is lost on the way.
"""

from __future__ import annotations

import codecs
import hashlib
import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from grainplan.errors import GrainplanError, JobFileError
from grainplan.job import Job
from grainplan.jobfolder.reading import find_job_file
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.jobfolder.tomltext import TomlText

LAST_GOOD = Path("out", "job-last-good.toml")


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """A job file word for word, whether it can be used or not.

    Parameters
    ----------
    text : str
        With plain line ends.
    sha256 : str
        Of the file as it lies there.
    remark : str
        What had to be guessed to read it; empty where nothing had.
    """

    text: str
    sha256: str
    remark: str = ""


def read_file(folder: Path) -> WrittenFile:
    """The job file as text, to be mended."""
    written = find_job_file(folder).read_bytes()
    sha256 = hashlib.sha256(written).hexdigest()
    try:
        return WrittenFile(written.decode("utf-8-sig").replace("\r\n", "\n"), sha256)
    except UnicodeDecodeError:
        remark = "The file is not in UTF-8; it is shown as Windows writes text, and saved as UTF-8. Look at ° and ½."
        return WrittenFile(written.decode("cp1252", "replace").replace("\r\n", "\n"), sha256, remark)


def save_file(folder: Path, text: str, *, before: WrittenFile) -> None:
    """Write the whole job file anew, whether it can be used then or not; its mark and kind of line ends stay.

    Raises
    ------
    SaveError
        When somebody else changed the file since, or it cannot be written. It is untouched.
    """
    path = find_job_file(folder)
    was = path.read_bytes()
    ends = "\r\n" if was.count(b"\r\n") * 2 > was.count(b"\n") else "\n"
    mark = codecs.BOM_UTF8 if was.startswith(codecs.BOM_UTF8) else b""
    whole = text.replace("\r\n", "\n").rstrip("\n") + "\n"
    replace_file(path, mark + whole.replace("\n", ends).encode("utf-8"), only_if_sha256=before.sha256)


def replace_line(file: WrittenFile, line: int, words: str) -> str:
    """The text of a job file with one line (from 1) written anew."""
    lines = file.text.split("\n")
    lines[line - 1] = words
    return "\n".join(lines)


def find_fault_lines(folder: Path, error: JobFileError) -> tuple[int | None, ...]:
    """On which line of the job file each fault stands, from 1; None where it belongs to no line."""
    if error.places:
        text = TomlText(read_file(folder).text)
        return tuple(text.find_line(place) if place else None for place in error.places)
    told = [re.match(r"[Ll]ine (\d+)", fault) for fault in error.faults]
    return tuple(int(found.group(1)) if found else None for found in told)


def remember_good(job: Job) -> None:
    """Keep a copy of a job file that can be used, to go back to; a folder that cannot be written is left alone."""
    with suppress(GrainplanError, OSError):
        good = (job.folder / job.file_name).read_bytes()
        kept = job.folder / LAST_GOOD
        if not kept.is_file() or kept.read_bytes() != good:
            make_folder(kept.parent)
            replace_file(kept, good)


def has_good(folder: Path) -> bool:
    """Whether there is an earlier state of the job that could be used."""
    return (find_job_file(folder).parent / LAST_GOOD).is_file()


def go_back_to_good(folder: Path) -> Path:
    """Put the last good job file back; the faulty one is set aside beside it, and its path is the answer."""
    path = find_job_file(folder)
    faulty = path.read_bytes()
    aside = _find_free(path.parent)
    replace_file(aside, faulty)
    replace_file(path, (path.parent / LAST_GOOD).read_bytes(), only_if_sha256=hashlib.sha256(faulty).hexdigest())
    return aside


def _find_free(folder: Path) -> Path:
    path, count = folder / "job-set-aside.toml", 2
    while path.exists():
        path, count = folder / f"job-set-aside-{count}.toml", count + 1
    return path
