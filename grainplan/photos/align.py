"""The photos of one long side brought together by the wood that two of them show, and through one lens.

What is unknown: where on the board the marks lie whose corners were typed (a chalk line between the ends may be a
millimetre or two off), and how the lens bends. What is seen: in the stretch that two photos show, their wood must lie
on top of each other, everywhere at once. Solved by Gauss and Newton's method on the pixels themselves (Lucas and Kanade
1981; Szeliski 2006, "Image alignment and stitching"), coarse, then fine. What the wood does not tell stays as doubt:
straight plain grain looks alike all along.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.geometry import Floats, apply_homography, solve_homography
from grainplan.measured import Measured
from grainplan.photos.corners import USUAL_K1, View, bend_points, straighten_points
from grainplan.photos.load import Photo
from grainplan.photos.resample import Area, flatten_photo
from grainplan.picture import Pixels

_BLURS_MM = (2.0, 2.0, 1.0, 1.0, 1.0)  # one step of Gauss and Newton each; finer detail is mostly noise
ALIGN_PX_PER_MM = 1.0
_AROUND_MM = 8.0  # what changes more slowly than this along and across is light, not wood
_CLICK_PX = 0.75  # standard deviation of a typed corner
MARK_MM = 1.5  # of a chalk mark's place along
_WIDTH_MM = 0.75  # of the width there against the typed one
_TIED = 4.0  # how much less a pixel tells than an independent one would, beside the blur
_PARAMETERS = 8  # of a part: where its four corners lie on the board


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One of several photos of a side, and the stretch of the length that it shows, mm from the foot.

    `true_colour`: a grey card made its colours true. `mark_mm`: standard deviation of where the corners that are none
    of the board's ends lie along it.
    """

    photo: Photo
    view: View
    start_mm: float
    end_mm: float
    true_colour: bool = False
    mark_mm: float = MARK_MM


@dataclass(frozen=True, slots=True, eq=False)
class Aligned:
    """The parts as they lie best, what the lens of each does, and how far a place of each may be off, mm."""

    parts: tuple[Part, ...]
    doubts_mm: tuple[float, ...]
    k1: Measured


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is held near where it was typed: one set of values, its mean and how surely each is known."""

    parts: tuple[Part, ...]
    mean: Floats
    known: Floats  # inverse covariance


def align_parts(parts: tuple[Part, ...], typed: tuple[Part, ...], overlaps: tuple[Area | None, ...]) -> Aligned:
    """Move and bend the parts so that the wood of each overlap lies on itself.

    Parameters
    ----------
    parts : tuple of Part
        From foot to head, roughly where they belong (within 2 mm where they overlap).
    typed : tuple of Part
        The same as typed: what the marks say.
    overlaps : tuple of Area or None
        What each part and the next both show; None where it is of no use.
    """
    problem = _hold(typed)
    values = np.concatenate([problem.mean[:1], *(p.view.outline_mm.ravel() for p in parts)])
    known = problem.known
    for blur_mm in _BLURS_MM:
        square, pull = problem.known.copy(), problem.known @ (problem.mean - values)
        views = _make_views(typed, values)
        for i, overlap in enumerate(overlaps):
            if overlap is None:
                continue
            more, toward = _see_overlap(typed, (views[i], views[i + 1]), (i, overlap), blur_mm)
            at = np.array([0, *range(1 + _PARAMETERS * i, 1 + _PARAMETERS * (i + 2))])
            square[np.ix_(at, at)] += more
            pull[at] += toward
        values = values + np.linalg.solve(square, pull)
        known = square
    covariance = np.linalg.inv(known)
    views = _make_views(typed, values)
    doubt = 2 * float(np.sqrt(covariance[0, 0]))
    views = [replace(v, k1_doubt=min(v.k1_doubt, doubt)) for v in views]
    moved = tuple(replace(p, view=v) for p, v in zip(typed, views, strict=True))
    doubts = tuple(_doubt_part(moved, i, covariance) for i in range(len(moved)))
    return Aligned(moved, doubts, Measured(float(values[0]), doubt))


def _hold(typed: tuple[Part, ...]) -> _Problem:
    """What is typed, and how surely: corners clicked, chalk marks shared by two corners, ends of the board exact."""
    size = 1 + _PARAMETERS * len(typed)
    covariance = np.zeros((size, size))
    best = min((p.view for p in typed), key=lambda v: v.k1_doubt)
    covariance[0, 0] = (best.k1_doubt / (1.5 if best.k1_doubt == USUAL_K1 else 2)) ** 2
    for i, part in enumerate(typed):
        at = 1 + _PARAMETERS * i
        click = _CLICK_PX / float(part.view.densities()[4].mean())
        covariance[range(at, at + 8), range(at, at + 8)] = click**2
        covariance[range(at + 1, at + 8, 2), range(at + 1, at + 8, 2)] += _WIDTH_MM**2
        for corners, free in (((0, 6), i > 0), ((2, 4), i < len(typed) - 1)):
            if free:
                rows = [at + c for c in corners]
                covariance[np.ix_(rows, rows)] += part.mark_mm**2
    mean = np.concatenate([[best.k1], *(p.view.outline_mm.ravel() for p in typed)])
    return _Problem(typed, mean, np.linalg.inv(covariance))


def _make_views(typed: tuple[Part, ...], values: Floats) -> list[View]:
    return [_make_view(p.view, values[0], values[1 + _PARAMETERS * i :][:_PARAMETERS]) for i, p in enumerate(typed)]


def _make_view(view: View, k1: float, outline: Floats) -> View:
    """The same photo and corners through another lens, the corners standing for other places on the board."""
    straight = straighten_points(view.corners_px, view.size_px, k1=k1)
    places = outline.reshape(4, 2)
    return replace(view, to_photo=solve_homography(places, straight), outline_mm=places, k1=float(k1))


def _list_slopes(view: View, places_mm: Floats) -> Floats:
    """How places move on the board with k1 and with each of the part's own values, shape (9, n, 2)."""
    seen = bend_points(apply_homography(view.to_photo, places_mm), view.size_px, k1=view.k1)
    own = view.outline_mm.ravel()
    slopes = []
    for i in range(1 + _PARAMETERS):
        step = 1e-3 if i == 0 else 0.05
        k1, moved = view.k1, own.copy()
        if i == 0:
            k1 += step
        else:
            moved[i - 1] += step
        other = _make_view(view, k1, moved)
        back = apply_homography(np.linalg.inv(other.to_photo), straighten_points(seen, view.size_px, k1=k1))
        slopes.append((back - places_mm) / step)
    return np.array(slopes)


def _see_overlap(
    typed: tuple[Part, ...], views: tuple[View, View], where: tuple[int, Area], blur_mm: float
) -> tuple[Floats, Floats]:
    """What one overlap says of k1 and the values of its two parts: normal matrix and right side."""
    i, area = where
    one, other = (
        _make_even(flatten_photo(typed[i + k].photo, view, area), area.px_per_mm, blur_mm)
        for k, view in enumerate(views)
    )
    rim = max(3, round(3.0 * area.px_per_mm))
    inner = (slice(rim, -rim), slice(rim, -rim))
    mean = (one + other) / 2
    along, across = (cv2.Sobel(mean, cv2.CV_32F, *d, scale=area.px_per_mm / 8)[inner] for d in ((1, 0), (0, 1)))
    off = (one - other)[inner].ravel()
    first, second = (
        along * slopes[:, 0][:, *inner] + across * slopes[:, 1][:, *inner]
        for slopes in (_spread_slopes(view, area) for view in views)
    )
    base = np.concatenate([first[:1] - second[:1], first[1:], -second[1:]]).reshape(1 + 2 * _PARAMETERS, -1)
    spread = 1.48 * float(np.median(np.abs(off))) + 1e-6
    # Blurred pixels say the same as their neighbours; a Gaussian's noise covers 4 pi sigma squared of them.
    pixels = _TIED * max(1.0, 4 * np.pi * (blur_mm * area.px_per_mm) ** 2)
    weighted = base / ((1 + (off / (3 * spread)) ** 2) * spread**2 * pixels)
    return weighted @ base.T, weighted @ off


def _spread_slopes(view: View, area: Area) -> Floats:
    """:func:`_list_slopes` at every pixel of an area, shape (9, 2, rows, columns), from a coarse grid of them."""
    x = (np.arange(24) + 0.5) / 24 * area.columns / area.px_per_mm + area.x0_mm
    y = (np.arange(12) + 0.5) / 12 * area.rows / area.px_per_mm + area.y0_mm
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    coarse = _list_slopes(view, grid).transpose(0, 2, 1).reshape(-1, 12, 24).astype(np.float32)
    fine = [cv2.resize(c, (area.columns, area.rows), interpolation=cv2.INTER_LINEAR) for c in coarse]
    return np.asarray(np.array(fine).reshape(1 + _PARAMETERS, 2, area.rows, area.columns), np.float32)


def _make_even(pixels: Pixels, px_per_mm: float, blur_mm: float) -> Floats:
    """Logarithm of the lightness without what light and tint do to it."""
    grey = np.log(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) + 8.0)
    fine = cv2.GaussianBlur(grey, (0, 0), blur_mm * px_per_mm)
    return np.asarray(fine - cv2.blur(fine, (round(3 * _AROUND_MM * px_per_mm) | 1,) * 2))


def _doubt_part(parts: tuple[Part, ...], i: int, covariance: Floats) -> float:
    """The farthest that a place which the part gives to the whole may be off, 19 times in 20, mm."""
    part = parts[i]
    start = part.start_mm if i == 0 else (part.start_mm + parts[i - 1].end_mm) / 2
    end = part.end_mm if i == len(parts) - 1 else (part.end_mm + parts[i + 1].start_mm) / 2
    y0, y1 = float(part.view.outline_mm[:, 1].min()), float(part.view.outline_mm[:, 1].max())
    grid = np.stack(np.meshgrid(np.linspace(start, end, 13), np.linspace(y0, y1, 3)), axis=-1).reshape(-1, 2)
    slopes = _list_slopes(part.view, grid)
    at = [0, *range(1 + _PARAMETERS * i, 1 + _PARAMETERS * (i + 1))]
    own = covariance[np.ix_(at, at)]
    variance = np.einsum("anc,ab,bnc->n", slopes, own, slopes)
    return 2 * float(np.sqrt(variance.max()))
