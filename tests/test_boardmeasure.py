"""Board feet against worked examples of the trade, cubic metres against plain multiplication."""

import csv
from pathlib import Path

import pytest

from grainplan.boardmeasure import (
    Counting,
    count_board_feet,
    count_cubic_metres,
    measure_board,
    offer_leaves,
    price_board,
)
from grainplan.boards import RoughBoard
from grainplan.shop import Shop
from grainplan.units import MM_PER_INCH as INCH

with (Path(__file__).parent / "published" / "board_feet.csv").open(encoding="utf-8") as _file:
    WORKED = list(csv.DictReader(line for line in _file if not line.startswith("#")))


@pytest.mark.parametrize("row", WORKED, ids=lambda r: "x".join(list(r.values())[:4]))
def test_worked_examples(row: dict[str, str]) -> None:
    counted = count_board_feet(
        float(row["length_in"]) * INCH,
        float(row["width_in"]) * INCH,
        thickness_mm=float(row["thickness_in"]) * INCH,
        rounding=row["rounding"],  # type: ignore[arg-type]
    )
    assert counted == pytest.approx(float(row["board_feet"]))


def test_under_an_inch_counts_as_an_inch_in_the_trade() -> None:
    # Common practice.
    size = {"length_mm": 96 * INCH, "width_mm": 9 * INCH, "thickness_mm": 0.8125 * INCH}
    assert count_board_feet(**size, rounding="trade") == pytest.approx(6.0)
    assert count_board_feet(**size) == pytest.approx(6.0 * 0.8125)


def test_eight_and_a_half_feet_tally_as_eight() -> None:
    # American Hardwood Export Council, "Measurement": length down to the whole foot. 5 1/4 in × 8 ft / 12 = 3.5 → 4.
    assert count_board_feet(8.5 * 12 * INCH, 5.25 * INCH, thickness_mm=INCH, rounding="trade") == 4.0
    assert count_board_feet(8.5 * 12 * INCH, 5.25 * INCH, thickness_mm=INCH, rounding="up") == pytest.approx(6 * 9 / 12)


def test_length_is_cut_down_to_the_whole_foot_before_it_is_counted() -> None:
    # 7 ft 11 in counts as 7: 9 in × 7 / 12 = 5.25 → 5. Uncut it would be 5.94 → 6.
    assert count_board_feet(95 * INCH, 9 * INCH, thickness_mm=INCH, rounding="trade") == 5.0


def test_the_name_that_it_is_sold_by_can_be_told() -> None:
    # Planed on both sides, 5/4 reads 1 1/16 in (common sizes), which a caliper alone would take for 4/4.
    size = {"length_mm": 96 * INCH, "width_mm": 6 * INCH, "thickness_mm": 1.0625 * INCH}
    assert count_board_feet(**size, rounding="trade") == 4.0
    assert count_board_feet(**size, rounding="trade", quarters=5) == 5.0
    with pytest.raises(ValueError, match="4/4"):
        count_board_feet(**size, rounding="trade", quarters=3)


def test_whole_feet_in_millimetres_stay_whole() -> None:
    for feet in range(1, 17):
        assert count_board_feet(feet * 304.8, 12 * INCH, thickness_mm=INCH, rounding="trade") == feet
        assert count_board_feet(feet * 304.8, 12 * INCH, thickness_mm=INCH, rounding="up") == feet


def test_cubic_metres() -> None:
    assert count_cubic_metres(2000.0, 250.0, thickness_mm=40.0) == pytest.approx(0.02)
    assert count_cubic_metres(2050.0, 254.0, thickness_mm=40.0, rounding="trade") == pytest.approx(0.02)
    assert count_cubic_metres(2050.0, 254.0, thickness_mm=40.0, rounding="up") == pytest.approx(2.1 * 0.26 * 0.04)


def test_a_board_foot_is_144_cubic_inches() -> None:
    metres = count_cubic_metres(12 * INCH, 12 * INCH, thickness_mm=INCH)
    assert metres == pytest.approx(0.002359737216)  # 144 × 0.0254³ m³
    assert count_board_feet(12 * INCH, 12 * INCH, thickness_mm=INCH) == pytest.approx(1.0)


def test_a_board_and_its_price() -> None:
    board = RoughBoard("A", 96 * INCH, 8 * INCH, INCH, "white ash", 8.0, width_head_mm=10 * INCH, price=9.5)
    assert measure_board(board, "in") == pytest.approx(6.0), "a tapered board counts by its mean width"
    assert price_board(board, "in") == pytest.approx(57.0)
    assert price_board(RoughBoard("B", 1000.0, 100.0, 25.0, "white ash", 8.0), "mm") is None


def test_no_board_has_no_size() -> None:
    with pytest.raises(ValueError, match="greater than 0"):
        count_board_feet(0.0, 100.0, thickness_mm=25.0)


def test_leaves_are_offered_side_by_side() -> None:
    board = RoughBoard("A", 96 * INCH, 8 * INCH, INCH, "white ash", 8.0, price=9.0)  # 5 1/3 board feet
    one, two, three, four = offer_leaves(board, Shop(), finished_mm=INCH / 4, ring_angle_deg=20.0)
    assert [o.leaves for o in (one, two, three, four)] == [1, 2, 3, 4]
    assert [o.mates for o in (one, two, three, four)] == [0, 1, 1, 2]
    assert [o.fits for o in (one, two, three, four)] == [True, True, False, False]
    # Worked by hand from the formula: 2 × 1/4 + 1/8 + 2 × 1/32 = 11/16 in, 5/16 in to spare.
    assert two.spare_mm == pytest.approx(5 / 16 * INCH)
    assert three.finished_leaf_mm == pytest.approx((1 - 2 / 8 - 1 / 16) / 3 * INCH)
    assert two.used_share == pytest.approx(0.5)
    assert two.wood_per_leaf == pytest.approx(8 / 3)
    assert two.cost_per_leaf == pytest.approx(24.0)
    # gap / tan θ: with kerf 1/16 in and rings at 20° 9 mm of step between mates against 44 mm between pairs.
    assert two.mate_step_mm == pytest.approx(8.72, abs=0.01)
    assert two.pair_step_mm == pytest.approx(43.6, abs=0.05)


def test_offers_without_ring_angle_or_price() -> None:
    board = RoughBoard("A", 2000.0, 200.0, 25.0, "white ash", 8.0)
    offers = offer_leaves(board, Shop(), finished_mm=6.0, counting=Counting("mm"))
    assert {o.mate_step_mm for o in offers} == {None}
    assert {o.cost_per_leaf for o in offers} == {None}
    assert offers[0].wood_per_leaf == pytest.approx(0.01)
    assert offer_leaves(board, Shop(), finished_mm=6.0, ring_angle_deg=90.0)[1].mate_step_mm == pytest.approx(0.0)
