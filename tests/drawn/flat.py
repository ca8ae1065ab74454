"""Flattened sides of drawn boards as a good photo would give them: averaged over pixels, a little blurred and noisy."""

from __future__ import annotations

import cv2
import numpy as np

from grainplan.picture import Picture
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_cut, draw_side
from tests.drawn.solid import Plane, Solid

LOOK_OF_TURN = ("ash", "elm", "pine")


def grow_any(seed: int, *, length_mm: float = 1200.0, **growth: object) -> Solid:
    """A board of any species, pith and width: what the inside pictures are judged on."""
    random = np.random.default_rng(seed + 500)
    wide = float(random.integers(140, 201))
    return grow_board(
        seed,
        Growth(
            length_mm=length_mm,
            width_mm=wide,
            thickness_mm=22.0,
            look=LOOK_OF_TURN[seed % 3],
            **growth,  # type: ignore[arg-type]
        ),
    )


def photograph_flat(solid: Solid, side: str, *, px_per_mm: float = 2.0, seed: int = 0, noise: float = 2.0) -> Picture:
    """A side in the board frame with camera blur (0.3 mm) and noise (8-bit steps)."""
    return Picture(_expose(draw_side(solid, side, 2 * px_per_mm), px_per_mm, seed, noise), px_per_mm)


def show_depth(solid: Solid, depth_mm: float, *, px_per_mm: float = 2.0) -> Picture:
    """The true surface at a depth, without noise."""
    return Picture(_expose(draw_cut(solid, Plane("z", depth_mm, 2 * px_per_mm)), px_per_mm, 0, 0.0), px_per_mm)


def _expose(fine: np.ndarray, px_per_mm: float, seed: int, noise: float) -> np.ndarray:
    picture = cv2.resize(fine, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA).astype(np.float32)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.3 * px_per_mm)
    if noise > 0:
        random = np.random.default_rng(seed + 9)
        picture += random.standard_normal(picture.shape, dtype=np.float32) * np.float32(noise)
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)
