"""The sentences of a faulty job file: where a fault is, in the maker's own names, and what would be right."""

from __future__ import annotations

import itertools
import re
import tomllib
from typing import Any

from pydantic import ValidationError

from grainplan.jobfolder.shape import LISTS, SHAPES, known_keys
from grainplan.jobfolder.values import guess_word, list_words, make_printable, show_value

Loc = tuple[str | int, ...]
_ONE = {
    "bay": "Bay",
    "board": "Board",
    "keep": "Keep",
    "leave_out": "Leave-out",
    "leaf": "Leaf",
    "flaw": "flaw",
    "clear": "clear spot",
    "pieces": "piece",
}
_SIDES = {"face", "back", "foot", "head", "near", "far"}
_NAMED_BY = {"bay": "name", "board": "name", "keep": "bay", "leave_out": "board", "leaf": "leaf", "pieces": "name"}


class Faults:
    """All that is wrong with one job file, gathered in any order and told in the order of the file."""

    def __init__(self, raw: dict[str, Any]) -> None:
        self._raw = raw
        self._told: dict[tuple[Loc, str], Loc] = {}
        self._aside: set[Loc] = set()

    def add(self, loc: Loc, sentence: str, *, at: Loc | None = None) -> None:
        """Tell what is wrong at `loc` (keys and list places from 0); `sentence` goes on after the place's name.

        `at` is where it stands in the file, where that is another place than the one it is named by.
        """
        self._told[loc, sentence] = at or loc

    def set_aside(self, loc: Loc) -> None:
        """Note that the value at `loc` was refused, so that nobody calls it missing."""
        self._aside.add(loc)

    def refused(self, loc: Loc) -> bool:
        """Whether the value at `loc`, or what holds it, was written and refused."""
        return any(loc[:end] in self._aside for end in range(1, len(loc) + 1))

    def __len__(self) -> int:
        return len(self._told)

    def sentences(self) -> tuple[str, ...]:
        """One whole sentence a fault, from the top of the file down."""
        return tuple(make_printable(f"{name_place(loc, self._raw)}{sentence}") for loc, sentence in self._ordered())

    def places(self) -> tuple[Loc, ...]:
        """Where each of the :meth:`sentences` belongs."""
        return tuple(self._told[entry] for entry in self._ordered())

    def _ordered(self) -> list[tuple[Loc, str]]:
        return sorted(self._told, key=lambda entry: _order(entry[0], self._raw))


def name_place(loc: Loc, raw: dict[str, Any]) -> str:
    """Name a place for the maker: ``Board A, flaw 1, from:`` and a space; nothing for the top of the file."""
    parts: list[str] = []
    here: Any = raw
    for step, following in itertools.zip_longest(loc, loc[1:]):
        holder, here = here, _step_into(here, step)
        if isinstance(step, int):
            continue
        if isinstance(following, int):
            parts.append(_name_one(step, following, here))
        elif not parts and isinstance(here, dict) and step in SHAPES:
            parts.append(f"[{step}]")
        elif not parts and step in SHAPES and holder is raw:
            parts.append(f"[{step}]" if step not in LISTS else f"[[{step}]]")
        else:
            parts.append(str(step))
    return f"{', '.join(parts)}: " if parts else ""


def _name_one(table: str, place: int, rows: Any) -> str:
    row = rows[place] if isinstance(rows, list) and place < len(rows) else None
    if table in _SIDES:
        several = isinstance(rows, list) and len(rows) > 1
        return f"{table}, photo {place + 1}" if several else table
    word = _ONE.get(table, table)
    name = row.get(_NAMED_BY.get(table, "")) if isinstance(row, dict) else None
    readable = isinstance(name, str) and 0 < len(name.strip()) <= 60 and name.isprintable()
    if table in ("keep", "leave_out"):
        return (
            f"{word} {place + 1} ({'bay' if table == 'keep' else 'board'} {name})"
            if readable
            else f"{word} {place + 1}"
        )
    if table == "flaw" and isinstance(row, dict) and isinstance(row.get("kind"), str) and len(row["kind"]) < 20:
        return f"{word} {place + 1} ({row['kind']})"
    return f"{word} {name}" if readable else f"{word} {place + 1}"


def _step_into(here: Any, step: str | int) -> Any:
    if isinstance(step, str):
        return here.get(step) if isinstance(here, dict) else None
    return here[step] if isinstance(here, list) and step < len(here) else None


def _order(loc: Loc, raw: dict[str, Any]) -> tuple[int, ...]:
    """Where in the file a place stands; what is missing comes after what is there."""
    order: list[int] = []
    here: Any = raw
    for step in loc:
        if isinstance(step, int):
            order.append(step)
        else:
            keys = list(here) if isinstance(here, dict) else []
            order.append(keys.index(step) if step in keys else len(keys))
        here = _step_into(here, step)
    return tuple(order)


def tell_shape_faults(error: ValidationError, faults: Faults, raw: dict[str, Any]) -> list[Loc]:
    """Turn what the shapes refused into sentences; answers with the places that are to be set aside."""
    places: list[Loc] = []
    for entry in error.errors(include_url=False):
        loc: Loc = entry["loc"]
        kind = entry["type"]
        if kind == "extra_forbidden":
            faults.add(loc[:-1], tell_unknown_key(str(loc[-1]), _table_of(loc[:-1])), at=loc)
        elif kind == "value_error":
            faults.add(loc, str(entry["ctx"]["error"]))
        else:
            faults.add(loc, _tell_wrong_kind(loc, entry["input"]))
        faults.set_aside(loc)
        places.append(loc)
    return places


def tell_unknown_key(key: str, table: str) -> str:
    """Half a sentence for a key that a table does not know, with the likely word or the place where it belongs."""
    keys = known_keys(table)
    shown = show_value(key)
    guess = guess_word(key, keys)
    if guess:
        return f'there is no key {shown} here; did you mean "{guess}"?'
    homes = [other for other in SHAPES if key in known_keys(other)]
    if homes:
        return f"{shown} does not belong here; it belongs {' or '.join(_name_table(h) for h in homes[:3])}"
    return f"there is no key {shown} here; the keys here are {list_words(keys)}"


def _name_table(table: str) -> str:
    if not table:
        return "at the top of the file, above the first [table]"
    last = table.split(".")[-1]
    if last in _SIDES:
        return f"in a photo, {last} = {{ photo = … }}"
    return f"under [[{table}]]" if table in LISTS else f"under [{table}]"


def _table_of(loc: Loc) -> str:
    return ".".join(step for step in loc if isinstance(step, str))


def _tell_wrong_kind(loc: Loc, value: object) -> str:
    table = _table_of(loc)
    last = str(loc[-1]) if isinstance(loc[-1], str) else table.rsplit(".", 1)[-1]
    if last in _SIDES:
        return f'must name a photo, like {last} = {{ photo = "photos/a-{last}.jpg" }}; you wrote {show_value(value)}'
    if table in LISTS:
        if isinstance(value, dict):
            return f"there may be several of these, so write [[{table}]] with two brackets, not [{table}]"
        return f"must be a table of its own under [[{table}]]; you wrote {show_value(value)}"
    if isinstance(value, list):
        return f"there is only one of these; write [{table}] with single brackets, once"
    if table == "wood.shrinkage" or last == "shrinkage":
        return f"must be like {{ radial = 4.9, tangential = 7.8 }}; you wrote {show_value(value)}"
    if table.startswith("climate."):
        return f'must be like {{ temperature = "68 F", humidity = 25 }}; you wrote {show_value(value)}'
    return f"must be a table under [{table}]; you wrote {show_value(value)}"


_KEY = r"^\s*[\w-]+\s*=\s*"
_CAUSES: tuple[tuple[str, str], ...] = (
    (
        _KEY + r"\d[\d\s/.,-]*[/,\s-][\d\s/.,-]*(in|mm|\"|')?\s*(#.*)?$",
        'a length with a fraction, a comma or a unit must stand in quotes, like "13/16 in"',
    ),
    (_KEY + r"[\d.]+\s*(in|mm|cm|ft|F|C|\")", 'a number with a unit must stand in quotes, like "20.5 mm"'),
    (_KEY + r"0\d", "a number must not begin with 0; take the 0 away"),
    (_KEY + r"(#.*)?$", "nothing stands after the = sign; write a value there or take the line out"),
    (_KEY + r"(True|False|TRUE|FALSE|[Yy]es|[Nn]o|[Oo]n|[Oo]ff)\b", "a switch is true or false, in small letters"),
    (_KEY + r"\"[^\"]*\\", "a backslash in quotes is taken for a special sign; write / in paths"),
    (
        _KEY + r"\"[^\"]*\"\s*[^\s#,\]}]",
        "something is left over after the closing quote; a length with inch marks stands in single quotes, "
        "like '1 3/4\"'",
    ),
    (_KEY + r"(\"[^\"]*|'[^']*)$", "a quote is opened and not closed on this line"),
    (r"[“”„‘’]", 'these are slanting quotes, as a word processor puts them; type plain " quotes'),
    (r"^\s*[\w-]+\s*:", "a key and its value are joined by =, not by a colon"),
    (r"^\s*\[[^\]]*$|^\s*\[\[[^\]]*\]\s*(#.*)?$", "a bracket is opened and not closed"),
    (r"^\s*[\w-]+\s+[\w-]+.*=", "a key is one word; join its words with _"),
    (_KEY + r"[A-Za-z]", "words must stand in quotes"),
    (r"^\s*[\w ]+$", "a line is a [table], a key = value, or a comment after #"),
)


def tell_syntax_fault(error: tomllib.TOMLDecodeError, text: str) -> str:
    """One sentence for a file that is no TOML: line, column, the line itself and what usually causes it."""
    where = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    lines = text.splitlines() or [""]
    what = re.sub(r"\s*\(at .*\)$", "", str(error))
    if where is None:
        number, column = len(lines), len(lines[-1]) + 1
    else:
        number, column = int(where.group(1)), int(where.group(2))
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    if not line.strip() and number > 1 and "=" in lines[number - 2]:
        number, line = number - 1, lines[number - 2]
        column = len(line) + 1
    cause = _likely_cause(what, line)
    return make_printable(f"Line {number}, column {column} cannot be read: {show_value(line.strip())}. {cause}")


def _likely_cause(what: str, line: str) -> str:
    twice = re.search(r"overwrite|twice|already|mutate", what)
    if twice:
        return "This key or table stands in the file twice; keep one of them."
    for pattern, cause in _CAUSES:
        if re.search(pattern, line):
            return f"{cause[0].upper()}{cause[1:]}."
    return f"What the reader says: {what[0].lower()}{what[1:]}."
