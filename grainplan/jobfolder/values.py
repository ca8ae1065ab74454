"""How each kind of value in `job.toml` is read: lengths, words, switches, points. Each refusal is half a sentence that
says what was written and what would be right; words.py puts the board or bay in front of it.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Sequence
from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo

from grainplan.boards import Leaf, Point
from grainplan.units import Units, format_length, parse_length, parse_temperature

_LONGEST_TEXT = 120
_SMALLEST_CARD_PX = 6
_UNFIT_FOR_FILES = set('/\\:*?"<>|')


def show_value(value: object) -> str:
    """A value as the maker wrote it, cut short where it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{make_printable(value[:60])}…"' if len(value) > 60 else f'"{make_printable(value)}"'
    if isinstance(value, dict):
        return "a table { … }"
    if isinstance(value, list):
        return f"a list of {len(value)}" if len(value) > 4 else f"[{', '.join(show_value(v) for v in value)}]"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a number of very many digits"
    return str(value)


def make_printable(text: str) -> str:
    """The text with a dot for every sign that a screen cannot show, so that a sentence stays one line."""
    return "".join(c if c.isprintable() else "·" for c in text)


def guess_word(written: object, words: Iterable[str]) -> str | None:
    """The likeliest of `words` for a misspelt one, or None where nothing comes near."""
    known = {w.casefold(): w for w in words}
    if not isinstance(written, str):
        return None
    text = written.casefold().strip().replace("-", "_" if any("_" in w for w in known) else "-")
    near = difflib.get_close_matches(text, known, n=1, cutoff=0.6)
    return known[near[0]] if near else None


def list_words(words: Sequence[str], joined: str = "and") -> str:
    """The words as they are read out: "a", "b" and "c"."""
    quoted = [f'"{w}"' for w in words]
    return f" {joined} ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)


def _units(info: ValidationInfo) -> Units:
    units: Units = (info.context or {}).get("units", "in")
    return units


def _length(value: object, info: ValidationInfo) -> float:
    units = _units(info)
    if isinstance(value, str):
        if len(value) > _LONGEST_TEXT:
            raise ValueError(f"{show_value(value)} is too long to be a length")
        return parse_length(value, units)
    if isinstance(value, bool | int | float) and not (isinstance(value, float) and math.isnan(value)):
        if not isinstance(value, bool) and value < 0:
            raise ValueError(f"{show_value(value)} is negative; a length is 0 or more")
        return parse_length(value, units)
    raise ValueError(f'{show_value(value)} is not a length; write it like "13/16 in" or "20.5 mm"')


def length(*, over: float | None = None, at_most_mm: float = 1e6) -> PlainValidator:
    """A length in mm; greater than `over` where that is given, and no more than such a thing can have."""
    return PlainValidator(_length_reader(over, at_most_mm))


def _length_reader(over: float | None, at_most_mm: float) -> Callable[[Any, ValidationInfo], float]:
    def read(value: object, info: ValidationInfo) -> float:
        mm = _length(value, info)
        if over is not None and not mm > over:
            raise ValueError(f"must be greater than {over:g}, you wrote {show_value(value)}")
        if mm > at_most_mm:
            bare = isinstance(value, int | float) and _units(info) == "in"
            hint = f'; bare numbers are inches in this job: write "{value} mm" if you meant that' if bare else ""
            limit = format_length(at_most_mm, _units(info), smallest=1 if at_most_mm > 200 else 16)
            raise ValueError(f"{show_value(value)} is more than this can be (at most {limit}){hint}")
        return mm

    return read


def length_or_auto(*, at_most_mm: float) -> PlainValidator:
    """A length in mm, or None for "auto"."""
    read_length = _length_reader(None, at_most_mm)

    def read(value: object, info: ValidationInfo) -> float | None:
        if value == "auto":
            return None
        if isinstance(value, str) and guess_word(value, ["auto"]):
            raise ValueError(f'{show_value(value)} is not known; did you mean "auto"? Otherwise write a length')
        return read_length(value, info)

    return PlainValidator(read)


def lengths(count: int, what: str) -> PlainValidator:
    """So many lengths in square brackets, such as the x and y of a corner."""

    def read(value: object, info: ValidationInfo) -> tuple[float, ...]:
        if not isinstance(value, list) or len(value) != count:
            raise ValueError(f'must be {what}, like ["20 in", "1 in"]; you wrote {show_value(value)}')
        return tuple(_length(v, info) for v in value)

    return PlainValidator(read)


def number(low: float, high: float, what: str, *, above: bool = False) -> PlainValidator:
    """A plain number from `low` to `high`; greater than `low` where `above` is set."""

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            quoted = isinstance(value, str) and value.strip().replace(".", "", 1).isdigit()
            hint = "; leave the quotes out" if quoted else ""
            raise ValueError(f"must be a number ({what}); you wrote {show_value(value)}{hint}")
        if not low <= value <= high or (above and value <= low):
            least = f"greater than {low:g}" if above else f"at least {low:g}"
            raise ValueError(f"must be {least} and at most {high:,.0f} ({what}); you wrote {show_value(value)}")
        return float(value)

    return PlainValidator(read)


def strip_count(value: object) -> int | None:
    """1 to 4, or None for "auto"."""
    if value == "auto":
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 4:
        raise ValueError(f'a panel has 1, 2, 3 or 4 strips, or "auto"; you wrote {show_value(value)}')
    return value


def one_of(*words: str) -> PlainValidator:
    """One of a few words."""

    def read(value: object) -> str:
        if isinstance(value, str) and value in words:
            return value
        guess = guess_word(value, words)
        ask = f'did you mean "{guess}"? ' if guess else ""
        raise ValueError(f"{show_value(value)} is not known here; {ask}It is one of {list_words(words, 'or')}")

    return PlainValidator(read)


def switch(value: object) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError(f"must be true or false, in small letters without quotes; you wrote {show_value(value)}")
    return value


def free_text(value: object) -> str:
    """Some words in quotes."""
    if not isinstance(value, str):
        raise ValueError(
            f'must be words in quotes; write "{show_value(value)}"' if _plain(value) else _not_words(value)
        )
    if not value.strip():
        raise ValueError("is empty; write a few words, or leave the line out")
    if value != value.strip():
        raise ValueError(f"{show_value(value)} begins or ends with a space; take it away")
    if len(value) > _LONGEST_TEXT:
        raise ValueError(f"{show_value(value)} is longer than {_LONGEST_TEXT} letters")
    if not value.isprintable():
        raise ValueError(
            f"{show_value(value)} has a sign that cannot be printed, such as a line break; in paths write / for \\"
        )
    return value


def thing_name(value: object) -> str:
    """The name of a bay, board or piece; pictures are named by it, so it must be fit for a file name."""
    text = free_text(value)
    unfit = sorted({c for c in text if c in _UNFIT_FOR_FILES})
    if unfit:
        raise ValueError(f"{show_value(text)} has {' '.join(unfit)} in it, which no file name can hold; leave it out")
    if text[0] == "." or text[-1] == ".":
        raise ValueError(f"{show_value(text)} begins or ends with a dot, which no file name should; leave it out")
    if len(text) > 40:
        raise ValueError(f"{show_value(text)} is longer than 40 letters; it must fit on a label")
    return text


def board_name(value: object) -> str:
    """The name of a board: as of any thing, with no digit at the end."""
    text = thing_name(value)
    if text[-1].isdigit():
        raise ValueError(
            f"{show_value(text)} ends in a digit, but leaves are numbered: board A gives A1, A2, and so on; "
            "name it with letters"
        )
    return text


def leaf(value: object) -> Leaf:
    """A leaf by its name, "A1"."""
    if not isinstance(value, str):
        raise ValueError(f'{show_value(value)} is no leaf; a leaf is its board and a number in quotes, like "A1"')
    if len(value) > 60:
        raise ValueError(f"{show_value(value)} is too long to be a leaf")
    try:
        return Leaf.from_name(value)
    except ValueError as error:
        raise ValueError(str(error)) from None


def leaf_list(value: object) -> tuple[Leaf, ...]:
    """One to four leaves, left to right; in an end match those of the upper panel after those of the lower one."""
    if not isinstance(value, list) or not 1 <= len(value) <= 8:
        raise ValueError(f'must be one to four leaves, left to right, like ["A1", "A2"]; you wrote {show_value(value)}')
    return tuple(leaf(v) for v in value)


def four_corners(value: object) -> tuple[Point, Point, Point, Point]:
    """Four points of a photo, in its pixels."""
    good = isinstance(value, list) and len(value) == 4 and all(isinstance(p, list) and len(p) == 2 for p in value)
    if not good:
        raise ValueError(
            "must be four points of the photo, like [[412, 880], [3710, 905], [3702, 1240], [415, 1228]]; "
            f"you wrote {show_value(value)}"
        )
    assert isinstance(value, list)
    points = []
    for point in value:
        for v in point:
            if isinstance(v, bool) or not isinstance(v, int | float) or not abs(v) < 1e6:
                raise ValueError(f"a corner is two numbers of photo pixels, x and y; you wrote {show_value(point)}")
        points.append((float(point[0]), float(point[1])))
    return points[0], points[1], points[2], points[3]


def card_box(value: object) -> tuple[Point, Point]:
    """Two opposite corners of a box on a grey card, in the photo's pixels."""
    like = "like [[120, 80], [260, 190]]"
    good = isinstance(value, list) and len(value) == 2 and all(isinstance(p, list) and len(p) == 2 for p in value)
    if not good:
        raise ValueError(
            f"must be two opposite corners of a box on the card, in pixels of the photo, {like}; "
            f"you wrote {show_value(value)}"
        )
    assert isinstance(value, list)
    numbers = [v for point in value for v in point]
    if any(isinstance(v, bool) or not isinstance(v, int | float) or not abs(v) < 1e6 for v in numbers):
        raise ValueError(f"a corner is two numbers of photo pixels, x and y, {like}; you wrote {show_value(value)}")
    x0, y0, x1, y1 = (float(v) for v in numbers)
    if min(abs(x1 - x0), abs(y1 - y0)) < _SMALLEST_CARD_PX:
        raise ValueError(
            f"encloses {abs(x1 - x0):g} × {abs(y1 - y0):g} px, too few to read a colour from; draw the box over most "
            "of the card"
        )
    return (x0, y0), (x1, y1)


def temperature(value: object) -> float:
    """A temperature with its scale, in °C."""
    if isinstance(value, str) and len(value) > _LONGEST_TEXT:
        raise ValueError(f"{show_value(value)} is too long to be a temperature")
    if not isinstance(value, str):
        raise ValueError(f'must be a temperature with its scale, like "68 F" or "20 C"; you wrote {show_value(value)}')
    return parse_temperature(value)


def _plain(value: object) -> bool:
    return isinstance(value, bool | int | float)


def _not_words(value: object) -> str:
    return f"must be words in quotes; you wrote {show_value(value)}"


Text = Annotated[str | None, PlainValidator(free_text)]
ThingName = Annotated[str | None, PlainValidator(thing_name)]
BoardName = Annotated[str | None, PlainValidator(board_name)]
Switch = Annotated[bool | None, PlainValidator(switch)]
Corners = Annotated[tuple[Point, Point, Point, Point] | None, PlainValidator(four_corners)]
Temperature = Annotated[float | None, PlainValidator(temperature)]
LeafName = Annotated[Leaf | None, PlainValidator(leaf)]
LeafNames = Annotated[tuple[Leaf, ...] | None, PlainValidator(leaf_list)]
CardBox = Annotated[tuple[Point, Point] | None, PlainValidator(card_box)]
