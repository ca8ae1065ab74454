"""What a fit on predicted surfaces is worth: ``python -m tests.bench.bench_seams [boards] [first seed]``.

Each drawn board is foretold from its sides and then cut. Printed is, first, how often five kinds of seam come out in
order on the true surfaces, on the predicted ones as their fit is found, and as it is told once it is pulled to what is
expected of the real ones; second, the told fit beside the reached one, stretch by stretch of 100 mm, by trust and by
kind of seam. Seeds from 23000 on are used for nothing else.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from grainplan.match.bands import even_surface
from grainplan.match.edges import EdgeRun, reach_across
from grainplan.match.surfaces import LeafSurface
from grainplan.match.trust import temper_run, trust_along
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from tests.drawn.flat import photograph_flat
from tests.drawn.seams import DEPTH_MM, GAPS_MM, KINDS, SawnBoard, SeamTrials, list_orders, saw_board, share_right

FIRST_SEED = 23000
AT_ONCE = 10
LENGTH_MM = 800.0
STRETCH = 5
"""Windows, 100 mm apart from first to last."""
TRUST_STEPS = (0.0, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.01)
OF_ONE_PLACE = ("mates above further apart", "further apart above slip")
"""What is expected of a seam takes for granted that it is one: told fits of strangers mean nothing."""
SIDES = ("face", "back", "foot", "head")


@dataclass(frozen=True, slots=True)
class Row:
    """One seam: its kind, and window by window trust, found fit, told fit and true fit."""

    kind: int
    trust: np.ndarray
    found: np.ndarray
    told: np.ndarray
    reached: np.ndarray


def foretell(board: SawnBoard, seed: int) -> tuple[SawnBoard, dict[str, LeafSurface]]:
    """The same board with what its sides foretell of its leaves."""
    fitted = fit_solid({side: photograph_flat(board.solid, side, seed=seed) for side in SIDES})  # type: ignore[misc]
    assert isinstance(fitted, BoardSolid), fitted
    views = {name: draw_level(fitted, depth) for name, depth in DEPTH_MM.items()}
    surfaces = {n: LeafSurface(v.picture, "inside", v.confidence, v.sure, v.rings_alone) for n, v in views.items()}
    return replace(board, surfaces={n: even_surface(v.rings_alone) for n, v in views.items()}), surfaces


class ForetoldTrials(SeamTrials):
    """The same seams on predicted surfaces; what is known of each is kept beside the board."""

    def __init__(self, boards: list[SawnBoard], known: list[dict[str, LeafSurface]], *, seed: int) -> None:
        super().__init__(boards, seed=seed, pith_known=True)
        self.known = known

    def temper(self, place: int, runs: list[EdgeRun], edges_mm: tuple[float, float, float]) -> list[EdgeRun]:
        """The fits that are told; `edges_mm`: of the seam, of the other place, of the other board."""
        mine, other = self.known[place], self.known[(place + 3) % len(self.known)]
        edge, elsewhere, strange = edges_mm
        pairs = [
            ((mine["A1 far"], edge), (mine["A2 near"], edge)),
            ((mine["A1 near"], edge), (mine["A2 far"], edge)),
            ((mine["A1 near"], edge), (mine["A2 near"], edge)),
            ((mine["A1 far"], edge), (mine["A2 near"], elsewhere)),
            ((mine["A1 far"], edge), (other["A2 near"], strange)),
        ]
        told, angle = [], max(5.0, self.boards[place].ring_angle(edge + 15))
        for run, pair, gap in zip(runs, pairs, GAPS_MM, strict=True):
            first, second = (trust_along(surface, at, run.x_mm, toward=1) for surface, at in pair)
            told.append(temper_run(run, (first, second), gap_mm=gap, reach_mm=reach_across(gap, angle)))
        return told


def judge(seeds: range) -> tuple[tuple[list[list[float]], ...], list[Row]]:
    """Fits of the five kinds on true surfaces, on predicted ones as found and as told; windows of the first three."""
    boards = [saw_board(seed, length_mm=LENGTH_MM) for seed in seeds]
    foretold = [foretell(board, seed) for board, seed in zip(boards, seeds, strict=True)]
    true = SeamTrials(boards, seed=seeds[0], pith_known=True)
    guessed = ForetoldTrials([board for board, _ in foretold], [known for _, known in foretold], seed=seeds[0])
    fits: tuple[list[list[float]], ...] = ([], [], [])
    rows = []
    for place in range(len(boards)):
        real, found = ([run for run, _ in trials.compare(place)] for trials in (true, guessed))
        told = guessed.temper(place, found, guessed.edges_mm)
        for listed, runs in zip(fits, (real, found, told), strict=True):
            listed.append([float(np.average(run.fit, weights=run.texture + 1e-9)) for run in runs])
        for kind in range(3):
            trust = trust_of(guessed.known[place], kind, guessed.edges_mm[0], found[kind])
            rows.append(Row(kind, trust, found[kind].fit, told[kind].fit, real[kind].fit))
    return fits, rows


def trust_of(known: dict[str, LeafSurface], kind: int, edge_mm: float, run: EdgeRun) -> np.ndarray:
    """Geometric mean of the trust in both surfaces, window by window."""
    names = (("A1 far", "A2 near"), ("A1 near", "A2 far"), ("A1 near", "A2 near"))[kind]
    first, second = (trust_along(known[name], edge_mm, run.x_mm, toward=1) for name in names)
    return np.asarray(np.sqrt(first * second))


def print_told(rows: list[Row]) -> None:
    """Told beside reached, by trust and by kind, over stretches."""
    parts = [
        [row.kind, *(values[i : i + STRETCH].mean() for values in (row.trust, row.found, row.told, row.reached))]
        for row in rows
        for i in range(0, min(len(row.told), len(row.reached)) - STRETCH + 1, STRETCH)
    ]
    kind, trust, found, told, reached = np.array(parts).T
    print(f"\n{'trust':<26}{'stretches':>10}{'found':>8}{'told':>8}{'reached':>9}{'told - reached':>16}")
    picks = [(f"{a:.1f} to {b:.1f}", (trust >= a) & (trust < b)) for a, b in pairwise(TRUST_STEPS)]
    picks += [(KINDS[i], kind == i) for i in range(3)] + [("all", kind >= 0)]
    for name, pick in picks:
        if pick.any():
            means = [values[pick].mean() for values in (found, told, reached)]
            shown = "".join(f"{mean:8.3f}" for mean in means)
            print(f"{name:<26}{pick.sum():>10}{shown} {means[1] - means[2]:>+15.3f}")
    for name, values in (("found", found), ("told", told)):
        miss = float(np.sqrt(np.mean((values - reached) ** 2)))
        print(f"{name}: off by {miss:.3f} (root mean square), correlation {np.corrcoef(values, reached)[0, 1]:.3f}")


def main(count: int, first: int) -> None:
    cv2.setNumThreads(1)
    start = time.process_time()
    fits: tuple[list[list[float]], ...] = ([], [], [])
    rows: list[Row] = []
    for low in range(first, first + count, AT_ONCE):
        found, more = judge(range(low, min(low + AT_ONCE, first + count)))
        for listed, new in zip(fits, found, strict=True):
            listed.extend(new)
        rows += more
    print(f"{count} drawn boards, the pith known; {time.process_time() - start:.0f} s of the processor\n")
    names = ("true surfaces", "predicted, found", "predicted, told")
    orders = [list_orders(np.array(listed)) for listed in fits]
    print(f"{'in the right order':<42}" + "".join(f"{name:>18}" for name in names))
    for what in orders[0]:
        shown = orders if what in OF_ONE_PLACE else orders[:2]
        print(f"{what:<42}" + "".join(f"{order[what].mean():>18.1%}" for order in shown))
    print(f"{'share of all pairs of kinds':<42}" + "".join(f"{share_right(np.array(f)):>18.1%}" for f in fits[:2]))
    print_told(rows)


if __name__ == "__main__":
    main(*(int(word) for word in (sys.argv[1:] + ["60", str(FIRST_SEED)][len(sys.argv) - 1 :])[:2]))
