"""How well a board is found in a photo without typed corners: ``python -m tests.bench.bench_outline [first seed]``.

Prints, for drawn photographs over every floor, how many boards are found and how far off their corners are; how many
pictures without a board give one; and why the others were refused. Figures are only worth something on a first seed
that nobody tuned on.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from grainplan.boards import BroadSide, RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.photos.load import Photo
from grainplan.photos.locate import find_corners
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.floors import FLOORS, draw_floor
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import Picture

FIRST_SEED = 9100
EACH = 5
"""Photos over each floor."""
EMPTIES = 100
CLOSE_PX = 3.0
SHOT = SidePhoto(Path("a.jpg"), foot="left")


@dataclass(frozen=True, slots=True)
class Trial:
    """A drawn photo of a board, and where its corners are."""

    name: str
    board: RoughBoard
    side: BroadSide
    pixels: Picture
    corners_px: np.ndarray


def draw_trial(floor: str, seed: int) -> Trial:
    """A board of random wood, size and light, photographed by a random hand with a random phone."""
    random = np.random.default_rng(seed)
    look = str(random.choice(["ash", "elm", "pine", "walnut"]))
    length, width = random.uniform(700, 2000), random.uniform(120, 260)
    width = max(width, length / 11)
    side: BroadSide = "face" if random.random() < 0.5 else "back"
    camera = Camera(
        width_px=2400,
        height_px=1350,
        fill=random.uniform(0.65, 0.93),
        tilt_deg=random.normal(0, 4),
        yaw_deg=random.normal(0, 3),
        roll_deg=random.normal(0, 1.5),
        k1=random.uniform(-0.03, 0.03),
        off_centre=(random.uniform(-0.02, 0.02), random.uniform(-0.12, 0.12)),
    )
    scene = Scene(
        floor,
        seed,
        light_fall=random.uniform(0.05, 0.35),
        light_from_deg=random.uniform(0, 360),
        noise=random.uniform(1.0, 3.0),
        blur_px=random.uniform(0.5, 1.1),
    )
    thickness = random.uniform(22, 40)
    growth = Growth(length_mm=length, width_mm=width, thickness_mm=thickness, look=look)
    shot = take_photo(grow_board(seed, growth), side, camera, scene)
    board = RoughBoard("A", round(length, 0), round(width, 0), round(thickness, 1), "white ash", 8.0)
    return Trial(f"{floor} {seed} {look}", board, side, shot.picture, shot.corners_px)


def draw_trials(first_seed: int) -> Iterator[Trial]:
    """`EACH` photos over every floor."""
    for i, floor in enumerate(FLOORS):
        for j in range(EACH):
            yield draw_trial(floor, first_seed + EACH * i + j)


def draw_empties(first_seed: int) -> Iterator[tuple[str, Picture]]:
    """Floors alone, at every scale that a phone may see them."""
    names = list(FLOORS)
    for i in range(EMPTIES):
        random = np.random.default_rng(first_seed + i)
        floor = draw_floor(names[i % len(names)], first_seed + i, shape=(900, 1600), px_per_mm=random.uniform(0.7, 2.0))
        noisy = floor + random.normal(0, random.uniform(0.8, 2.5), floor.shape)
        yield f"{names[i % len(names)]} {first_seed + i}", np.clip(noisy, 0, 255).astype(np.uint8)


def wrap(pixels: Picture) -> Photo:
    """A drawn picture as a photo that was read whole."""
    return Photo(np.ascontiguousarray(pixels), 1, (0, 0), pixels.shape[1], pixels.shape[0])


def main(first_seed: int) -> None:
    """Print the figures."""
    cv2.setNumThreads(1)
    offs, refused, taken = [], [], []
    for trial in draw_trials(first_seed):
        start = time.process_time()
        found = find_corners(wrap(trial.pixels), trial.board, trial.side, SHOT)
        taken.append(time.process_time() - start)
        if isinstance(found, NotFound):
            refused.append(f"{trial.name}: {found.reason}")
            continue
        off = float(np.linalg.norm(found.corners_px - trial.corners_px, axis=1).max())
        offs.append(off)
        if off > CLOSE_PX:
            print(f"  {trial.name}: {off:.1f} px off, ± {found.doubt_px:.1f} told")
    close = sum(off <= CLOSE_PX for off in offs)
    print(
        f"{len(offs) + len(refused)} photos: {close} within {CLOSE_PX:g} px, {len(offs) - close} farther off, "
        f"{len(refused)} refused; worst corner: median {np.median(offs):.2f} px, largest {max(offs):.1f} px; "
        f"{np.median(taken):.2f} s of processor time each"
    )
    for reason in refused:
        print(f"  {reason}")
    board = RoughBoard("A", 1200.0, 180.0, 30.0, "white ash", 8.0)
    wrong = [
        name
        for name, pixels in draw_empties(first_seed)
        if not isinstance(find_corners(wrap(pixels), board, "face", SHOT), NotFound)
    ]
    print(f"{EMPTIES} pictures without a board: {len(wrong)} found {', '.join(wrong)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else FIRST_SEED)
