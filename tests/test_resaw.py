"""Leaves, cuts, spare and depths: closed forms, worked counts, and the job format's own example."""

import csv
import math
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grainplan.boards import Flaw, Piece, RoughBoard
from grainplan.errors import NotFound
from grainplan.geometry import Box
from grainplan.resaw import (
    Resaw,
    Stock,
    answer_leaves,
    compare_leaf_counts,
    count_leaves,
    cut_pieces,
    flatten_thickness,
    plan_resaw,
    step_across,
    suggest_pieces,
)
from grainplan.shop import Shop
from grainplan.units import MM_PER_INCH as INCH

with (Path(__file__).parent / "published" / "leaf_counts.csv").open(encoding="utf-8") as _file:
    COUNTS = list(csv.DictReader(line for line in _file if not line.startswith("#")))
QUARTER = INCH / 4
HUNDREDTH = 0.00501  # the example is printed in hundredths


def _resaw(stock: Stock, shop: Shop, finished_mm: float, leaves: int | None = None) -> Resaw:
    found = plan_resaw(stock, shop, finished_mm=finished_mm, leaves=leaves)
    assert isinstance(found, Resaw)
    return found


@pytest.mark.parametrize("row", COUNTS, ids=lambda r: f"{r['thickness']} {r['unit']}")
def test_worked_leaf_counts(row: dict[str, str]) -> None:
    unit = INCH if row["unit"] == "in" else 1.0
    planing = float(row["planing"]) * unit
    shop = Shop(kerf_mm=float(row["kerf"]) * unit, planing_mm=planing, outer_planing_mm=planing)
    thick, finished = float(row["thickness"]) * unit, float(row["finished"]) * unit
    found = _resaw(Stock(thick), shop, finished)
    assert found.leaves == int(row["leaves"])
    assert found.spare_mm == pytest.approx(float(row["left"]) * unit, abs=1e-9)


def test_the_job_formats_example() -> None:
    found = _resaw(Stock(15 / 16 * INCH, cup_mm=INCH / 32), Shop(), QUARTER)
    assert found.leaves == 2
    assert found.flat_thickness_mm == pytest.approx(23.02, abs=HUNDREDTH)
    assert found.sawn_leaf_mm == pytest.approx((10.72, 10.72), abs=HUNDREDTH)
    assert found.cuts_mm == pytest.approx((10.72,), abs=HUNDREDTH)
    assert found.spare_mm == pytest.approx(5.56, abs=HUNDREDTH)
    assert found.mate_gap_mm == pytest.approx(3.18, abs=HUNDREDTH)
    assert not found.tight


def test_three_quarters_of_an_inch_gives_two_quarter_inch_leaves() -> None:
    # Common practice: a board a little over 3/4 in thick, sawn down its middle and planed, gives two 1/4 in leaves.
    assert count_leaves(13 / 16 * INCH, Shop(), finished_mm=QUARTER) == 2
    assert count_leaves(11 / 16 * INCH - 0.1, Shop(), finished_mm=QUARTER) == 1


@given(
    leaves=st.integers(1, 9),
    finished=st.integers(1, 200),
    kerf=st.integers(1, 40),
    planing=st.integers(0, 20),
    outer=st.integers(0, 20),
)
def test_an_exact_fit_is_never_lost_to_floats(leaves: int, finished: int, kerf: int, planing: int, outer: int) -> None:
    """Sums in tenths that fit exactly, in fractions, against the count in floats; a hundredth less loses a leaf."""
    thick = Fraction(leaves * finished + (leaves - 1) * (kerf + 2 * planing) + 2 * outer, 10)
    shop = Shop(kerf_mm=kerf / 10, planing_mm=planing / 10, outer_planing_mm=outer / 10)
    assert count_leaves(float(thick), shop, finished_mm=finished / 10) == leaves
    assert count_leaves(float(thick) - 0.01, shop, finished_mm=finished / 10) == leaves - 1
    assert _resaw(Stock(float(thick)), shop, finished / 10).spare_mm == 0.0


@given(
    thick=st.floats(20, 120),
    finished=st.floats(2, 12),
    kerf=st.floats(0.6, 4),
    planing=st.floats(0, 2),
    outer=st.floats(0, 3),
)
def test_leaves_kerfs_and_planing_fill_the_board(
    thick: float, finished: float, kerf: float, planing: float, outer: float
) -> None:
    """Walk through the flattened board from face to back: every millimetre is leaf, kerf, planing or spare."""
    shop = Shop(kerf_mm=kerf, planing_mm=planing, outer_planing_mm=outer)
    found = _resaw(Stock(thick), shop, finished)
    assert sum(found.sawn_leaf_mm) + kerf * len(found.cuts_mm) == pytest.approx(thick)
    assert found.outer_loss_mm == pytest.approx(outer + found.spare_mm / 2)
    z = found.outer_loss_mm
    for number, depth in enumerate(found.depths, start=1):
        assert depth.near_mm == pytest.approx(z)
        assert depth.far_mm == pytest.approx(z + finished)
        if number < found.leaves:
            assert found.cuts_mm[number - 1] == pytest.approx(depth.far_mm + planing)
        z = depth.far_mm + planing + kerf + planing
    assert found.depths[-1].far_mm == pytest.approx(thick - found.outer_loss_mm)
    assert 0 <= found.spare_mm < finished + kerf + 2 * planing


def test_gaps_are_the_distances_between_depths() -> None:
    found = _resaw(Stock(46.0), Shop(kerf_mm=1.6, planing_mm=0.8), 6.0)
    assert found.leaves >= 4
    assert found.depth_mm(2, "near") - found.depth_mm(1, "far") == pytest.approx(found.mate_gap_mm)
    assert found.depth_mm(3, "near") - found.depth_mm(2, "near") == pytest.approx(found.slip_gap_mm)
    assert found.depth_mm(2, "far") - found.depth_mm(1, "near") == pytest.approx(found.pair_gap_mm)
    assert found.depth_mm(3, "far") - found.depth_mm(2, "near") == pytest.approx(found.pair_gap_mm)
    assert found.mate_gap_mm == pytest.approx(3.2)


def test_depths_are_counted_from_the_face_as_photographed() -> None:
    # A cup of 1 mm: nobody knows which side loses it, so half is taken from each, with that much doubt.
    flat = _resaw(Stock(22.0), Shop(), QUARTER)
    cupped = _resaw(Stock(23.0, cup_mm=1.0), Shop(), QUARTER)
    assert cupped.cuts_mm == pytest.approx(flat.cuts_mm)
    assert cupped.depth_doubt_mm == pytest.approx(0.5)
    for number in (1, 2):
        assert cupped.depth_mm(number, "near") == pytest.approx(flat.depth_mm(number, "near") + 0.5)
    with pytest.raises(ValueError, match="leaves 1 to 2"):
        flat.depth_mm(3, "near")


def test_bent_boards_lose_what_the_straightedge_reads() -> None:
    # G. Wengert, "Stock loss when planing cupped lumber": t − s. Twist: half the lift (derived).
    assert flatten_thickness(Stock(25.4, cup_mm=3.0)) == pytest.approx(22.4)
    assert flatten_thickness(Stock(25.4, cup_mm=1.0, bow_mm=2.0, twist_mm=3.0)) == pytest.approx(25.4 - 1 - 2 - 1.5)


def test_cup_loss_is_safe_but_close_to_the_exact_one() -> None:
    # Concentric faces, exact: R = w² / 8s + s / 2, loss (R + t) − √((R + t)² − w² / 4). t 25.4, w 150, s 3: 22.48 flat.
    t, w, s = 25.4, 150.0, 3.0
    radius = w**2 / (8 * s) + s / 2
    exact = t - ((radius + t) - math.sqrt((radius + t) ** 2 - w**2 / 4))
    assert radius == pytest.approx(939.0)
    assert exact == pytest.approx(22.48, abs=0.005)
    assert 0 <= exact - flatten_thickness(Stock(t, cup_mm=s)) < 0.1


def test_halves_lose_less() -> None:
    # Segments of circles: depth goes with the square of the chord, 3 mm → 0.75 mm for halves.
    stock = Stock(30.0, cup_mm=3.0, bow_mm=4.0, twist_mm=2.0)
    ripped, cut = stock.shorten(1.0, width_share=0.5), stock.shorten(0.5)
    assert (ripped.cup_mm, ripped.bow_mm, ripped.twist_mm) == (0.75, 4.0, 1.0)
    assert (cut.cup_mm, cut.bow_mm, cut.twist_mm) == (3.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="share"):
        stock.shorten(1.5)


def test_tight_is_less_than_two_wanders_a_cut() -> None:
    shop = Shop(kerf_mm=1.6, planing_mm=0.8, outer_planing_mm=0.0, saw_tolerance_mm=0.4)
    need = 3 * 6.0 + 2 * 3.2
    tight, easy = _resaw(Stock(need + 1.5), shop, 6.0), _resaw(Stock(need + 1.7), shop, 6.0)
    assert tight.leaves == easy.leaves == 3
    assert tight.tight
    assert any("tight" in caveat for caveat in tight.caveats)
    assert not easy.tight
    assert not _resaw(Stock(6.1), shop, 6.0).tight, "a board that is not sawn cannot be tight"


def test_a_leaf_thinner_than_the_planer_takes_is_flagged() -> None:
    assert any("planer" in caveat for caveat in _resaw(Stock(23.0), Shop(), 5.0).caveats)
    assert not _resaw(Stock(23.0), Shop(), QUARTER).caveats


def test_choices_stand_side_by_side() -> None:
    choices = compare_leaf_counts(Stock(15 / 16 * INCH, cup_mm=INCH / 32), Shop(), finished_mm=QUARTER)
    assert [c.leaves for c in choices] == [1, 2, 3, 4]
    assert [c.fits for c in choices] == [True, True, False, False]
    two, three = choices[1], choices[2]
    assert two.finished_leaf_mm == pytest.approx((23.01875 - 3.175 - 1.5875) / 2)
    assert _resaw(Stock(23.01875), Shop(), three.finished_leaf_mm).leaves == 3
    assert two.thickness_share == pytest.approx(12.7 / 23.8125)


def test_fewer_leaves_than_the_board_gives_may_be_asked() -> None:
    one = _resaw(Stock(23.0), Shop(), QUARTER, leaves=1)
    assert one.cuts_mm == ()
    assert one.sawn_leaf_mm == (pytest.approx(23.0),)
    found = plan_resaw(Stock(23.0), Shop(), finished_mm=QUARTER, leaves=3)
    assert isinstance(found, NotFound)
    assert "3 leaves" in found.reason


def test_a_board_too_thin_for_a_leaf_says_how_much_is_missing() -> None:
    answer = answer_leaves(Stock(7.0, cup_mm=1.0), Shop(outer_planing_mm=0.5), finished_mm=6.0)
    assert answer.leaves == 0
    assert answer.spare_mm == pytest.approx(-1.0)
    assert answer.choices[0].finished_leaf_mm == pytest.approx(5.0)
    assert "(1 mm)" in answer.caveats[0]
    assert "(5 mm)" in answer.caveats[0]


def test_a_board_bent_beyond_its_thickness_gives_nothing() -> None:
    answer = answer_leaves(Stock(10.0, cup_mm=12.0), Shop(), finished_mm=6.0)
    assert answer.leaves == 0
    assert "nothing would be left" in answer.caveats[0]


@pytest.mark.parametrize(
    ("gap_mm", "angle", "step_mm"),
    [(1.2, 10, 6.81), (1.2, 30, 2.08), (2.8, 15, 10.45), (2.8, 20, 7.69), (2.8, 60, 1.62), (2.8, 90, 0.0)],
)
def test_ring_lines_step_sideways(gap_mm: float, angle: float, step_mm: float) -> None:
    # gap / tan θ, worked by hand.
    assert step_across(gap_mm, angle) == pytest.approx(step_mm, abs=0.005)


def test_flat_rings_have_no_step() -> None:
    assert isinstance(step_across(2.8, 1.0), NotFound)


def _board(**changes: object) -> RoughBoard:
    given_ = {"cup_mm": 4.0, "bow_mm": 2.0, "twist_mm": 1.0} | changes
    return RoughBoard("A", 2000.0, 240.0, 22.0, "white ash", 8.0, **given_)  # type: ignore[arg-type]


def test_pieces_are_boards_of_their_own() -> None:
    flaw = Flaw("knot", "through", Box(950.0, 100.0, 1050.0, 150.0))
    board = _board(
        flaws=(flaw,),
        pieces=(Piece("A-foot", Box(0.0, 0.0, 1000.0, 240.0)), Piece("A-right", Box(1003.0, 120.0, 2000.0, 240.0))),
    )
    foot, right = cut_pieces(board)
    assert (foot.name, foot.length_mm, foot.width_mm) == ("A-foot", 1000.0, 240.0)
    assert (foot.cup_mm, foot.bow_mm, foot.twist_mm) == (4.0, 0.5, 0.5)
    assert foot.flaws[0].box == Box(950.0, 100.0, 1000.0, 150.0)
    assert right.flaws[0].box == Box(0.0, 0.0, 47.0, 30.0)
    assert right.cup_mm == 1.0
    assert cut_pieces(_board()) == (_board(),)


def test_a_piece_outside_its_board_is_refused() -> None:
    with pytest.raises(ValueError, match="A-x"):
        cut_pieces(_board(pieces=(Piece("A-x", Box(0.0, 0.0, 2001.0, 240.0)),)))


def test_ripping_first_is_offered_where_it_gives_a_leaf_more() -> None:
    said = suggest_pieces(_board(), Shop(), finished_mm=QUARTER)
    assert count_leaves(flatten_thickness(Stock.of(_board())), Shop(), finished_mm=QUARTER) == 1
    assert any("rip it into two halves" in s and "2 leaves instead of 1" in s for s in said)


def test_a_board_higher_than_the_saw_is_to_be_ripped() -> None:
    flat = _board(cup_mm=0.0, bow_mm=0.0, twist_mm=0.0)
    assert suggest_pieces(flat, Shop(), finished_mm=QUARTER) == ()
    assert any("rip it into 2 first" in s for s in suggest_pieces(flat, Shop(saw_height_mm=150.0), finished_mm=QUARTER))


@pytest.mark.parametrize("thickness", [0.0, -1.0, math.nan, math.inf])
def test_no_board_is_that_thick(thickness: float) -> None:
    with pytest.raises(ValueError, match="thickness"):
        Stock(thickness)
