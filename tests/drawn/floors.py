"""Floors and benches that a board may lie on, drawn by formula."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.drawn.noise import Field, draw_cloud

Picture = NDArray[np.uint8]
Shape = tuple[int, int]
Draw = Callable[[np.random.Generator, Shape, float], Field]


def draw_floor(name: str, seed: int, *, shape: Shape, px_per_mm: float) -> Picture:
    """A floor of `shape` (rows, columns) pixels; `name` is one of `FLOORS`."""
    colour = FLOORS[name](np.random.default_rng(seed), shape, px_per_mm)
    return np.clip(colour, 0, 255).astype(np.uint8)


def _tint(tone: Field, colour: tuple[float, float, float]) -> Field:
    return np.ascontiguousarray(tone[..., None] * np.float32(colour)).astype(np.float32)


def _cloud(random: np.random.Generator, shape: Shape, scale: float, size_mm: tuple[float, float]) -> Field:
    return draw_cloud(random, shape, cell_px=(max(size_mm[0] * scale, 1.0), max(size_mm[1] * scale, 1.0)))


def _grain(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    return _cloud(random, shape, scale, (1.2, 60.0)) + 0.7 * _cloud(random, shape, scale, (7.0, 300.0))


def _planks(
    random: np.random.Generator, shape: Shape, scale: float, plank_mm: float, colour: tuple[float, float, float]
) -> Field:
    tone = np.empty(shape, dtype=np.float32)
    plank = max(8, round(plank_mm * scale))
    for top in range(0, shape[0], plank):
        rows = min(plank, shape[0] - top)
        tone[top : top + rows] = random.uniform(0.86, 1.1) + 0.05 * _grain(random, (rows, shape[1]), scale)
        tone[top : top + max(1, round(1.5 * scale))] *= 0.45
    return _tint(tone, colour)


def _draw_bench(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    picture = _planks(random, shape, scale, 95.0, (148, 122, 94))
    scars = np.clip(_cloud(random, shape, scale, (2.0, 25.0)) - 1.9, 0, 1)
    return picture * (1 - 0.5 * scars[..., None]) * (1 + 0.05 * _cloud(random, shape, scale, (90, 160))[..., None])


def _draw_planks(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    return _planks(random, shape, scale, 140.0, (120, 86, 58))


def _draw_plywood(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    tone = 1 + 0.035 * _grain(random, shape, scale) + 0.03 * _cloud(random, shape, scale, (40, 120))
    return _tint(tone, (206, 178, 138))


def _draw_concrete(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    tone = 1 + 0.05 * _cloud(random, shape, scale, (60, 60)) + 0.05 * _cloud(random, shape, scale, (1.5, 1.5))
    tone -= 0.3 * np.clip(_cloud(random, shape, scale, (4, 4)) - 1.8, 0, 1)
    return _tint(tone, (141, 139, 134))


def _draw_cardboard(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    columns = np.arange(shape[1], dtype=np.float32) / scale
    flutes = 0.012 * np.sin(2 * np.pi * columns / 7.0)[None, :]
    return _tint(1 + flutes + 0.02 * _cloud(random, shape, scale, (1, 8)).astype(np.float32), (178, 140, 98))


def _draw_grass(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    blades = _cloud(random, shape, scale, (14, 2)) + 0.8 * _cloud(random, shape, scale, (3, 12))
    tone = np.clip(0.75 + 0.3 * blades, 0.15, 1.7)
    colour = _tint(tone, (88, 118, 52))
    colour[..., 0] += 18 * _cloud(random, shape, scale, (50, 50))
    return colour


def _draw_tiles(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    rows = np.arange(shape[0], dtype=np.float32)[:, None] / scale % 198.0
    columns = np.arange(shape[1], dtype=np.float32)[None, :] / scale % 198.0
    joint = np.minimum(rows, columns) < 4.0
    tone = np.where(joint, 0.62, 1.0) + 0.02 * _cloud(random, shape, scale, (30, 30))
    return _tint(tone.astype(np.float32), (196, 188, 176))


def _draw_sawdust(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    tone = 1 + 0.12 * _cloud(random, shape, scale, (1.5, 1.5)) + 0.1 * _cloud(random, shape, scale, (35, 50))
    return _tint(tone, (198, 166, 118))


def _draw_cloth(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    tone = 1 + 0.2 * _cloud(random, shape, scale, (120, 70)) + 0.15 * _cloud(random, shape, scale, (1, 1))
    return _tint(tone, (38, 40, 48))


def _draw_paper(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    return _tint(1 + 0.012 * _cloud(random, shape, scale, (150, 150)), (232, 230, 224))


def _draw_gravel(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    tone = 0.85 + 0.28 * _cloud(random, shape, scale, (9, 9)) + 0.1 * _cloud(random, shape, scale, (2, 2))
    return _tint(np.clip(tone, 0.2, 1.5), (150, 144, 134))


def _draw_painted(random: np.random.Generator, shape: Shape, scale: float) -> Field:
    worn = np.clip(_cloud(random, shape, scale, (50, 90)) - 1.4, 0, 1)[..., None]
    base = _tint(1 + 0.03 * _cloud(random, shape, scale, (2, 40)), (84, 106, 112))
    return base * (1 - worn) + worn * np.float32((150, 120, 88))


FLOORS: dict[str, Draw] = {
    "bench": _draw_bench,
    "planks": _draw_planks,
    "plywood": _draw_plywood,
    "concrete": _draw_concrete,
    "cardboard": _draw_cardboard,
    "grass": _draw_grass,
    "tiles": _draw_tiles,
    "sawdust": _draw_sawdust,
    "dark cloth": _draw_cloth,
    "paper": _draw_paper,
    "gravel": _draw_gravel,
    "painted floor": _draw_painted,
}


def soften(picture: Picture, sigma_px: float) -> Picture:
    """The floor out of focus."""
    return cv2.GaussianBlur(picture, (0, 0), sigma_px) if sigma_px > 0 else picture
