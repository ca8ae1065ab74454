"""How long flattening takes beside a bare decode and warp: ``python -m tests.bench.bench_photos``."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from grainplan.boards import RoughBoard, SidePhoto
from grainplan.photos.flatten import flatten_side

SIZES = {"12 MP": (4032, 3024), "48 MP": (8064, 6048)}


def draw_photo(path: Path, width: int, height: int) -> tuple[tuple[float, float], ...]:
    """Grain-like noise with a board's corners in it."""
    random = np.random.default_rng(1)
    small = random.integers(0, 255, (height // 3, width // 40), np.uint8)
    grey = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    noise = random.integers(0, 12, (height, width), np.uint8)
    pixels = cv2.merge([grey // 2 + 40 + noise, grey // 2 + 60 + noise, grey // 2 + 90 + noise])
    cv2.imwrite(str(path), pixels, [cv2.IMWRITE_JPEG_QUALITY, 90])
    x0, x1, y0, y1 = 0.04 * width, 0.96 * width, 0.44 * height, 0.56 * height
    return ((x0, y0), (x1, y0 + 9), (x1 - 7, y1), (x0 + 5, y1 - 3))


def decode_and_warp(path: Path, corners: tuple[tuple[float, float], ...], reduction: int) -> None:
    """What OpenCV alone would take, at the same reduction, linear and without any care."""
    flag = {1: cv2.IMREAD_COLOR, 2: cv2.IMREAD_REDUCED_COLOR_2, 4: cv2.IMREAD_REDUCED_COLOR_4}[reduction]
    pixels = cv2.imdecode(np.fromfile(path, np.uint8), flag)
    target = np.array([[0, 0], [4000, 0], [4000, 360], [0, 360]], np.float32)
    turn = cv2.getPerspectiveTransform(np.array(corners, np.float32) / reduction, target)
    cv2.warpPerspective(pixels, turn, (4000, 360))


def time_least(call: Callable[[], object], times: int = 7) -> float:
    """The least of several runs, in seconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return min(taken)


def main() -> None:
    """Print one line a photo size."""
    for name, (width, height) in SIZES.items():
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.jpg"
            corners = draw_photo(path, width, height)
            board = RoughBoard("A", 2000, 180, 25, "ash", 8, photos={"face": (SidePhoto(path, corners),)})  # type: ignore[arg-type]
            bare = time_least(lambda p=path, c=corners, r=width // 4032: decode_and_warp(p, c, r))
            ours = time_least(lambda b=board: flatten_side(b, "face"))
            print(f"{name}: flattened and evened in {ours:.3f} s, bare {bare:.3f} s, {ours / bare:.2f} times")


if __name__ == "__main__":
    main()
