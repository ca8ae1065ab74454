"""Points, boxes and homographies in the board frame.

The board frame (one for everything, in millimetres): `x` runs along the length from the foot, `y` across the width from
the face edge, `z` into the thickness from the face side. DEVELOPERS.md has the whole page.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle along the axes, in millimetres: from (`x0`, `y0`) to (`x1`, `y1`).

    Raises
    ------
    ValueError
        When a side is negative or a number is not finite. A box of no width is allowed: it is a line.
    """

    x0: float
    y0: float
    x1: float
    y1: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.x0, self.y0, self.x1, self.y1)):
            raise ValueError(f"a box needs finite numbers, got {self}")
        if self.x1 < self.x0 or self.y1 < self.y0:
            raise ValueError(f"a box runs from its smaller to its larger corner, got {self}")

    @property
    def width(self) -> float:
        """Extent along x, mm."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """Extent along y, mm."""
        return self.y1 - self.y0

    @property
    def area(self) -> float:
        """Area, mm²."""
        return self.width * self.height

    def overlaps(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1

    def contains(self, other: Box) -> bool:
        """Whether `other` lies wholly inside, edges included."""
        return self.x0 <= other.x0 and other.x1 <= self.x1 and self.y0 <= other.y0 and other.y1 <= self.y1


def solve_homography(source: ArrayLike, target: ArrayLike) -> Floats:
    """The 3 × 3 homography that takes four points of one plane to four points of another.

    Parameters
    ----------
    source, target : array-like, shape (4, 2)
        Corresponding points, no three of them in line.

    Raises
    ------
    ValueError
        When three points are in line, so that no homography exists.
    """
    src, dst = np.asarray(source, float), np.asarray(target, float)
    if src.shape != (4, 2) or dst.shape != (4, 2):
        raise ValueError(f"a homography needs four points a side, got shapes {src.shape} and {dst.shape}")
    rows, values = [], []
    for (x, y), (u, v) in zip(src, dst, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    try:
        solved = np.linalg.solve(np.array(rows), np.array(values))
    except np.linalg.LinAlgError:
        raise ValueError("three of the four points are in line; no homography takes them to a rectangle") from None
    return np.append(solved, 1.0).reshape(3, 3)


def apply_homography(homography: ArrayLike, points: ArrayLike) -> Floats:
    """Carry points, shape (n, 2), over to the other plane."""
    pts = np.asarray(points, float)
    carried = np.column_stack([pts, np.ones(len(pts))]) @ np.asarray(homography, float).T
    return np.asarray(carried[:, :2] / carried[:, 2:], float)


def signed_area(corners: ArrayLike) -> float:
    """Area of a polygon, positive where its corners turn clockwise on a picture (y downward)."""
    x, y = np.asarray(corners, float).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def list_runs(chosen: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past the last index of every run of True."""
    turns = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True)]
