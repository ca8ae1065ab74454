"""What a photo is too poor for, and what to do about it."""

from __future__ import annotations

import cv2
import numpy as np

from grainplan.boards import END_SIDES, Side
from grainplan.geometry import Floats
from grainplan.photos.corners import View
from grainplan.photos.load import Photo
from grainplan.picture import Pixels

PX_A_RING = 4.0  # pixels from one ring line to the next that are needed to tell them apart
_WANTED_RING_MM = {"broad": 3.0, "end": 1.5}  # on a broad side rings are cut at a slant, and lie wider apart
_BLUR_PX = 4.5
_BLUR_MM = 0.9
_GLARE_TONE = 250
_GLARE_SHARE = 0.01
_RIM_PX = 2.5
_LOOKED_AT_PX = 600


def check_photo(photo: Photo, view: View, side: Side) -> tuple[str, ...]:
    """Look at the board's part of a photo before anything is read from it.

    Parameters
    ----------
    photo : Photo
    view : View
        How the photo sees this side.
    side : str

    Returns
    -------
    tuple of str
        One sentence for each thing that is wrong, with what to do; empty for a good photo.
    """
    return (
        *_tell_cut_off(view, side),
        *_tell_coarse(view, side),
        *_tell_blur(photo, view),
        *_tell_glare(photo, view),
    )


def _tell_cut_off(view: View, side: Side) -> tuple[str, ...]:
    """A corner on the rim of the photo is most likely where the photo ends, not the board."""
    at_rim = _touches_rim(view.corners_px, view.size_px)
    names = ("foot end", "head end") if side not in END_SIDES else ("face edge", "other edge")
    ends = [name for name, (i, j) in zip(names, ((0, 3), (1, 2)), strict=True) if at_rim[i] and at_rim[j]]
    return tuple(
        f"the {end} reaches the rim of the photo and may be cut off; step back until the whole side is in the picture, "
        "with a hand's breadth around it"
        for end in ends
    )


def _touches_rim(corners_px: Floats, size_px: tuple[int, int]) -> list[bool]:
    return [bool((c < _RIM_PX).any() or (c > np.array(size_px) - _RIM_PX).any()) for c in corners_px]


def _tell_coarse(view: View, side: Side) -> tuple[str, ...]:
    finest = PX_A_RING / float(view.densities()[4].min())
    if finest <= _WANTED_RING_MM["end" if side in END_SIDES else "broad"]:
        return ()
    return (
        f"too few pixels for the rings: lines closer than {finest:.1f} mm run together; go closer, or photograph the "
        "side in parts that overlap",
    )


def _tell_blur(photo: Photo, view: View) -> tuple[str, ...]:
    width_px = measure_blur(_cut_board(photo, view)) * photo.reduction
    width_mm = width_px / float(view.densities()[4].mean())
    if width_px < _BLUR_PX * photo.reduction or width_mm < _BLUR_MM:
        return ()
    return (
        f"blurred: even its sharpest lines are smeared over {width_px:.0f} px ({width_mm:.1f} mm); rest the camera on "
        "something, touch the board on the screen to focus, and take it again",
    )


def _cut_board(photo: Photo, view: View) -> Pixels:
    """The box round the board, or its middle part where it is large."""
    places = photo.place(view.corners_px)
    height, width = photo.pixels.shape[:2]
    low = np.clip(np.floor(places.min(axis=0)), 0, (width - 8, height - 8)).astype(int)
    high = np.clip(np.ceil(places.max(axis=0)), low + 8, (width, height)).astype(int)
    middle, half = (low + high) // 2, np.minimum((high - low) // 2, _LOOKED_AT_PX // 2)
    a, b = middle - half, middle + half
    return photo.pixels[a[1] : b[1], a[0] : b[0]]


def measure_blur(pixels: Pixels) -> float:
    """Width of the sharpest lines of a picture, pixels: 2 to 3 where it is sharp.

    At the strongest brightness steps the height of the step is divided by its steepest slope; the sharpest tenth
    of them counts, since wood has soft lines of its own.
    """
    # The light smoothing keeps the sensor's noise from passing as sharp detail.
    grey = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32), (0, 0), 0.8)
    widths = []
    for axis in (0, 1):
        lines = grey if axis == 1 else grey.T
        slope = np.abs(np.diff(lines, axis=1))
        if slope.shape[1] < 20:
            continue
        window = np.ones((1, 17), np.uint8)
        step = cv2.dilate(lines, window) - cv2.erode(lines, window)
        peak = cv2.dilate(slope, np.ones((1, 9), np.uint8))
        strong = (slope == peak) & (slope > max(float(np.quantile(slope[::3, ::3], 0.98)), 4.0))
        if int(strong.sum()) >= 30:
            widths.append(float(np.quantile(step[:, :-1][strong] / slope[strong], 0.1)))
    return min(widths, default=0.0)


def _tell_glare(photo: Photo, view: View) -> tuple[str, ...]:
    places = photo.place(view.corners_px)
    mask = cv2.fillConvexPoly(np.zeros(photo.pixels.shape[:2], np.uint8), np.rint(places).astype(np.int32), 1)
    x, y, wide, tall = cv2.boundingRect(np.rint(places).astype(np.int32))
    part = (slice(max(0, y), y + tall), slice(max(0, x), x + wide))
    burnt = cv2.inRange(photo.pixels[part], (_GLARE_TONE,) * 3, (255,) * 3)
    share = cv2.countNonZero(cv2.bitwise_and(burnt, burnt, mask=mask[part])) / max(1, cv2.countNonZero(mask[part]))
    if share < _GLARE_SHARE:
        return ()
    return (
        f"glare: {share:.0%} of the side is burnt out to white and shows no wood; turn off the flash, keep lamps and "
        "windows from mirroring in it, or expose darker",
    )
