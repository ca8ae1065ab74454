"""What filling all bays costs at given prices: the other half of the bound, where bays ask and likeness counts.

Each board asks a price for a bay of each type. A type takes its bays from the cheapest boards, no more from each than
it could ever give; bays that are to look alike also pay for the distance to the board that leads them, and the group
takes the lead that is cheapest for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grainplan.match.model import IntArray, Pool

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Asking:
    """One type in its group.

    Attributes
    ----------
    offers : boards, each as often as it could fill a bay of this type.
    """

    kind: int
    offers: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class _Company:
    """Types that choose one lead; `penalty` is None where nothing is to look alike."""

    asking: tuple[_Asking, ...]
    leads: IntArray
    penalty: Floats | None


class DemandSide:
    """The cheapest way to fill the bays at given prices.

    Parameters
    ----------
    pool : Pool
    """

    def __init__(self, pool: Pool) -> None:
        self.pool = pool
        caps = _count_most(pool)
        c = pool.candidates
        halved = set(np.unique(c.kind[c.covers == 0]).tolist())
        grouped: set[int] = set()
        self._companies: list[_Company] = []
        for group in pool.alike:
            kinds = [k for k in group.types if k not in grouped and k not in halved]
            grouped |= set(kinds)
            if kinds:
                asking = tuple(_ask(pool, caps, kind) for kind in kinds)
                leads = np.unique(np.concatenate([a.offers for a in asking]))
                self._companies.append(_Company(asking, leads, group.penalty.astype(float)))
        for kind in range(len(pool.demand)):
            if kind not in grouped:
                asking = (_ask(pool, caps, kind),)
                self._companies.append(_Company(asking, asking[0].offers[:1], None))

    def fill(self, prices: Floats) -> tuple[float, Floats]:
        """Total cost, and how many bays of each type each board fills; shape (types, boards), as `prices`."""
        total, filled = 0.0, np.zeros(prices.shape)
        for company in self._companies:
            costs = np.zeros(max(len(company.leads), 1))
            for one in company.asking:
                table = self._ask_all(company, one, prices)
                most = int(self.pool.demand[one.kind])
                empty = float(self.pool.unfilled[one.kind])
                if table.shape[1] > most:
                    table = np.partition(table, most - 1, axis=1)
                    costs += np.minimum(table[:, :most], empty).sum(axis=1)
                else:
                    costs += np.minimum(table, empty).sum(axis=1) + (most - table.shape[1]) * empty
            lead = int(np.argmin(costs))
            total += float(costs[lead])
            self._count(company, lead, prices, filled)
        return total, filled

    def _ask_all(self, company: _Company, one: _Asking, prices: Floats) -> Floats:
        """What each offer costs under each lead."""
        asked = prices[one.kind, one.offers][None, :]
        if company.penalty is None or len(company.leads) == 0:
            return np.asarray(asked)
        return np.asarray(asked + company.penalty[np.ix_(company.leads, one.offers)])

    def _count(self, company: _Company, lead: int, prices: Floats, filled: Floats) -> None:
        for one in company.asking:
            cost = prices[one.kind, one.offers]
            if company.penalty is not None and len(company.leads):
                cost = cost + company.penalty[company.leads[lead], one.offers]
            order = np.argsort(cost, kind="stable")[: int(self.pool.demand[one.kind])]
            order = order[cost[order] < self.pool.unfilled[one.kind]]
            np.add.at(filled, (one.kind, one.offers[order]), 1.0)


def _ask(pool: Pool, caps: IntArray, kind: int) -> _Asking:
    boards = np.arange(len(pool.leaves))
    return _Asking(kind, np.repeat(boards, np.minimum(caps[kind], pool.demand[kind])))


def _count_most(pool: Pool) -> IntArray:
    """More bays of a type than this no board can ever fill; shape (types, boards)."""
    c = pool.candidates
    shape = (len(pool.demand), len(pool.leaves))
    huge = np.iinfo(np.int64).max // 4
    span, run, high = (np.full(shape, huge) for _ in range(3))
    covers = np.zeros(shape, np.int64)
    at = (c.kind, c.board)
    np.minimum.at(span, at, c.x1 - c.x0)
    np.minimum.at(run, at, c.run)
    np.minimum.at(high, at, c.y1 - c.y0)
    np.maximum.at(covers, at, np.maximum(c.covers, 1))
    return np.asarray((pool.length // span) * (pool.leaves // run) * (pool.width // high) * covers)
