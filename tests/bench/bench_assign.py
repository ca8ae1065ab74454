"""How long the choice of leaves takes, how near to proven it comes and what memory it needs, at four sizes.

Run as `python -m tests.bench.bench_assign workshop|shop|mill|growth [seeds [picture]]`; with the name of a picture file
the table is drawn too, against bays × boards. Each job runs in a process of its own; "cpu s" is processor time, so that
other work on the machine does not count. Two parts of a large job are solved side by side, so two cores need less.

Measured in November 2026, drawn jobs; a short effort (10) from 60 × 80 on, one seed each but for 30 × 40:

| bays × boards | candidates | cpu s | gap % | best greedy maker / cost | GB |
|---|---|---|---|---|---|
| 4 × 6 | 130 | 0.4 | proven | 1.00 | 0.18 |
| 8 × 12 | 1 540 | 1.0 | proven | 1.11 | 0.18 |
| 15 × 20 | 2 873 | 1.6 | proven | 1.07 | 0.19 |
| 30 × 40, 3 seeds | 11 589 to 22 778 | 9.7 to 29 | proven | 1.14 to 1.36 | 0.26 to 0.31 |
| 60 × 80 | 70 936 | 19 | 6.5 | 1.19 | 0.36 |
| 120 × 160 | 349 780 | 34 | 9.0 | 1.34 | 0.43 |
| 200 × 300 | 952 114 | 56 | 10.3 | 1.24 | 0.88 |
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time

from grainplan.match.assign_search import Effort, Watch, select
from grainplan.match.model import SearchState
from tests.bench.plot_growth import plot_growth
from tests.yardsticks.greedy import choose_greedily
from tests.yardsticks.random_pools import MILL, SHOP, Size, draw_large_pool

WORKSHOP = Size(8, 12, grid_mm=10)
GROWTH = [Size(4, 6), Size(8, 12), Size(15, 20), Size(30, 40), Size(60, 80), Size(120, 160), Size(200, 300)]
EFFORTS = {"workshop": 60.0, "shop": 45.0, "mill": 200.0, "growth": 10.0}


def run_job(size: Size, seed: int, effort: float) -> dict[str, float]:
    """One job: when it came within 1, 2 and 12 % of its bound, and where it stood at the end."""
    pool = draw_large_pool(size, seed)
    start = time.process_time()
    reached: dict[float, float] = {}
    at_60 = [0.0, 0.0]

    def note(state: SearchState) -> None:
        now = time.process_time() - start
        if state.gap is None:
            return
        for goal in (0.01, 0.02, 0.08, 0.12):
            if state.gap <= goal:
                reached.setdefault(goal, now)
        if now <= 60:
            at_60[:] = [state.cost or 0.0, state.gap]

    found = select(pool, Watch(note), Effort(solver_time=effort))
    end = time.process_time() - start
    gap = 1 - found.bound / found.cost
    for goal in (0.01, 0.02, 0.08, 0.12):
        if gap <= goal:
            reached.setdefault(goal, end)
    greedy = choose_greedily(pool)
    return {
        "bays": size.bays,
        "boards": size.boards,
        "candidates": len(pool.candidates),
        "cost": found.cost / 1000,
        "gap": gap,
        "gap at 60 s": at_60[1] if end > 60 else gap,
        "to 1 %": reached.get(0.01, float("nan")),
        "to 2 %": reached.get(0.02, float("nan")),
        "to 12 %": reached.get(0.12, float("nan")),
        "to 8 %": reached.get(0.08, float("nan")),
        "cpu s": end,
        "proven": float(found.proven),
        "greedy / cost": greedy / found.cost,
        "GB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6,
    }


def main() -> None:
    """Print one line a job, and draw them all if a picture is asked for."""
    what = sys.argv[1] if len(sys.argv) > 1 else "workshop"
    seeds = range(int(sys.argv[2]) if len(sys.argv) > 2 else 5)
    sizes = GROWTH if what == "growth" else [{"workshop": WORKSHOP, "shop": SHOP, "mill": MILL}[what]]
    titled = False
    rows = []
    for size in sizes:
        for seed in seeds:
            with multiprocessing.get_context("spawn").Pool(1) as pool:
                row = pool.apply(run_job, (size, seed, EFFORTS[what]))
            rows.append(row)
            if len(sys.argv) > 3:
                plot_growth(rows).save(sys.argv[3])
            if not titled:
                print("| seed | " + " | ".join(row) + " |", flush=True)
                titled = True
            print(f"| {seed} | " + " | ".join(f"{value:.4g}" for value in row.values()) + " |", flush=True)


if __name__ == "__main__":
    main()
