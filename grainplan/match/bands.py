"""The wood beside an edge or an end of a leaf, cut out once and made ready to be compared with many others."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Pith
from grainplan.errors import NotFound
from grainplan.picture import Picture

Plane32 = NDArray[np.float32]
Floats = NDArray[np.float64]

BAND_MM = 45.0
"""Of 200 drawn boards, mates were told from the next pair in 84 % by 30 mm of wood, in 91 to 95 % by 45 mm."""
PX_PER_MM = 2.0
LEAST_BAND_MM = 10.0
MOST_PITH_DOUBT_MM = 10.0
"""Tried with a pith that is 6 mm off at each end, in y and in z."""
MOST_MOVE_MM = 60.0
"""Under flat rings the geometry runs away; lines this far off belong to no seam any more."""
FINEST = 0.31
"""Waves of more periods than this in one deviation of the smoothing keep under 15 % of their height."""
EVEN_MM = 20.0
"""Shading slower than this (a Gaussian's deviation) is light and colour, not figure; it is judged by the tone."""
SMOOTH_MM = 0.5
"""About the width of a pore row: finer than this, two surfaces 3 mm apart have nothing in common."""


@dataclass(frozen=True, slots=True, eq=False)
class EvenSurface:
    """A surface ready for comparing, board frame: lightness without slow shading, and colour.

    Attributes
    ----------
    figure : float32, shape (rows, columns)
        L* less its slow part, lightly smoothed.
    lab : float32, shape (rows, columns, 3)
    px_per_mm : float
    """

    figure: Plane32
    lab: Plane32
    px_per_mm: float


@dataclass(frozen=True, eq=False)
class EdgeBand:
    """The wood beside an edge: row 0 at the edge where `outward`, else at the edge's far side; columns along the edge.

    Attributes
    ----------
    figure : float32, shape (rows, columns)
    lab_along : float64, shape (columns, 3)
        Mean colour square to the edge.
    start_mm : float
        Where the first column begins along the edge, board frame.
    outward : bool
        Whether rows run away from the edge. Two outward bands lie on each other as in a mirror (book); an inward and an
        outward one as they stand side by side (slip, running).
    moved_mm : float64, shape (columns,), or None
        How far away from the edge the wood was taken, where the band follows its rings (`follow_rings`).
    """

    figure: Plane32
    lab_along: Floats
    px_per_mm: float
    start_mm: float = 0.0
    outward: bool = True
    moved_mm: Floats | None = None

    @cached_property
    def sums(self) -> Floats:
        """Running sums of the figure over rows and columns, shape (rows + 1, columns + 1)."""
        return np.asarray(cv2.integral(self.figure, sdepth=cv2.CV_64F), np.float64)

    @cached_property
    def square_sums(self) -> Floats:
        """Running sums of the squared figure."""
        return np.asarray(cv2.integral(self.figure * self.figure, sdepth=cv2.CV_64F), np.float64)

    @cached_property
    def spectrum(self) -> NDArray[np.complex64]:
        """Fourier transform of each column, padded to twice its length; without the waves that smoothing took out."""
        waves = np.fft.rfft(self.figure, n=2 * len(self.figure), axis=0)
        kept = math.ceil(FINEST * 2 * len(self.figure) / max(SMOOTH_MM * self.px_per_mm, 1e-9)) + 1
        return np.ascontiguousarray(waves[:kept], np.complex64)


def even_surface(picture: Picture, *, px_per_mm: float = PX_PER_MM) -> EvenSurface:
    """Make a surface ready for comparing, once for all of its edges.

    Parameters
    ----------
    picture : Picture
        Board frame.
    px_per_mm : float
        Density to compare at; a picture that has less keeps its own.
    """
    density = min(px_per_mm, picture.px_per_mm)
    scale = density / picture.px_per_mm
    pixels = picture.pixels
    if scale < 1 - 1e-6:
        size = (max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale)))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    lab = np.asarray(cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2Lab), np.float32)
    light = np.ascontiguousarray(lab[:, :, 0])
    smooth = cv2.GaussianBlur(light, (0, 0), SMOOTH_MM * density) if SMOOTH_MM * density > 0.3 else light
    return EvenSurface(np.asarray(smooth - _blur_widely(light, EVEN_MM * density), np.float32), lab, density)


def _blur_widely(light: Plane32, deviation_px: float) -> Plane32:
    """A wide Gaussian blur, worked out on a small copy: what is left is slow, so nothing is lost between its pixels."""
    share = max(1, int(deviation_px / 6))
    rows, columns = light.shape
    size = (max(1, columns // share), max(1, rows // share))
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), deviation_px * size[0] / columns, sigmaY=deviation_px * size[1] / rows)
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)


def cut_edge(
    surface: EvenSurface, edge_mm: float, *, toward: int, outward: bool = True, band_mm: float = BAND_MM
) -> EdgeBand:
    """The wood beside a ripped edge, along the whole board.

    Parameters
    ----------
    surface : EvenSurface
    edge_mm : float
        y of the edge, board frame.
    toward : {1, -1}
        Whether the strip lies toward larger or smaller y.
    outward : bool
        True for both sides of a book match and for the second side of a slip or running match; False for its first.
    band_mm : float
        Width of the band. Where the wood ends before, it is narrower.

    Raises
    ------
    ValueError
        When less than 10 mm of wood lies beside the edge.
    """
    rows = _pick_rows(surface.figure.shape[0], edge_mm, toward, (band_mm, surface.px_per_mm))
    return _make_band(surface.figure[rows], surface.lab[rows], surface.px_per_mm, outward=outward)


def cut_end(
    surface: EvenSurface, end_mm: float, *, toward: int, outward: bool = True, band_mm: float = BAND_MM
) -> EdgeBand:
    """The wood beside a crosscut end, over the whole width; as :func:`cut_edge`, with x and y exchanged."""
    columns = _pick_rows(surface.figure.shape[1], end_mm, toward, (band_mm, surface.px_per_mm))
    figure = np.ascontiguousarray(surface.figure[:, columns].T)
    lab = np.ascontiguousarray(surface.lab[:, columns].transpose(1, 0, 2))
    return _make_band(figure, lab, surface.px_per_mm, outward=outward)


@dataclass(frozen=True, slots=True)
class RingMove:
    """From which depth to which a band follows the rings of its board, taken as circles round the pith.

    Attributes
    ----------
    foot_yz_mm, head_yz_mm : where the pith passes the ends, board frame.
    length_mm : of the board.
    from_mm, to_mm : depth of the surface that is met, and of the one that the band is cut from.
    """

    foot_yz_mm: tuple[float, float]
    head_yz_mm: tuple[float, float]
    length_mm: float
    from_mm: float
    to_mm: float


def make_ring_move(pith: Pith, length_mm: float, *, from_mm: float, to_mm: float) -> RingMove | NotFound:
    """How rings move between two depths of a board; NotFound where its pith is known at one end only, or too badly.

    Parameters
    ----------
    pith : Pith
    length_mm : float
    from_mm, to_mm : float
        Depth of the surface that is met, and of the one whose band is to follow it.
    """
    if pith.foot_yz_mm is None or pith.head_yz_mm is None:
        return NotFound("rings can be followed only where both ends of the board show the pith")
    if pith.doubt_mm > MOST_PITH_DOUBT_MM:
        return NotFound(f"the pith is known to {pith.doubt_mm:.0f} mm only; {MOST_PITH_DOUBT_MM:.0f} mm are needed")
    return RingMove(pith.foot_yz_mm, pith.head_yz_mm, length_mm, from_mm, to_mm)


def follow_rings(
    surface: EvenSurface, edge_mm: float, move: RingMove, *, toward: int, band_mm: float = BAND_MM
) -> EdgeBand:
    """The wood that shows the rings which the other surface has beside the edge: where the pith is known.

    What is left for the search is only how far the rings are from circles, so that 6 mm are enough for any gap, and
    strangers agree less by chance. The step counts from the edge all the same.

    Parameters
    ----------
    surface : EvenSurface
        At depth `move.to_mm`.
    edge_mm, toward, band_mm
        As for :func:`cut_edge`.
    move : RingMove

    Notes
    -----
    A ring of radius r round a pith at (y0, z0) lies at y = y0 ± √(r² − (z − z0)²) at depth z. Plain geometry.
    """
    d = surface.px_per_mm
    rows = _pick_rows(surface.figure.shape[0], edge_mm, toward, (band_mm, d))
    columns = np.arange(surface.figure.shape[1], dtype=np.float64)
    share = (columns + 0.5) / d / move.length_mm
    pith_y, pith_z = (foot + share * (head - foot) for foot, head in zip(move.foot_yz_mm, move.head_yz_mm, strict=True))
    y = (rows[:, None] + 0.5) / d
    beside = (y - pith_y) ** 2 + (move.from_mm - pith_z) ** 2 - (move.to_mm - pith_z) ** 2
    moved = pith_y + np.sign(y - pith_y) * np.sqrt(np.maximum(beside, 0.0)) - y
    moved = np.clip(moved, -MOST_MOVE_MM, MOST_MOVE_MM)
    figure = cv2.remap(
        surface.figure,
        np.broadcast_to(columns, moved.shape).astype(np.float32),
        ((y + moved) * d - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )
    lab = surface.lab[rows].mean(axis=0, dtype=np.float64)
    return EdgeBand(np.ascontiguousarray(figure, np.float32), lab, d, moved_mm=toward * moved.mean(axis=0))


def clip_band(band: EdgeBand, from_mm: float, to_mm: float) -> EdgeBand:
    """The part of a band between two places along the edge."""
    d = band.px_per_mm
    first = max(0, round((from_mm - band.start_mm) * d))
    last = min(band.figure.shape[1], round((to_mm - band.start_mm) * d))
    if last <= first:
        raise ValueError(f"no wood between {from_mm} and {to_mm} mm along the edge")
    figure = np.ascontiguousarray(band.figure[:, first:last])
    moved = None if band.moved_mm is None else band.moved_mm[first:last]
    return EdgeBand(figure, band.lab_along[first:last], d, band.start_mm + first / d, band.outward, moved)


def _pick_rows(rows: int, edge_mm: float, toward: int, size: tuple[float, float]) -> NDArray[np.int64]:
    if toward not in (1, -1):
        raise ValueError(f"toward is 1 or -1, got {toward}")
    band_mm, d = size
    first, count = round(edge_mm * d), round(band_mm * d)
    index = first + np.arange(count) if toward > 0 else first - 1 - np.arange(count)
    inside = index[(index >= 0) & (index < rows)]
    if len(inside) < LEAST_BAND_MM * d:
        raise ValueError(
            f"only {len(inside) / d:.0f} mm of wood lie beside {edge_mm:.0f} mm; comparing takes {LEAST_BAND_MM:.0f}"
        )
    return inside


def _make_band(figure: Plane32, lab: Plane32, d: float, *, outward: bool) -> EdgeBand:
    if not outward:
        figure = figure[::-1]
    return EdgeBand(np.ascontiguousarray(figure), lab.mean(axis=0, dtype=np.float64), d, outward=outward)
