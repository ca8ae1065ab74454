"""Whether a leaf's photos show the leaf that they are said to show.

A leaf is known by what lay near it in the board: the rough board's face and back, what was foreseen inside, leaves that
were photographed before. Three things tell where in a board a surface lay: how well it agrees with each of those, which
falls with their distance; how far its ring lines have moved against each of them, which grows with it, one way for
those above and the other way for those below; and that both of its surfaces lie in one leaf. Leaves that were
photographed together are told from each other together (`match.leaforder`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from grainplan.boards import Leaf, Surface
from grainplan.errors import NotFound
from grainplan.match.bands import EdgeBand, EvenSurface, cut_edge, even_surface
from grainplan.match.edges import EdgeSearch, compare_edges
from grainplan.match.leaforder import Meeting, Met, Pile, weigh_orders
from grainplan.picture import Picture

Lie = Literal["as said", "end for end", "other surface", "other surface, end for end"]
LIES: tuple[Lie, ...] = ("as said", "end for end", "other surface", "other surface, end for end")

PX_PER_MM = 1.0
BAND_MM = 60.0
BAND_STEP_MM = 50.0
MOST_BANDS = 3
REACH_MM = 20.0
"""Lines that moved further are not looked for: a wider search finds more by chance than it finds in truth."""
WITNESSES = 3
UNLIKE = 0.2
"""About what strangers reach on the mean of three bands."""
AS_SAID = 0.01
"""What the maker has said wins a tie."""
SURE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class KnownSurface:
    """A surface that somebody has seen or foreseen, in the frame of its board.

    Attributes
    ----------
    board : name.
    depth_mm : from the board's face side.
    picture : Picture
    trust : 1 for a photo; for a foreseen surface its confidence.
    """

    board: str
    depth_mm: float
    picture: Picture
    trust: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class LeafPhotos:
    """The photos of one leaf as the maker has named and placed them; one surface is enough."""

    leaf: Leaf
    pictures: Mapping[Surface, Picture]


@dataclass(frozen=True, slots=True)
class Recognition:
    """Which leaf the photos show.

    Attributes
    ----------
    said, best : Leaf
    share : mapping of Leaf to how likely it is, by what was compared, 0 to 1; boards that look strange are left out.
    lie : how the photos seem to be turned.
    fit : best agreement with a surface of the recognised board.
    caveats : sentences for the maker; none where all is as said.
    """

    said: Leaf
    best: Leaf
    share: Mapping[Leaf, float]
    lie: Lie
    fit: float
    caveats: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether the photos show what they are said to show, as far as can be told."""
        return self.best == self.said and self.lie == "as said"


@dataclass(frozen=True, slots=True, eq=False)
class _Reference:
    board: str
    depth_mm: float
    bands: list[EdgeBand]
    trust: float


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """A leaf's photos in the board that they look like, turned as they lay there."""

    said: Leaf
    board: str
    lie: Lie
    fit: float
    bands: Mapping[Surface, list[EdgeBand]]


def recognise_leaf(
    photos: LeafPhotos, depths_mm: Mapping[tuple[Leaf, Surface], float], known: Sequence[KnownSurface]
) -> Recognition | NotFound:
    """Tell which of the job's leaves the photos show.

    Parameters
    ----------
    photos : LeafPhotos
    depths_mm : mapping of (leaf, surface) to float
        Where each surface of each leaf of the job lay in its board, from the resaw.
    known : sequence of KnownSurface
        Photos of the rough boards' sides, foreseen surfaces, and other leaves' photos that are trusted.

    Returns
    -------
    Recognition or NotFound
        NotFound where there is nothing to compare with.
    """
    references = [_refer_to(k) for k in known]
    found = _place(photos, references)
    return found if isinstance(found, NotFound) else _tell_apart([found], depths_mm, references)[0]


def _refer_to(known: KnownSurface) -> _Reference:
    return _Reference(known.board, known.depth_mm, _cut_bands(_make_even(known.picture)), known.trust)


def _place(photos: LeafPhotos, references: Sequence[_Reference]) -> _Placed | NotFound:
    """The board and the turn of a leaf's photos."""
    if not photos.pictures or not references:
        return NotFound(f"leaf {photos.leaf.name}: nothing to compare its photos with")
    shown = {surface: _make_even(picture) for surface, picture in photos.pictures.items()}
    board, lie, fit = _find_board(shown, references, photos.leaf.board)
    other: dict[Surface, Surface] = {"near": "far", "far": "near"}
    bands = {
        other[surface] if lie.startswith("other surface") else surface: _cut_bands(turn_surface(even, lie))
        for surface, even in shown.items()
    }
    return _Placed(photos.leaf, board, lie, fit, bands)


def recognise_all(
    leaves: Sequence[LeafPhotos], depths_mm: Mapping[tuple[Leaf, Surface], float], known: Sequence[KnownSurface]
) -> tuple[Recognition | NotFound, ...]:
    """Tell for every leaf that was photographed which one it is, all leaves of a board together.

    Mates are the best witnesses, for they lay only a saw cut apart; but their names may be wrong too. So no name is
    believed, and no two get the same one.

    Parameters
    ----------
    leaves : sequence of LeafPhotos
    depths_mm : mapping of (leaf, surface) to float
        Where each surface of each leaf of the job lay in its board, from the resaw.
    known : sequence of KnownSurface
        Photos of the rough boards' sides, and foreseen surfaces.
    """
    sides = [_refer_to(k) for k in known]
    photographed = [
        (photos.leaf, _refer_to(KnownSurface(photos.leaf.board, depths_mm[photos.leaf, surface], picture)))
        for photos in leaves
        for surface, picture in photos.pictures.items()
    ]
    placed = [_place(photos, sides + [r for leaf, r in photographed if leaf != photos.leaf]) for photos in leaves]
    found: dict[Leaf, Recognition | NotFound] = {}
    for pile in _pile_up([one for one in placed if isinstance(one, _Placed)], depths_mm):
        found |= zip([one.said for one in pile], _tell_apart(pile, depths_mm, sides), strict=True)
    return tuple(one if isinstance(one, NotFound) else found[one.said] for one in placed)


def _pile_up(placed: Sequence[_Placed], depths_mm: Mapping[tuple[Leaf, Surface], float]) -> list[list[_Placed]]:
    """The leaves that are told apart together: those of one board, never more than it has.

    What looks like nothing of the job says nothing of its neighbours; it stays alone. Where a board would get too many,
    those that are said to be of another board do.
    """
    piles: list[list[_Placed]] = []
    for board in sorted({one.board for one in placed}):
        most = len({leaf for leaf, _ in depths_mm if leaf.board == board})
        mine = [one for one in placed if one.board == board]
        pile = [one for one in mine if one.fit >= UNLIKE]
        if len(pile) > most:
            pile = [one for one in pile if one.said.board == board]
        piles += [pile] if 0 < len(pile) <= most else [[one] for one in pile]
        piles += [[one] for one in mine if one not in pile]
    return piles


def _make_even(picture: Picture) -> EvenSurface:
    return even_surface(picture, px_per_mm=PX_PER_MM)


def turn_surface(surface: EvenSurface, lie: Lie) -> EvenSurface:
    """The surface as it would lie in its board had it been placed as `lie` says.

    Turned end for end both axes run backwards; taken for the other surface of the leaf, y does.
    """
    rows = -1 if lie in ("end for end", "other surface") else 1
    columns = -1 if lie in ("end for end", "other surface, end for end") else 1
    figure = np.ascontiguousarray(surface.figure[::rows, ::columns])
    return EvenSurface(figure, np.ascontiguousarray(surface.lab[::rows, ::columns]), surface.px_per_mm)


def _find_board(
    shown: Mapping[Surface, EvenSurface], references: Sequence[_Reference], said: str
) -> tuple[str, Lie, float]:
    """The board and the turn that agree best."""
    witnesses = {board: _pick_witnesses(references, board) for board in sorted({r.board for r in references})}
    found: dict[tuple[str, Lie], float] = {}
    for lie in LIES:
        surfaces = [_cut_bands(turn_surface(surface, lie)) for surface in shown.values()]
        for board, mine in witnesses.items():
            fits = [max(r.trust * _mean_fit(bands, r.bands) for r in mine) for bands in surfaces]
            found[board, lie] = float(np.mean(fits))
    board, lie = max(found, key=lambda k: found[k] + (AS_SAID if k == (said, "as said") else 0.0))
    return board, lie, found[board, lie]


def _pick_witnesses(references: Sequence[_Reference], board: str) -> list[_Reference]:
    """A few surfaces of a board, spread over its thickness: enough to know the board by."""
    mine = sorted((r for r in references if r.board == board), key=lambda r: r.depth_mm)
    places = np.linspace(0, len(mine) - 1, min(len(mine), WITNESSES)).round().astype(int)
    return [mine[place] for place in places]


def _cut_bands(surface: EvenSurface) -> list[EdgeBand]:
    """Bands at the same places of every surface, from the face edge on."""
    width = surface.figure.shape[0] / surface.px_per_mm
    count = max(1, min(MOST_BANDS, int((width - BAND_MM) / BAND_STEP_MM) + 1))
    return [cut_edge(surface, place * BAND_STEP_MM, toward=1, band_mm=BAND_MM) for place in range(count)]


def _mean_fit(first: Sequence[EdgeBand], second: Sequence[EdgeBand]) -> float:
    return float(np.mean([_compare(a, b).fit for a, b in zip(first, second, strict=False)]))


def _compare(first: EdgeBand, second: EdgeBand) -> Met:
    run = compare_edges(first, second, EdgeSearch(REACH_MM))
    weight = run.texture + 1e-9
    return Met(float(np.average(run.fit, weights=weight)), float(np.average(run.across_mm, weights=weight)))


def _compare_all(first: Sequence[EdgeBand], second: Sequence[EdgeBand]) -> tuple[Met, ...]:
    return tuple(_compare(a, b) for a, b in zip(first, second, strict=False))


def _tell_apart(
    pile: Sequence[_Placed], depths_mm: Mapping[tuple[Leaf, Surface], float], references: Sequence[_Reference]
) -> list[Recognition | NotFound]:
    """Which leaves of their board the photos of a pile show."""
    board = pile[0].board
    leaves = sorted({leaf for leaf, _ in depths_mm if leaf.board == board})
    if not leaves:
        why = f"look like board {board}, which gives no leaves"
        return [NotFound(f"the photos of leaf {one.said.name} {why}") for one in pile]
    orders, likely = weigh_orders(_compare_pile(pile, leaves, depths_mm, references), _name_order(pile, leaves))
    found: list[Recognition | NotFound] = []
    for place, one in enumerate(pile):
        held = np.bincount([order[place] for order in orders], weights=likely, minlength=len(leaves))
        share = dict(zip(leaves, held.tolist(), strict=True))
        best = leaves[orders[0][place]]
        caveats = _say(one.said, best, share, (one.lie, one.fit))
        found.append(Recognition(one.said, best, share, one.lie, one.fit, caveats))
    return found


def _name_order(pile: Sequence[_Placed], leaves: Sequence[Leaf]) -> tuple[int, ...]:
    """The places that the names say; leaves said to be of another board get what is free."""
    named = {one.said for one in pile}
    free = (place for place, leaf in enumerate(leaves) if leaf not in named)
    return tuple(leaves.index(one.said) if one.said in leaves else next(free) for one in pile)


def _compare_pile(
    pile: Sequence[_Placed],
    leaves: Sequence[Leaf],
    depths_mm: Mapping[tuple[Leaf, Surface], float],
    references: Sequence[_Reference],
) -> Pile:
    """All photos of a pile against what is known of their board, and against each other's."""
    photos = [(place, surface, bands) for place, one in enumerate(pile) for surface, bands in one.bands.items()]
    known = [r for r in references if r.board == pile[0].board]
    meetings = [
        Meeting(number, float(r.depth_mm), _compare_all(bands, r.bands), r.trust < 1.0)
        for number, (_, _, bands) in enumerate(photos)
        for r in known
    ]
    meetings += [
        Meeting(i, j, _compare_all(photos[i][2], photos[j][2]))
        for i, j in combinations(range(len(photos)), 2)
        if photos[i][0] != photos[j][0]
    ]
    depths = [[depths_mm[leaf, surface] for leaf in leaves] for _, surface, _ in photos]
    return Pile(np.array([place for place, _, _ in photos]), np.array(depths, np.float64), tuple(meetings))


def _say(said: Leaf, best: Leaf, share: Mapping[Leaf, float], how: tuple[Lie, float]) -> tuple[str, ...]:
    lie, fit = how
    sentences = []
    if best.board != said.board:
        sentences.append(f"the photos said to be of leaf {said.name} look like board {best.board}; look at its marks")
    elif best != said:
        sure = "look like" if share[best] >= SURE else "may rather be of"
        sentences.append(f"the photos said to be of leaf {said.name} {sure} leaf {best.name}; look at its marks")
    elif share[best] < SURE:
        second = max((leaf for leaf in share if leaf != best), key=lambda leaf: share[leaf])
        sentences.append(f"leaf {said.name} is not surely told from {second.name} by its photos; trust its marks")
    if lie != "as said":
        turned = {"end for end": "turned end for end", "other surface": "of its other surface"}
        words = turned.get(lie, "of its other surface and turned end for end")
        sentences.append(f"the photos of leaf {said.name} seem to be {words}")
    if fit < UNLIKE:
        sentences.append(f"the photos of leaf {said.name} look like nothing that was seen of this job's boards")
    return tuple(sentences)
