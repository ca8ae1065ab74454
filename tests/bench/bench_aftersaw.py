"""What inside pictures are worth once the leaves are sawn: `python -m tests.bench.bench_aftersaw [jobs] [first seed]`.

Each job has four drawn boards, resawn into two leaves each, and three bays. It is planned three times: with the
surfaces inside foretold, without them (ring angles, tone and wood alone decide), and with all true surfaces known, as
the best that any foresight could do. Each plan is then judged by the true surfaces: how well the edges that really
meet agree.

A second table tells how well the unseen surfaces of a board are foretold before and after one leaf is photographed.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from grainplan.boards import BoardSide, Leaf, MeasuredBoard
from grainplan.choice import Outcome, choose_again, make_plan, resaw_boards
from grainplan.job import Job
from grainplan.jobfolder.reading import read_job
from grainplan.match.pinning import pin_bay
from grainplan.match.surfaces import LeafSurface, SurfaceKey, gather_surfaces
from grainplan.measured import Measured
from grainplan.plan import Plan
from grainplan.resaw import Resaw
from grainplan.sight import SURFACES
from grainplan.wood.foretold import lay_upon
from grainplan.wood.grain import find_pith_line, measure_grain
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from grainplan.wood.solid_slice import Level, fit_slices
from tests.drawn.compare import agree, show_figure
from tests.drawn.flat import grow_any, photograph_flat, show_depth
from tests.drawn.sawn_job import SIDES, write_job
from tests.drawn.solid import Solid

FIRST_SEED = 6000
BOARDS = "ABCD"
LENGTH_MM = 600.0
BAYS = "".join(
    f'[[bay]]\nname = "{name}"\nwidth = 190\nupper = 70\nlower = 110\nrail = 40\n' for name in ("one", "two", "three")
)
KNOWN_MM, ASKED_MM = 9.4, (3.0, 6.0, 12.6, 15.5, 19.0)


@dataclass(frozen=True, slots=True)
class Judged:
    """A plan by the true surfaces: mean fit of its seams on the front, mean step of the lines (mm), bays filled."""

    fit: float
    step_mm: float
    bays: int


def judge_job(seed: int, folder: Path) -> tuple[Judged, Judged, Judged]:
    """Plans made with inside pictures, without them, and with the truth, each judged by the truth."""
    solids = {name: grow_any(10 * seed + place, length_mm=LENGTH_MM) for place, name in enumerate(BOARDS)}
    job = read_job(write_job(folder, solids, BAYS, sides=()))
    boards = tuple(_measure(job, name, solid) for name, solid in solids.items())
    resaws = {name: found for name, found in resaw_boards(job).items() if isinstance(found, Resaw)}
    counts = {name: found.leaves for name, found in resaws.items()}
    by_name = {board.name: board for board in boards}
    true: dict[SurfaceKey, LeafSurface] = {}
    for name, found in resaws.items():
        for number in range(1, found.leaves + 1):
            for surface in SURFACES:
                depth = found.depth_mm(number, surface)
                true[Leaf(name, number), surface] = LeafSurface(show_depth(solids[name], depth), "leaf photo")
    foretold = make_plan(job, boards)
    blind = replace(foretold, surfaces=gather_surfaces(by_name, counts), books={})
    knowing = replace(foretold, surfaces=gather_surfaces(by_name, counts, better=true), books={})
    plans = (foretold.plan, choose_again(blind, job).plan, choose_again(knowing, job).plan)
    first, second, third = (_judge(plan, knowing, job) for plan in plans)
    return first, second, third


def _measure(job: Job, name: str, solid: Solid) -> MeasuredBoard:
    sides = {side: BoardSide(photograph_flat(solid, side, seed=ord(name)), 2.0, 0.1) for side in SIDES}
    pictures = {side: seen.picture for side, seen in sides.items()}
    board, pith = job.board(name), find_pith_line(pictures)
    size = Measured(board.length_mm, 0.5), Measured(board.width_mm, 0.5)
    return MeasuredBoard(board, *size, sides, measure_grain(pictures, job.ring_bands), pith or None)


def _judge(plan: Plan, knowing: Outcome, job: Job) -> Judged:
    """The plan held as it is, its seams scored on the true surfaces."""
    held = replace(job, keeps=tuple(pin_bay(bay) for bay in plan.bays))
    seen = choose_again(replace(knowing, plan=plan), held).plan
    planned = {bay.name for bay in plan.bays}
    seams = [seam for bay in seen.bays if bay.name in planned for seam in bay.seams if seam.side == "front"]
    fits = [seam.fit for seam in seams if seam.fit is not None]
    steps = [seam.step_mm for seam in seams if seam.step_mm is not None]
    return Judged(float(np.mean(fits)), float(np.mean(steps)), len(planned))


def judge_refit(seed: int) -> np.ndarray:
    """Agreement and its promise at the asked depths, before and after one surface is photographed."""
    solid = grow_any(seed, length_mm=LENGTH_MM)
    sides = {side: photograph_flat(solid, side, seed=seed) for side in SIDES}
    whole = fit_solid(sides)  # type: ignore[arg-type]
    assert isinstance(whole, BoardSolid)
    photo = lay_upon(draw_level(whole, KNOWN_MM).rings_alone, show_depth(solid, KNOWN_MM))
    parts = fit_slices(whole, sides, [Level(KNOWN_MM, photo)], depths_mm=ASKED_MM)  # type: ignore[arg-type]
    rows = []
    for depth, part in zip(ASKED_MM, parts, strict=True):
        truth = show_figure(show_depth(solid, depth))
        views = draw_level(whole, depth), part.draw(depth)
        rows.append([v for view in views for v in (agree(show_figure(view.rings_alone), truth), view.confidence)])
    return np.array(rows)


def main() -> None:
    """Print both tables."""
    cv2.setNumThreads(1)
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED
    names = ("foretold", "without", "all known")
    print(f"{'job':>6}" + "".join(f"{name + ' fit':>16}{'step mm':>9}" for name in names) + f"{'cpu s':>8}")
    rows = []
    for seed in range(first, first + jobs):
        start = time.process_time()
        with tempfile.TemporaryDirectory() as folder:
            row = judge_job(seed, Path(folder) / "job")
        rows.append(row)
        shown = "".join(f"{judged.fit:16.3f}{judged.step_mm:9.2f}" for judged in row)
        print(f"{seed:6}{shown}{time.process_time() - start:8.1f}", flush=True)
    fits = np.array([[judged.fit for judged in row] for row in rows])
    steps = np.array([[judged.step_mm for judged in row] for row in rows])
    shown = "".join(f"{fit:16.3f}{step:9.2f}" for fit, step in zip(fits.mean(axis=0), steps.mean(axis=0), strict=True))
    gain = fits[:, 0] - fits[:, 1]
    doubt = float(gain.std(ddof=1) / np.sqrt(len(gain))) if len(gain) > 1 else float("nan")
    print(f"{'mean':>6}{shown}")
    print(
        f"foretold above without: {gain.mean():+.3f} ± {doubt:.3f} (one deviation of the mean), in {np.sum(gain > 0)} "
        f"of {len(gain)} jobs"
    )
    print(f"\none surface photographed at {KNOWN_MM} mm; agreement (and what was told) at other depths, medians")
    table = np.median([judge_refit(seed) for seed in range(first, first + jobs)], axis=0)
    for depth, row in zip(ASKED_MM, table, strict=True):
        print(f"{depth:6.1f} mm: before {row[0]:.3f} ({row[1]:.3f}), after {row[2]:.3f} ({row[3]:.3f})")


if __name__ == "__main__":
    main()
