"""How well predicted surfaces agree place by place: small cells with the sums that any choice of them needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level
from tests.drawn.compare import EDGE_PX, show_figure

CELL_PX = 8
LEAST = 0.02
"""A surface with a smaller part of its cells among those chosen is not judged."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """One surface: what is told of each cell, and means over it of both figures, their squares and their product."""

    told: NDArray[np.float64]
    means: NDArray[np.float64]

    def agree(self, chosen: NDArray[np.bool_]) -> float:
        """Correlation over the chosen cells together."""
        first, second, first2, second2, product = self.means[:, chosen].mean(axis=1)
        return float((product - first * second) / np.sqrt((first2 - first**2) * (second2 - second**2)))


def sum_cells(found: BoardSolid, truth: Picture, depth_mm: float) -> Cells:
    """Cells of 4 mm of the rings alone against the true surface."""
    view = draw_level(found, depth_mm)
    first, second = show_figure(view.rings_alone), show_figure(truth)
    rows, columns = np.minimum(first.shape, second.shape)
    inner = np.s_[EDGE_PX : rows - EDGE_PX, EDGE_PX : columns - EDGE_PX]
    told = cv2.resize(view.sure, (int(columns), int(rows)), interpolation=cv2.INTER_LINEAR)
    one, other = (values[:rows, :columns][inner].astype(np.float64) for values in (first, second))
    parts = [_pool(values) for values in (one, other, one * one, other * other, one * other)]
    return Cells(_pool(told[inner].astype(np.float64)), np.stack(parts))


def _pool(values: NDArray[np.float64]) -> NDArray[np.float64]:
    rows, columns = (size // CELL_PX for size in values.shape)
    cut = values[: rows * CELL_PX, : columns * CELL_PX]
    return np.asarray(cut.reshape(rows, CELL_PX, columns, CELL_PX).mean(axis=(1, 3)), dtype=np.float64)


def agree_on_surer(surfaces: Sequence[Cells]) -> float:
    """Agreement on the surer half of all places: median over the surfaces, each counted by its cells in that half."""
    limit = np.median(np.concatenate([cells.told.ravel() for cells in surfaces]))
    judged = []
    for cells in surfaces:
        chosen = cells.told >= limit
        if chosen.mean() > LEAST:
            judged.append((cells.agree(chosen), int(chosen.sum())))
    judged.sort()
    counts = np.cumsum([count for _, count in judged])
    return judged[int(np.searchsorted(counts, counts[-1] / 2))][0]
