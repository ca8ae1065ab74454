"""The maker's hand: one bay moves, the others stay, and the cost is told."""

import time
from dataclasses import replace

import pytest

from grainplan import hand, steps
from grainplan.choice import Outcome, choose_again
from grainplan.errors import GrainplanError
from grainplan.match import spare
from grainplan.plan import PlannedBay
from tests.small_job import make_small_job


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    return steps.run_plan(make_small_job(tmp_path_factory.mktemp("hand") / "job"))


def bay(outcome: Outcome, name: str) -> PlannedBay:
    return next(bay for bay in outcome.plan.bays if bay.name == name)


def others(outcome: Outcome, *names: str) -> list[tuple[object, ...]]:
    """Where the strips of all other bays lie, to a tenth of a millimetre."""
    return [
        (b.name, part, s.leaf, s.surface, s.foot, *(round(v, 1) for v in (*s.x_mm, *s.y_mm)))
        for b in outcome.plan.bays
        if b.name not in names
        for part, panel in b.panels.items()
        for s in panel.strips
    ]


def start(planned: PlannedBay) -> float:
    return min(s.x_mm[0] for panel in planned.panels.values() for s in panel.strips)


def test_a_cut_slides_and_nothing_else_moves(outcome: Outcome) -> None:
    room = next(b for b in outcome.plan.bays if start(b) < 30)
    moved = hand.slide_bay(outcome, room.name, along_mm=40.0)
    assert start(bay(moved, room.name)) == pytest.approx(start(room) + 40.0, abs=0.02)
    assert others(moved, room.name) == others(outcome, room.name)
    assert moved.plan.cost >= outcome.plan.cost - 1e-6  # the plan was proven best


def test_a_cut_does_not_slide_off_the_board(outcome: Outcome) -> None:
    with pytest.raises(GrainplanError, match="cannot stay"):
        hand.slide_bay(outcome, outcome.plan.bays[0].name, along_mm=5000.0)


def test_leaves_turn_end_for_end(outcome: Outcome) -> None:
    name = outcome.plan.bays[0].name
    before = bay(outcome, name).panels["lower"].strips[0].foot
    turned = hand.turn_bay(outcome, name)
    assert {s.foot for s in bay(turned, name).panels["lower"].strips} == {"up" if before == "down" else "down"}
    assert others(turned, name) == others(outcome, name)


def test_the_other_surface_comes_to_the_front(outcome: Outcome) -> None:
    name = outcome.plan.bays[0].name
    before = bay(outcome, name).panels["lower"].strips
    shown = bay(hand.show_other_surface(outcome, name), name).panels["lower"].strips
    assert [s.leaf for s in shown] == [s.leaf for s in before[::-1]]


def test_two_bays_change_places(outcome: Outcome) -> None:
    swapped = hand.change_places(outcome, "left door", "right door")
    for one, other in (("left door", "right door"), ("right door", "left door")):
        mine = [s.leaf for s in bay(swapped, one).panels["lower"].strips]
        assert mine == [s.leaf for s in bay(outcome, other).panels["lower"].strips]
    assert others(swapped, "left door", "right door") == others(outcome, "left door", "right door")


def test_a_move_looks_for_no_other_spare_pair(outcome: Outcome, monkeypatch: pytest.MonkeyPatch) -> None:
    """That takes several choices; what was found before goes with the bays, as far as they leave it alone."""
    wished = choose_again(outcome, replace(outcome.job, spare_pair=True))
    monkeypatch.setattr(spare, "_find_left_over", lambda *_: pytest.fail("it is to be quick"))
    name = outcome.plan.bays[0].name
    moved = hand.turn_bay(wished, name)
    assert moved.job.spare_pair
    assert moved.plan.spares or moved.plan.no_spare or any(told.startswith(spare.GONE) for told in moved.plan.caveats)
    assert set(moved.plan.spares) <= set(wished.plan.spares)
    assert bay(moved, name).lie == bay(hand.turn_bay(outcome, name), name).lie


def test_a_bay_that_is_not_there(outcome: Outcome) -> None:
    with pytest.raises(GrainplanError, match="no leaves"):
        hand.turn_bay(outcome, "trap door")


def test_the_answer_comes_quickly(outcome: Outcome) -> None:
    """Beside reading the boards anew, which is what a change would cost without what is known already."""
    began = time.perf_counter()
    hand.turn_bay(outcome, outcome.plan.bays[0].name)
    quick = time.perf_counter() - began
    began = time.perf_counter()
    steps.measure(outcome.job, fresh=True)
    assert quick < time.perf_counter() - began
