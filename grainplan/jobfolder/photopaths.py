"""Whether the photos that a job file names are where it says, inside the job folder."""

from __future__ import annotations

import difflib
from pathlib import Path, PurePosixPath, PureWindowsPath

from grainplan.boards import SIDES
from grainplan.jobfolder.shape import JobShape
from grainplan.jobfolder.values import show_value
from grainplan.jobfolder.words import Faults, Loc


def check_photo_paths(shape: JobShape, folder: Path, faults: Faults, *, missing: Faults) -> None:
    """Tell every photo path that is absolute or leaves the folder; into `missing`, every one that leads nowhere."""
    for table, rows, sides in (("board", shape.board, SIDES), ("leaf", shape.leaf, ("near", "far"))):
        for i, row in enumerate(rows):
            for side in sides:
                for j, photo in enumerate(getattr(row, side)):
                    if photo.photo is not None:
                        loc: Loc = (table, i, side, j, "photo")
                        fault = find_path_fault(photo.photo, folder)
                        gone = None if fault else find_missing(photo.photo, folder)
                        if fault:
                            faults.add(loc, fault)
                        elif gone:
                            missing.add(loc, gone)


def find_path_fault(written: str, folder: Path) -> str | None:
    """What is wrong with a photo path of a job file as it is written, as half a sentence; None where nothing is.

    Parameters
    ----------
    written : str
        As the job file has it: relative to the job folder, with ``/`` between folders.
    folder : Path
        The job folder.
    """
    shown = show_value(written)
    windows = PureWindowsPath(written)
    if PurePosixPath(written).is_absolute() or windows.is_absolute() or windows.drive or written.startswith("~"):
        return (
            f"{shown} is a place on this computer alone; copy the photo into the job folder and write its path from "
            f'there, like "photos/{windows.name or "a-face.jpg"}"'
        )
    if "\\" in written:
        return f'{shown} has backslashes; write "{windows.as_posix()}"'
    if ".." in PurePosixPath(written).parts:
        return f"{shown} leaves the job folder; copy the photo into the folder, so that the job can be moved as a whole"
    path = folder / written
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            return f"{shown} leads out of the job folder by a link; copy the photo itself into the folder"
        if path.is_dir():
            return f"{shown} is a folder; name the photo in it"
        path.is_file()
    except (OSError, ValueError):
        return f"{shown} cannot be the name of a file"
    return None


def find_missing(written: str, folder: Path) -> str | None:
    """That no file lies where a rightly written photo path leads, with the likely one; None where it is there."""
    path = folder / written
    return None if path.is_file() else f"{show_value(written)} is not there{_guess_file(path)}"


def _guess_file(path: Path) -> str:
    """The likely file beside one that is missing."""
    if not path.parent.is_dir():
        return f": the job folder has no folder {path.parent.name}"
    names = {p.name.casefold(): p.name for p in path.parent.iterdir() if p.is_file()}
    near = difflib.get_close_matches(path.name.casefold(), names, n=1, cutoff=0.6)
    if near:
        return f"; did you mean {names[near[0]]}?"
    return f"; the folder {path.parent.name} holds {len(names)} other file{'s' if len(names) != 1 else ''}"
