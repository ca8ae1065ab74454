"""How many leaves are recognised by their photos, among drawn jobs of six boards sawn into three leaves each.

    python -m tests.bench.bench_recognise [jobs]

Four questions: with the rough boards' faces and backs alone; with what was foretold inside them too; with the photos
of all other leaves; with both. And beside these, two leaves of one board that have changed names. "Sure" are those of
which the program says that it can tell.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

import cv2
import numpy as np

from grainplan.boards import Leaf
from grainplan.errors import NotFound
from grainplan.match.recognise import KnownSurface, Recognition, recognise_all, recognise_leaf
from grainplan.wood.solid import TRUSTED, draw_level, fit_solid
from tests.drawn.flat import photograph_flat
from tests.drawn.leaves import DrawnJob, saw_job
from tests.drawn.sawn_job import SIDES

BOARDS = 6
FIRST_JOB = 40
ROWS = ("rough boards alone", "with insides", "with the other leaves", "with both")


def main(count: int) -> None:
    cv2.setNumThreads(1)
    rows: dict[str, list[tuple[bool, bool, bool]]] = {name: [] for name in ROWS}
    told: list[bool] = []
    spent = 0.0
    for number in range(FIRST_JOB, FIRST_JOB + count):
        job = saw_job(number, boards=BOARDS)
        inside = foretell(job)
        start = time.process_time()
        for known, names in ((job.known, ROWS[::2]), ((*job.known, *inside), ROWS[1::2])):
            alone = [recognise_leaf(job.show(leaf), job.depths_mm, known) for leaf in job.photos]
            together = recognise_all([job.show(leaf) for leaf in job.photos], job.depths_mm, known)
            for name, found in zip(names, (alone, together), strict=True):
                rows[name] += [judge(leaf, r) for leaf, r in zip(job.photos, found, strict=True)]
        spent += time.process_time() - start
        told += swap_two(job, number, (*job.known, *inside))
        print(
            f"job {number}: " + ", ".join(f"{np.mean([r[0] for r in found]):.1%}" for found in rows.values()),
            flush=True,
        )
    print(f"{count} jobs, {BOARDS * 3} leaves each; {spent / (4 * count * BOARDS * 3):.2f} s a leaf\n")
    print(f"{'':<26}{'leaf':>8}{'board':>8}{'sure':>8}{'right where sure':>18}")
    for name, results in rows.items():
        leaf, board, sure = np.array(results).T
        print(f"{name:<26}{leaf.mean():>8.1%}{board.mean():>8.1%}{sure.mean():>8.1%}{leaf[sure].mean():>18.1%}")
    print(f"\nof two leaves that changed names, doubted or corrected: {np.mean(told):.1%} of {len(told)}")


def foretell(job: DrawnJob) -> list[KnownSurface]:
    """What is foretold inside each board from its face, back and ends, where it may be trusted."""
    found = []
    for name, solid in job.solids.items():
        sides = {side: photograph_flat(solid, side, seed=ord(name)) for side in SIDES}
        fitted = fit_solid(sides)
        if isinstance(fitted, NotFound):
            continue
        for leaf, surface in job.depths_mm:
            if leaf.board == name:
                depth = job.depths_mm[leaf, surface]
                view = draw_level(fitted, depth)
                if view.confidence >= TRUSTED:
                    found.append(KnownSurface(name, depth, view.rings_alone, view.confidence))
    return found


def judge(leaf: Leaf, found: Recognition | NotFound) -> tuple[bool, bool, bool]:
    """Whether the leaf is right, the board is right, and no doubt was told."""
    if isinstance(found, NotFound):
        return False, False, False
    right = found.best == leaf and found.lie == "as said"
    return right, found.best.board == leaf.board and found.lie == "as said", found.share[found.best] >= 0.95


def swap_two(job: DrawnJob, seed: int, known: Sequence[KnownSurface]) -> list[bool]:
    """Two leaves of one board under each other's names: whether each is doubted."""
    random = np.random.default_rng(seed)
    board = chr(ord("A") + int(random.integers(BOARDS)))
    first, second = (Leaf(board, int(n)) for n in random.permutation([1, 2, 3])[:2])
    name_of = {first: second, second: first}
    shown = [job.show(leaf, said=name_of.get(leaf)) for leaf in job.photos]
    places = [i for i, leaf in enumerate(job.photos) if leaf in name_of]
    found = recognise_all(shown, job.depths_mm, known)
    return [not isinstance(found[i], NotFound) and bool(found[i].caveats) for i in places]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
