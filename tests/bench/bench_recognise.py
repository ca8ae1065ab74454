"""How many leaves are recognised by their photos, among drawn jobs of six boards sawn into three leaves each.

    python -m tests.bench.bench_recognise [jobs]

Three questions: with the rough boards' faces and backs alone; with the photos of all other leaves; and two leaves of
one board that have changed names. "Sure" are those of which the program says that it can tell.
"""

from __future__ import annotations

import sys
import time

import cv2
import numpy as np

from grainplan.boards import Leaf
from grainplan.errors import NotFound
from grainplan.match.recognise import Recognition, recognise_all, recognise_leaf
from tests.drawn.leaves import DrawnJob, saw_job

BOARDS = 6
FIRST_JOB = 40


def main(count: int) -> None:
    cv2.setNumThreads(1)
    rows: dict[str, list[tuple[bool, bool, bool]]] = {"rough boards alone": [], "with the other leaves": []}
    told: list[bool] = []
    spent = 0.0
    for number in range(FIRST_JOB, FIRST_JOB + count):
        job = saw_job(number, boards=BOARDS)
        start = time.perf_counter()
        alone = [recognise_leaf(job.show(leaf), job.depths_mm, job.known) for leaf in job.photos]
        together = recognise_all([job.show(leaf) for leaf in job.photos], job.depths_mm, job.known)
        spent += time.perf_counter() - start
        for name, found in zip(rows, (alone, together), strict=True):
            rows[name] += [judge(leaf, r) for leaf, r in zip(job.photos, found, strict=True)]
        told += swap_two(job, number)
    print(f"{count} jobs, {BOARDS * 3} leaves each; {spent / (2 * count * BOARDS * 3):.2f} s a leaf\n")
    print(f"{'':<26}{'leaf':>8}{'board':>8}{'sure':>8}{'right where sure':>18}")
    for name, results in rows.items():
        leaf, board, sure = np.array(results).T
        print(f"{name:<26}{leaf.mean():>8.1%}{board.mean():>8.1%}{sure.mean():>8.1%}{leaf[sure].mean():>18.1%}")
    print(f"\nof two leaves that changed names, doubted or corrected: {np.mean(told):.1%} of {len(told)}")


def judge(leaf: Leaf, found: Recognition | NotFound) -> tuple[bool, bool, bool]:
    """Whether the leaf is right, the board is right, and no doubt was told."""
    if isinstance(found, NotFound):
        return False, False, False
    right = found.best == leaf and found.lie == "as said"
    return right, found.best.board == leaf.board and found.lie == "as said", found.share[found.best] >= 0.95


def swap_two(job: DrawnJob, seed: int) -> list[bool]:
    """Two leaves of one board under each other's names: whether each is doubted."""
    random = np.random.default_rng(seed)
    board = chr(ord("A") + int(random.integers(BOARDS)))
    first, second = (Leaf(board, int(n)) for n in random.permutation([1, 2, 3])[:2])
    name_of = {first: second, second: first}
    shown = [job.show(leaf, said=name_of.get(leaf)) for leaf in job.photos]
    places = [i for i, leaf in enumerate(job.photos) if leaf in name_of]
    found = recognise_all(shown, job.depths_mm, job.known)
    return [not isinstance(found[i], NotFound) and bool(found[i].caveats) for i in places]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
