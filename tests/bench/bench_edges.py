"""How well the seam score tells five kinds of seam apart, on 200 drawn boards with known leaves, and how long it takes.

    python -m tests.bench.bench_edges [boards]

Prints the share of trials in the right order, by ring angle, and the time of one seam of 800 mm at 2 px/mm beside the
same search done directly with OpenCV.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import cv2
import numpy as np

from grainplan.match.bands import EdgeBand
from grainplan.match.edges import EdgeScore, EdgeSearch, compare_edges
from tests.drawn.seams import KINDS, SawnBoard, SeamTrials, list_orders, saw_board, share_right

FIRST_SEED = 3000
AT_ONCE = 15
"""Boards of one job: they are each other's strangers, and no more of them are kept in memory."""


def main(count: int) -> None:
    cv2.setNumThreads(1)
    scores: dict[bool, list[list[EdgeScore]]] = {False: [], True: []}
    angles: list[float] = []
    boards: list[SawnBoard] = []
    for first in range(0, count, AT_ONCE):
        boards = [saw_board(FIRST_SEED + seed) for seed in range(first, min(first + AT_ONCE, count))]
        angles += [board.ring_angle(board.solid.width_mm / 2) for board in boards]
        for pith_known, found in scores.items():
            trials = SeamTrials(boards, seed=first, pith_known=pith_known)
            for place in range(len(boards)):
                found.append([run.score(0, 800, strangers=level) for run, level in trials.compare(place)])
    flat = np.array(angles) < 30
    print(f"{count} drawn boards, {len(KINDS)} seams each, 800 mm long; rings under 30° in {flat.sum()}\n")
    print("the ring angle known, the search as wide as lines move:")
    print_table(scores[False], flat)
    print("\nthe pith known to 6 mm at each end, lines looked for where it leads too:")
    print_table(scores[True], flat)
    time_seam(boards[0])


def print_table(scores: list[list[EdgeScore]], flat: np.ndarray) -> None:
    above = np.array([[score.above_strangers for score in row] for row in scores])
    fits, steps, tones = (
        np.array([[getattr(score, name) for score in row] for row in scores]) for name in ("fit", "step_mm", "tone_de")
    )
    print(f"{'kind':<26}{'fit':>7}{'10 %':>7}{'90 %':>7}{'above':>8}{'step mm':>9}{'tone':>7}")
    for i, kind in enumerate(KINDS):
        low, high = np.percentile(fits[:, i], [10, 90])
        print(
            f"{kind:<26}{fits[:, i].mean():>7.3f}{low:>7.3f}{high:>7.3f}{above[:, i].mean():>8.3f}"
            f"{steps[:, i].mean():>9.2f}{tones[:, i].mean():>7.2f}"
        )
    print(f"\n{'in the right order':<42}{'all':>8}{'rings < 30°':>13}{'rings >= 30°':>14}")
    for what, right in list_orders(above).items():
        print(f"{what:<42}{right.mean():>8.1%}{right[flat].mean():>13.1%}{right[~flat].mean():>14.1%}")
    print(f"{'share of all pairs of kinds in order':<42}", end="")
    print(f"{share_right(above):>8.1%}{share_right(above[flat]):>13.1%}{share_right(above[~flat]):>14.1%}")


def time_seam(board: SawnBoard) -> None:
    first, second = board.edge("A1 far", 20.0), board.edge("A2 near", 20.0)
    compare_edges(first, second, EdgeSearch())  # the bands are ready after the first use
    for reach in (6.0, 12.0, 18.0):
        ours = measure_seconds(lambda reach=reach: compare_edges(first, second, EdgeSearch(reach)))
        plain = measure_seconds(lambda reach=reach: match_plainly(first, second, reach), repeats=3)
        print(f"search of {reach:>4.0f} mm: {1000 * ours:6.2f} ms a seam; OpenCV matchTemplate {1000 * plain:7.1f} ms")


def match_plainly(first: EdgeBand, second: EdgeBand, reach_mm: float) -> None:
    """The same windows and moves, window by window, with a template of what always overlaps."""
    d = first.px_per_mm
    reach, along = round(reach_mm * d), round(3 * d)
    for start in range(along, first.figure.shape[1] - 120 - along, 40):
        template = first.figure[reach : len(first.figure) - reach, start : start + 120]
        cv2.matchTemplate(second.figure[:, start - along : start + 120 + along], template, cv2.TM_CCOEFF_NORMED)


def measure_seconds(work: Callable[[], object], *, repeats: int = 30) -> float:
    """Time of the processor, so that what else runs on the machine does not count."""
    taken = []
    for _ in range(repeats):
        start = time.thread_time()
        work()
        taken.append(time.thread_time() - start)
    return float(np.median(taken))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
