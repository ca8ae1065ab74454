"""What the edges of boards that are no rectangles tell: ``python -m tests.bench.bench_shapes [first seed] [photos]``.

Waney, broken, crooked boards of known shape, photographed through an unknown lens: how much of the missing wood is
told, how far its sizes, the crook and k1 are off, how often the stated doubt covers that, and how many are found
without typed corners. Seeds 300 to 331, 400 to 423 and 600 to 623 were looked at while
the rooms were written.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.boards import BroadSide, RoughBoard
from grainplan.errors import NotFound
from grainplan.photos.corners import outline_side, place_view
from grainplan.photos.frame_line import fit_frame
from grainplan.photos.lens import weigh_bows
from grainplan.photos.locate import find_corners
from grainplan.photos.wane import find_missing
from tests.bench.bench_outline import CLOSE_PX, SHOT, wrap
from tests.drawn.camera import Camera, Scene
from tests.drawn.floors import FLOORS
from tests.drawn.forest import Growth, grow_board
from tests.drawn.shaped import Bay, Shape, photograph
from tests.drawn.solid import Picture

FIRST_SEED, PHOTOS = 700, 16


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """A drawn photo of a board of known shape; its corners in the order of the job format."""

    board: RoughBoard
    side: BroadSide
    shape: Shape
    pixels: Picture
    corners_px: np.ndarray
    k1: float


def draw_trial(seed: int) -> Trial:
    """Random wood, floor, hand and lens; three in four lack wood along an edge, half have a cut corner."""
    random = np.random.default_rng(seed)
    look = str(random.choice(["ash", "elm", "pine", "walnut"]))
    length, width = random.uniform(900, 2000), random.uniform(150, 260)
    floor = str(random.choice(list(FLOORS)))
    bays: tuple[Bay, ...] = ()
    if random.random() < 0.75:
        start = random.uniform(0.05, 0.7) * length
        edge = "upper" if str(random.choice(["upper", "lower"])) == "upper" else "lower"
        bays = (
            Bay(edge, start, start + random.uniform(120, 400), random.uniform(8, 35), bool(random.random() < 0.7)),  # type: ignore[arg-type]
        )
    gone: tuple[tuple[int, float, float], ...] = ()
    if random.random() < 0.5:
        gone = ((int(random.integers(4)), random.uniform(15, 60), random.uniform(12, 50)),)
    shape = Shape(crook_mm=0.0 if random.random() < 0.5 else random.normal(0, 2.5), bays=bays, gone=gone)
    camera = Camera(
        2400,
        1350,
        random.uniform(0.65, 0.93),
        random.normal(0, 4),
        random.normal(0, 3),
        random.normal(0, 1.5),
        random.uniform(-0.03, 0.03),
        (random.uniform(-0.02, 0.02), random.uniform(-0.3, 0.3)),
    )
    light = random.uniform(0.05, 0.35), random.uniform(0, 360)
    scene = Scene(floor, seed, *light, noise=random.uniform(1, 3), blur_px=random.uniform(0.5, 1.1))
    side: BroadSide = "face" if random.random() < 0.5 else "back"
    thickness = random.uniform(22, 40)
    growth = Growth(length_mm=length, width_mm=width, thickness_mm=thickness, look=look)
    shot = photograph(grow_board(seed, growth), side, shape, camera, scene)
    board = RoughBoard("A", length, width, thickness, "white ash", 8.0)
    order = [0, 1, 2, 3] if side == "face" else [3, 2, 1, 0]
    return Trial(board, side, shape, shot.picture, shot.corners_px[order], camera.k1)


def measure(trial: Trial, rows: dict[str, list[tuple[float, float]]], count: dict[str, int]) -> None:
    """Add what one photo tells, with exact corners and without, to the rows of (error, doubt) and to the counts."""
    size = (trial.pixels.shape[1], trial.pixels.shape[0])
    outline = outline_side(trial.board, trial.side)
    view = place_view(outline, trial.corners_px, size_px=size, side=trial.side, called="A")
    photo = wrap(trial.pixels)
    frame = fit_frame(photo, view, trial.side)
    wane, gone = find_missing(trial.pixels, frame.edges, frame.corners_px, frame.outline_mm)
    mirrored = trial.side == "back"
    for bay in trial.shape.bays:
        count["stretches of missing edge"] += 1
        edge = 0 if (bay.edge == "upper") != mirrored else 2
        mine = [w for w in wane if w.edge == edge and w.start_mm < bay.end_mm and w.end_mm > bay.start_mm]
        count["of them told"] += bool(mine)
        rows["depth of missing edge, mm"] += [(w.deep_mm - bay.deep_mm, w.doubt_mm) for w in mine[:1]]
        wane = tuple(w for w in wane if w not in mine)
    for _, along, across in trial.shape.gone:
        count["missing corners"] += 1
        count["of those told"] += bool(gone)
        for g in gone[:1]:
            rows["legs of missing corner, mm"] += [(g.along_mm - along, g.doubt_mm), (g.across_mm - across, g.doubt_mm)]
        gone = gone[1:]
    count["told where nothing is missing"] += len(wane) + len(gone)
    bows = weigh_bows(photo, view, frame, crook_mm=0.0)
    if not isinstance(bows, NotFound):
        rows["k1"].append((bows.k1.value - trial.k1, bows.k1.doubt))
        rows["crook, mm"].append((abs(bows.crook_mm.value) - abs(trial.shape.crook_mm), bows.crook_mm.doubt))
    found = find_corners(photo, trial.board, trial.side, SHOT)
    if isinstance(found, NotFound):
        count["refused without corners"] += 1
    else:
        off = float(np.linalg.norm(found.corners_px - trial.corners_px, axis=1).max())
        count[f"found within {CLOSE_PX:g} px" if off <= CLOSE_PX else "found farther off"] += 1


def main(first_seed: int, photos: int) -> None:
    """Print the figures."""
    cv2.setNumThreads(1)
    rows: dict[str, list[tuple[float, float]]] = defaultdict(list)
    count: dict[str, int] = defaultdict(int)
    for seed in range(first_seed, first_seed + photos):
        measure(draw_trial(seed), rows, count)
    for name, number in count.items():
        print(f"{name}: {number}")
    for name, pairs in rows.items():
        off, doubt = np.abs(np.array(pairs)).T
        print(
            f"{name}: {len(off)} measured, off by {np.median(off):.3g} (median), {off.max():.3g} at most; doubt "
            f"{np.median(doubt):.3g} (median), covered {np.mean(off <= doubt):.0%}"
        )


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [FIRST_SEED, PHOTOS][len(given) :]))
