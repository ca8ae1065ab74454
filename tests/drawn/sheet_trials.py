"""A plain board with scale sheets as makers lay them: not quite flat, a little low, printed a little off.

Each trial draws its own camera, lens, blur, paper and typed corners, so that the doubt that is stated of a length can
be held against how far off it is. Only the band of the photo with the board in it is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.photos.load import Photo
from grainplan.photos.sheets import SHEET_NAMES, SHEET_WIDTH_MM, SheetName
from tests.drawn.camera import Camera, stand_camera
from tests.drawn.camera import Photo as Shot
from tests.drawn.laid import Paper, lay_sheets

LENGTH_MM, WIDTH_MM = 2000.0, 200.0
SIZE_PX = (4000, 3000)
TYPED_OFF_PX = 0.75  # standard deviation; 1.5 px covers a corner 19 times in 20


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """A photo of known truth, and the corners as a person would have typed them."""

    photo: Photo
    typed_px: NDArray[np.float64]
    corners_px: NDArray[np.float64]
    k1: float


def draw_trial(seed: int, *, sheets: int = 2) -> Trial:
    """One photo of a board of 2 m from 12 megapixels, with two sheets at its ends or three along it."""
    random = np.random.default_rng(seed)
    k1, tilts = float(random.uniform(-0.03, 0.03)), random.normal(0, (6, 4, 2))
    fill, focal = float(random.uniform(0.8, 0.92)), float(np.exp(random.normal(0, 0.05)))
    camera = Camera(*SIZE_PX, fill, *tilts, k1=k1 * focal**2, focal_ratio=focal)
    matrix, turn, shift = stand_camera(camera, LENGTH_MM, WIDTH_MM)
    lens = np.array([camera.k1, 0, 0, 0])
    rim = np.array([[0, 0, 0], [LENGTH_MM, 0, 0], [LENGTH_MM, WIDTH_MM, 0], [0, WIDTH_MM, 0.0]])
    corners = cv2.projectPoints(rim, cv2.Rodrigues(turn)[0], shift, matrix, lens)[0].reshape(4, 2) + 0.5
    top, bottom = int(corners[:, 1].min()) - 90, int(corners[:, 1].max()) + 90
    band = random.normal(150, 3, (bottom - top, SIZE_PX[0], 1))
    matrix[1, 2] -= top
    plain = np.repeat(np.clip(band, 0, 255).astype(np.uint8), 3, axis=2)
    places = _choose_places(random, sheets)
    drawn = lay_sheets(
        Shot(plain, corners, matrix, turn, shift),
        places,
        k1=camera.k1,
        papers=_make_papers(random, tuple(places)),
        seed=seed,
    )
    typed = corners + random.normal(0, TYPED_OFF_PX, (4, 2))
    return Trial(Photo(drawn, 1, (0, -top), *SIZE_PX), typed, corners, k1)


def _choose_places(random: np.random.Generator, sheets: int) -> dict[SheetName, tuple[float, float, float]]:
    """Where the sheets lie: within a hand of the ends, anywhere across."""
    inset = random.uniform(10, 60, 3)
    across, turned = random.uniform(0, WIDTH_MM - 60, 3), random.normal(0, 2, 3)
    along = (inset[0], LENGTH_MM / 2 - 4 * inset[1], LENGTH_MM - SHEET_WIDTH_MM - inset[2])
    chosen = (0, 1, 2) if sheets == 3 else (0, 2)
    return {SHEET_NAMES[i]: (along[i], across[i], turned[i]) for i in chosen}


def _make_papers(random: np.random.Generator, names: tuple[SheetName, ...]) -> dict[SheetName, Paper]:
    """One printer, one camera; each sheet curls in its own way and lies a little lower than the face, if at all."""
    print_x, print_y = 1 + random.normal(0, 0.0007, 2)
    blur, noise, lower = random.uniform(0.4, 1.4), random.uniform(1, 4), random.uniform(-0.5, 2.5)
    return {
        name: Paper(lower + random.normal(0, 0.4), random.normal(0, 0.8), print_x, print_y, blur, noise)
        for name in names
    }
