"""Seam comparisons kept on the disk, so that a job that is planned again does not compare its seams again.

Each is kept under a mark of all that it was worked out from: the pictures of both surfaces, the edges, the search, and
the form of the score itself. Whatever changes, the mark changes with it, and what was kept is not found any more. A
file that is damaged, or of another form, counts as empty.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np

from grainplan.errors import NotFound
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.match.edges import EdgeRun, EdgeScore, EdgeSearch, Strangers
from grainplan.match.ends import EndRuns, Ends

SEAMS_FOLDER = "out/seams"
SCORE_FORM = 2
"""Raised whenever a comparison of the same edges gives another answer, so that what an older program kept is not taken
for its own."""
MOST_BYTES, ROW_BYTES = 48_000_000, 500
"""Of one file, and about what the words of one comparison take; what was not asked for the longest is let go."""
_KINDS: Mapping[str, type] = {
    c.__name__: c for c in (EdgeRun, EdgeScore, EdgeSearch, Strangers, EndRuns, Ends, NotFound)
}
_FORM = repr((SCORE_FORM, [(name, [field.name for field in fields(kind)]) for name, kind in sorted(_KINDS.items())]))
_Kept = TypeVar("_Kept")


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """One kept comparison: its arrays one after the other, and in `told` all else."""

    told: Any
    values: bytes


class Shelf:
    """The comparisons of one job at one density.

    Parameters
    ----------
    path : Path or None
        The file; None where nothing is to be kept.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self._rows = {} if path is None else _read(path)
        self._used: dict[str, _Row] = {}
        self._has_more = False

    def take(self, *what: object, make: Callable[[], _Kept]) -> _Kept:
        """The comparison that is kept of `what`, else it is made, and kept when :meth:`save` is called.

        Parameters
        ----------
        what : objects
            All that the answer depends on; their `repr` must tell it.
        make : callable
        """
        if self.path is None:
            return make()
        name = hashlib.blake2b(repr((_FORM, what)).encode(), digest_size=12).hexdigest()
        row = self._used.get(name) or self._rows.get(name)
        if row is not None:
            with suppress(KeyError, TypeError, ValueError):  # it may be another program's, by the same mark
                found = _unpack(row.told, np.frombuffer(row.values, "<f8"))
                self._used[name] = row
                return cast(_Kept, found)
            self._rows.pop(name, None)
        made = make()
        values: list[np.ndarray[Any, Any]] = []
        told = _pack(made, values)
        self._used[name] = _Row(told, b"".join(value.tobytes() for value in values))
        self._has_more = True
        return made

    def save(self) -> None:
        """Write what was compared since the file was read; what was asked for now stands first.

        Raises
        ------
        SaveError
            When the file cannot be written; what it held is still there.
        """
        if self.path is None or not self._has_more:
            return
        index, values, size = {}, [], 0
        for name, row in {**self._used, **self._rows}.items():
            size += len(row.values) + ROW_BYTES
            if size > MOST_BYTES:
                break
            index[name] = [len(row.values), row.told]
            values.append(row.values)
        told = json.dumps(index, separators=(",", ":")).encode() + b"\n"
        body = told + b"".join(values)
        make_folder(self.path.parent)
        replace_file(self.path, _sign(body) + b"\n" + body)
        self._has_more = False


def _sign(body: bytes) -> bytes:
    return hashlib.blake2b(body, digest_size=16).hexdigest().encode()


def _read(path: Path) -> dict[str, _Row]:
    """Empty where the file is missing, damaged or not ours."""
    try:
        mark, _, body = path.read_bytes().partition(b"\n")
        if mark != _sign(body):
            return {}
        told, _, values = body.partition(b"\n")
        rows, at = {}, 0
        for name, (size, words) in json.loads(told).items():
            rows[name] = _Row(words, values[at : at + size])
            at += size
        return rows
    except (OSError, ValueError, TypeError, AttributeError):
        return {}


def _pack(value: object, values: list[np.ndarray[Any, Any]]) -> Any:
    """A comparison as plain words, its arrays laid aside in `values`."""
    if isinstance(value, np.ndarray):
        values.append(np.ascontiguousarray(value, "<f8"))
        return {"shape": value.shape}
    if is_dataclass(value):
        told = {field.name: _pack(getattr(value, field.name), values) for field in fields(value)}
        return {"is": type(value).__name__, "with": told}
    return {"list": list(value)} if isinstance(value, tuple) else value


def _unpack(told: Any, values: np.ndarray[Any, Any]) -> Any:
    """The reverse, the arrays taken from `values` in the order in which they were laid aside."""
    at = 0

    def build(told: Any) -> Any:
        nonlocal at
        if not isinstance(told, dict):
            return told
        if "shape" in told:
            count = int(np.prod(told["shape"]))
            at += count
            return values[at - count : at].reshape(told["shape"])
        if "list" in told:
            return tuple(told["list"])
        return _KINDS[told["is"]](**{name: build(part) for name, part in told["with"].items()})

    return build(told)
