"""Which way the lines of the wood run in a picture, and how sure that is: the structure tensor.

The tensor of a place is the mean, over its neighbourhood, of the outer product of the lightness gradient with itself
(Bigün and Granlund 1987); the lines run along its smaller axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.picture import Picture

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Tensor:
    """The three different parts of a structure tensor, per pixel: along columns, mixed, along rows."""

    columns: Floats
    mixed: Floats
    rows: Floats


@dataclass(frozen=True, slots=True, eq=False)
class DirectionField:
    """The direction of the lines at every pixel of a picture.

    Parameters
    ----------
    angle_deg : ndarray of float32, shape (rows, columns)
        From the columns' axis (x on a broad side, y on an end) toward larger rows, -90 to 90.
    sure : ndarray of float32, same shape
        0 where nothing tells a direction, 1 where all lines are parallel and strong.
    px_per_mm : float
        Density of the picture.
    """

    angle_deg: Floats
    sure: Floats
    px_per_mm: float


def blur_wide(values: NDArray[np.floating], sigma_columns_px: float, sigma_rows_px: float) -> Floats:
    """Gaussian mean over a wide neighbourhood, taken on a coarser picture: much quicker and nearly the same."""
    rows, columns = values.shape
    factors = (max(1, int(sigma_columns_px / 4.0)), max(1, int(sigma_rows_px / 4.0)))
    shape = (max(1, columns // factors[0]), max(1, rows // factors[1]))
    small = cv2.resize(np.asarray(values, dtype=np.float32), shape, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(
        small, (0, 0), sigmaX=sigma_columns_px * shape[0] / columns, sigmaY=sigma_rows_px * shape[1] / rows
    )
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def even_out(lightness: NDArray[np.floating], px_per_mm: float, *, reach_mm: float = 5.0) -> Floats:
    """Lightness without its slow changes and of even contrast: mean near 0, deviation near 1.

    Parameters
    ----------
    lightness : ndarray, shape (rows, columns)
        Any linear scale.
    px_per_mm : float
        Density.
    reach_mm : float
        Changes slower than this are taken out.
    """
    values = np.ascontiguousarray(lightness, dtype=np.float32)
    sigma = reach_mm * px_per_mm
    level = values - blur_wide(values, sigma, sigma)
    power = blur_wide(np.square(level), 1.6 * sigma, 1.6 * sigma)
    floor = max(0.25 * float(np.sqrt(power.mean())), 1e-3)
    return np.asarray(level / (np.sqrt(power) + floor), dtype=np.float32)


def measure_tensor(
    values: NDArray[np.floating], px_per_mm: float, *, gradient_mm: float = 0.35, smooth_mm: float = 1.5
) -> Tensor:
    """The structure tensor of a picture.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Lightness, best after :func:`even_out`.
    px_per_mm : float
        Density.
    gradient_mm, smooth_mm : float
        Deviation of the Gaussian before the gradient is taken, and over the neighbourhood.
    """
    source = np.ascontiguousarray(values, dtype=np.float32)
    smooth = cv2.GaussianBlur(source, (0, 0), gradient_mm * px_per_mm)
    right = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) * (px_per_mm / 32.0)
    down = cv2.Scharr(smooth, cv2.CV_32F, 0, 1) * (px_per_mm / 32.0)
    sigma = smooth_mm * px_per_mm
    columns, mixed, rows = (
        np.asarray(cv2.GaussianBlur(product, (0, 0), sigma), dtype=np.float32)
        for product in (right * right, right * down, down * down)
    )
    return Tensor(columns, mixed, rows)


def read_direction(tensor: Tensor, px_per_mm: float) -> DirectionField:
    """Direction of the lines, and how sure it is, from a structure tensor."""
    apart = np.hypot(tensor.columns - tensor.rows, 2.0 * tensor.mixed)
    across = 0.5 * np.arctan2(2.0 * tensor.mixed, tensor.columns - tensor.rows)
    angle = np.degrees(across) + 90.0
    angle = (angle + 90.0) % 180.0 - 90.0
    energy = tensor.columns + tensor.rows
    sure = apart / (energy + 0.02 * float(energy.mean()) + 1e-12)
    return DirectionField(angle.astype(np.float32), sure.astype(np.float32), px_per_mm)


def measure_direction(picture: Picture, *, smooth_mm: float = 1.5) -> DirectionField:
    """Which way the lines run at every pixel of a flattened picture.

    Parameters
    ----------
    picture : Picture
        A broad side, an end, or a surface inside.
    smooth_mm : float
        Size of the neighbourhood (Gaussian deviation).
    """
    density = picture.px_per_mm
    values = even_out(picture.lightness(), density)
    return read_direction(measure_tensor(values, density, smooth_mm=smooth_mm), density)
