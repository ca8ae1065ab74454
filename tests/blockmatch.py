"""How far a picture's details lie from where they should be, by matching blocks."""

from __future__ import annotations

import cv2
import numpy as np

from tests.drawn.solid import Picture


def match_blocks(
    found: Picture,
    truth: Picture,
    px_per_mm: float,
    *,
    block_mm: tuple[float, float] = (50.0, 25.0),
    reach_mm: float = 6.0,
) -> np.ndarray:
    """Rows of (x, y, off along, off across) in mm, one for each block of `truth` with texture both ways."""
    a, b = (cv2.cvtColor(p, cv2.COLOR_RGB2GRAY).astype(np.float32) for p in (found, truth))
    a, b = (p - cv2.GaussianBlur(p, (0, 0), 12 * px_per_mm) for p in (a, b))
    wide, high = (round(s * px_per_mm) for s in block_mm)
    reach = round(reach_mm * px_per_mm)
    rows = []
    for top in range(reach, truth.shape[0] - high - reach + 1, high // 2):
        for left in range(reach, truth.shape[1] - wide - reach + 1, wide):
            block = b[top : top + high, left : left + wide]
            if not _can_be_placed(b, (top, left), block.shape, round(2 * px_per_mm)):
                continue
            window = a[top - reach : top + high + reach, left - reach : left + wide + reach]
            score = cv2.matchTemplate(window, block, cv2.TM_CCOEFF_NORMED)
            _, _, _, (c, r) = cv2.minMaxLoc(score)
            at = (left + wide / 2, top + high / 2)
            off = (c + _peak(score[r], c) - reach, r + _peak(score[:, c], r) - reach)
            rows.append((*at, *off))
    return np.array(rows).reshape(-1, 4) / px_per_mm


def _can_be_placed(truth: np.ndarray, corner: tuple[int, int], shape: tuple[int, ...], step: int) -> bool:
    """Whether the block differs from what lies 2 mm off by more than noise: straight plain grain does not."""
    top, left = corner
    block = truth[top : top + shape[0], left : left + shape[1]]
    for down, right in ((0, step), (step, 0)):
        moved = truth[top + down : top + down + shape[0], left + right : left + right + shape[1]]
        if np.std(block - moved) < 2.0:
            return False
    return True


def _peak(values: np.ndarray, at: int) -> float:
    if not 0 < at < len(values) - 1:
        return 0.0
    before, here, after = (float(v) for v in values[at - 1 : at + 2])
    bend = before - 2 * here + after
    return 0.0 if bend >= 0 else 0.5 * (before - after) / bend
