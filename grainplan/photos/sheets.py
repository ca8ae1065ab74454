"""The scale sheets: three strips of paper with two square marks each, and finding them in a photo."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from grainplan.geometry import Floats, apply_homography, solve_homography
from grainplan.photos.edges import fit_edge, meet_edges
from grainplan.photos.load import Photo
from grainplan.picture import Pixels

SheetName = Literal["foot", "middle", "head"]
SHEET_NAMES: tuple[SheetName, ...] = ("foot", "middle", "head")
SHEET_WIDTH_MM, SHEET_HEIGHT_MM = 150.0, 56.0
MARK_MM = 40.0
# Left edge of either mark, and their upper edge, on a strip; the white around a mark is part of it.
MARK_LEFT_MM, MARK_TOP_MM = (8.0, 102.0), 8.0
CELLS = 6  # a mark's cells along a side, its black border included
_DICTIONARY = cv2.aruco.DICT_4X4_50  # few, large cells: the easiest to see small
_LEAST_MARK_PX = 14.0
_GLANCE_PX = 250_000
_LAYOUT_OFF = 0.12  # of a mark's side: how far a strip's second mark may be from where the first one says


@dataclass(frozen=True, slots=True)
class FoundSheet:
    """A scale sheet in a photo.

    Parameters
    ----------
    name : {"foot", "middle", "head"}
    corners_px : ndarray, shape (8, 2)
        The corners of its left mark, then of its right one, each clockwise from the upper left as the sheet is read. Px
        of the whole photo, from the first pixel's corner.
    """

    name: SheetName
    corners_px: Floats


def draw_mark(number: int) -> list[tuple[int, int]]:
    """The white cells (column, row) of a mark on its black square of 6 × 6 cells."""
    cells = cv2.aruco.generateImageMarker(_load_dictionary(), number, CELLS, borderBits=1)
    return [(c, r) for r in range(CELLS) for c in range(CELLS) if cells[r, c] > 127]


def list_mark_corners() -> Floats:
    """The eight corners of a sheet's marks on the paper, mm, in the order of :class:`FoundSheet`."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * MARK_MM
    return np.vstack([square + np.array([left, MARK_TOP_MM]) for left in MARK_LEFT_MM])


def find_sheets(photo: Photo, *, around_px: Floats | None = None) -> tuple[FoundSheet, ...]:
    """Find scale sheets: at half size, then each mark's sides again on the full picture.

    A sheet counts only with both of its marks, the second where the first says it must be: grain and floors now and
    then look like one mark, never like a pair.

    Parameters
    ----------
    photo : Photo
    around_px : ndarray, shape (n, 2), optional
        Corners of the board on the whole photo: sheets are looked for on and beside it alone, and so more finely.
    """
    photo = photo if around_px is None else _cut_round(photo, around_px)
    # Most photos have none: one look at every fourth pixel or so of the green settles that in a small part of the time.
    quick = cv2.aruco.DetectorParameters()
    quick.adaptiveThreshWinSizeMin = quick.adaptiveThreshWinSizeMax = 13
    skip = max(1, round((photo.pixels.shape[0] * photo.pixels.shape[1] / _GLANCE_PX) ** 0.5))
    green = np.ascontiguousarray(photo.pixels[::skip, ::skip, 1])
    glance = cv2.aruco.ArucoDetector(_load_dictionary(), quick).detectMarkers(green)[1]
    if glance is None or not (glance < 2 * len(SHEET_NAMES)).any():
        return ()
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    step = 2 if max(grey.shape) > 2000 else 1
    small = cv2.resize(grey, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA) if step > 1 else grey
    detector = cv2.aruco.ArucoDetector(_load_dictionary(), cv2.aruco.DetectorParameters())
    marks, numbers, _ = detector.detectMarkers(small)
    seen: dict[int, list[Floats]] = {}
    for mark, number in zip(marks, [] if numbers is None else numbers.ravel(), strict=True):
        corners = (mark.reshape(4, 2).astype(float) + 0.5) * step
        if number < 2 * len(SHEET_NAMES) and _side(corners) >= _LEAST_MARK_PX:
            seen.setdefault(int(number), []).append(_refine(photo.pixels, corners))
    found = []
    for i, name in enumerate(SHEET_NAMES):
        pairs = [(a, b) for a in seen.get(2 * i, []) for b in seen.get(2 * i + 1, []) if _belong(a, b)]
        if len(pairs) == 1:
            corners = np.vstack(pairs[0]) * photo.reduction - np.array(photo.shift_px, float)
            found.append(FoundSheet(name, corners))
    return tuple(found)


def _cut_round(photo: Photo, around_px: Floats) -> Photo:
    """The photo's pixels on and beside a board, at least a sheet's breadth round it."""
    places = photo.place(around_px)
    spans = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    margin = max(0.8 * float(spans.min()), 0.1 * float(spans.max()))
    height, width = photo.pixels.shape[:2]
    low = np.clip(np.floor(places.min(axis=0) - margin), 0, (width - 2, height - 2)).astype(int)
    high = np.clip(np.ceil(places.max(axis=0) + margin), low + 2, (width, height)).astype(int)
    shift = np.array(photo.shift_px) - low * photo.reduction
    pixels = photo.pixels[low[1] : high[1], low[0] : high[0]]
    return replace(photo, pixels=pixels, shift_px=(int(shift[0]), int(shift[1])))


def _load_dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(_DICTIONARY)


def _side(corners: Floats) -> float:
    return float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).min())


def _refine(pixels: Pixels, corners: Floats) -> Floats:
    """Corners as the meeting points of the mark's four sides, each fitted as a line.

    Searching for the corners themselves finds them rounded by the lens, a tenth of a pixel too far inside.
    """
    reach = float(np.clip(_side(corners) / CELLS * 0.4, 1.6, 5.0))
    sides = [fit_edge(pixels, corners[i], corners[(i + 1) % 4], reach_px=reach) for i in range(4)]
    lines = [replace(e, curve=(e.curve[0] + e.curve[2] / 3, e.curve[1], 0.0)) for e in sides]
    found = np.array([meet_edges(lines[i - 1], lines[i]) for i in range(4)])
    return found if float(np.abs(found - corners).max()) < 2 * reach + 1 else corners


def _belong(left: Floats, right: Floats) -> bool:
    """Whether two marks stand to each other as they do on a strip."""
    plan = list_mark_corners()
    expected = apply_homography(solve_homography(plan[:4], left), plan[4:])
    off = np.linalg.norm(expected - right, axis=1).max()
    back = np.linalg.norm(apply_homography(solve_homography(plan[4:], right), plan[:4]) - left, axis=1).max()
    # One small mark says little about places two and a half sides away; the nearer guess of the two counts.
    return bool(min(off, back) < _LAYOUT_OFF * 2.5 * _side(np.asarray(left)))
