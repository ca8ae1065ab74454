"""Resample a part of a photo square-on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.geometry import Floats
from grainplan.photos.corners import FOCAL_PER_LONG_SIDE, View
from grainplan.photos.load import REDUCTIONS, Photo
from grainplan.picture import Pixels


@dataclass(frozen=True, slots=True)
class Area:
    """The part of a plane that is wanted, and how finely.

    Parameters
    ----------
    x0_mm, y0_mm : float
        The corner of its first pixel, board frame.
    columns, rows : int
    px_per_mm : float
    """

    x0_mm: float
    y0_mm: float
    columns: int
    rows: int
    px_per_mm: float

    @classmethod
    def of(cls, start_mm: tuple[float, float], size_mm: tuple[float, float], px_per_mm: float) -> Area:
        """The area that covers `size_mm` from `start_mm` on."""
        columns, rows = (max(1, round(s * px_per_mm)) for s in size_mm)
        return cls(start_mm[0], start_mm[1], columns, rows, px_per_mm)


def choose_reduction(view: View, px_per_mm: float) -> int:
    """How far the photo may be reduced while it is decoded, so that no detail worth having is lost.

    A tenth fewer pixels than the area has is let pass: a photo's own pixels, each of them one colour interpolated to
    three, are not that sharp.
    """
    fewest = float(view.densities().min())
    return next((k for k in REDUCTIONS if fewest / k >= 0.9 * px_per_mm), 1)


def flatten_photo(photo: Photo, view: View, area: Area) -> Pixels:
    """Resample a photo square-on.

    What is still finer than the area after decoding is averaged by area first, so that the picture neither aliases nor
    blurs; then one cubic interpolation.

    Parameters
    ----------
    photo : Photo
    view : View
    area : Area

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
    """
    part, x0, y0 = _crop_round(photo, view, area)
    wanted = _area_factors(photo, view, area)
    height, width = part.shape[:2]
    size = (max(2, round(width * wanted[0])), max(2, round(height * wanted[1])))
    if size != (width, height):
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
    fx, fy = size[0] / width, size[1] / height
    k, d = photo.reduction, area.px_per_mm
    from_area = np.array([[1 / d, 0, 0.5 / d + area.x0_mm], [0, 1 / d, 0.5 / d + area.y0_mm], [0, 0, 1]])
    to_pixels = np.array(
        [
            [fx / k, 0, fx * (photo.shift_px[0] / k - x0) - 0.5],
            [0, fy / k, fy * (photo.shift_px[1] / k - y0) - 0.5],
            [0, 0, 1],
        ]
    )
    if view.k1:
        return _resample_bent(part, view, area, (from_area, to_pixels))
    return np.asarray(
        cv2.warpPerspective(
            part,
            to_pixels @ view.to_photo @ from_area,
            (area.columns, area.rows),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.uint8,
    )


def _resample_bent(part: Pixels, view: View, area: Area, chain: tuple[Floats, Floats]) -> Pixels:
    """As the homography alone, with the lens between the plane and the pixels."""
    from_area, to_pixels = chain
    middle = np.array(view.size_px, float) / 2
    focal = FOCAL_PER_LONG_SIDE * max(view.size_px)
    normal = np.array([[1 / focal, 0, -middle[0] / focal], [0, 1 / focal, -middle[1] / focal], [0, 0, 1]])
    h = (normal @ view.to_photo @ from_area).astype(np.float32)
    column = np.arange(area.columns, dtype=np.float32)[None, :]
    row = np.arange(area.rows, dtype=np.float32)[:, None]
    deep = h[2, 0] * column + (h[2, 1] * row + h[2, 2])
    x = (h[0, 0] * column + (h[0, 1] * row + h[0, 2])) / deep
    y = (h[1, 0] * column + (h[1, 1] * row + h[1, 2])) / deep
    bend = np.float32(focal) * (1 + np.float32(view.k1) * (x * x + y * y))
    across = (x * bend + np.float32(middle[0])) * np.float32(to_pixels[0, 0]) + np.float32(to_pixels[0, 2])
    down = (y * bend + np.float32(middle[1])) * np.float32(to_pixels[1, 1]) + np.float32(to_pixels[1, 2])
    return np.asarray(cv2.remap(part, across, down, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), np.uint8)


def _corners_of(area: Area) -> Floats:
    x1, y1 = area.x0_mm + area.columns / area.px_per_mm, area.y0_mm + area.rows / area.px_per_mm
    return np.array([[area.x0_mm, area.y0_mm], [x1, area.y0_mm], [x1, y1], [area.x0_mm, y1]])


def _crop_round(photo: Photo, view: View, area: Area) -> tuple[Pixels, int, int]:
    """The part of the photo's pixels that the area needs, and where it begins."""
    whole = replace(view, outline_mm=_corners_of(area))
    places = photo.place(whole.corners_px)
    height, width = photo.pixels.shape[:2]
    low = np.clip(np.floor(places.min(axis=0)) - 4, 0, (width - 2, height - 2)).astype(int)
    high = np.clip(np.ceil(places.max(axis=0)) + 4, low + 2, (width, height)).astype(int)
    return photo.pixels[low[1] : high[1], low[0] : high[0]], int(low[0]), int(low[1])


def _area_factors(photo: Photo, view: View, area: Area) -> tuple[float, float]:
    """By how much to shrink the pixels in each direction of the photo before the interpolation."""
    whole = replace(view, outline_mm=_corners_of(area))
    points = np.vstack([whole.outline_mm, whole.outline_mm.mean(axis=0)])
    stretch = whole.stretch_at(points) / photo.reduction / area.px_per_mm
    # Photo pixels along each photo axis for one pixel of the area; the least over the area, so that none is blurred.
    steps = np.hypot(stretch[:, :, 0], stretch[:, :, 1]).min(axis=0)
    return tuple(1.0 if s < 1.25 else float(1 / s) for s in steps)  # type: ignore[return-value]
