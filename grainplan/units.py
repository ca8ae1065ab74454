"""Lengths and temperatures as makers write them, and back.

Inside the program every length is in millimetres and every temperature in degrees Celsius. This is the one file where
text becomes a number, or a number becomes text.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction
from typing import Literal

Units = Literal["in", "mm"]

MM_PER_INCH = 25.4  # exact since 1959
_MM_PER = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "”": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "foot": 12 * MM_PER_INCH,
    "feet": 12 * MM_PER_INCH,
    "'": 12 * MM_PER_INCH,
    "′": 12 * MM_PER_INCH,
    "’": 12 * MM_PER_INCH,
}
_NUMBER = r"(?:\d+(?:\.\d+)?\s*[- ]\s*\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+\.\d+|\d+|\.\d+)"
_UNIT = "|".join(sorted((re.escape(u) for u in _MM_PER), key=len, reverse=True))
_TERM = re.compile(rf"\s*({_NUMBER})\s*({_UNIT})(?![a-z])\s*", re.IGNORECASE)
_QUARTER = re.compile(r"\d+\s*/\s*4")
_EXAMPLES = 'write it like "13/16 in", "2 1/2 in", \'1 3/4"\' or "20.5 mm"'


def parse_length(written: str | float, default: Units) -> float:
    """Read a length as a maker writes it.

    Parameters
    ----------
    written : str or float
        ``"13/16 in"``, ``"2 1/2 in"``, ``"2-1/2 in"``, ``'1 3/4"'``, ``"2½ in"``, ``"6 ft 2 in"``, ``"20.5 mm"``,
        or a bare number, which is in `default` units.
    default : {"in", "mm"}
        The unit of bare numbers.

    Returns
    -------
    float
        Millimetres, zero or more.

    Raises
    ------
    ValueError
        With a sentence for the maker: what was written and how it could be written instead. A quarter name ("4/4") is
        refused, for it is what wood is sold by, not what the caliper reads.
    """
    if isinstance(written, bool):
        raise ValueError(f"{str(written).lower()} is not a length; {_EXAMPLES}")
    if isinstance(written, int | float):
        if not 0 <= written < 1e6:
            raise ValueError(f"{written} {default} is not a length that wood can have; {_EXAMPLES}")
        return float(written) * _MM_PER[default]
    text = _plain(written)
    if text.startswith(("-", "−")):
        raise ValueError(f'"{written}" is negative; a length is 0 or more')
    if _QUARTER.fullmatch(text) and int(text.split("/")[0]) >= 4:
        raise ValueError(
            f'"{written}" is the name that wood is sold by, not a length; measure the board with a caliper and '
            'write what it reads, for example "15/16 in"'
        )
    total, end = 0.0, 0
    while end < len(text):
        term = _TERM.match(text, end)
        if term is None:
            raise ValueError(_why_not(written, text, default))
        total += _to_mm(_number(term.group(1), written), term.group(2).lower(), written)
        end = term.end()
    if not text:
        raise ValueError(f"the length is empty; {_EXAMPLES}")
    return total


def format_length(length_mm: float, units: Units, *, smallest: int = 64) -> str:
    """Write a length for the maker: a fraction of an inch, or tenths of a millimetre.

    Parameters
    ----------
    length_mm : float
        Millimetres; may be negative (a shortfall).
    units : {"in", "mm"}
        What the job prints in.
    smallest : int
        The finest fraction of an inch, a power of two; 64 is as fine as a rule shows.

    Examples
    --------
    >>> format_length(20.6375, "in")
    '13/16 in'
    >>> format_length(63.5, "in")
    '2 1/2 in'
    >>> format_length(20.64, "mm")
    '20.6 mm'
    """
    if units == "mm":
        nudged = length_mm + math.copysign(1e-9, length_mm)  # 6.35 is a little less than it says, and still 6.4
        tenths = f"{nudged:.1f}".removesuffix(".0")
        return ("0" if tenths == "-0" else tenths) + " mm"
    sixtyfourths = Fraction(round(abs(length_mm) / MM_PER_INCH * smallest), smallest)
    whole, rest = divmod(sixtyfourths, 1)
    sign = "-" if length_mm < 0 and sixtyfourths else ""
    parts = ([str(int(whole))] if whole or not rest else []) + ([str(rest)] if rest else [])
    return f"{sign}{' '.join(parts)} in"


def format_both(length_mm: float) -> str:
    """A length in both units, for sentences that do not know the job's: "1/4 in (6.3 mm)"."""
    return f"{format_length(length_mm, 'in')} ({format_length(length_mm, 'mm')})"


def spell_length(length_mm: float, units: Units) -> str:
    """Write a length for a job file, so that it reads back the same to 0.005 mm.

    Inches are a fraction where a 64th hits it, and decimals otherwise.

    Examples
    --------
    >>> spell_length(20.6375, "in"), spell_length(20.0, "in"), spell_length(20.0, "mm")
    ('13/16 in', '0.7874 in', '20 mm')
    """
    if units == "mm":
        return f"{length_mm:.2f}".rstrip("0").removesuffix(".") + " mm"
    fraction = format_length(length_mm, "in")
    if abs(parse_length(fraction, "in") - length_mm) <= 0.005:
        return fraction
    return f"{length_mm / MM_PER_INCH:.4f}".rstrip("0").removesuffix(".") + " in"


def parse_temperature(written: str) -> float:
    """Read a temperature with its scale, ``"68 F"`` or ``"20 C"``, as degrees Celsius.

    Raises
    ------
    ValueError
        When the scale is missing or the number is no room temperature (below −40 °C or above 60 °C).
    """
    match = re.fullmatch(r"\s*([-−]?\d+(?:[.,]\d+)?)\s*°?\s*([CF])\s*", str(written), re.IGNORECASE)
    if match is None:
        raise ValueError(f'"{written}" is not a temperature; write it with its scale, like "68 F" or "20 C"')
    number = float(match.group(1).replace("−", "-").replace(",", "."))
    celsius = number if match.group(2).upper() == "C" else (number - 32) / 1.8
    if not -40 <= celsius <= 60:
        raise ValueError(f'"{written}" is {celsius:.0f} °C, which no room for furniture has; write it like "68 F"')
    return celsius


def _plain(written: str) -> str:
    """Spell fraction signs out ("2½" → "2 1/2") and a decimal comma as a point ("20,5 mm" → "20.5 mm")."""
    spelt = "".join(
        f" {unicodedata.normalize('NFKC', c).replace(chr(0x2044), '/')}" if unicodedata.category(c) == "No" else c
        for c in written
    )
    return re.sub(r"^(\s*\d+),(\d{1,2})(?!\d)", r"\1.\2", spelt).strip()


def _number(text: str, written: str) -> Fraction:
    parts = re.split(r"\s*-\s*|\s+(?=\d)", re.sub(r"\s*/\s*", "/", text.strip()))
    try:
        return sum((Fraction(p) for p in parts), Fraction(0))
    except ZeroDivisionError:
        raise ValueError(f'"{written}" divides by zero; {_EXAMPLES}') from None


def _to_mm(number: Fraction, unit: str, written: str) -> float:
    if number > 1e6:
        raise ValueError(f'"{written[:60]}" is not a length that wood can have; {_EXAMPLES}')
    return float(number) * _MM_PER[unit]


def _why_not(written: str, text: str, default: Units) -> str:
    if re.fullmatch(_NUMBER, text):
        unit = "in" if "/" in text else default
        return f'"{written}" has no unit; write "{text} {unit}", or a bare number without quotes'
    return f'"{written}" is not a length; {_EXAMPLES}'
