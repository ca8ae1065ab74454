"""What the search for flaws finds and what it makes up, kind by kind, and how long it takes.

    python -m tests.bench.bench_flaws [boards]

Drawn boards whose seeds nothing was tuned on: sapwood borders, stains, fine checks, and the same boards without them.
With ``GRAINPLAN_PHOTO_DATA`` also real ones (Kodytek, Bodzas, Bilik 2021, doi 10.5281/zenodo.4694695, CC BY 4.0):
board F and every second frame, which were kept apart; of knots only board F was, their weights know all frames.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from grainplan.boards import Flaw, Side
from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.flaws import propose_flaws
from grainplan.wood.sapwood import find_sapwood
from tests.drawn.checks import Check, lay_check
from tests.drawn.sapwood import grow_sap_board
from tests.drawn.stain import StainSort, lay_stain
from tests.test_flaws import STREAKS, flatten_board, list_frames, wilson
from tests.test_sapwood import BROAD, Tally, draw_sides

FIRST_SEED = 12_000
SORTS: tuple[StainSort, ...] = ("sticker", "blue", "iron", "brown")
WIDTHS_MM = (0.3, 0.5, 0.8, 1.2)
SEEN: tuple[tuple[Side, ...], ...] = (("face",), ("face", "back"), ("face", "back", "foot", "head"))


@dataclass(slots=True)
class Count:
    """Things that are there, those found; boxes that are none, in what length; all length searched, processor time."""

    there: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    false_in_m: float = 0.0
    metres: float = 0.0
    seconds: float = 0.0

    def search(self, picture: Picture) -> tuple[Flaw, ...]:
        began = time.process_time()
        flaws = propose_flaws(picture, "face")
        self.seconds += time.process_time() - began
        self.metres += picture.width_mm / 1000
        return flaws

    def judge(self, flaws: tuple[Flaw, ...], kind: str, box: Box, *, name: str) -> None:
        self.there[name] += 1
        self.found[name] += any(f.kind == kind and f.box.overlaps(box) for f in flaws)

    def show(self) -> None:
        for name, of in self.there.items():
            low, high = wilson(self.found[name], of)
            print(f"  {name:<22}{self.found[name]:>4} of {of:<4} {low:.0%} to {high:.0%}")
        false = ", ".join(f"{n} {kind}" for kind, n in self.false.items()) or "none"
        pace = f"{2 * self.seconds / self.metres:.2f} s for 2 m of a side"
        print(f"  false boxes: {false}, in {self.false_in_m:.1f} m; {pace}")


def measure_sapwood(count: int) -> None:
    for sides in SEEN:
        tally, seconds = Tally(), 0.0
        for seed in range(FIRST_SEED, FIRST_SEED + count):
            for sap in (True, False):
                board = grow_sap_board(seed, sap=sap)
                pictures = draw_sides(board, sides)
                began = time.process_time()
                found = find_sapwood(pictures)
                seconds += time.process_time() - began
                tally.count(board, found, tuple(on for on in BROAD if on in sides))
        low, high = wilson(tally.hits, tally.edges)
        middle, most = np.quantile(tally.off_mm, [0.5, 0.9])
        off = f"{middle:.1f} mm off in the middle, at most {most:.1f} mm in nine of ten"
        print(f"sapwood, seen on {', '.join(sides)}:")
        print(f"  {tally.hits} of {tally.edges} edges, {low:.0%} to {high:.0%}; {off}")
        print(f"  {tally.false} false in {tally.seen_m:.1f} m; {seconds / 2 / count:.2f} s a board")


def measure_laid(count: int) -> Count:
    """Stains and checks laid on drawn boards, and the boards without them."""
    told = Count()
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        clear = grow_sap_board(seed, sap=seed % 3 == 0).draw("face")
        told.false.update(f.kind for f in told.search(clear) if f.kind != "knot")
        told.false_in_m += clear.width_mm / 1000
        for sort in SORTS:
            stained, box = lay_stain(clear, sort, seed=seed)
            told.judge(told.search(stained), "stain", box, name=f"stain, {sort}")
        for at, width in enumerate(WIDTHS_MM):
            check = Check((30.0, 60.0, 120.0)[(seed + at) % 3], width, at_end=(seed + at) % 2 == 0)
            cracked, box = lay_check(clear, check, seed=seed)
            told.judge(told.search(cracked), "check", box, name=f"check, {width} mm")
    return told


def measure_real(folder: Path) -> Count:
    told = Count()
    picture, labels, _ = flatten_board(folder / "sawn-boards", "F")
    apart = [(picture, [(name, box) for name, box, _ in labels]), *list_frames(folder / "sawn-frames")[1::2]]
    for own, boxes in apart:
        flaws = told.search(own)
        told.false_in_m += own.width_mm / 1000
        for label, box in boxes:
            kind = STREAKS.get(label, "knot" if "not" in label.lower() else "")
            if kind:
                told.judge(flaws, kind, box, name=kind)
        told.false.update(f.kind for f in flaws if not any(f.box.overlaps(box) for _, box in boxes))
    return told


def main(count: int) -> None:
    cv2.setNumThreads(1)
    measure_sapwood(count)
    print("laid on drawn boards, seen on the face:")
    measure_laid(count).show()
    data = os.environ.get("GRAINPLAN_PHOTO_DATA")
    if data:
        print("real boards that were kept apart:")
        measure_real(Path(data)).show()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 32)
