"""End match: the upper panel stands on its head and mirrors the lower one across the rail."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grainplan.boards import Grain, Leaf
from grainplan.errors import GrainplanError
from grainplan.frame import PanelMaking
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json
from grainplan.jobfolder.reading import read_job
from grainplan.match.arrange import Ripping, arrange_strips, mate_gap, pair_ends
from grainplan.match.assign import choose_leaves
from grainplan.match.assign_exact import Effort, Watch
from grainplan.match.assign_search import select
from grainplan.match.pinning import pin_bay
from grainplan.match.pooling import stack_request
from grainplan.show.strips import place_strips
from tests.job_example import EXAMPLE, make_job_folder
from tests.test_assign import INCH, make_bay, make_board, make_request
from tests.yardsticks.exhaustive import search_all

JOINT = INCH / 16
GAP, LEAF = 3.175, 6.35


def making(**more):
    return PanelMaking(float_mm=INCH / 4, end_match=True, **more)


def places_of(bay, planned):
    """Lower and upper strips as they stand in their openings."""
    return [
        place_strips(planned.panels[part], sight_width_mm=bay.width_mm, sight_height_mm=height, joint_mm=JOINT)
        for part, height in bay.sight_heights_mm.items()
    ]


def test_pairs_of_ends_have_the_gaps_of_the_formulas():
    """Leaves that follow one another: mates at the seams. Leaves that alternate: mates across the rail."""
    (book, *_) = arrange_strips(2, "book", Ripping(100, 3, 100), mates_on_front=True)
    behind, between = pair_ends(book)

    def gaps(pairs):
        return [mate_gap(a, b, gap_mm=GAP, leaf_mm=LEAF) for a, b in pairs]

    assert [s.leaf for s in (*behind.strips, *behind.upper)] == [0, 1, 3, 2]
    assert gaps([behind.strips, behind.upper]) == pytest.approx([GAP, GAP])
    assert gaps(zip(behind.strips, behind.upper, strict=True)) == pytest.approx([2 * LEAF + 3 * GAP, 2 * LEAF + GAP])
    assert [s.leaf for s in (*between.strips, *between.upper)] == [0, 3, 1, 2]
    assert gaps(zip(between.strips, between.upper, strict=True)) == pytest.approx([GAP, GAP])
    assert gaps([between.strips, between.upper]) == pytest.approx([2 * LEAF + 3 * GAP, 2 * LEAF + GAP])


@pytest.mark.parametrize("strips", [1, 2, 4])
def test_upper_panel_mirrors_the_lower_one_across_the_rail(strips):
    """At the two sight lines of the rail both panels show one and the same place of the board, strip by strip."""
    bay = make_bay(width=13 if strips < 4 else 12)
    board = make_board(width={1: 14, 2: 8, 4: 8}[strips], thickness=1 if strips == 1 else 2)
    shop = replace(make_request([bay], [board]).shop, saw_height_mm=16 * INCH)
    plan = choose_leaves(make_request([bay], [board], making=making(strips=strips), shop=shop))
    (planned,) = plan.bays
    lower, upper = places_of(bay, planned)
    assert len(lower) == strips
    for below, above in zip(lower, upper, strict=True):
        assert below.strip.foot == "down"
        assert above.strip.foot == "up"
        assert below.strip.flipped == above.strip.flipped
        assert below.strip.leaf != above.strip.leaf
        for across in (10.0, bay.width_mm / 2, bay.width_mm - 10.0):
            at_rail = below.board_point(across, bay.lower_mm), above.board_point(across, 0.0)
            assert at_rail[0] == pytest.approx(at_rail[1], abs=0.01)
    assert planned.continuity.end_match
    assert planned.continuity.leaf_mm == 0.0
    assert planned.continuity.hidden_mm == pytest.approx(2.5 * INCH)
    again = plan_from_json(plan_to_json(plan))
    assert again.bays[0].continuity == planned.continuity


def test_pieces_of_one_leaf_never_overlap_and_stay_on_the_board():
    bays = [make_bay("left door"), make_bay("right door")]
    board = make_board(thickness=2, length=110)
    plan = choose_leaves(make_request(bays, [board], making=making(strips=2)))
    assert len(plan.bays) == 2
    taken = [s for bay in plan.bays for panel in bay.panels.values() for s in panel.strips]
    for strip in taken:
        assert strip.x_mm[0] >= INCH - 0.01
        assert strip.x_mm[1] <= 109 * INCH + 0.01
    for i, one in enumerate(taken):
        for other in taken[i + 1 :]:
            apart = one.x_mm[1] <= other.x_mm[0] + 0.01 or other.x_mm[1] <= one.x_mm[0] + 0.01
            assert apart or one.leaf != other.leaf


def test_step_across_the_rail_follows_from_the_gap_and_the_ring_angle():
    """gap / tan 20°: g for mates; 2t + g and 2t + 3g (A2 near and A3 far, A1 far and A4 near) for the others."""
    board = make_board(thickness=2, grain=Grain(ring_angle_deg=20.0))
    (planned,) = choose_leaves(make_request([make_bay()], [board], making=making(strips=2))).bays
    steps = sorted(planned.continuity.step_mm)
    seams = sorted({round(s.step_mm, 2) for s in planned.seams})
    mates, nearer, others = (gap / 0.36397 for gap in (GAP, 2 * LEAF + GAP, 2 * LEAF + 3 * GAP))
    assert (steps, seams) in (
        (pytest.approx([nearer, others], abs=0.02), pytest.approx([mates], abs=0.02)),
        (pytest.approx([mates, mates], abs=0.02), pytest.approx([nearer, others], abs=0.02)),
    )


def test_board_of_too_few_leaves_says_so():
    plan = choose_leaves(make_request([make_bay()], [make_board()], making=making(strips=2)))
    assert not plan.bays
    assert "an end match opens 4 leaves of one board" in plan.unfilled[0].reason
    assert "no board gives more than 2" in plan.unfilled[0].reason


def test_bay_may_differ_from_the_job():
    bays = [make_bay("left door", end_match=False), make_bay("right door")]
    plan = choose_leaves(make_request(bays, [make_board(thickness=2, length=110)], making=making(strips=2)))
    assert [bay.is_end_matched for bay in plan.bays] == [False, True]
    single = replace(make_bay("side"), lower_mm=None, upper_mm=None, rail_mm=None, panel_mm=46 * INCH)
    assert not single.is_end_matched(making())


def test_kept_end_match_stays_as_it_is_and_turns():
    bays = [make_bay("left door"), make_bay("right door")]
    request = make_request(bays, [make_board(thickness=2, length=110)], making=making(strips=2))
    plan = choose_leaves(request)
    keeps = tuple(pin_bay(bay) for bay in plan.bays)
    assert [len(keep.leaves) for keep in keeps] == [4, 4]
    again = choose_leaves(replace(request, kept=keeps))
    for bay, was in zip(again.bays, plan.bays, strict=True):
        for part, panel in bay.panels.items():
            for strip, before in zip(panel.strips, was.panels[part].strips, strict=True):
                assert (strip.leaf, strip.surface, strip.foot) == (before.leaf, before.surface, before.foot)
                assert (*strip.x_mm, *strip.y_mm) == pytest.approx((*before.x_mm, *before.y_mm), abs=0.02)
    turned = choose_leaves(replace(request, kept=(replace(keeps[0], foot="up", x_mm=None, y_mm=None),)))
    lower, upper = turned.bays[0].panels["lower"].strips, turned.bays[0].panels["upper"].strips
    assert ({s.foot for s in lower}, {s.foot for s in upper}) == ({"up"}, {"down"})
    places = places_of(bays[0], turned.bays[0])
    for below, above in zip(*places, strict=True):
        assert below.board_point(50.0, bays[0].lower_mm) == pytest.approx(above.board_point(50.0, 0.0), abs=0.01)
    wrong = replace(keeps[0], leaves=(Leaf("A", 1), Leaf("A", 2), Leaf("A", 1), Leaf("A", 2)))
    with pytest.raises(GrainplanError, match="cannot stay as it is"):
        choose_leaves(replace(request, kept=(wrong,)))


def test_mirrored_pair_of_end_matched_doors_comes_from_one_place():
    bays = [make_bay("left door", mirror="right door"), make_bay("right door")]
    board = make_board(thickness=4, length=60)
    plan = choose_leaves(make_request(bays, [board], making=making(strips=2)))
    left, right = plan.bays
    for part in ("lower", "upper"):
        a, b = left.panels[part].strips, right.panels[part].strips
        assert [s.flipped for s in a] == [not s.flipped for s in reversed(b)]
        assert [s.y_mm for s in a] == [s.y_mm for s in reversed(b)]


@pytest.mark.parametrize("seed", range(6))
def test_as_cheap_as_trying_every_set(seed):
    angle = 10.0 + 11.0 * seed
    bays = [make_bay("a", width=11 + seed % 3), make_bay("b", width=12, end_match=seed % 2 == 0)]
    boards = [
        make_board("A", thickness=2, length=56 + 9 * seed, grain=Grain(ring_angle_deg=angle)),
        make_board("B", thickness=2, length=54, grain=Grain(ring_angle_deg=35.0)),
    ]
    request = make_request(bays, boards, making=making(strips=2))
    stacked = stack_request(request, grid_mm=400.0)
    assert 0 < len(stacked.pool.candidates) < 120
    found = select(stacked.pool, Watch(), Effort())
    assert found.proven
    assert found.cost == search_all(stacked.pool)[0]
    assert any(stacked.table.options[stacked.table.option[row]].is_end_matched for row in found.rows)


def test_key_is_read_for_the_job_and_for_a_bay(tmp_path):
    text = EXAMPLE.replace('match = "book"', 'match = "book"\nend_match = true')
    job = read_job(make_job_folder(tmp_path, text))
    assert job.panel.end_match
    assert job.bays[0].end_match is None
    text = EXAMPLE.replace("matters = 2", "matters = 2\nend_match = true")
    job = read_job(make_job_folder(tmp_path, text))
    assert not job.panel.end_match
    assert job.bays[0].is_end_matched(job.panel)
