"""Where a bay could come from, and what the maker's wishes do to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grainplan.boards import Flaw, Grain, Leaf, Pith
from grainplan.errors import GrainplanError
from grainplan.frame import Bay, PanelMaking
from grainplan.geometry import Box
from grainplan.job import Keep, LeaveOut
from grainplan.match.arrange import Ripping, arrange_running, arrange_strips, mate_gap
from grainplan.match.assign import choose_leaves
from grainplan.match.pooling import stack_request
from grainplan.shop import Shop
from tests.test_assign import INCH, make_bay, make_board, make_request

FLOAT = INCH / 4


def making(**more):
    return PanelMaking(float_mm=FLOAT, **more)


def leaves_of(plan, bay=0, part="lower"):
    return [strip.leaf.name for strip in plan.bays[bay].panels[part].strips]


# ---- how leaves are opened -------------------------------------------------------------------------------------------


def test_gaps_are_those_of_the_formulas():
    """Mates k + 2p; two pairs, and the backs of mates, 2t + g; slip t + g."""
    g, t = 3.175, 6.35
    (book, _, *_rest) = arrange_strips(4, "book", Ripping(100, 3, 100), mates_on_front=True)
    gaps = [mate_gap(a, b, gap_mm=g, leaf_mm=t) for a, b in zip(book.strips, book.strips[1:], strict=False)]
    assert gaps == pytest.approx([g, 2 * t + g, g])
    (back, *_rest) = arrange_strips(2, "book", Ripping(100, 3, 100), mates_on_front=False)
    assert mate_gap(*back.strips, gap_mm=g, leaf_mm=t) == pytest.approx(2 * t + g)
    (slip, *_rest) = arrange_strips(2, "slip", Ripping(100, 3, 100), mates_on_front=True)
    assert mate_gap(*slip.strips, gap_mm=g, leaf_mm=t) == pytest.approx(t + g)


def test_four_strips_come_out_of_two_leaves_of_a_wide_board():
    wide = arrange_strips(4, "book", Ripping(90, 3, 190), mates_on_front=True)
    narrow = arrange_strips(4, "book", Ripping(90, 3, 180), mates_on_front=True)
    assert {a.run for a in wide} == {2, 4}
    assert {a.run for a in narrow} == {4}
    assert arrange_strips(2, "book", Ripping(181, 3, 180), mates_on_front=True) == []


def test_running_match_ends_in_what_is_left():
    """A panel of 500 mm from leaves of 180: two whole ones, and 500 + 4 joints of 2 − 360 = 148."""
    near, far = arrange_running(500, 2, 180)
    assert [s.y_mm[1] - s.y_mm[0] for s in near.strips] == pytest.approx([180, 180, 148])
    assert {s.surface for s in near.strips} == {"near"}
    assert {s.surface for s in far.strips} == {"far"}
    assert arrange_running(900, 2, 180) == []


# ---- strips, boards, edges -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("strips", "thickness", "count"), [(1, 15 / 16, 1), (3, 1.5, 3), (4, 2.0, 4)])
def test_strips_are_equal_and_make_up_the_rough_panel(strips, thickness, count):
    """n equal strips, each (rough width + joint · 2(n − 1)) / n wide."""
    board = make_board(width=15 if strips == 1 else 6, thickness=thickness)
    shop = Shop(saw_height_mm=16 * INCH)
    plan = choose_leaves(make_request([make_bay()], [board], making=making(strips=strips), shop=shop))
    strips_found = plan.bays[0].panels["lower"].strips
    assert len(strips_found) == count
    for strip in strips_found:
        assert strip.y_mm[1] - strip.y_mm[0] == pytest.approx((355.6 + 1.5875 * 2 * (strips - 1)) / strips, abs=0.002)


def test_auto_takes_the_fewest_seams_that_the_wood_allows():
    shop = Shop(saw_height_mm=16 * INCH)
    plan = choose_leaves(make_request([make_bay()], [make_board(width=15)], making=making(), shop=shop))
    assert len(leaves_of(plan)) == 1
    assert plan.bays[0].seams == ()


def test_four_strips_pair_two_like_boards():
    """Two boards of two leaves each, too narrow for two strips: halves of both, the unlike board left alone."""
    grain = Grain(ring_angle_deg=20, colour_lab=(68, 8, 24))
    boards = [
        make_board("A", width=4.2, grain=grain),
        make_board("B", width=4.2, grain=replace(grain, colour_lab=(50, 12, 30))),
        make_board("C", width=4.2, grain=replace(grain, colour_lab=(68.5, 8, 24))),
    ]
    plan = choose_leaves(make_request([make_bay()], boards, making=making(strips=4)))
    assert leaves_of(plan) == ["A1", "A2", "C1", "C2"]
    assert [seam.gap_mm for seam in plan.bays[0].seams[:3]] == [pytest.approx(3.175), None, pytest.approx(3.175)]


def test_seam_goes_to_the_edge_with_the_steeper_rings():
    """Pith under the lower edge: rings are flat there and steep at the other edge, where the seam steps less."""
    board = make_board(width=9)
    board = replace(board, pith=Pith((20.0, 60.0), (20.0, 60.0), 5.0))
    plan = choose_leaves(make_request([make_bay()], [board]))
    seam = plan.bays[0].seams[0]
    z = 10.7  # near the cut
    assert seam.edge_y_mm > 180
    assert seam.step_mm == pytest.approx(3.175 * abs(60 - z) / (seam.edge_y_mm - 20), rel=0.02)


def test_narrow_bays_stand_side_by_side_on_a_wide_board():
    bays = [make_bay(f"side {i}", width=5) for i in (1, 2)]
    plan = choose_leaves(make_request(bays, [make_board(width=9, length=54)]))
    assert len(plan.bays) == 2
    first, second = (bay.panels["lower"].strips[0] for bay in plan.bays)
    assert {s.leaf.board for s in (first, second)} == {"A"}
    gap = max(first.y_mm[0], second.y_mm[0]) - min(first.y_mm[1], second.y_mm[1])
    assert gap >= INCH / 8 - 0.01, "one rip lies between them"


def test_crook_takes_width_from_long_pieces():
    straight, crooked = make_board(width=7.2), make_board(width=7.2, crook_mm=12.0)
    assert choose_leaves(make_request([make_bay()], [straight])).bays
    plan = choose_leaves(make_request([make_bay()], [crooked]))
    assert not plan.bays
    assert "is missing" in plan.unfilled[0].reason


def test_both_sides_are_scored_where_both_are_seen():
    """Front mates 3.175 mm apart, backs 2 · 6.35 + 3.175: at 20° steps of 8.72 and 43.6 mm."""
    request = make_request([make_bay(seen="both")], [make_board()])
    plan = choose_leaves(request)
    steps = {(seam.side, round(seam.step_mm or 0, 1)) for seam in plan.bays[0].seams}
    assert steps == {("front", 8.7), ("back", 43.6)}
    back = choose_leaves(replace(request, making=making(strips=2, true_side="back")))
    assert {(s.side, round(s.step_mm or 0, 1)) for s in back.bays[0].seams} == {("front", 43.6), ("back", 8.7)}
    one = choose_leaves(make_request([make_bay()], [make_board()]))
    assert plan.cost_parts["seams"] > one.cost_parts["seams"]


def test_single_panel_bay_has_no_rail():
    plan = choose_leaves(make_request([Bay("side", 11 * INCH, panel_mm=46 * INCH)], [make_board()]))
    assert list(plan.bays[0].panels) == ["panel"]
    assert plan.bays[0].continuity is None


# ---- likeness --------------------------------------------------------------------------------------------------------


def test_alike_bays_come_from_like_boards():
    """Three boards for two bays: the two of one colour are taken although the third is cheaper."""
    grain = Grain(ring_angle_deg=20, colour_lab=(68, 8, 24))
    other = replace(grain, colour_lab=(50, 14, 30))
    boards = [
        make_board("A", price=9.0, grain=grain),
        make_board("B", price=8.9, grain=other),
        make_board("C", price=9.2, grain=grain),
    ]
    bays = [make_bay("left door"), make_bay("right door")]
    free = choose_leaves(make_request(bays, boards))
    assert {leaves_of(free, i)[0][0] for i in (0, 1)} == {"A", "B"}
    alike = choose_leaves(make_request([replace(b, alike="doors") for b in bays], boards))
    assert {leaves_of(alike, i)[0][0] for i in (0, 1)} == {"A", "C"}


def test_mirrored_pair_is_cut_from_one_place():
    """Four leaves: both doors from the same place along the board, one behind the other in its thickness."""
    bays = [make_bay("left door", mirror="right door"), make_bay("right door")]
    plan = choose_leaves(make_request(bays, [make_board(thickness=2.0, length=110)]))
    left, right = (bay.panels["lower"].strips for bay in plan.bays)
    assert left[0].x_mm == right[0].x_mm
    assert {s.leaf.name for s in (*left, *right)} == {"A1", "A2", "A3", "A4"}


# ---- wishes ----------------------------------------------------------------------------------------------------------


def test_kept_choice_stays_and_the_rest_is_planned_round_it():
    request = make_request([make_bay("left door"), make_bay("right door")], [make_board(length=110), make_board("B")])
    keep = Keep("right door", (Leaf("A", 2), Leaf("A", 1)), x_mm=1300.0, foot="down")
    plan = choose_leaves(replace(request, kept=(keep,)))
    kept = plan.bays[1].panels["lower"].strips
    assert [s.leaf.name for s in kept] == ["A2", "A1"]
    assert kept[0].x_mm[0] == pytest.approx(1300.0)
    assert len(plan.bays) == 2
    assert plan.bays[0].panels["upper"].strips[0].x_mm[1] < 1300 or leaves_of(plan)[0][0] == "B"


def test_kept_choice_that_is_not_to_be_had_is_told():
    request = make_request([make_bay()], [make_board()])
    with pytest.raises(GrainplanError, match="cannot stay as it is on A3, A4"):
        choose_leaves(replace(request, kept=(Keep("left door", (Leaf("A", 3), Leaf("A", 4))),)))


def test_two_kept_choices_of_the_same_wood_are_told():
    bays = [make_bay("left door"), make_bay("right door")]
    leaves = (Leaf("A", 1), Leaf("A", 2))
    kept = tuple(Keep(bay.name, leaves, x_mm=25.4) for bay in bays)
    with pytest.raises(GrainplanError, match="want the same"):
        choose_leaves(replace(make_request(bays, [make_board(length=120)]), kept=kept))


def test_left_out_board_is_not_used():
    request = make_request([make_bay()], [make_board(), make_board("B", length=100)])
    assert leaves_of(choose_leaves(request))[0] == "A1"
    assert leaves_of(choose_leaves(replace(request, left_out=(LeaveOut("A", "left door"),))))[0] == "B1"
    assert leaves_of(choose_leaves(replace(request, left_out=(LeaveOut("A"),))))[0] == "B1"


def test_done_bay_is_left_alone():
    plan = choose_leaves(make_request([make_bay(done=True), make_bay("right door")], [make_board()]))
    assert [bay.name for bay in plan.bays] == ["right door"]
    assert not plan.unfilled


def test_lost_leaf_is_not_used():
    request = make_request([make_bay()], [make_board(thickness=1.5)])
    plan = choose_leaves(replace(request, lost={Leaf("A", 1): "split"}))
    assert leaves_of(plan) == ["A2", "A3"]


# ---- what is missing -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("board", "more", "words"),
    [
        ({"width": 6}, {}, "1 1/16 in is missing; 3 strips a panel would fit"),
        ({"length": 50.8}, {}, 'is missing; rail_grain = "save" would do'),
        ({"length": 40}, {}, "a longer board is needed"),
        ({"thickness": 0.5}, {}, "no board gives more than 1 of 1/4 in"),
        ({"width": 11}, {}, "1 in too wide for the resaw"),
        ({"flaws": (Flaw("check", "through", Box(0, 40, 1800, 140)),)}, {}, "a flaw that is to be avoided would show"),
    ],
)
def test_empty_bay_says_what_is_missing(board, more, words):
    plan = choose_leaves(make_request([make_bay()], [make_board(**board)], **more))
    assert plan.status == "nothing fits"
    assert words in plan.unfilled[0].reason, plan.unfilled[0].reason


def test_bay_without_wood_left_asks_for_one_more_board():
    plan = choose_leaves(make_request([make_bay("left door"), make_bay("right door")], [make_board()]))
    assert len(plan.bays) == 1
    assert "one more board of at least 51" in plan.unfilled[0].reason


# ---- other plans, reasons, sums --------------------------------------------------------------------------------------


def test_other_plans_truly_differ_and_say_what_they_give_up():
    boards = [make_board(name, grain=Grain(ring_angle_deg=a)) for name, a in zip("ABC", (40, 30, 20), strict=True)]
    plan = choose_leaves(make_request([make_bay()], boards))
    used = [leaves_of(plan)[0][0], *(o.bays[0].panels["lower"].strips[0].leaf.board for o in plan.others)]
    assert used == ["A", "B", "C"]
    assert plan.cost <= plan.others[0].cost <= plan.others[1].cost
    for name, other in zip("BC", plan.others, strict=True):
        assert f"left door from {name} instead of A" in other.says
        assert (
            f"costs {other.cost - plan.cost:.2f} more; gives up {other.cost - plan.cost:.2f} in the seams" in other.says
        )


def test_each_choice_is_explained_from_its_numbers():
    plan = choose_leaves(make_request([make_bay()], [make_board(), make_board("B", grain=Grain(ring_angle_deg=10))]))
    assert plan.bays[0].why.startswith(
        "From board A: rings should meet within 11/32 in at the seam, which is plain to see"
    )
    assert "B, would be worse by" in plan.bays[0].why


def test_offcuts_and_cost_in_money():
    """The plan file's example: what is left beyond the bay and one crosscut, over the whole width."""
    plan = choose_leaves(make_request([make_bay()], [make_board(price=9.5)]))
    assert plan.offcuts[0].leaf == Leaf("A", 1)
    assert plan.offcuts[0].x_mm == pytest.approx((1289.05, 1803.4), abs=0.003)
    assert plan.offcuts[0].y_mm == pytest.approx((0, 184.15), abs=0.003)
    feet = 72 * 7.25 * (15 / 16) / 144
    left_over = 2 * 0.4 * (feet / 2) * 500 / (1828.8 - 2 * 25.4 + 3.175)
    assert plan.cost_parts["wood"] == pytest.approx(9.5 * (feet - left_over), abs=0.02)
    assert "money" in plan.caveats[0]


def test_every_candidate_lies_on_its_board():
    board = make_board(width_head_mm=6.9 * INCH, flaws=(Flaw("knot", "face", Box(300, 20, 340, 60)),))
    stacked = stack_request(make_request([make_bay("a", width=4), make_bay("b", width=12.5)], [board]))
    rows = stacked.table.rows
    assert len(rows) > 10
    for i in range(len(rows)):
        option = stacked.table.options[stacked.table.option[i]]
        low = stacked.table.y_mm[i]
        high = low + max(s.y_mm[1] for s in option.strips)
        x_mm = np.array([rows.x0[i], rows.x1[i]]) / 1000 + 25.4
        assert low >= -1e-6
        assert high <= min(board.board.width_at(x) for x in (x_mm[0], x_mm[1] - 3.175)) + 0.01
