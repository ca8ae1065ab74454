"""The colour difference CIEDE2000 between two colours, or between two lists of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def differ_ciede2000(first: ArrayLike, second: ArrayLike) -> Floats:
    """How different two colours look: 1 is just seen, from about 6 on two strips plainly differ.

    Parameters
    ----------
    first, second : array-like, shape (..., 3)
        CIE L*a*b*, L* from 0 to 100.

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test
    data, and mathematical observations", Color Research and Application 30(1), 2005, p. 21-30; the weights are 1.
    """
    lab1, lab2 = np.asarray(first, float), np.asarray(second, float)
    L1, L2 = lab1[..., 0], lab2[..., 0]
    a1, b1, a2, b2 = lab1[..., 1], lab1[..., 2], lab2[..., 1], lab2[..., 2]
    mean_chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    G = 0.5 * (1 - np.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7)))
    C1, C2 = np.hypot((1 + G) * a1, b1), np.hypot((1 + G) * a2, b2)
    h1 = np.degrees(np.arctan2(b1, (1 + G) * a1)) % 360
    h2 = np.degrees(np.arctan2(b2, (1 + G) * a2)) % 360
    h1, h2 = np.where(C1 == 0, 0.0, h1), np.where(C2 == 0, 0.0, h2)
    grey = C1 * C2 == 0
    turn = h2 - h1
    turn = np.where(grey, 0.0, np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn)))
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(turn) / 2)
    total = h1 + h2
    mean_h = np.where(np.abs(h1 - h2) <= 180, total / 2, np.where(total < 360, (total + 360) / 2, (total - 360) / 2))
    mean_h = np.where(grey, total, mean_h)
    return np.asarray(_combine(L2 - L1, C2 - C1, dH, ((L1 + L2) / 2, (C1 + C2) / 2, mean_h)))


def _combine(dL: Floats, dC: Floats, dH: Floats, means: tuple[Floats, Floats, Floats]) -> Floats:  # noqa: N803
    L, C, h = means
    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    SL = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    SC, SH = 1 + 0.045 * C, 1 + 0.015 * C * T
    rotation = 30 * np.exp(-(((h - 275) / 25) ** 2))
    RT = -2 * np.sqrt(C**7 / (C**7 + 25.0**7)) * np.sin(np.radians(2 * rotation))
    l, c, hue = dL / SL, dC / SC, dH / SH  # noqa: E741
    return np.asarray(np.sqrt(np.maximum(l**2 + c**2 + hue**2 + RT * c * hue, 0.0)))
