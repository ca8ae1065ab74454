"""Lens and crook from a board's long edges: both bow them, the lens most of all far from the photo's middle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from grainplan.errors import NotFound
from grainplan.geometry import Floats, apply_homography
from grainplan.measured import Measured
from grainplan.photos.corners import USUAL_K1, View, bend_points, know_lens, straighten_points
from grainplan.photos.edges import Edge
from grainplan.photos.frame_line import FrameLine
from grainplan.photos.load import Photo

_K1_USUAL = 0.02  # standard deviation among phone lenses
_CROOK_MM = 2.0  # standard deviation of the crook of a board that was typed as straight
_WANDER_MM = 0.15  # of the bow of a planed or well sawn edge, by its own unevenness
_WANDER_SHARE = 0.5  # of what an edge strays from a smooth curve, that may look like a bow over its whole length
_LEAST_STEP = 10.0  # Lab: a weaker edge bows with whatever line of the wood it was mistaken for
_K1_LARGEST = 0.05  # no phone's main lens bends more
_PLACES = 21


@dataclass(frozen=True, slots=True)
class Bows:
    """What the bows of both long edges tell.

    Parameters
    ----------
    k1 : Measured
        Radial distortion, OpenCV's coordinates at a focal length of 1.15 times the long side.
    crook_mm : Measured
        How far both edges bow alike at mid-length, toward the other edge where positive.
    """

    k1: Measured
    crook_mm: Measured


def weigh_bows(photo: Photo, view: View, frame: FrameLine, *, crook_mm: float) -> Bows | NotFound:
    """Lens and crook, from how much the long edges of a board bow.

    A lens bows the two edges of a board in the middle of the photo against each other, and a crook bows both alike;
    farther from the middle a lens does so too, and only a board whose crook is known can tell. Three unknowns, the
    crook, k1 and each edge's own unevenness, are weighed by least squares with what is usual for each.

    Parameters
    ----------
    photo : Photo
    view : View
        Placed by its corners; what it knows of the lens already is weighed in.
    frame : FrameLine
        Fitted edges.
    crook_mm : float
        As typed; 0 for a straight board.

    Returns
    -------
    Bows, or NotFound where an edge cannot be followed. Where the edges tell nothing, the doubt says so.
    """
    if not all(frame.seen[i] and frame.edges[i].step >= _LEAST_STEP for i in (0, 2)):
        return NotFound("its long edges cannot be followed well enough to tell how they bow")
    crook = max(_CROOK_MM, crook_mm)
    usual = _K1_USUAL if view.k1_doubt >= USUAL_K1 else view.k1_doubt / 2
    bows, noise = np.zeros(2), np.zeros(2)
    for row, i in enumerate((0, 2)):
        bows[row], stray = _measure_bow(photo, view, frame.edges[i])
        noise[row] = math.hypot(_WANDER_MM, _WANDER_SHARE * stray)
    step = USUAL_K1
    slope = (_bow_by_lens(view, view.k1 + step) - _bow_by_lens(view, view.k1 - step)) / (2 * step)
    left = np.column_stack([slope, np.ones(2)]) / noise[:, None]
    square = left.T @ left + np.diag([1 / usual**2, 1 / crook**2])
    more, found_mm = np.linalg.solve(square, left.T @ (bows / noise))
    if abs(view.k1 + float(more)) > _K1_LARGEST:
        return NotFound("its long edges bow against each other more than a lens does")
    doubts = 2 * np.sqrt(np.diag(np.linalg.inv(square)))
    return Bows(Measured(view.k1 + float(more), float(doubts[0])), Measured(float(found_mm), float(doubts[1])))


def _measure_bow(photo: Photo, view: View, edge: Edge) -> tuple[float, float]:
    """How far the middle of an edge lies off its ends toward larger y, and its unevenness, both mm on the board."""
    t = np.linspace(-0.95, 0.95, _PLACES)
    seen = np.array([edge.point_at(float(a)) for a in t]) * photo.reduction - np.array(photo.shift_px, float)
    spread = edge.spread_px * photo.reduction / float(view.densities()[4, 1])
    straight = straighten_points(seen, view.size_px, k1=view.k1)
    return _bow_of(apply_homography(np.linalg.inv(view.to_photo), straight)), spread


def _bow_by_lens(view: View, k1: float) -> Floats:
    """The bow of both long edges (y = 0 first), mm, that a lens of this k1 gives a straight board seen like this."""
    bent = know_lens(view, k1=k1, doubt=0.0)
    corners = view.outline_mm
    bows = []
    for i, j in ((0, 1), (3, 2)):
        share = np.linspace(0.025, 0.975, _PLACES)[:, None]
        line = corners[i] + (corners[j] - corners[i]) * share
        seen = bend_points(apply_homography(bent.to_photo, line), view.size_px, k1=k1)
        straight = straighten_points(seen, view.size_px, k1=view.k1)
        bows.append(_bow_of(apply_homography(np.linalg.inv(view.to_photo), straight)))
    return np.array(bows)


def _bow_of(line_mm: Floats) -> float:
    x = line_mm[:, 0]
    middle, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2 / 0.95
    return -float(np.polyfit((x - middle) / half, line_mm[:, 1], 2)[0])
