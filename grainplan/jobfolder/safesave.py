"""Replacing a file in one step: whatever happens, the old file or the new one is there, whole."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import time
from pathlib import Path

from grainplan.errors import GrainplanError

STRAY_AFTER_S = 24 * 3600.0


class SaveError(GrainplanError):
    """A file could not be saved; what was there before is still there, untouched."""


def replace_file(path: Path, content: bytes, *, only_if_sha256: str | None = None) -> None:
    """Write a file beside `path`, flush it to the disk, and put it in the place of `path` in one step.

    A file that is replaced keeps its mode bits; a link is followed, so that what it points to is replaced. The folder
    must be there. Files that an earlier, interrupted save left behind are swept away once they are a day old.

    Parameters
    ----------
    path : Path
        The file that is replaced, or begun.
    content : bytes
        All of its new content.
    only_if_sha256 : str, optional
        What the file must still hold just before it is replaced, so that nobody's change is overwritten.

    Raises
    ------
    SaveError
        With a sentence: the disk is full, the folder cannot be written, another program holds or changed the file.
    """
    target = Path(os.path.realpath(path))
    beside = target.with_name(f"{target.name}.{secrets.token_hex(6)}.tmp")
    try:
        _write_flushed(beside, content)
        with contextlib.suppress(FileNotFoundError):
            beside.chmod(target.stat().st_mode & 0o7777)
        if only_if_sha256 is not None:
            _refuse_changed(target, only_if_sha256)
        beside.replace(target)
        _flush_folder(target.parent)
    except (OSError, SaveError) as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        if isinstance(error, SaveError):
            raise
        raise SaveError(_tell_why(path, error)) from error
    sweep_strays(target)


def make_folder(folder: Path) -> None:
    """Make a folder with all that leads to it, where it is not there yet.

    Raises
    ------
    SaveError
        With a sentence where that cannot be.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise SaveError(f"{folder} is a file, and a folder of that name is needed; move it away") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise SaveError(f"the folder {folder} could not be made: {why}") from error


def sweep_strays(path: Path) -> None:
    """Delete what interrupted saves of `path` left beside it, once it is a day old."""
    oldest = time.time() - STRAY_AFTER_S
    for stray in path.parent.glob(f"{_escape(path.name)}.*.tmp"):
        with contextlib.suppress(OSError):
            if stray.stat().st_mtime < oldest:
                stray.unlink()


def _write_flushed(beside: Path, content: bytes) -> None:
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _refuse_changed(target: Path, sha256: str) -> None:
    try:
        now = hashlib.sha256(target.read_bytes()).hexdigest()
    except FileNotFoundError:
        raise SaveError(f"{target.name} was moved or deleted since it was read here; nothing was saved") from None
    if now != sha256:
        raise SaveError(
            f"{target.name} was changed by somebody else since it was read here, so nothing was overwritten; "
            "open the job again and repeat the change"
        )


def _flush_folder(folder: Path) -> None:
    """Make the new name itself last; where a system cannot flush folders, the rename alone must do."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _escape(name: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def _tell_why(path: Path, error: OSError) -> str:
    kept = f"{path} is as it was before"
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"{path.name} could not be saved: the disk is full. {kept}; make room and save again"
    if error.errno == errno.EROFS:
        return f"{path.name} could not be saved: {path.parent} can only be read. {kept}; copy the folder elsewhere"
    if error.errno in (errno.EACCES, errno.EPERM):
        return (
            f"{path.name} could not be saved: {path.parent} does not allow it, or another program holds the file. "
            f"{kept}; close the other program, or change the folder's rights, and save again"
        )
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return f"{path.name} could not be saved: the folder {path.parent} is not there"
    return f"{path.name} could not be saved: {error.strerror or error}. {kept}"
