"""Whether a leaf's photos show the leaf that they are said to show.

A leaf is known by what lay near it in the board: the rough board's face and back, what was foreseen inside, leaves that
were photographed before. Three things tell where in a board a surface lay: how well it agrees with each of those, which
falls with their distance; how far its ring lines have moved against each of them, which grows with it, one way for
those above and the other way for those below; and that both of its surfaces lie in one leaf.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Leaf, Surface
from grainplan.errors import NotFound
from grainplan.match.bands import EdgeBand, EvenSurface, cut_edge, even_surface
from grainplan.match.edges import EdgeSearch, compare_edges
from grainplan.picture import Picture

Floats = NDArray[np.float64]
Lie = Literal["as said", "end for end", "other surface", "other surface, end for end"]
LIES: tuple[Lie, ...] = ("as said", "end for end", "other surface", "other surface, end for end")

PX_PER_MM = 1.0
BAND_MM = 60.0
BAND_STEP_MM = 50.0
MOST_BANDS = 3
REACH_MM = 20.0
"""Lines that moved further are not looked for: a wider search finds more by chance than it finds in truth."""
PLACE_DOUBT_MM = 3.0
"""How far a leaf's picture may lie off in its board's frame, one deviation: it was trimmed, and corners are typed."""
STEP_DOUBT_MM = 3.0
SLOPE = 1.0
"""Usual sideways move of a ring line a millimetre of depth, 1 / tan of the ring angle."""
STEP_SHARE = 0.5
"""What steps count beside fits: the bands of one surface move together, so they are not independent witnesses."""
FIT_DOUBT = 0.05
FORETOLD_DOUBT = 0.08
"""Photos fit what was foretold of them by 0.39 to 0.77 from board to board, but within a board not as the trust says: a
height of its own tells the leaf better than one that follows the trust. Set on 16 drawn boards."""
FADING_MM = (10.0, 20.0)
FADED = 0.5
"""Agreement fades with depth to about half: what runs along the whole board stays. Set on drawn boards."""
FULL_FITS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STRANGE = 0.35
"""A fit up to here says nothing about where the lines are."""
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
    return _recognise(photos, depths_mm, [_refer_to(k) for k in known])


def _refer_to(known: KnownSurface) -> _Reference:
    return _Reference(known.board, known.depth_mm, _cut_bands(_make_even(known.picture)), known.trust)


def _recognise(
    photos: LeafPhotos, depths_mm: Mapping[tuple[Leaf, Surface], float], references: Sequence[_Reference]
) -> Recognition | NotFound:
    if not photos.pictures or not references:
        return NotFound(f"leaf {photos.leaf.name}: nothing to compare its photos with")
    shown = {surface: _make_even(picture) for surface, picture in photos.pictures.items()}
    board, lie, fit = _find_board(shown, references, photos.leaf.board)
    share = _weigh_leaves(shown, [r for r in references if r.board == board], depths_mm, lie)
    if not share:
        return NotFound(f"the photos of leaf {photos.leaf.name} look like board {board}, which gives no leaves")
    best = max(share, key=lambda leaf: (share[leaf], leaf == photos.leaf))
    return Recognition(photos.leaf, best, share, lie, fit, _say(photos.leaf, best, share, (lie, fit)))


def recognise_all(
    leaves: Sequence[LeafPhotos], depths_mm: Mapping[tuple[Leaf, Surface], float], known: Sequence[KnownSurface]
) -> tuple[Recognition | NotFound, ...]:
    """Tell for every leaf that was photographed which one it is, each against the others as they are said to be.

    Mates are the best witnesses: they lay only a saw cut apart.

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
    return tuple(
        _recognise(photos, depths_mm, sides + [r for leaf, r in photographed if leaf != photos.leaf])
        for photos in leaves
    )


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


@dataclass(frozen=True, slots=True)
class _Met:
    fit: float
    across_mm: float


def _compare(first: EdgeBand, second: EdgeBand) -> _Met:
    run = compare_edges(first, second, EdgeSearch(REACH_MM))
    weight = run.texture + 1e-9
    return _Met(float(np.average(run.fit, weights=weight)), float(np.average(run.across_mm, weights=weight)))


def _weigh_leaves(
    shown: Mapping[Surface, EvenSurface],
    references: Sequence[_Reference],
    depths_mm: Mapping[tuple[Leaf, Surface], float],
    lie: Lie,
) -> dict[Leaf, float]:
    """How likely each leaf of the board is, from both surfaces."""
    board = references[0].board
    leaves = sorted({leaf for leaf, _ in depths_mm if leaf.board == board})
    swapped = lie.startswith("other surface")
    total = np.zeros(len(leaves))
    for surface, even in shown.items():
        real: Surface = surface if not swapped else ("far" if surface == "near" else "near")
        depths = np.array([depths_mm[leaf, real] for leaf in leaves])
        bands = _cut_bands(turn_surface(even, lie))
        met = [[_compare(a, b) for a, b in zip(bands, r.bands, strict=False)] for r in references]
        total += _weigh_depths(depths, references, met)
    if not leaves:
        return {}
    likely = np.exp(total - total.max())
    return dict(zip(leaves, (likely / likely.sum()).tolist(), strict=True))


def _weigh_depths(depths: Floats, references: Sequence[_Reference], met: Sequence[Sequence[_Met]]) -> Floats:
    """Log-likelihood of each depth for one surface, from its bands against all references.

    Fits fade with distance, at a rate and from a height that nobody knows: photos from one height, and what was
    foretold from another, for it has no fibres. Steps are normal about slope × distance, with an offset of the picture
    that all share and a slope that nobody knows.
    """
    foretold = np.array([r.trust < 1.0 for r in references])
    apart = depths[:, None] - np.array([r.depth_mm for r in references])[None, :]
    fits = np.array([np.mean([m.fit for m in bands]) for bands in met])
    parts = ((~foretold, FIT_DOUBT), (foretold, FORETOLD_DOUBT))
    ways = [sum(_weigh_fits(apart[:, mine], fits[mine], (f, d)) for mine, d in parts) for f in FADING_MM]
    found = np.logaddexp.reduce(np.array(ways), axis=0)
    for place in range(min(len(bands) for bands in met)):
        seen = np.array([bands[place].fit > STRANGE for bands in met])
        steps = np.array([bands[place].across_mm for bands in met])
        found = found + STEP_SHARE * _weigh_steps(apart[:, seen], steps[seen])
    return np.asarray(found, np.float64)


def _weigh_fits(apart: Floats, fits: Floats, how: tuple[float, float]) -> Floats:
    """Log-likelihood of fits that fade from an unknown height; `how` fast (mm), and how far each may be off."""
    fading, doubt = how
    height = np.array(FULL_FITS)[:, None, None]
    expected = height * (FADED + (1 - FADED) * np.exp(-np.abs(apart)[None] / fading))
    return np.asarray(np.logaddexp.reduce(-0.5 * (((fits - expected) / doubt) ** 2).sum(axis=2), axis=0), np.float64)


def _weigh_steps(apart: Floats, steps: Floats) -> Floats:
    found = np.zeros(len(apart))
    if len(steps) < 2:
        return found
    for i, d in enumerate(apart):
        spread = np.eye(len(d)) * STEP_DOUBT_MM**2 + PLACE_DOUBT_MM**2 + SLOPE**2 * np.outer(d, d)
        _, size = np.linalg.slogdet(spread)
        found[i] = -0.5 * (steps @ np.linalg.solve(spread, steps) + size)
    return found


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
