"""Which candidates exclude each other: exact at-most-one rows for rectangles on leaves.

Axis-parallel rectangles that pairwise overlap share a point (Helly's theorem for boxes), so it is enough to look at
points: no two chosen rectangles may cover the same one. Only points where a start is followed by an end can carry a
largest row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from grainplan.match.model import IntArray, Pool, rows_by


@dataclass(frozen=True, slots=True)
class Row:
    """At most one of these candidates and left-over ends may be chosen, and none while the board stays closed."""

    board: int
    leaf: int
    candidates: IntArray
    ends: IntArray


def find_rows(pool: Pool, rows: IntArray) -> Iterator[Row]:
    """The at-most-one rows among some candidates and all left-over ends of their boards.

    Parameters
    ----------
    pool : Pool
    rows : int array
        The candidates that may be chosen, as rows of the pool.

    Yields
    ------
    Row
        By board, leaf, place across and place along; every pair that overlaps stands together in at least one of them.
    """
    c = pool.candidates.take(rows)
    by_board, ends_by_board = (rows_by(of.board, len(pool.leaves)) for of in (c, pool.left_over))
    for board, (mine, ends) in enumerate(zip(by_board, ends_by_board, strict=True)):
        if len(mine) == 0:
            continue
        for leaf in range(int(pool.leaves[board])):
            here = mine[(c.leaf[mine] <= leaf) & (leaf < c.leaf[mine] + c.run[mine])]
            here_ends = ends[pool.left_over.leaf[ends] == leaf]
            if len(here) + len(here_ends):
                yield from _rows_of_leaf(pool, rows[here], here_ends, (board, leaf))


def _rows_of_leaf(pool: Pool, mine: IntArray, ends: IntArray, place: tuple[int, int]) -> Iterator[Row]:
    c, (board, leaf) = pool.candidates, place
    x0 = np.concatenate([c.x0[mine], pool.left_over.x0[ends]])
    x1 = np.concatenate([c.x1[mine], pool.left_over.x1[ends]])
    y0 = np.concatenate([c.y0[mine], np.zeros(len(ends), np.int64)])
    y1 = np.concatenate([c.y1[mine], np.full(len(ends), pool.width[board])])
    name = np.concatenate([mine, ends])
    is_end = np.concatenate([np.zeros(len(mine), bool), np.ones(len(ends), bool)])
    for across in _largest_levels(y0, y1):
        inside = np.flatnonzero(across)
        for along in _largest_points(x0[inside], x1[inside]):
            chosen = inside[along]
            yield Row(board, leaf, name[chosen[~is_end[chosen]]], name[chosen[is_end[chosen]]])


def _largest_levels(y0: IntArray, y1: IntArray) -> list[np.ndarray]:
    """Which rectangles each place across meets, without places that meet only part of what another one meets."""
    levels = [(y0 <= y) & (y < y1) for y in np.unique(y0)]
    keep: list[np.ndarray] = []
    for i, level in enumerate(levels):
        inside_another = any(
            (j != i) and not np.any(level & ~other) and (j < i or np.any(other & ~level))
            for j, other in enumerate(levels)
        )
        if not inside_another:
            keep.append(level)
    return keep


def _largest_points(x0: IntArray, x1: IntArray) -> Iterator[IntArray]:
    """Rows of the intervals over each start that is followed by an end before the next start."""
    starts = np.unique(x0)
    ends = np.sort(x1)
    following = np.append(starts[1:], np.iinfo(np.int64).max)
    first_end = ends[np.minimum(np.searchsorted(ends, starts, side="right"), len(ends) - 1)]
    for x, after, end in zip(starts, following, first_end, strict=True):
        if end <= after:
            yield np.flatnonzero((x0 <= x) & (x < x1))


def find_overlaps(pool: Pool, rows: IntArray) -> list[tuple[int, int]]:
    """Pairs of candidates that want the same wood; an independent check of a finished choice, by plain comparison."""
    c = pool.candidates
    found = []
    for i, a in enumerate(rows):
        for b in rows[i + 1 :]:
            if (
                c.board[a] == c.board[b]
                and max(c.leaf[a], c.leaf[b]) < min(c.leaf[a] + c.run[a], c.leaf[b] + c.run[b])
                and max(c.x0[a], c.x0[b]) < min(c.x1[a], c.x1[b])
                and max(c.y0[a], c.y0[b]) < min(c.y1[a], c.y1[b])
            ):
                found.append((int(a), int(b)))
    return found
