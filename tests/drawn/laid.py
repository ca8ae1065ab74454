"""Scale sheets laid on the seen side of a drawn board, after the photo was taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.photos.sheets import (
    CELLS,
    MARK_LEFT_MM,
    MARK_MM,
    MARK_TOP_MM,
    SHEET_HEIGHT_MM,
    SHEET_NAMES,
    SHEET_WIDTH_MM,
    SheetName,
    draw_mark,
)
from tests.drawn.camera import Photo
from tests.drawn.solid import Picture

_FINE = 12  # px a mm


@dataclass(frozen=True, slots=True)
class Paper:
    """How a sheet came out of the printer, how it lies, and how sharply it is seen.

    Parameters
    ----------
    lower_mm
        How far below the seen side it lies.
    curl_mm
        How far its two ends lie below its middle.
    print_x, print_y
        Size of the print over what it should be, along the sheet and across.
    blur_px, noise
    """

    lower_mm: float = 0.0
    curl_mm: float = 0.0
    print_x: float = 1.0
    print_y: float = 1.0
    blur_px: float = 0.6
    noise: float = 1.6

    def depth_at(self, along_mm: np.ndarray) -> np.ndarray:
        """How far below the seen side the paper is, `along_mm` from its left end."""
        half = SHEET_WIDTH_MM / 2
        return self.lower_mm + self.curl_mm * ((along_mm / half - 1) ** 2 - 1 / 3)


def draw_sheet(name: SheetName) -> Picture:
    """A sheet as it comes out of the printer, finely."""
    paper = np.full((round(SHEET_HEIGHT_MM * _FINE), round(SHEET_WIDTH_MM * _FINE)), 238, np.uint8)
    for place, left in enumerate(MARK_LEFT_MM):
        cell = MARK_MM / CELLS
        black = _box(left, MARK_TOP_MM, MARK_MM)
        paper[black] = 24
        for c, r in draw_mark(2 * SHEET_NAMES.index(name) + place):
            paper[_box(left + c * cell, MARK_TOP_MM + r * cell, cell)] = 238
    return paper


def _box(left: float, top: float, side: float) -> tuple[slice, slice]:
    a, b = round(left * _FINE), round(top * _FINE)
    return slice(b, round((top + side) * _FINE)), slice(a, round((left + side) * _FINE))


def lay_sheets(
    photo: Photo,
    places: dict[SheetName, tuple[float, float, float]],
    *,
    k1: float,
    papers: Mapping[SheetName, Paper] | None = None,
    seed: int = 0,
) -> Picture:
    """The photo with sheets on it.

    `places`: for each sheet the place of its corner on the seen side (u, v, mm) and its turn (degrees).
    """
    random = np.random.default_rng(seed)
    picture = photo.picture.astype(np.float32)
    lens = np.array([k1, 0, 0, 0.0])
    for name, (u0, v0, turn_deg) in places.items():
        paper = (papers or {}).get(name, Paper())
        turn = np.radians(turn_deg)
        to_board = np.array([[np.cos(turn), -np.sin(turn), u0], [np.sin(turn), np.cos(turn), v0], [0, 0, 1]])
        to_board = to_board @ np.diag([paper.print_x, paper.print_y, 1.0])
        rim = np.array(
            [[0, 0, 1], [SHEET_WIDTH_MM, 0, 1], [SHEET_WIDTH_MM, SHEET_HEIGHT_MM, 1], [0, SHEET_HEIGHT_MM, 1]]
        )
        flat = rim @ to_board.T
        flat[:, 2] = paper.depth_at(rim[:, 0])
        seen = cv2.projectPoints(flat, cv2.Rodrigues(photo.rotation)[0], photo.translation, photo.camera_matrix, lens)[
            0
        ].reshape(4, 2)
        low, high = np.floor(seen.min(axis=0)).astype(int) - 3, np.ceil(seen.max(axis=0)).astype(int) + 4
        low = np.maximum(low, 0)
        high = np.minimum(high, [picture.shape[1], picture.shape[0]])
        if (high <= low).any():
            continue
        part = picture[low[1] : high[1], low[0] : high[0]]
        cover, ink = _print_part(photo, draw_sheet(name), (paper, to_board, k1), low, part.shape)
        laid = part * (1 - cover) + ink
        laid = cv2.GaussianBlur(laid, (0, 0), paper.blur_px) + random.normal(0, paper.noise, laid.shape)
        picture[low[1] : high[1], low[0] : high[0]] = np.where(cover > 0, laid, part)
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)


def _print_part(
    photo: Photo,
    print_: Picture,
    lies: tuple[Paper, np.ndarray, float],
    low: np.ndarray,
    shape: tuple[int, ...],
) -> tuple[np.ndarray, np.ndarray]:
    """How much of each pixel a sheet covers, and what it adds to it."""
    paper, to_board, k1 = lies
    fine = 4  # points a pixel and direction, so that edges fall as they do on a sensor
    x = low[0] - 0.5 + (np.arange(shape[1] * fine) + 0.5) / fine
    y = low[1] - 0.5 + (np.arange(shape[0] * fine) + 0.5) / fine
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    rays = _straighten(grid, photo.camera_matrix, k1)
    world = np.column_stack([rays, np.ones(len(rays))]) @ photo.rotation
    eye = -photo.rotation.T @ photo.translation
    onto = np.linalg.inv(to_board).T
    depth = np.full(len(rays), paper.lower_mm)
    on = np.zeros((len(rays), 2))
    for _ in range(3 if paper.curl_mm else 1):
        reach = (depth - eye[2]) / world[:, 2]
        place = np.column_stack([eye[0] + reach * world[:, 0], eye[1] + reach * world[:, 1], np.ones(len(rays))])
        on = (place @ onto)[:, :2]
        depth = paper.depth_at(np.clip(on[:, 0], 0, SHEET_WIDTH_MM))
    at = (on * _FINE - 0.5).astype(np.float32).reshape(y.size, x.size, 2)
    tone = cv2.remap(
        print_.astype(np.float32), at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    inside = ((on >= 0) & (on <= (SHEET_WIDTH_MM, SHEET_HEIGHT_MM))).all(axis=1).reshape(tone.shape)
    cover = inside.astype(np.float32)
    mean, ink = (_mean_blocks(p, fine)[..., None] for p in (cover, cover * tone))
    return mean, ink


def _straighten(places_px: np.ndarray, matrix: np.ndarray, k1: float) -> np.ndarray:
    bent = (places_px - matrix[:2, 2]) / np.diag(matrix)[:2]
    straight = bent.copy()
    for _ in range(12):
        straight = bent / (1 + k1 * (straight**2).sum(axis=1, keepdims=True))
    return straight


def _mean_blocks(fine_picture: np.ndarray, fine: int) -> np.ndarray:
    rows, columns = fine_picture.shape[0] // fine, fine_picture.shape[1] // fine
    return fine_picture.reshape(rows, fine, columns, fine).mean(axis=(1, 3))
