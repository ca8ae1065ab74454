"""The full table of inside pictures on unseen drawn boards: ``python -m tests.bench.bench_inside [BOARDS] [PLOT.png]``.

Seeds from 9000 on are used for nothing else. For each board and depth: agreement of the rings alone, of the whole
picture, of blending face and back, of the nearer side, of the true rings coloured from the sides (the ceiling), of an
all-knowing reader of the sides; the promised agreement; direction and pith. The plot shows agreement against waviness.

The surer half of all places: the cells of all boards and depths together, ranked by what the program tells of each and
by nothing else. Each surface is judged on its cells in that half, and counts by their number.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.grain import find_pith_line
from grainplan.wood.orient import measure_direction
from grainplan.wood.solid import BoardSolid, fit_solid, measure_level_direction
from tests.bench.plot_waves import plot_waves
from tests.drawn.cells import Cells, agree_on_surer, sum_cells
from tests.drawn.compare import (
    agree,
    blend_sides,
    colour_true_rings,
    judge_level,
    judge_places,
    know_sides_exactly,
    show_figure,
)
from tests.drawn.flat import grow_any, photograph_flat, show_depth
from tests.drawn.solid import Plane, Solid, measure_line_direction

FIRST_SEED = 9000
DEPTHS = (0.25, 0.5, 0.75)
COLUMNS = ("rings", "whole", "promised", "blend", "nearer", "ceiling", "all-knowing")


@dataclass(frozen=True, slots=True)
class Endless:
    """What face and back alone foretell: agreement reached and told by depth, and misses in degrees."""

    reached: tuple[float, ...]
    told: tuple[float, ...]
    direction_deg: float
    tilt_deg: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Row:
    """One board: agreements by depth, and what was measured once."""

    seed: int
    look: str
    ring_mm: float
    wave_mm: float
    table: np.ndarray
    inside_direction_deg: float
    face_direction_deg: float
    pith_miss: float
    curved: bool
    seconds: float
    places: tuple[np.ndarray, np.ndarray]
    endless: Endless | None
    cells: tuple[Cells, ...]
    exact_cells: tuple[Cells, ...]


def measure_wave(board: Solid) -> float:
    """Amplitude of the waves: the square root of two times their standard deviation."""
    axes = [np.linspace(0, size, 24) for size in (board.length_mm, board.width_mm, board.thickness_mm)]
    return float(np.sqrt(2.0) * np.std(np.sum([wave.at(*axes) for wave in board.waves], axis=0)))


def compare_direction(field_deg: np.ndarray, board: Solid, depth_mm: float) -> float:
    """Median miss of the line direction on a plane, degrees."""
    truth, _ = measure_line_direction(board, Plane("z", depth_mm, 2.0))
    rows, columns = np.minimum(truth.shape, field_deg.shape)
    apart = (field_deg[:rows, :columns] - truth[:rows, :columns] + 90) % 180 - 90
    return float(np.median(np.abs(apart)))


def judge_board(seed: int) -> Row:
    """Grow, photograph, fit and compare one board."""
    board = grow_any(seed)
    sides: dict[str, Picture] = {
        side: photograph_flat(board, side, seed=seed) for side in ("face", "back", "foot", "head")
    }
    start = time.process_time()
    found = fit_solid(sides)  # type: ignore[arg-type]
    seconds = time.process_time() - start
    assert isinstance(found, BoardSolid), found
    exact = know_sides_exactly(board, found, sides)
    cells: list[Cells] = []
    exact_cells: list[Cells] = []
    table = np.zeros((len(DEPTHS), len(COLUMNS)))
    truths = [show_depth(board, share * board.thickness_mm) for share in DEPTHS]
    for index, (share, picture) in enumerate(zip(DEPTHS, truths, strict=True)):
        depth = share * board.thickness_mm
        truth = show_figure(picture)
        nearer = sides["face" if share <= 0.5 else "back"]
        table[index] = (
            *judge_level(found, picture, depth),
            agree(show_figure(blend_sides(sides["face"], sides["back"], share)), truth),
            agree(show_figure(nearer), truth),
            agree(colour_true_rings(board, sides, depth), truth),
            judge_level(exact, picture, depth)[0],
        )
        cells.append(sum_cells(found, picture, depth))
        exact_cells.append(sum_cells(exact, picture, depth))
    middle = np.array([board.width_mm / 2, board.thickness_mm / 2])
    true = np.array([board.pith.y_foot_mm, board.pith.z_foot_mm])
    return Row(
        seed,
        board.look_name,
        float(np.diff(board.ring_borders_mm).mean()),
        measure_wave(board),
        table,
        compare_direction(measure_level_direction(found, board.thickness_mm / 2).angle_deg, board, 11.0),
        compare_direction(measure_direction(sides["face"]).angle_deg, board, 0.0),
        float(np.hypot(*(np.array(found.pith.foot_yz_mm) - true)) / np.hypot(*(true - middle))),
        not isinstance(find_pith_line({end: sides[end] for end in ("foot", "head")}), NotFound),
        seconds,
        judge_places(found, truths[1], DEPTHS[1] * board.thickness_mm),
        judge_endless(board, sides, truths),
        tuple(cells),
        tuple(exact_cells),
    )


def judge_endless(board: Solid, sides: dict[str, Picture], truths: list[Picture]) -> Endless | None:
    """The same board where no end is seen; None where nothing is told."""
    broad = {side: sides[side] for side in ("face", "back")}
    start = time.process_time()
    found = fit_solid(broad, thickness_mm=board.thickness_mm)  # type: ignore[arg-type]
    seconds = time.process_time() - start
    if isinstance(found, NotFound):
        return None
    judged = [
        judge_level(found, truth, share * board.thickness_mm) for share, truth in zip(DEPTHS, truths, strict=True)
    ]
    across = np.linspace(5.0, board.width_mm - 5.0, 30)
    pith = board.pith
    true = np.array([pith.y_foot_mm + pith.y_head_mm, pith.z_foot_mm + pith.z_head_mm]) / 2
    mine = (np.array(found.pith.foot_yz_mm) + np.array(found.pith.head_yz_mm)) / 2
    middle = board.thickness_mm / 2
    tilts = [np.degrees(np.arctan2(np.abs(across - y), abs(middle - z))) for y, z in (true, mine)]
    return Endless(
        tuple(reached for reached, _, _ in judged),
        tuple(told for _, _, told in judged),
        compare_direction(measure_level_direction(found, middle).angle_deg, board, middle),
        float(np.abs(tilts[1] - tilts[0]).mean()),
        seconds,
    )


def print_endless(rows: list[Row]) -> None:
    """What face and back alone foretell."""
    told = [row.endless for row in rows if row.endless is not None]
    print(f"without a photo of an end: {len(told)} of {len(rows)} boards told")
    if not told:
        return
    reached, promised = (np.concatenate([getattr(one, name) for one in told]) for name in ("reached", "told"))
    print(f"  agreement: median {np.median(reached):.3f}, promised {np.median(promised):.3f}")
    for low in np.arange(0.0, 0.9, 0.1):
        inside = (promised >= low) & (promised < low + 0.1)
        if inside.any():
            print(f"  {promised[inside].mean():.2f} -> {reached[inside].mean():.2f} ({inside.sum()})")
    for name in ("direction_deg", "tilt_deg", "seconds"):
        values = [getattr(one, name) for one in told]
        print(f"  {name}: median {np.median(values):.2f}, worst {np.max(values):.2f}")


def print_table(rows: list[Row]) -> None:
    """Medians over all boards and depths, the surer halves, and promised against achieved."""
    tables = np.array([row.table for row in rows])
    surer = np.argsort(-tables[:, :, 2].mean(axis=1))[: (len(rows) + 1) // 2]
    surfaces = tables.reshape(-1, len(COLUMNS))
    surer_surfaces = np.argsort(-surfaces[:, 2])[: (len(surfaces) + 1) // 2]
    print(f"{'':14}" + "".join(f"{name:>13}" for name in COLUMNS))
    for name, part in (
        *((f"depth {share}", tables[:, index]) for index, share in enumerate(DEPTHS)),
        ("all depths", surfaces),
        ("surer boards", tables[surer].reshape(-1, len(COLUMNS))),
        ("surer surfaces", surfaces[surer_surfaces]),
    ):
        print(f"{name:14}" + "".join(f"{value:13.3f}" for value in np.median(part, axis=0)))
    for name, cells in (
        ("program", [part for row in rows for part in row.cells]),
        ("all-knowing", [part for row in rows for part in row.exact_cells]),
    ):
        print(f"surer half of all places, {name}: {agree_on_surer(cells):.3f}")
    flat = surfaces
    print("promised -> achieved (surfaces)")
    for low in np.arange(0.2, 0.9, 0.1):
        inside = (flat[:, 2] >= low) & (flat[:, 2] < low + 0.1)
        if inside.any():
            print(f"  {flat[inside, 2].mean():.2f} -> {flat[inside, 0].mean():.2f} ({inside.sum()})")
    promised, achieved = (np.concatenate([row.places[part] for row in rows]) for part in (0, 1))
    print("promised -> achieved (windows of 100 x 50 mm, middle depth)")
    for low in np.arange(0.1, 0.9, 0.1):
        inside = (promised >= low) & (promised < low + 0.1)
        if inside.sum() >= 5:
            print(f"  {promised[inside].mean():.2f} -> {achieved[inside].mean():.2f} ({inside.sum()})")
    for name, values in (
        ("direction inside, deg", [row.inside_direction_deg for row in rows]),
        ("direction on the face, deg", [row.face_direction_deg for row in rows]),
        ("pith miss / distance, all", [row.pith_miss for row in rows]),
        (f"pith, rings curve ({sum(row.curved for row in rows)})", [row.pith_miss for row in rows if row.curved]),
        ("fit, processor seconds", [row.seconds for row in rows]),
    ):
        print(f"{name}: median {np.median(values):.2f}, worst {np.max(values):.2f}")


def main() -> None:
    """Run the table."""
    rows = []
    for seed in range(FIRST_SEED, FIRST_SEED + (int(sys.argv[1]) if len(sys.argv) > 1 else 24)):
        row = judge_board(seed)
        rows.append(row)
        means = " ".join(f"{value:.2f}" for value in row.table.mean(axis=0))
        endless = "-" if row.endless is None else f"{np.mean(row.endless.reached):.2f} {np.mean(row.endless.told):.2f}"
        print(f"{seed} {row.look:5} ring {row.ring_mm:.1f} wave {row.wave_mm:.1f} | {means} | {endless}", flush=True)
    print_table(rows)
    print_endless(rows)
    if len(sys.argv) > 2:
        waves = [(row.wave_mm / row.ring_mm, row.table[:, 0].mean(), row.table[:, 6].mean()) for row in rows]
        cv2.imwrite(sys.argv[2], plot_waves(waves, [(str(row.seed), row.look) for row in rows])[:, :, ::-1])


if __name__ == "__main__":
    main()
