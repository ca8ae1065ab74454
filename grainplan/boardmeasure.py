"""How much wood a board is: board feet or cubic metres, exactly or as the trade counts, and what it costs."""

from __future__ import annotations

import math

from grainplan.boards import RoughBoard
from grainplan.job import BoardFeetRounding
from grainplan.units import MM_PER_INCH, Units

_NEARLY = 1e-9  # so that 8 ft typed in millimetres is not counted as 7


def count_board_feet(
    length_mm: float,
    width_mm: float,
    *,
    thickness_mm: float,
    rounding: BoardFeetRounding = "exact",
    quarters: int | None = None,
) -> float:
    """Board feet of a board: 144 cubic inches each.

    Parameters
    ----------
    length_mm, width_mm, thickness_mm : float
        Millimetres, greater than 0.
    rounding : {"exact", "trade", "up"}
        "exact": the volume as measured. "trade": length down to the whole foot, surface measure (width in inches ×
        length in feet / 12) to the nearest whole number, times the thickness that it is sold by. "up": width up to the
        whole inch and length up to the whole foot, as some retail yards count, times the thickness that it is sold by.
    quarters : int or None
        The quarter name that it is sold by (5 for 5/4). None: the quarter at or below the caliper's thickness, and at
        least 4/4. A planed board reads thinner than its name, so say it where it counts.

    Raises
    ------
    ValueError
        When a size is not greater than 0, or `quarters` is under 4.

    Notes
    -----
    Surface measure: American Hardwood Export Council, "Measurement" (the NHLA method). Under 1 in counts as 1 in and
    rounding up in retail yards: common practice. Exact halves of a surface measure, which a tally counts up and down in
    turn, are counted up here.
    """
    _check(length_mm, width_mm, thickness_mm)
    feet, inches, thick = (
        length_mm / (12 * MM_PER_INCH),
        width_mm / MM_PER_INCH,
        thickness_mm / MM_PER_INCH,
    )
    if rounding == "exact":
        return thick * inches * feet / 12
    sold_in = _sold_by(thick, quarters)
    if rounding == "trade":
        surface = inches * math.floor(feet + _NEARLY) / 12
        return math.floor(surface + 0.5 + _NEARLY) * sold_in
    return math.ceil(inches - _NEARLY) * math.ceil(feet - _NEARLY) / 12 * sold_in


def count_cubic_metres(
    length_mm: float, width_mm: float, *, thickness_mm: float, rounding: BoardFeetRounding = "exact"
) -> float:
    """Cubic metres of a board.

    Parameters
    ----------
    length_mm, width_mm, thickness_mm : float
        Millimetres, greater than 0.
    rounding : {"exact", "trade", "up"}
        "trade": width down to the whole centimetre and length down to the whole ten centimetres, as continental yards
        tally (from memory; ask the yard). "up": both up. The thickness is taken as given: write the one it is sold by.

    Raises
    ------
    ValueError
        When a size is not greater than 0.
    """
    _check(length_mm, width_mm, thickness_mm)
    if rounding != "exact":
        to_whole = math.floor if rounding == "trade" else math.ceil
        slack = _NEARLY if rounding == "trade" else -_NEARLY
        length_mm = to_whole(length_mm / 100 + slack) * 100.0
        width_mm = to_whole(width_mm / 10 + slack) * 10.0
    return length_mm * width_mm * thickness_mm / 1e9


def measure_board(board: RoughBoard, units: Units, *, rounding: BoardFeetRounding = "exact") -> float:
    """A board in board feet (inch jobs) or cubic metres; a tapered board by its mean width."""
    mean_width = board.width_at(board.length_mm / 2)
    count = count_board_feet if units == "in" else count_cubic_metres
    return count(board.length_mm, mean_width, thickness_mm=board.thickness_mm, rounding=rounding)


def price_board(board: RoughBoard, units: Units, *, rounding: BoardFeetRounding = "exact") -> float | None:
    """What a board costs, in the job's money, or None where it has no price."""
    if board.price is None:
        return None
    return board.price * measure_board(board, units, rounding=rounding)


def _check(*sizes_mm: float) -> None:
    if not all(s > 0 and math.isfinite(s) for s in sizes_mm):
        raise ValueError(f"a board's sizes must be greater than 0, got {sizes_mm}")


def _sold_by(thickness_in: float, quarters: int | None) -> float:
    if quarters is None:
        return max(4, math.floor(thickness_in * 4 + 1e-6)) / 4
    if quarters < 4:
        raise ValueError(f"wood is sold from 4/4 up, got {quarters}/4")
    return quarters / 4
