"""The sapwood border: found where it runs on boards of known wood, and hardly ever where there is none."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from grainplan.boards import BroadSide, ClearSpot, Flaw, RoughBoard, Side
from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.sapwood import SapBorder, box_sapwood, find_sapwood, propose_sapwood
from tests.drawn.sapwood import SapBoard, grow_sap_board
from tests.test_flaws import flatten_board

BROAD: tuple[BroadSide, ...] = ("face", "back")
SEEDS = range(3000, 3006)  # the weights were fitted to 0 to 35


@dataclass(slots=True)
class Tally:
    """Edges that have sapwood and those found; borders that are none; how far off the right ones run, mm."""

    edges: int = 0
    hits: int = 0
    false: int = 0
    seen_m: float = 0.0
    off_mm: list[float] = field(default_factory=list)

    def count(self, board: SapBoard, found: tuple[SapBorder, ...], broad: tuple[BroadSide, ...]) -> None:
        for on in broad:
            self.seen_m += board.solid.length_mm / 1000
            sap = board.find_sap(on)
            for far in (False, True):
                band = measure_band(sap, far=far)
                right = 0
                for border in (b for b in found if b.on == on and b.far == far):
                    there = band[np.clip(border.x_mm.astype(int), 0, band.size - 1)]
                    own = border.width_mm - border.y_mm if far else border.y_mm
                    off = float(np.median(np.abs(own - there)))
                    if off <= 10 and (there >= 4).mean() > 0.6:
                        right += 1
                        self.off_mm.append(off)
                    else:
                        self.false += 1
                if ((band >= 8) & (band < 0.6 * sap.shape[0])).mean() >= 0.4:
                    self.edges += 1
                    self.hits += right > 0


def measure_band(sap: NDArray[np.bool_], *, far: bool) -> NDArray[np.int64]:
    """How wide the sapwood along an edge is at every millimetre; 0 where the whole width is sapwood: no border."""
    laid = sap[::-1] if far else sap
    wide = np.argmax(~laid, axis=0)
    return np.where(laid[0] & ~laid.all(axis=0), wide, 0)


def draw_sides(board: SapBoard, sides: tuple[Side, ...]) -> Mapping[Side, Picture]:
    return {side: board.draw(side, px_per_mm=1.0 if side in BROAD else 2.0) for side in sides}


def test_borders_on_drawn_boards_that_were_not_tuned_on() -> None:
    """Two sides and both ends: most edges with sapwood found, within 3 mm in the middle of them, few false ones."""
    tally = Tally()
    for seed in SEEDS:
        for sap in (True, False):
            board = grow_sap_board(seed, sap=sap, length_mm=900.0)
            tally.count(board, find_sapwood(draw_sides(board, ("face", "back", "foot", "head"))), BROAD)
    print(f"{tally.hits} of {tally.edges} edges, {tally.false} false in {tally.seen_m:.1f} m of side")
    assert tally.edges >= 8
    assert tally.hits >= 0.75 * tally.edges
    assert tally.false <= 2
    assert float(np.median(tally.off_mm)) <= 3.0


def test_real_boards_without_labelled_sapwood_show_none(photo_data: Path) -> None:
    """Boards A, C and F of Kodytek, Bodzas, Bilik 2021: spruce or pine whose sap and heart look alike, none labelled.

    Board A is brighter on one side of a ring along most of its length: sheen, not hue. Whole, and in parts of 0.8 m.
    """
    for name in "ACF":
        picture, _, length_mm = flatten_board(photo_data / "sawn-boards", name)
        parts = [picture, *(picture.crop(Box(x, 0.0, x + 800.0, 150.0)) for x in np.arange(0.0, length_mm - 800, 550))]
        assert [len(find_sapwood({"face": part})) for part in parts] == [0] * len(parts)


def test_an_end_that_shows_the_border_makes_it_surer_and_one_that_does_not_makes_it_less_sure() -> None:
    board = grow_sap_board(14, sap=True)
    face, foot = board.draw("face", px_per_mm=1.0), board.draw("foot")
    plain = grow_sap_board(14, sap=False).draw("foot")
    alone, backed, denied = (
        max((b.confidence for b in find_sapwood(sides)), default=0.0)
        for sides in ({"face": face}, {"face": face, "foot": foot}, {"face": face, "foot": plain})
    )
    assert denied < alone < backed


def test_boxes_hold_the_sapwood_and_little_else() -> None:
    x = np.arange(5.0, 2000.0, 10.0)
    straight = SapBorder("face", True, x, np.full(x.size, 150.0), 180.0, 0.7)
    (flaw,) = box_sapwood(straight)
    assert flaw == Flaw("sapwood", "face", Box(0.0, 150.0, 2000.0, 180.0), False, "program", 0.7)
    leaning = SapBorder("back", False, x, 20.0 + x / 25.0, 180.0, 0.7)
    boxes = [f.box for f in box_sapwood(leaning)]
    assert len(boxes) == 4
    assert [b.x0 for b in boxes[1:]] == [b.x1 for b in boxes[:-1]]
    sap_mm2 = float(leaning.y_mm.sum() * 10)
    held = sum(float(np.clip(leaning.y_mm, 0, b.y1)[(x > b.x0) & (x < b.x1)].sum() * 10) for b in boxes)
    assert held == pytest.approx(sap_mm2)
    assert sum(b.area for b in boxes) < 1.25 * sap_mm2


def test_sapwood_and_the_knots_in_it_are_answered_apart() -> None:
    sap = Flaw("sapwood", "face", Box(0.0, 150.0, 1200.0, 180.0), False, "program", 0.7)
    knot = Flaw("knot", "face", Box(400.0, 160.0, 420.0, 175.0), False, "program", 0.8)

    def left(*, flaws: tuple[Flaw, ...] = (), clear: tuple[ClearSpot, ...] = ()) -> list[str]:
        board = RoughBoard("A", 1200.0, 180.0, 25.0, "white ash", 8.0, flaws=flaws, clear=clear)
        return [f.kind for f in board.list_open((sap, knot))]

    assert left() == ["sapwood", "knot"]
    assert left(flaws=(Flaw("knot", "through", knot.box),)) == ["sapwood"]
    assert left(flaws=(Flaw("sapwood", "through", sap.box),)) == ["knot"]
    assert left(flaws=(Flaw("other", "through", sap.box),)) == []
    assert left(flaws=(Flaw("knot", "back", knot.box),)) == ["sapwood", "knot"]
    assert left(flaws=(Flaw("wane", "face", Box(390.0, 155.0, 500.0, 180.0)),)) == ["sapwood"]
    assert left(clear=(ClearSpot("face", sap.box, "sapwood"),)) == ["knot"]
    assert left(clear=(ClearSpot("face", knot.box, "knot"),)) == ["sapwood"]
    assert left(clear=(ClearSpot("face", knot.box),)) == ["sapwood"]
    assert left(clear=(ClearSpot("face", sap.box),)) == []


def test_a_board_too_small_to_tell_has_none() -> None:
    board = grow_sap_board(14, sap=True, length_mm=200.0)
    assert propose_sapwood({"face": board.draw("face", px_per_mm=1.0)}) == ()
    assert find_sapwood({}) == ()
