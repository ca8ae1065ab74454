"""A TOML file as its lines, changed one value at a time, so that all else stays as the maker wrote it.

A whole-document editor moves comments to the wrong table and re-orders tables that are not written in one go. Here only
the statement that changes is rewritten (by tomlkit, which keeps its spacing and its comment), and after each change
the file is read again and compared with what it should say.
"""

from __future__ import annotations

import contextlib
import copy
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit

from grainplan.errors import GrainplanError

Place = tuple[str | int, ...]
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(#.*)?$")


class TomlEditError(GrainplanError):
    """A change that cannot be made without touching the rest of the file."""


@dataclass(frozen=True, slots=True)
class _Statement:
    """One key with its value: lines `start` to `end` of the file."""

    path: Place
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class _Block:
    """A header and what stands under it; the first block has no header and begins at line 0."""

    path: Place
    lead: int  # first line of the comment right above the header, or the header itself
    start: int
    statements: tuple[_Statement, ...]

    @property
    def last_line(self) -> int:
        """One past the last line that is no comment and no blank."""
        return self.statements[-1].end if self.statements else self.start + (1 if self.path else 0)


@dataclass(frozen=True, slots=True)
class TomlText:
    """The text of a TOML file; every change answers with a new one.

    Parameters
    ----------
    text : str
        With plain line ends.

    Raises
    ------
    tomllib.TOMLDecodeError
        When the text is no TOML.
    """

    text: str

    def __post_init__(self) -> None:
        tomllib.loads(self.text)

    @property
    def data(self) -> dict[str, Any]:
        """What the file says; a fresh copy."""
        return tomllib.loads(self.text)

    def find_line(self, path: Place) -> int | None:
        """The line, from 1, on which a value or its table begins; None where neither is in the file."""
        blocks = self._blocks()
        best = max(
            (s for s in _statements(blocks) if path[: len(s.path)] == s.path),
            key=lambda s: len(s.path),
            default=None,
        )
        if best is not None:
            return best.start + 1
        homes = [b for b in blocks if b.path and path[: len(b.path)] == b.path]
        return max(homes, key=lambda b: len(b.path)).start + 1 if homes else None

    def set_value(self, path: Place, value: Any) -> TomlText:
        """Set one value; `path` is keys and places from 0. What is not there yet is added.

        Raises
        ------
        TomlEditError
            When the path leads through something that is no table, or the file is written in a way that does not
            allow it.
        """
        wanted = _with_value(self.data, path, value)
        blocks = self._blocks()
        for statement in _statements(blocks):
            if path[: len(statement.path)] == statement.path:
                inner = path[len(statement.path) :]
                change = _changer(statement, inner, value)
                return self._replaced(statement, change, wanted)
        home = max((b for b in blocks if path[: len(b.path)] == b.path), key=lambda b: len(b.path))
        rest = path[len(home.path) :]
        dotted = [
            s
            for s in home.statements
            if len(s.path) > len(home.path) + 1 and s.path[: len(home.path) + 1] == path[: len(home.path) + 1]
        ]
        if dotted:  # the table is written key by key, and goes on so
            line = f"{'.'.join(_key(k) for k in rest)} = {render(value)}"
            return self._insert(dotted[-1].end, [line], wanted)
        if not home.path and len(rest) > 1:
            return self._with_new_table(rest, value, wanted)
        line = f"{_key(rest[0])} = {render(_nest(rest[1:], value))}"
        before = [""] if not home.path and not home.statements and self.text.strip() else []
        return self._insert(home.last_line, [*before, line], wanted)

    def remove_value(self, path: Place) -> TomlText:
        """Take one key out; nothing happens where it is not there."""
        wanted = _without(self.data, path)
        if wanted is None:
            return self
        for statement in _statements(self._blocks()):
            if statement.path == path:
                return self._cut(statement.start, statement.end, wanted)
            if path[: len(statement.path)] == statement.path:
                return self._replaced(statement, _remover(statement, path[len(statement.path) :]), wanted)
        return self._cut_blocks(path, wanted)

    def add_row(self, path: Place, row: Mapping[str, Any]) -> TomlText:
        """Add a table to the list of tables at `path`, after those that are there."""
        wanted = _with_row(self.data, path, row)
        blocks = self._blocks()
        for statement in _statements(blocks):
            if statement.path == path[: len(statement.path)]:
                add = _appender(statement, path[len(statement.path) :], row)
                return self._replaced(statement, add, wanted)
        same = [i for i, b in enumerate(blocks) if b.path[: len(path)] == path]
        parent = [i for i, b in enumerate(blocks) if b.path[: len(path) - 1] == path[:-1]]
        new = ["", *render_row([k for k in path if isinstance(k, str)], row)]
        lines = self._lines()
        at = len(lines)
        if len(path) > 1 or same:
            place = (same or parent)[-1]
            at = blocks[place].last_line
            limit = blocks[place + 1].lead if place + 1 < len(blocks) else len(lines)
            while at < limit and lines[at].strip():  # a remark right under the last key stays with it
                at += 1
        return self._insert(at, new if at else new[1:], wanted)

    def remove_row(self, path: Place) -> TomlText:
        """Take one table of a list out, with all that is under it and the comment right above it."""
        return self.remove_value(path)

    def swap_rows(self, path: Place, *, other: int) -> TomlText:
        """Let two tables of a list, at `path` and at place `other` of the same list, change places with their comments.

        Raises
        ------
        TomlEditError
            When they are not written under headers of their own.
        """
        first, second = sorted((int(path[-1]), other))
        wanted = self.data
        rows = _reach(wanted, path[:-1])
        rows[first], rows[second] = rows[second], rows[first]
        blocks, lines = self._blocks(), self._lines()
        spans = []
        for place in (first, second):
            mine = [i for i, b in enumerate(blocks) if b.path[: len(path)] == (*path[:-1], place)]
            if not mine or mine != list(range(mine[0], mine[-1] + 1)):
                raise TomlEditError(f"{path[0]} {place + 1} is not written under a header of its own")
            spans.append((blocks[mine[0]].lead, blocks[mine[-1]].last_line))
        (a, b), (c, d) = spans
        return _checked([*lines[:a], *lines[c:d], *lines[b:c], *lines[a:b], *lines[d:]], wanted)

    def _lines(self) -> list[str]:
        return self.text.removesuffix("\n").split("\n") if self.text else []

    def _blocks(self) -> list[_Block]:
        return _read_blocks(self._lines())

    def _insert(self, at: int, new: Iterable[str], wanted: dict[str, Any]) -> TomlText:
        lines = self._lines()
        added = list(new)
        if at < len(lines) and lines[at].strip() and _HEADER.match(lines[at]):
            added.append("")
        return _checked([*lines[:at], *added, *lines[at:]], wanted)

    def _cut(self, start: int, end: int, wanted: dict[str, Any]) -> TomlText:
        lines = self._lines()
        return _checked([*lines[:start], *lines[end:]], wanted)

    def _cut_blocks(self, path: Place, wanted: dict[str, Any]) -> TomlText:
        """Cut every block at or under `path`; each ends where the comment of the next one begins."""
        blocks, lines = self._blocks(), self._lines()
        keep = [True] * len(lines)
        for i, block in enumerate(blocks):
            if block.path and block.path[: len(path)] == path:
                end = blocks[i + 1].lead if i + 1 < len(blocks) else len(lines)
                keep[block.lead : end] = [False] * (end - block.lead)
        return _checked([line for line, kept in zip(lines, keep, strict=True) if kept], wanted)

    def _replaced(self, statement: _Statement, change: Callable[[Any], None], wanted: dict[str, Any]) -> TomlText:
        lines = self._lines()
        document = tomlkit.parse("\n".join(lines[statement.start : statement.end]) + "\n")
        try:
            change(document)
        except (KeyError, IndexError, TypeError, AttributeError, ValueError) as error:
            raise TomlEditError(f"{'.'.join(map(str, statement.path))} is written in a way that hides it") from error
        new = tomlkit.dumps(document).rstrip("\n").split("\n")
        before, after = lines[: statement.start], lines[statement.end :]
        if re.search(r" \}\s*(#.*)?$", lines[statement.end - 1]):
            with contextlib.suppress(TomlEditError):  # tomlkit takes the space before a closing brace away
                spaced = re.sub(r"(?<=[^\s{])\}(?=\s*(#.*)?$)", " }", new[-1], count=1)
                return _checked([*before, *new[:-1], spaced, *after], wanted)
        return _checked([*before, *new, *after], wanted)

    def _with_new_table(self, path: Place, value: Any, wanted: dict[str, Any]) -> TomlText:
        """A value of a table that has no header yet: the header is written above the first list of tables."""
        blocks = self._blocks()
        first = next((b for b in blocks if any(isinstance(k, int) for k in b.path)), None)
        at = first.lead if first else len(self._lines())
        new = [f"[{_key(path[0])}]", f"{_key(path[1])} = {render(_nest(path[2:], value))}"]
        lines = self._lines()
        gap_above = [""] if at and lines[at - 1].strip() else []
        return _checked([*lines[:at], *gap_above, *new, *([""] if first else []), *lines[at:]], wanted)


def render(value: Any) -> str:
    """A value as it stands after the = sign, on one line."""
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {render(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(render(v) for v in value)}]"
    if isinstance(value, str) and '"' in value and "'" not in value and value.isprintable():
        return f"'{value}'"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return f"{value:.1f}"
    return str(tomlkit.item(value).as_string())


def render_row(names: list[str], row: Mapping[str, Any]) -> list[str]:
    """A table of a list: its header, a line a key, then the lists of tables that are in it."""
    lines = [f"[[{'.'.join(_key(n) for n in names)}]]"]
    nested = {k: v for k, v in row.items() if k == "flaw" and _are_tables(v)}
    lines += [f"{_key(k)} = {render(v)}" for k, v in row.items() if k not in nested]
    for key, rows in nested.items():
        for inner in rows:
            lines += ["", *render_row([*names, key], inner)]
    return lines


def _are_tables(value: Any) -> bool:
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(v, Mapping) and v for v in value)


def _key(key: str | int) -> str:
    if isinstance(key, int):
        raise TomlEditError(f"place {key} of a list is not there")
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else str(tomlkit.item(key).as_string())


def _nest(path: Place, value: Any) -> Any:
    for key in reversed(path):
        _key(key)
        value = {key: value}
    return value


def _statements(blocks: list[_Block]) -> Iterator[_Statement]:
    for block in blocks:
        yield from block.statements


def _read_blocks(lines: list[str]) -> list[_Block]:
    blocks: list[_Block] = []
    counts: dict[Place, int] = {}
    path: Place = ()
    lead = start = 0
    statements: list[_Statement] = []
    at, comment = 0, 0
    while at < len(lines):
        line = lines[at].strip()
        if not line or line.startswith("#"):
            comment = comment if line else at + 1
            at += 1
            continue
        header = _HEADER.match(lines[at])
        if header:
            blocks.append(_Block(path, lead, start, tuple(statements)))
            path, statements, lead, start = _header_path(header, counts), [], comment, at
            at += 1
        else:
            end, keys = _statement_end(lines, at)
            statements.append(_Statement(path + keys, at, end))
            at = end
        comment = at
    blocks.append(_Block(path, lead, start, tuple(statements)))
    return blocks


def _header_path(header: re.Match[str], counts: dict[Place, int]) -> Place:
    """The whole path of a header, with the place of each list of tables that it lies in."""
    keys = _split_key(header.group(2))
    path: Place = ()
    for i, key in enumerate(keys):
        path = (*path, key)
        last = i == len(keys) - 1
        if last and header.group(1) == "[[":
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _split_key(written: str) -> tuple[str, ...]:
    here: Any = tomllib.loads(f"{written} = 1")
    keys: list[str] = []
    while isinstance(here, dict):
        (key, here) = next(iter(here.items()))
        keys.append(key)
    return tuple(keys)


def _statement_end(lines: list[str], start: int) -> tuple[int, tuple[str, ...]]:
    """Where a key and its value end: at the first line with which they can be read."""
    for end in range(start + 1, len(lines) + 1):
        try:
            here: Any = tomllib.loads("\n".join(lines[start:end]))
        except tomllib.TOMLDecodeError:
            continue
        return end, _first_keys(lines[start], here)
    raise TomlEditError(f"line {start + 1} cannot be told apart from the next")


def _first_keys(line: str, here: Any) -> tuple[str, ...]:
    """The dotted keys before the = sign, without going into an inline table after it."""
    for cut in (i for i, c in enumerate(line) if c == "="):
        try:
            return _split_key(line[:cut])
        except tomllib.TOMLDecodeError:
            continue
    return tuple(here)[:1]


def _changer(statement: _Statement, inner: Place, value: Any) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        *way, last = (*statement.path[-_depth(document) :], *inner)
        here = document
        for key in way:
            if isinstance(here, dict) and key not in here:
                here[key] = tomlkit.inline_table()
            here = here[key]
        here[last] = _toml(value)

    return change


def _remover(statement: _Statement, inner: Place) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        *way, last = (*statement.path[-_depth(document) :], *inner)
        here = document
        for key in way:
            here = here[key]
        del here[last]

    return change


def _appender(statement: _Statement, inner: Place, row: Mapping[str, Any]) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        here = document
        for key in (*statement.path[-_depth(document) :], *inner):
            here = here[key]
        here.append(_toml(dict(row)))

    return change


def _depth(document: Any) -> int:
    """How many dotted keys stand before the = sign of a document of one statement."""
    depth, here = 0, document
    while True:
        depth += 1
        here = next(iter(here.values()))
        if not isinstance(here, tomlkit.items.Table):
            return depth


def _toml(value: Any) -> Any:
    """The value as tomlkit takes it: inline, however deep."""
    return tomlkit.parse(f"value = {render(value)}")["value"]


def _reach(data: Any, path: Place) -> Any:
    for key in path:
        try:
            data = data[key]
        except (KeyError, IndexError, TypeError):
            raise TomlEditError(f"{'.'.join(map(str, path))} is not there") from None
    return data


def _with_value(data: dict[str, Any], path: Place, value: Any) -> dict[str, Any]:
    here: Any = data
    for key in path[:-1]:
        if isinstance(here, dict) and isinstance(key, str):
            here.setdefault(key, {})
        here = _reach(here, (key,))
    try:
        here[path[-1]] = copy.deepcopy(value)
    except (TypeError, IndexError):
        raise TomlEditError(f"{'.'.join(map(str, path))} leads through a value that is no table") from None
    return data


def _without(data: dict[str, Any], path: Place) -> dict[str, Any] | None:
    """The data without what is at `path`, or None where nothing is there."""
    try:
        here = _reach(data, path[:-1])
        del here[path[-1]]
    except (TomlEditError, KeyError, IndexError, TypeError):
        return None
    if here == [] and isinstance(path[-1], int):  # the last table of a list goes with its list
        holder = _reach(data, path[:-2])
        del holder[path[-2]]
    return data


def _with_row(data: dict[str, Any], path: Place, row: Mapping[str, Any]) -> dict[str, Any]:
    holder = _reach(data, path[:-1])
    rows = holder.setdefault(path[-1], []) if isinstance(holder, dict) else None
    if not isinstance(rows, list):
        raise TomlEditError(f"{'.'.join(map(str, path))} is no list of tables")
    rows.append(copy.deepcopy(dict(row)))
    return data


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _plain(v) for k, v in value.items()}
    return [_plain(v) for v in value] if isinstance(value, list | tuple) else value


def _checked(lines: list[str], wanted: dict[str, Any]) -> TomlText:
    text = "\n".join(lines).rstrip("\n") + "\n"
    try:
        new = TomlText(text)
    except tomllib.TOMLDecodeError as error:
        raise TomlEditError(f"the change would spoil the file ({error})") from error
    if new.data != _plain(wanted):
        raise TomlEditError("the file is written in a way that the program cannot change; change it in an editor")
    return new
