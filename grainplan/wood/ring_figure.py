"""What agreement of two surfaces is judged on: their lightness without grain of the camera and slow changes of tone."""

from __future__ import annotations

import cv2
import numpy as np

from grainplan.picture import Picture
from grainplan.wood.orient import blur_wide
from grainplan.wood.solid_grid import Floats

PX_PER_MM = 1.0
SLOW_MM = (60.0, 20.0)
"""Changes slower than this, along and across, are light and tone, not rings."""
FINE_MM = 0.5
NEIGHBOURHOOD_MM = (30.0, 10.0)
"""Deviation, along and across, of the neighbourhood over which the strength of a figure is told."""


def show_figure(picture: Picture, *, like: Picture | None = None) -> Floats:
    """Lightness as agreement is judged on, at 1 px/mm, on the pixels of `like`."""
    model = like or picture
    shape = (round(model.width_mm * PX_PER_MM), round(model.height_mm * PX_PER_MM))
    small = cv2.resize(picture.lightness(), shape, interpolation=cv2.INTER_AREA)
    smooth = np.asarray(cv2.GaussianBlur(small, (0, 0), FINE_MM * PX_PER_MM), np.float32)
    return np.asarray(smooth - blur_wide(smooth, SLOW_MM[0] * PX_PER_MM, SLOW_MM[1] * PX_PER_MM), np.float32)


def measure_power(picture: Picture, shape: tuple[int, int]) -> Floats:
    """Mean square of a surface's figure round each place.

    Parameters
    ----------
    picture : Picture
        A broad side or a surface inside.
    shape : two ints
        Rows and columns of the places, spread evenly from edge to edge.
    """
    square = np.square(show_figure(picture))
    wide = blur_wide(square, NEIGHBOURHOOD_MM[0] * PX_PER_MM, NEIGHBOURHOOD_MM[1] * PX_PER_MM)
    row = np.linspace(0, square.shape[0] - 1, shape[0], dtype=np.float32)
    column = np.linspace(0, square.shape[1] - 1, shape[1], dtype=np.float32)
    columns, rows = np.meshgrid(column, row)
    return np.asarray(cv2.remap(wide, columns, rows, cv2.INTER_LINEAR), np.float32)
