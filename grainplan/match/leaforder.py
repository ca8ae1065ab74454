"""Which of a board's leaves the photographed ones are, all of them at once.

Two photographed leaves cannot be the same leaf, and how two photos meet tells how far apart they lay, whatever their
names. So every order of the leaves is weighed as a whole, by how well its depths explain all that was compared: photos
against the rough board and what was foretold inside it, and photos against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, permutations
from math import perm

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Order = tuple[int, ...]

PLACE_DOUBT_MM = 3.0
"""How far a leaf's picture may lie off in its board's frame, one deviation: it was trimmed, and corners are typed."""
STEP_DOUBT_MM = 3.0
SLOPE = 1.0
"""Usual sideways move of a ring line a millimetre of depth, 1 / tan of the ring angle."""
STEP_SHARE = 0.5
"""What steps count beside fits: the bands of one surface move together, so they are not independent witnesses."""
FIT_DOUBT = 0.05
FORETOLD_DOUBT = 0.12
"""Photos fit what was foretold of them by 0.39 to 0.77 from board to board, but within a board not as the trust says: a
height of its own tells the leaf better than one that follows the trust. The pictures of one board err together, so
each counts less than a photo. Set on drawn boards."""
FADING_MM = (10.0, 20.0)
FADED = 0.5
"""Agreement fades with depth to about half: what runs along the whole board stays. Set on drawn boards."""
FULL_FITS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STRANGE = 0.35
"""A fit up to here says nothing about where the lines are."""
MOST_ORDERS = 720
"""Up to six leaves every order is tried; of more, only those that single exchanges lead to."""


@dataclass(frozen=True, slots=True)
class Met:
    """How well two bands agree, and how far the lines of the second have moved."""

    fit: float
    across_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """A photo compared with another photo or with a surface whose depth is known.

    Attributes
    ----------
    photo : which photo.
    against : the other photo, or the known surface's depth in mm from the face side.
    bands : tuple of Met
        At the same places of all surfaces, from the face edge on.
    foretold : whether the known surface was not seen but foretold.
    """

    photo: int
    against: int | float
    bands: tuple[Met, ...]
    foretold: bool = False

    def __post_init__(self) -> None:
        if not self.bands:
            raise ValueError("a meeting needs at least one band")


@dataclass(frozen=True, slots=True, eq=False)
class Pile:
    """The photographed leaves of one board.

    Attributes
    ----------
    owner : Ints (photos,)
        Which of the photographed leaves each photo shows.
    depths_mm : Floats (photos, leaves)
        Where each photo lay, were its leaf the board's first, second, and so on.
    meetings : tuple of Meeting
    """

    owner: Ints
    depths_mm: Floats
    meetings: tuple[Meeting, ...]


def weigh_orders(pile: Pile, said: Order) -> tuple[list[Order], Floats]:
    """Tell how likely each order is: for every photographed leaf, its place among the board's leaves.

    Parameters
    ----------
    pile : Pile
    said : tuple of int
        The order that the leaves' names say, all different; among too many orders the search starts there.

    Returns
    -------
    list of Order, Floats (orders,)
        The likeliest first, shares of 1.
    """
    leaves = pile.depths_mm.shape[1]
    if perm(leaves, len(said)) <= MOST_ORDERS:
        orders = list(permutations(range(leaves), len(said)))
        found = dict(zip(orders, _weigh(pile, orders).tolist(), strict=True))
    else:
        found = _climb(pile, said, leaves)
    ranked = sorted(found, key=lambda order: (-round(found[order], 6), order != said))
    total = np.array([found[order] for order in ranked])
    likely = np.exp(total - total.max())
    return ranked, np.asarray(likely / likely.sum(), np.float64)


def _climb(pile: Pile, said: Order, leaves: int) -> dict[Order, float]:
    """From the order that is said to ever likelier ones, with all neighbours that were weighed on the way."""
    best = said
    found = {said: float(_weigh(pile, [said])[0])}
    while True:
        near = [order for order in _list_near(best, leaves) if order not in found]
        if near:
            found |= zip(near, _weigh(pile, near).tolist(), strict=True)
        likeliest = max(found, key=lambda order: found[order])
        if likeliest == best:
            return found
        best = likeliest


def _list_near(order: Order, leaves: int) -> list[Order]:
    """The pile upside down, two leaves exchanged, and one leaf put where none is."""
    near = [tuple(leaves - 1 - place for place in order)]
    for i, j in combinations(range(len(order)), 2):
        swapped = list(order)
        swapped[i], swapped[j] = order[j], order[i]
        near.append(tuple(swapped))
    free = sorted(set(range(leaves)) - set(order))
    near += [(*order[:i], place, *order[i + 1 :]) for i in range(len(order)) for place in free]
    return near


def _weigh(pile: Pile, orders: Sequence[Order]) -> Floats:
    """Log-likelihood of each order.

    Fits fade with distance, at a rate and from a height that nobody knows: photos from one height, and what was
    foretold from another, for it has no fibres. Steps are normal about slope × distance, with an offset of each photo
    and a slope that nobody knows.
    """
    meetings = pile.meetings
    if not meetings:
        return np.zeros(len(orders))
    places = np.array(orders)[:, pile.owner]
    depths = pile.depths_mm[np.arange(len(pile.owner)), places]
    apart = np.stack(
        [depths[:, m.photo] - (depths[:, m.against] if isinstance(m.against, int) else m.against) for m in meetings], 1
    )
    foretold = np.array([m.foretold for m in meetings])
    fits = np.array([np.mean([band.fit for band in m.bands]) for m in meetings])
    parts = ((~foretold, FIT_DOUBT), (foretold, FORETOLD_DOUBT))
    ways = [sum(_weigh_fits(apart[:, mine], fits[mine], (f, d)) for mine, d in parts) for f in FADING_MM]
    found = np.logaddexp.reduce(np.array(ways), axis=0)
    offsets = _list_offsets(meetings, len(pile.owner))
    for band in range(min(len(m.bands) for m in meetings)):
        seen = np.array([m.bands[band].fit > STRANGE for m in meetings])
        steps = np.array([m.bands[band].across_mm for m in meetings])
        found = found + STEP_SHARE * _weigh_steps(apart[:, seen], steps[seen], offsets[seen])
    return np.asarray(found, np.float64)


def _weigh_fits(apart: Floats, fits: Floats, how: tuple[float, float]) -> Floats:
    """Log-likelihood of fits that fade from an unknown height; `how` fast (mm), and how far each may be off."""
    fading, doubt = how
    height = np.array(FULL_FITS)[:, None, None]
    expected = height * (FADED + (1 - FADED) * np.exp(-np.abs(apart)[None] / fading))
    return np.asarray(np.logaddexp.reduce(-0.5 * (((fits - expected) / doubt) ** 2).sum(axis=2), axis=0), np.float64)


def _list_offsets(meetings: Sequence[Meeting], photos: int) -> Floats:
    """What a millimetre of each photo's own offset adds to the step of each meeting."""
    offsets = np.zeros((len(meetings), photos))
    for row, m in zip(offsets, meetings, strict=True):
        row[m.photo] = 1.0
        if isinstance(m.against, int):
            row[m.against] = -1.0
    return offsets


def _weigh_steps(apart: Floats, steps: Floats, offsets: Floats) -> Floats:
    """Log-likelihood of steps in each order; the few causes they share keep the equations small (Woodbury)."""
    shared = np.broadcast_to(PLACE_DOUBT_MM * offsets, (len(apart), *offsets.shape))
    causes = np.concatenate([shared, SLOPE * apart[:, :, None]], axis=2) / STEP_DOUBT_MM
    inner = np.eye(causes.shape[2]) + causes.transpose(0, 2, 1) @ causes
    told = np.einsum("omc,m->oc", causes, steps / STEP_DOUBT_MM)
    explained = (told * np.linalg.solve(inner, told[:, :, None])[:, :, 0]).sum(axis=1)
    _, size = np.linalg.slogdet(inner)
    return np.asarray(0.5 * (explained - size), np.float64)
