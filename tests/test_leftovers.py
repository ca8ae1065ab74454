"""What stays of the leaves: at its true width at both ends, and nothing that could be used goes unsaid."""

from __future__ import annotations

import pytest

from grainplan.frame import PanelMaking
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json
from grainplan.match.arrange import arrange_running
from grainplan.match.assign import choose_leaves
from grainplan.shop import Shop
from tests.test_assign import INCH, make_bay, make_board, make_request


def area_of(offcut):
    head = offcut.y_head_mm or offcut.y_mm
    widths = offcut.y_mm[1] - offcut.y_mm[0], head[1] - head[0]
    return (offcut.x_mm[1] - offcut.x_mm[0]) * sum(widths) / 2


def account_for(plan, board, leaf):
    """Area of a leaf's usable part, and what of it is in strips, their kerfs and rail gaps, and offcuts, mm²."""
    rough = board.board
    length = rough.length_mm - 2 * INCH
    usable = length * (rough.width_at(INCH) + rough.width_at(rough.length_mm - INCH)) / 2
    strips = [s for bay in plan.bays for panel in bay.panels.values() for s in panel.strips if s.leaf.name == leaf]
    x = [v for s in strips for v in s.x_mm]
    width = strips[0].y_mm[1] - strips[0].y_mm[0]
    taken = (max(x) - min(x)) * (width + 2 * INCH / 8) + INCH / 8 * rough.width_at(max(x))
    kept = sum(area_of(o) for o in plan.offcuts if o.leaf.name == leaf)
    return usable, taken, kept


def test_offcuts_of_a_tapered_board_have_their_true_width_at_both_ends():
    """The trapezoid of the leaf is strips, kerfs and offcuts, to the last rip."""
    board = make_board(length=110, width=10, width_head_mm=8 * INCH)
    plan = choose_leaves(make_request([make_bay(width=9)], [board]))
    for leaf in ("A1", "A2"):
        usable, taken, kept = account_for(plan, board, leaf)
        assert taken + kept == pytest.approx(usable, rel=0.002)
    ends = [o for o in plan.offcuts if o.y_mm[0] == 0.0 and o.y_head_mm is not None]
    assert ends
    for offcut in ends:
        assert offcut.y_mm[1] == pytest.approx(board.board.width_at(offcut.x_mm[0]), abs=0.01)
        assert offcut.y_head_mm[1] == pytest.approx(board.board.width_at(offcut.x_mm[1]), abs=0.01)
        assert offcut.sound_y_mm == (0.0, offcut.y_head_mm[1])
    again = plan_from_json(plan_to_json(plan))
    assert [o.y_head_mm for o in again.offcuts] == [
        None if o.y_head_mm is None else pytest.approx(o.y_head_mm, abs=0.006) for o in plan.offcuts
    ]


def test_board_that_does_not_taper_has_square_offcuts():
    plan = choose_leaves(make_request([make_bay()], [make_board(length=110)]))
    assert all(o.y_head_mm is None for o in plan.offcuts)
    assert "y_head_mm" not in plan_to_json(plan)["offcuts"][0]


def test_what_a_running_match_leaves_of_its_last_leaf_is_an_offcut():
    """Two leaves and a narrower strip of a third: the rest of the third is told, as long as the bay."""
    board = make_board(length=60, width=5.5, thickness=1.6)
    making = PanelMaking(float_mm=INCH / 4, match="running")
    bay = make_bay(width=12)
    plan = choose_leaves(make_request([bay], [board], making=making, shop=Shop(shortest_planed_mm=0)))
    strips = plan.bays[0].panels["lower"].strips
    widths = [s.y_mm[1] - s.y_mm[0] for s in strips]
    assert len(widths) == 3
    assert widths[2] < widths[0]
    last = strips[2].leaf
    beside = [o for o in plan.offcuts if o.leaf == last and o.x_mm[0] == pytest.approx(INCH)]
    assert beside, [(o.leaf.name, o.x_mm, o.y_mm) for o in plan.offcuts]
    rest = beside[0].y_mm[1] - beside[0].y_mm[0]
    assert rest == pytest.approx(5.5 * INCH - widths[2] - INCH / 8, abs=0.01)
    assert any(
        f"{last.name} gives only" in caveat and "begin another panel" in caveat for caveat in plan.bays[0].caveats
    )


def test_running_match_on_a_tapered_or_crooked_board_takes_what_width_there_is():
    """Strips as wide as the board is over the whole length of the bay, not as it is at its widest end."""
    making = PanelMaking(float_mm=INCH / 4, match="running")
    tapered = make_board(length=60, width=8, width_head_mm=6.5 * INCH, thickness=1.6)
    crooked = make_board(length=60, width=8, thickness=1.6, crook_mm=6.0)
    for board in (tapered, crooked):
        plan = choose_leaves(make_request([make_bay(width=12)], [board], making=making))
        strips = plan.bays[0].panels["lower"].strips
        assert sum(s.y_mm[1] - s.y_mm[0] for s in strips) == pytest.approx(
            plan.bays[0].panels["lower"].width_mm + INCH / 2 + INCH / 8 * (len(strips) - 1), abs=0.01
        )
        for strip in strips:
            assert strip.y_mm[1] <= min(board.board.width_at(x) for x in strip.x_mm) - board.board.crook_mm + 0.01


def test_last_strip_of_a_running_match_is_never_a_splinter():
    """483 mm from leaves of 160: three whole ones and 3 mm more would be a splinter; the others give some of theirs."""
    near, _ = arrange_running(477, 1, 160, least_mm=38)
    widths = [s.y_mm[1] - s.y_mm[0] for s in near.strips]
    assert widths[-1] == pytest.approx(38)
    assert sum(widths) == pytest.approx(477 + 2 * 3)
    assert widths[0] == widths[1] == widths[2] < 160
