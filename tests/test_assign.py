"""The choice of leaves on small jobs of known answer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grainplan.boards import Flaw, Grain, Leaf, MeasuredBoard, RoughBoard
from grainplan.frame import Bay, PanelMaking
from grainplan.geometry import Box
from grainplan.match.assign import choose_leaves
from grainplan.match.request import Request
from grainplan.measured import Measured
from grainplan.movement import Wood, size_panels
from grainplan.plan import BoardUse, Plan
from grainplan.resaw import Resaw, Stock, plan_resaw
from grainplan.shop import Climate, Shop
from grainplan.species import load_species

INCH = 25.4


def make_board(name="A", length=72, width=7.25, thickness=15 / 16, cup=1 / 32, **more):
    """A measured board that nobody has photographed; sizes in inches."""
    grain = more.pop("grain", Grain(ring_angle_deg=20.0, colour_lab=(68.0, 8.0, 24.0)))
    board = RoughBoard(name, length * INCH, width * INCH, thickness * INCH, "white ash", 8.0, cup_mm=cup * INCH, **more)
    return MeasuredBoard(
        board, Measured(board.length_mm, 1.0), Measured(board.width_mm, 1.0), grain=grain, flaws=board.flaws
    )


def make_bay(name="left door", width=13, upper=16, lower=30, rail=2.5, **more):
    return Bay(name, width * INCH, lower * INCH, upper * INCH, rail * INCH, **more)


def make_request(bays, boards, *, shop=None, **more):
    shop = shop or Shop()
    making = more.pop("making", PanelMaking(float_mm=INCH / 4, strips=2))
    wood = Wood(load_species()["white ash"], 8.0)
    sizes = {b.name: size_panels(b, making, shop=shop, climate=Climate(), wood=wood) for b in bays}
    uses = {b.name: resaw(b, shop, making) for b in boards}
    return Request("Hall cupboard", "0" * 64, tuple(bays), sizes, tuple(boards), uses, making, shop, **more)


def resaw(board, shop, making):
    found = plan_resaw(Stock.of(board.board), shop, finished_mm=making.thickness_mm)
    if not isinstance(found, Resaw):
        return BoardUse(board.name, 0, 0.0, (), 0.0, 0.0, False, 0.0, (), 0.0, (found.reason,))
    return BoardUse(
        board.name,
        found.leaves,
        found.flat_thickness_mm,
        found.sawn_leaf_mm,
        found.finished_leaf_mm,
        found.spare_mm,
        found.tight,
        found.mate_gap_mm,
        found.cuts_mm,
        0.0,
    )


def test_left_door_from_one_board_lies_as_the_formulas_say():
    """The example of the plan file: every figure follows from the panel and strip formulas, checked by hand."""
    plan = choose_leaves(make_request([make_bay()], [make_board()]))
    assert plan.status == "proven best"
    (bay,) = plan.bays
    lower, upper = bay.panels["lower"], bay.panels["upper"]
    assert (lower.width_mm, lower.height_mm) == pytest.approx((342.9, 777.875))
    assert (upper.width_mm, upper.height_mm) == pytest.approx((342.9, 422.275))
    for panel, span in ((lower, (25.4, 815.975)), (upper, (850.9, 1285.875))):
        assert [s.leaf.name for s in panel.strips] == ["A1", "A2"]
        assert [s.surface for s in panel.strips] == ["far", "near"]
        assert [s.flipped for s in panel.strips] == [True, False]
        for strip in panel.strips:
            assert strip.x_mm == pytest.approx(span, abs=0.002)
            assert strip.y_mm == pytest.approx((2.38125, 181.76875), abs=0.002)
            assert strip.foot == "down"
    front = bay.seams[0]
    assert (front.panel, front.side, front.between, front.match) == ("lower", "front", (0, 1), "book")
    assert front.edge_y_mm == pytest.approx(2.38125, abs=0.002)
    assert front.gap_mm == pytest.approx(3.175)
    assert front.step_mm == pytest.approx(8.72, abs=0.01)  # 3.175 / tan 20°
    assert front.fit is None
    assert bay.continuity is not None
    assert (bay.continuity.hidden_mm, bay.continuity.leaf_mm) == pytest.approx((63.5, 63.5))
    assert bay.continuity.step_mm == (0.0, 0.0)
    assert plan.boards[0].used_fraction == pytest.approx(0.33, abs=0.005)
    assert sum(plan.cost_parts.values()) == pytest.approx(plan.cost, abs=0.005)


def sawn_boxes(plan: Plan) -> list[tuple[str, Box]]:
    return [
        (s.leaf.name, Box(s.x_mm[0], s.y_mm[0], s.x_mm[1], s.y_mm[1]))
        for bay in plan.bays
        for panel in bay.panels.values()
        for s in panel.strips
    ]


def sight_boxes(plan: Plan, hidden: dict[str, float]) -> list[tuple[Leaf, str, Box]]:
    """What stays in sight of each strip: over-length and end engagement off; joints and the outer trim off."""
    found = []
    for bay in plan.bays:
        for panel in bay.panels.values():
            for i, s in enumerate(panel.strips):
                left = hidden["side"] if i == 0 else hidden["joint"]
                right = hidden["side"] if i == len(panel.strips) - 1 else hidden["joint"]
                low, high = (right, left) if s.flipped else (left, right)
                end = hidden["end"]
                found.append(
                    (s.leaf, s.surface, Box(s.x_mm[0] + end, s.y_mm[0] + low, s.x_mm[1] - end, s.y_mm[1] - high))
                )
    return found


HIDDEN = {"side": 6.35 + 9.525 - 3.175, "joint": 1.5875, "end": 6.35 + 7.9375}


def test_knot_behind_the_rail_does_no_harm():
    """A through knot 40 mm long fits behind a 63.5 mm rail; the bay may lie over it, and there it must."""
    board = make_board(length=1310 / INCH + 2, flaws=(Flaw("knot", "through", Box(850, 60, 875, 120)),))
    plan = choose_leaves(make_request([make_bay()], [board]))
    assert [bay.name for bay in plan.bays] == ["left door"]
    for _, _, box in sight_boxes(plan, HIDDEN):
        assert not box.overlaps(board.flaws[0].box)
    lower, upper = plan.bays[0].panels["lower"].strips[0], plan.bays[0].panels["upper"].strips[0]
    assert lower.x_mm[0] < board.flaws[0].box.x0 < board.flaws[0].box.x1 < upper.x_mm[1]


@pytest.mark.parametrize(("on", "filled"), [("face", True), ("back", True), ("through", False)])
def test_flaw_of_the_outside_does_not_harm_the_inner_surfaces(on, filled):
    """A book of two leaves shows A1 far and A2 near, which the board's face and back never were."""
    board = make_board(length=60, flaws=(Flaw("knot", on, Box(500, 60, 700, 120)),))
    plan = choose_leaves(make_request([make_bay()], [board]))
    assert bool(plan.bays) is filled
    assert bool(plan.unfilled) is not filled


def test_flaw_at_the_edge_is_dodged_across_the_board():
    """A check along the far edge of a wide board leaves room for the strip beside it."""
    board = make_board(width=8, length=60, flaws=(Flaw("check", "through", Box(0, 190, 1500, 203.2)),))
    plan = choose_leaves(make_request([make_bay()], [board]))
    assert plan.bays
    for _, _, box in sight_boxes(plan, HIDDEN):
        assert not box.overlaps(board.flaws[0].box)


def test_tapered_board_gives_what_its_narrow_end_allows():
    """7 1/4 in at the foot and 6 in at the head: the strip of 179.4 mm fits only near the foot."""
    wide = make_board(length=60, width=7.25, width_head_mm=7.2 * INCH)
    narrow = make_board(length=60, width=7.25, width_head_mm=6.0 * INCH)
    assert choose_leaves(make_request([make_bay()], [wide])).bays
    plan = choose_leaves(make_request([make_bay()], [narrow]))
    assert not plan.bays
    assert plan.status == "nothing fits"


def test_saved_rail_lays_the_pieces_one_crosscut_apart():
    making = PanelMaking(float_mm=INCH / 4, strips=2, rail_grain="save")
    plan = choose_leaves(make_request([make_bay()], [make_board(length=54)], making=making))
    (bay,) = plan.bays
    lower, upper = bay.panels["lower"].strips[0], bay.panels["upper"].strips[0]
    assert upper.x_mm[0] - lower.x_mm[1] == pytest.approx(INCH / 8, abs=0.002)
    assert bay.continuity is not None
    assert bay.continuity.leaf_mm == pytest.approx(2 * (6.35 + 7.9375) + INCH / 8, abs=0.01)


def test_two_equal_doors_share_a_long_board_without_overlap():
    bays = [make_bay("left door"), make_bay("right door")]
    plan = choose_leaves(make_request(bays, [make_board(length=110), make_board("B", length=110)]))
    assert len(plan.bays) == 2
    boxes = sawn_boxes(plan)
    for i, (leaf, box) in enumerate(boxes):
        for other_leaf, other in boxes[i + 1 :]:
            assert leaf != other_leaf or not box.overlaps(other)
    assert sum(use.used_fraction > 0 for use in plan.boards) == 1, "one board is enough, and cheaper than two"


def test_same_request_gives_the_same_plan():
    bays = [make_bay("left door"), make_bay("right door"), make_bay("side", width=11)]
    boards = [make_board(name, length=80 + 7 * i) for i, name in enumerate("ABCD")]
    request = make_request(bays, boards)
    assert choose_leaves(request) == choose_leaves(request)


def test_weights_are_counted():
    request = make_request([make_bay()], [make_board()])
    plan = choose_leaves(request)
    doubled = choose_leaves(replace(request, weights=replace(request.weights, seams=2.0)))
    assert doubled.cost_parts["seams"] == pytest.approx(2 * plan.cost_parts["seams"], abs=0.002)
    assert doubled.cost_parts["wood"] == pytest.approx(plan.cost_parts["wood"], abs=0.002)
