"""How well a predicted surface agrees with the true one, and what other guesses would reach."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level
from grainplan.wood.solid_fill import fill_inside
from grainplan.wood.solid_paint import mix_paint
from grainplan.wood.solid_pith import PithLine
from tests.drawn.solid import Plane, Solid, number_rings

EDGE_PX = 8


def show_figure(picture: Picture) -> NDArray[np.float32]:
    """Lightness as agreement is judged on: smoothed over about 1 mm (deviation 0.5), slow changes taken out.

    Slow means slower than Gaussians of 20 mm across and 60 mm along.
    """
    density = picture.px_per_mm
    smooth = cv2.GaussianBlur(picture.lightness(), (0, 0), 0.5 * density)
    return smooth - cv2.GaussianBlur(smooth, (0, 0), sigmaX=60 * density, sigmaY=20 * density)


def agree(first: NDArray[np.floating], second: NDArray[np.floating]) -> float:
    """Correlation of two figures, a rim left out."""
    rows, columns = np.minimum(first.shape, second.shape)
    inner = np.s_[EDGE_PX : rows - EDGE_PX, EDGE_PX : columns - EDGE_PX]
    return float(np.corrcoef(first[inner].ravel(), second[inner].ravel())[0, 1])


def blend_sides(face: Picture, back: Picture, share: float) -> Picture:
    """The guess of a naive program: face and back mixed by depth."""
    mixed = face.pixels.astype(np.float32) * (1 - share) + back.pixels.astype(np.float32) * share
    return Picture(mixed.astype(np.uint8), face.px_per_mm)


def colour_true_rings(board: Solid, sides: dict[str, Picture], depth_mm: float) -> NDArray[np.float32]:
    """The ceiling: the true ring field at a depth, coloured by what face and back show of each ring."""
    bins = 0.05
    density = sides["face"].px_per_mm
    index, shown = [], []
    for side, at in (("face", 0.0), ("back", board.thickness_mm)):
        figure = show_figure(sides[side])
        number = number_rings(board, Plane("z", at, density))
        rows, columns = np.minimum(figure.shape, number.shape)
        index.append((number[:rows, :columns] / bins).astype(int).ravel())
        shown.append(figure[:rows, :columns].ravel())
    where, what = np.concatenate(index), np.concatenate(shown)
    wanted = (number_rings(board, Plane("z", depth_mm, density)) / bins).astype(int)
    size = max(int(where.max()), int(wanted.max())) + 1
    mean = np.bincount(where, what, size) / (np.bincount(where, minlength=size) + 5.0)
    return mean[wanted].astype(np.float32)


def know_sides_exactly(board: Solid, found: BoardSolid, sides: dict[str, Picture]) -> BoardSolid:
    """What an all-knowing reader of the sides could do: true pith and true bends on every side, the inside estimated.

    Its agreement is the most that sides and statistics of the waves can give; what is above it lies hidden in the wood.
    """
    axes = [np.arange(count) * step for count, step in zip(found.grid.counts, found.grid.step_mm, strict=True)]
    bends = np.sum([wave.at(*axes) for wave in board.waves], axis=0).astype(np.float64)
    true = board.pith
    pith = PithLine((true.y_foot_mm, true.z_foot_mm), (true.y_head_mm, true.z_head_mm), board.length_mm)
    filled = fill_inside(bends, found.grid, ("face", "back", "foot", "head"))
    paint = mix_paint(sides, bends, found.grid, pith)  # type: ignore[arg-type]
    return replace(found, pith=pith, filled=filled, paint=paint)


def judge_level(found: BoardSolid, truth: Picture, depth_mm: float) -> tuple[float, float, float]:
    """Agreement of the rings alone, of the whole picture, and the agreement that was promised."""
    view = draw_level(found, depth_mm)
    figure = show_figure(truth)
    return agree(show_figure(view.rings_alone), figure), agree(show_figure(view.picture), figure), view.confidence


def judge_places(
    found: BoardSolid, truth: Picture, depth_mm: float, *, window_mm: tuple[float, float] = (100.0, 50.0)
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Promised and achieved agreement window by window over a surface."""
    view = draw_level(found, depth_mm)
    first, second = show_figure(view.rings_alone), show_figure(truth)
    rows, columns = np.minimum(first.shape, second.shape)
    sure = cv2.resize(view.sure, (columns, rows), interpolation=cv2.INTER_LINEAR)
    wide, high = (round(size * truth.px_per_mm) for size in window_mm)
    promised, achieved = [], []
    for top in range(0, rows - high + 1, high):
        for left in range(0, columns - wide + 1, wide):
            part = np.s_[top : top + high, left : left + wide]
            promised.append(sure[part].mean())
            achieved.append(np.corrcoef(first[part].ravel(), second[part].ravel())[0, 1])
    return np.array(promised), np.array(achieved)
