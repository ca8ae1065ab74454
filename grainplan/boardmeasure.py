"""How much wood a board is, exactly or as the trade counts, what it costs, and what its leaves cost then."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grainplan.boards import RoughBoard
from grainplan.errors import NotFound
from grainplan.job import BoardFeetRounding
from grainplan.resaw import Stock, compare_leaf_counts, step_across
from grainplan.shop import Shop
from grainplan.units import MM_PER_INCH, Units

_NEARLY = 1e-9  # so that 8 ft typed in millimetres is not counted as 7


@dataclass(frozen=True, slots=True)
class Counting:
    """How a yard counts: board feet ("in") or cubic metres ("mm"), exactly or rounded as the trade does."""

    units: Units = "in"
    rounding: BoardFeetRounding = "exact"


@dataclass(frozen=True, slots=True)
class LeafOffer:
    """One number of leaves out of a board, with what it means for the match and the purse.

    Parameters
    ----------
    leaves, mates : int
        Leaves, and how many pairs of them were one saw cut apart.
    fits, tight : bool
        At the asked thickness.
    spare_mm : float
        Left over; negative: missing.
    finished_leaf_mm : float
        The thickness that could be had instead, with nothing left over.
    mate_gap_mm, pair_gap_mm : float
        How far apart the surfaces of mates, and of two pairs side by side, were in the board.
    mate_step_mm, pair_step_mm : float or None
        How far ring lines step sideways at such a seam; None where the ring angle is not known or the rings lie flat.
    used_share : float
        Share of the thickness that becomes leaves, 0 to 1.
    wood_per_leaf : float
        Board feet or cubic metres of board that go into a leaf.
    cost_per_leaf : float or None
        In the job's money.
    """

    leaves: int
    mates: int
    fits: bool
    tight: bool
    spare_mm: float
    finished_leaf_mm: float
    mate_gap_mm: float
    pair_gap_mm: float
    mate_step_mm: float | None
    pair_step_mm: float | None
    used_share: float
    wood_per_leaf: float
    cost_per_leaf: float | None


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


def offer_leaves(
    board: RoughBoard,
    shop: Shop,
    *,
    finished_mm: float,
    ring_angle_deg: float | None = None,
    counting: Counting | None = None,
) -> tuple[LeafOffer, ...]:
    """One, two, three and four leaves of a board side by side (more where it gives more), fitting or not.

    Parameters
    ----------
    board : RoughBoard
    shop : Shop
    finished_mm : float
        Finished thickness of a leaf, greater than 0.
    ring_angle_deg : float or None
        Between rings and face, 0 to 90; None where it is not known.
    counting : Counting or None
        None: board feet, exactly.

    Raises
    ------
    ValueError
        When a number is outside its range.
    """
    counted = counting or Counting()
    stock = Stock.of(board)
    wood = measure_board(board, counted.units, rounding=counted.rounding)
    cost = price_board(board, counted.units, rounding=counted.rounding)
    gap = shop.kerf_mm + 2 * shop.planing_mm
    gaps = (gap, gap + 2 * finished_mm)
    mate_step, pair_step = (_step(g, ring_angle_deg) for g in gaps)
    return tuple(
        LeafOffer(
            leaves=choice.leaves,
            mates=choice.leaves // 2,
            fits=choice.fits,
            tight=choice.tight,
            spare_mm=choice.spare_mm,
            finished_leaf_mm=choice.finished_leaf_mm,
            mate_gap_mm=gaps[0],
            pair_gap_mm=gaps[1],
            mate_step_mm=mate_step,
            pair_step_mm=pair_step,
            used_share=choice.thickness_share,
            wood_per_leaf=wood / choice.leaves,
            cost_per_leaf=None if cost is None else cost / choice.leaves,
        )
        for choice in compare_leaf_counts(stock, shop, finished_mm=finished_mm)
    )


def _step(gap_mm: float, ring_angle_deg: float | None) -> float | None:
    if ring_angle_deg is None:
        return None
    step = step_across(gap_mm, ring_angle_deg)
    return None if isinstance(step, NotFound) else step


def _check(*sizes_mm: float) -> None:
    if not all(s > 0 and math.isfinite(s) for s in sizes_mm):
        raise ValueError(f"a board's sizes must be greater than 0, got {sizes_mm}")


def _sold_by(thickness_in: float, quarters: int | None) -> float:
    if quarters is None:
        return max(4, math.floor(thickness_in * 4 + 1e-6)) / 4
    if quarters < 4:
        raise ValueError(f"wood is sold from 4/4 up, got {quarters}/4")
    return quarters / 4
