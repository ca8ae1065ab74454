"""A spare pair: found in what is left over, or room is made for it, or it is told why there is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grainplan.boards import Flaw, Grain
from grainplan.geometry import Box
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json
from grainplan.match import spare as room
from grainplan.match.assign import choose_leaves
from grainplan.match.pinning import pin_bay
from grainplan.match.spare import choose_with_spare
from tests.test_assign import INCH, make_bay, make_board, make_request


def wish(bays, boards, **more):
    return replace(make_request(bays, boards, **more), spare_pair=True)


def boxes_of(strips):
    return [(s.leaf, Box(s.x_mm[0], s.y_mm[0], s.x_mm[1], s.y_mm[1])) for s in strips]


def taken_by(plan):
    return boxes_of(s for bay in plan.bays for panel in bay.panels.values() for s in panel.strips)


def check_free(plan, boards):
    """Every strip of a spare lies on its board, clear of all bays, of flaws to avoid and of the other spares."""
    taken = taken_by(plan)
    for spare in plan.spares:
        for leaf, box in boxes_of(spare.strips):
            rough = next(b.board for b in boards if b.name == leaf.board)
            assert box.x0 >= INCH - 0.01
            assert box.x1 <= rough.length_mm - INCH + 0.01
            assert box.y1 <= min(rough.width_at(box.x0), rough.width_at(box.x1)) + 0.01
            assert not any(other == leaf and box.overlaps(at) for other, at in taken)
        taken += boxes_of(spare.strips)


def test_no_wish_no_spare():
    plan = choose_with_spare(make_request([make_bay()], [make_board(length=150)]))
    assert plan.spares == ()
    assert plan.no_spare == ""


def test_spare_is_found_beside_the_bay_and_costs_only_what_was_left_over():
    boards = [make_board(length=100)]
    request = wish([make_bay()], boards)
    plan, plain = choose_with_spare(request), choose_leaves(request)
    assert plan.bays == plain.bays
    assert plan.cost == plain.cost
    (spare,) = plan.spares
    assert [(f.bay, f.panel) for f in spare.replaces] == [("left door", "lower"), ("left door", "upper")]
    assert {s.leaf.name for s in spare.strips} == {"A1", "A2"}
    height = plan.bays[0].panels["lower"].height_mm + INCH / 2
    assert spare.strips[0].x_mm[1] - spare.strips[0].x_mm[0] == pytest.approx(height, abs=0.01)
    check_free(plan, boards)
    assert spare.cost >= 0
    (told,) = [c for c in plan.caveats if c.startswith("Spare pair:")]
    assert "could replace left door (lower) or left door (upper)" in told
    again = plan_from_json(plan_to_json(plan))
    assert [s.replaces for s in again.spares] == [s.replaces for s in plan.spares]
    assert again.spares[0].says == spare.says


def test_smaller_panel_gets_the_spare_where_the_larger_one_has_no_room():
    boards = [make_board(length=75)]
    plan = choose_with_spare(wish([make_bay()], boards))
    (spare,) = plan.spares
    assert [(f.bay, f.panel) for f in spare.replaces] == [("left door", "upper")]
    check_free(plan, boards)


def test_another_board_is_sawn_where_nothing_is_left_over():
    boards = [make_board(length=54, price=9.0), make_board("B", length=36, price=9.0)]
    request = wish([make_bay()], boards)
    plan = choose_with_spare(request)
    (spare,) = plan.spares
    assert {s.leaf.board for s in spare.strips} == {"B"}
    assert plan.bays == choose_leaves(request).bays
    assert spare.cost > 3
    assert "adds" in spare.says
    check_free(plan, boards)


def test_bays_are_chosen_anew_where_that_makes_room():
    """A short board fits the bay exactly and looks best; the longer one has room for the bay and a spare."""
    boards = [
        make_board(length=53, grain=Grain(ring_angle_deg=80.0)),
        make_board("B", length=100, grain=Grain(ring_angle_deg=70.0)),
    ]
    request = wish([make_bay()], boards)
    plain = choose_leaves(request)
    assert plain.bays[0].panels["lower"].strips[0].leaf.board == "A"
    plan = choose_with_spare(request)
    (spare,) = plan.spares
    assert plan.bays[0].panels["lower"].strips[0].leaf.board == "B"
    assert {s.leaf.board for s in spare.strips} == {"B"}
    assert "all bays were chosen so that it is there" in spare.says
    assert spare.cost == pytest.approx(plan.cost - plain.cost, abs=0.002)
    assert [bay.name for bay in plan.bays] == ["left door"]
    assert all(bay.name == "left door" for other in plan.others for bay in other.bays)
    check_free(plan, boards)


def test_flaw_that_is_to_be_avoided_shows_in_no_spare():
    knot = Flaw("knot", "through", Box(1800, 60, 1840, 100))
    boards = [make_board(length=100, flaws=(knot,))]
    plan = choose_with_spare(wish([make_bay()], boards))
    for spare in plan.spares:
        for strip in spare.strips:
            hidden = 16.0  # over-length and groove at each end are not seen
            assert strip.x_mm[0] + hidden >= 1840 or strip.x_mm[1] - hidden <= 1800
    assert plan.spares or plan.no_spare


@pytest.mark.parametrize("length", [100, 53])
def test_stopped_while_looking_the_plan_is_there_and_it_is_told(length):
    """Whether something is left over or not: no further choice is begun."""
    request = wish([make_bay()], [make_board(length=length), make_board("B", length=80)])
    said, solved = [], []

    def tell(_share, doing):
        said.append(doing)

    def stop():
        return "looking for a spare pair" in said

    plain = choose_leaves(request)
    real = room.choose_leaves
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "choose_leaves", lambda *a, **k: solved.append(1) or real(*a, **k))
        plan = choose_with_spare(request, progress=tell, should_stop=stop)
    assert plan.bays == plain.bays
    assert plan.spares == ()
    assert plan.no_spare == room.STOPPED
    assert len(solved) == 1


def test_a_spare_goes_with_a_plan_that_was_changed_by_hand_until_a_bay_lies_on_it():
    request = wish([make_bay()], [make_board(length=130)])
    plan = choose_with_spare(request)
    (kept,) = room.carry_over(choose_leaves(request), plan, shop=request.shop).spares
    assert kept == plan.spares[0]
    (pin,) = (pin_bay(bay) for bay in plan.bays)
    on_it = replace(pin, x_mm=pin.x_mm + 200.0)
    moved = choose_leaves(replace(request, kept=(on_it,)))
    gone = room.carry_over(moved, plan, shop=request.shop)
    assert gone.spares == ()
    assert any(told.startswith(room.GONE) for told in gone.caveats)


def test_it_is_told_why_there_is_none():
    plan = choose_with_spare(wish([make_bay()], [make_board(length=53)]))
    assert plan.spares == ()
    assert "one more board of at least" in plan.no_spare
    assert any(c.startswith("No spare pair: ") for c in plan.caveats)
    assert plan_from_json(plan_to_json(plan)).no_spare == plan.no_spare
