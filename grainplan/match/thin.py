"""Candidates that another one beats in every respect are dropped before anything is solved; nothing is lost by it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from grainplan.match.model import Candidates

NOWHERE = np.iinfo(np.int64).max


def find_worthwhile(rows: Candidates) -> NDArray[np.bool_]:
    """Which candidates of one bay type on one board are worth keeping.

    A candidate goes when another one from the same place along takes no leaf and no width that it does not take, fills
    as many bays and costs no more: three leaves where two of them do as well.

    Parameters
    ----------
    rows : Candidates
        All of one type and one board.
    """
    where = np.column_stack([rows.leaf, rows.run, rows.y0, rows.y1, rows.covers])
    ways, way = np.unique(where, axis=0, return_inverse=True)
    starts, start = np.unique(rows.x0, return_inverse=True)
    way = way.reshape(-1)
    cost = np.full((len(ways), len(starts)), NOWHERE, np.int64)
    np.minimum.at(cost, (way, start), rows.cost)
    beaten = np.zeros(cost.shape, bool)
    for i, (leaf, run, y0, y1, covers) in enumerate(ways):
        inside = (ways[:, 0] >= leaf) & (ways[:, 0] + ways[:, 1] <= leaf + run)
        inside &= (ways[:, 2] >= y0) & (ways[:, 3] <= y1) & (ways[:, 4] == covers)
        inside[i] = False
        if inside.any():
            beaten[i] = cost[inside].min(axis=0) <= cost[i]
    return np.asarray(~beaten[way, start])
