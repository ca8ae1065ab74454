"""A job of drawn boards sawn into three leaves each, every surface photographed a little out of place."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.boards import Leaf, Surface
from grainplan.match.recognise import KnownSurface, LeafPhotos
from grainplan.picture import Picture
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_cut
from tests.drawn.solid import Plane, Solid

THICKNESS_MM = 31.5
DEPTH_MM: dict[tuple[int, Surface], float] = {
    (1, "near"): 3.0,
    (1, "far"): 9.35,
    (2, "near"): 12.55,
    (2, "far"): 18.9,
    (3, "near"): 22.1,
    (3, "far"): 28.45,
}
PLACE_MM = 1.5


@dataclass(frozen=True, slots=True)
class DrawnJob:
    """Boards of one species, A, B, …; the leaves' photos under their true names."""

    depths_mm: dict[tuple[Leaf, Surface], float]
    known: tuple[KnownSurface, ...]
    photos: dict[Leaf, dict[Surface, Picture]]
    solids: dict[str, Solid]

    def show(self, leaf: Leaf, *, said: Leaf | None = None) -> LeafPhotos:
        return LeafPhotos(said or leaf, self.photos[leaf])


def saw_job(seed: int, *, boards: int, length_mm: float = 700.0) -> DrawnJob:
    depths: dict[tuple[Leaf, Surface], float] = {}
    known: list[KnownSurface] = []
    photos: dict[Leaf, dict[Surface, Picture]] = {}
    solids: dict[str, Solid] = {}
    look = ("ash", "elm", "pine")[seed % 3]
    for place in range(boards):
        name = chr(ord("A") + place)
        random = np.random.default_rng(1000 * seed + place)
        growth = Growth(length_mm, float(random.integers(140, 201)), THICKNESS_MM, look)
        solid = solids[name] = grow_board(1000 * seed + place, growth)
        for depth in (0.0, THICKNESS_MM):
            known.append(KnownSurface(name, depth, _photograph(solid, depth, random, place_mm=0.0)))
        for (number, surface), depth in DEPTH_MM.items():
            leaf = Leaf(name, number)
            depths[leaf, surface] = depth
            photos.setdefault(leaf, {})[surface] = _photograph(solid, depth, random, place_mm=PLACE_MM)
    return DrawnJob(depths, tuple(known), photos, solids)


def _photograph(solid: Solid, depth_mm: float, random: np.random.Generator, *, place_mm: float) -> Picture:
    soft = cv2.GaussianBlur(draw_cut(solid, Plane("z", depth_mm, 2.0)).astype(np.float32), (0, 0), 0.6)
    x, y = random.normal(0.0, place_mm, 2) * 2.0 if place_mm else (0.0, 0.0)
    moved = cv2.warpAffine(
        soft, np.array([[1, 0, x], [0, 1, y]]), (soft.shape[1], soft.shape[0]), borderMode=cv2.BORDER_REPLICATE
    )
    moved += 2.0 * random.standard_normal(moved.shape, dtype=np.float32)
    pixels = np.clip(moved + 0.5, 0, 255).astype(np.uint8)
    return Picture(cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 1.0)
