"""Checks drawn on a flattened side: cracks along the grain, from an end or within the length; finer ones too."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.geometry import Box
from grainplan.picture import Picture

_FINE = 4  # steps a pixel and direction
_INSIDE = np.array([46, 40, 36], np.float32)  # dust and shadow


@dataclass(frozen=True, slots=True)
class Check:
    """A crack: how long, and how wide at its widest, mm; whether it opens at the head's end."""

    length_mm: float
    width_mm: float
    at_end: bool = True


def lay_check(side: Picture, check: Check, *, seed: int) -> tuple[Picture, Box]:
    """The side with one check on it, and its box; its line wanders a little and keeps within 2° of the length."""
    random = np.random.default_rng(seed + 90_000)
    rows, columns = side.pixels.shape[:2]
    d = side.px_per_mm
    x1 = columns / d if check.at_end else float(random.uniform(check.length_mm + 20, columns / d - 20))
    x = np.linspace(x1 - check.length_mm, x1, 60)
    y = float(random.uniform(0.2, 0.8)) * rows / d + np.tan(np.radians(random.uniform(-2, 2))) * (x - x1)
    y = y + np.cumsum(random.normal(0.0, 0.06, x.size))
    share = (x - x[0]) / check.length_mm
    half = check.width_mm / 2 * (np.sqrt(share) if check.at_end else np.sqrt(4 * share * (1 - share) + 0.02))
    rim = np.concatenate([np.stack([x, y - half], 1), np.stack([x, y + half], 1)[::-1]])
    low = max(0, int(rim[:, 1].min() * d) - 3)
    high = min(rows, int(rim[:, 1].max() * d) + 4)
    first = max(0, int(x[0] * d) - 3)
    fine = np.zeros(((high - low) * _FINE, (columns - first) * _FINE), np.uint8)
    corner = np.array([first, low]) / d
    cv2.fillPoly(fine, [np.rint((rim - corner) * d * _FINE).astype(np.int32)], 255)
    cover = cv2.resize(fine, (columns - first, high - low), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    cover = cv2.GaussianBlur(cover, (0, 0), 0.3 * d)[..., None]
    pixels = side.pixels.astype(np.float32)
    part = pixels[low:high, first:]
    pixels[low:high, first:] = part + cover * (_INSIDE - part)
    box = Box(float(x[0]), float(rim[:, 1].min()), float(x1), float(rim[:, 1].max()))
    return Picture(np.clip(pixels + 0.5, 0, 255).astype(np.uint8), d), box
