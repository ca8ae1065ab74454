"""Knots of a board as branches: cones laid through the places that a knot shows on, and their wood drawn inside.

A branch begins at the pith, so one place and the pith tell most of its way. Where a knot shows on face and back both,
its lean along the board is told too; other knots of the board are taken to lean alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.solid_cone import STUB_MM, Cone, Reals
from grainplan.wood.solid_grid import Floats, Layer
from grainplan.wood.solid_pith import PithLine

ALIKE = 0.25
"""How far two places of one branch may lie apart across the board, as a part of its thickness, beyond their own size:
the pith is not known better."""
STEEPEST = 1.0
"""Tangent of the greatest lean of a branch along the board."""
SHOWN_RADII = (2.4, 1.06, 0.94)
"""In radii of the branch: what of a side is looked at round it, where its wood ends, and where it is all its own."""
OTHER_COLOUR = 8.0
"""How far, of 255, a knot's mean colour lies from that of the wood round it."""
LEAST_WAY_MM = 3.0
"""Nearer its beginning a branch is not drawn."""


@dataclass(frozen=True, slots=True)
class KnotPlace:
    """A knot as it shows on a side: the box round it, mm, in the frame of that side's picture."""

    on: Layer
    box: Box

    @property
    def middle(self) -> tuple[float, float]:
        """The x and y of its middle."""
        return (self.box.x0 + self.box.x1) / 2.0, (self.box.y0 + self.box.y1) / 2.0

    @property
    def radius_mm(self) -> float:
        """Of the branch square to its way: the shorter half of the box, for a slanting cut only lengthens it."""
        return min(self.box.x1 - self.box.x0, self.box.y1 - self.box.y0) / 2.0


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A place with what the pith tells of it: y and z from the pith, and its distance."""

    place: KnotPlace
    across: float
    down: float

    @property
    def away(self) -> float:
        return max(float(np.hypot(self.across, self.down)), 1.0)


def lay_cones(places: Sequence[KnotPlace], pith: PithLine, thickness_mm: float) -> tuple[Cone, ...]:
    """Lay a branch through every knot that shows, those of face and back that belong together as one.

    Parameters
    ----------
    places : sequence of KnotPlace
        Those on edges and ends say nothing here.
    pith : PithLine
    thickness_mm : float
        Of the board.
    """
    seen = [_see(place, pith, thickness_mm) for place in places if place.on in ("face", "back")]
    pairs: list[tuple[_Seen, _Seen]] = []
    single = list(seen)
    for face in [one for one in seen if one.place.on == "face"]:
        rivals = [one for one in single if one.place.on == "back"]
        fits = [(_tell_apart(face, one, thickness_mm), index) for index, one in enumerate(rivals)]
        if fits and min(fits)[0] < 1.0:
            pairs.append((face, rivals[min(fits)[1]]))
            single = [one for one in single if one is not face and one is not rivals[min(fits)[1]]]
    cones = [_join(face, back) for face, back in pairs]
    leans = [cone.way[0] / max(float(np.sqrt(1.0 - cone.way[0] ** 2)), 0.1) for cone in cones]
    lean = float(np.median(leans)) if leans else 0.0
    return (*cones, *(_lay_alone(one, pith, thickness_mm, lean=lean) for one in single))


def _see(place: KnotPlace, pith: PithLine, thickness_mm: float) -> _Seen:
    x, y = place.middle
    pith_y, pith_z = pith.at(np.array(x))
    z = 0.0 if place.on == "face" else thickness_mm
    return _Seen(place, y - float(pith_y), z - float(pith_z))


def _tell_apart(face: _Seen, back: _Seen, thickness_mm: float) -> float:
    """How ill two places agree as one branch: below 1 they may be one."""
    if face.down * back.down <= 0.0:
        return np.inf  # the pith lies between: a branch grows away from it, to one side only
    ratio = back.down / face.down
    miss = abs(face.across * ratio - back.across)
    room = face.place.radius_mm + back.place.radius_mm
    lean = abs(face.place.middle[0] - back.place.middle[0]) / max(abs(face.away - back.away), 0.3 * thickness_mm)
    return max(miss / (room + ALIKE * thickness_mm), lean / STEEPEST)


def _join(face: _Seen, back: _Seen) -> Cone:
    """One branch through both places, from as near the pith as its way comes."""
    first, second = (np.array([one.place.middle[0], one.across, one.down]) for one in (face, back))
    way = second - first if back.away > face.away else first - second
    way /= float(np.linalg.norm(way))
    start = first - way * float(first[1:] @ way[1:]) / max(float(way[1:] @ way[1:]), 1e-6)
    reaches = [float((point - start) @ way) for point in (first, second)]
    spreads = [
        (one.place.radius_mm - STUB_MM) / max(reach, 1.0) for one, reach in zip((face, back), reaches, strict=True)
    ]
    return Cone(_triple(start), _triple(way), max(float(np.mean(spreads)), 0.005))


def _lay_alone(one: _Seen, pith: PithLine, thickness_mm: float, *, lean: float) -> Cone:
    """A branch through one place, its lean along the board taken from others."""
    x = one.place.middle[0] - lean * one.away
    pith_z = pith.at(np.array(one.place.middle[0]))[1]
    way = np.array([lean, one.across / one.away, one.down / one.away])
    way /= float(np.linalg.norm(way))
    along = one.away * float(np.sqrt(1.0 + lean * lean))
    spread = max((one.place.radius_mm - STUB_MM) / along, 0.005)
    end = float("inf")
    other = (thickness_mm if one.place.on == "face" else 0.0) - float(pith_z)
    if other * one.down > 0.0 and abs(other) > abs(one.down):
        # It does not come out on the side away from the pith: overgrown, somewhere on the way.
        end = along * (1.0 + 0.5 * (other / one.down - 1.0))
    return Cone((x, 0.0, 0.0), _triple(way), spread, end)


def _triple(values: Reals) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


@dataclass(frozen=True, slots=True, eq=False)
class KnotPatch:
    """What a broad side shows of a branch: a cut-out of its picture, where it begins, and the side's depth, mm."""

    cone: Cone
    pixels: NDArray[np.uint8]
    corner_mm: tuple[float, float]
    depth_mm: float


def cut_patches(sides: Mapping[Layer, Picture], pith: PithLine, thickness_mm: float) -> tuple[KnotPatch, ...]:
    """Cut the branches out of the pictures of the broad sides; only where a side does look like one.

    Parameters
    ----------
    sides : mapping of side to Picture
        Face and back.
    pith : PithLine
        With its branches.
    thickness_mm : float
    """
    patches = []
    for side, depth in (("face", 0.0), ("back", thickness_mm)):
        picture: Picture = sides[side]  # type: ignore[index]
        for cone in pith.cones:
            view = _view(cone, pith, depth, (picture.pixels.shape[0], picture.pixels.shape[1]), picture.px_per_mm)
            if view is None:
                continue
            pixels = np.array(picture.pixels[view.cut])
            inner, outer = view.share < 0.7, (view.share > 1.4) & (view.share < 2.2)
            if inner.sum() < 4 or outer.sum() < 4:
                continue
            if float(np.abs(pixels[inner].mean(axis=0) - pixels[outer].mean(axis=0)).max()) < OTHER_COLOUR:
                continue
            corner = view.cut[1].start / picture.px_per_mm, view.cut[0].start / picture.px_per_mm
            patches.append(KnotPatch(cone, pixels, corner, depth))
    return tuple(patches)


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """The part of a level round a branch: its rows and columns, their places, and distances from the axis in radii."""

    cut: tuple[slice, slice]
    x_mm: Reals
    y_mm: Reals
    share: Reals


def _view(cone: Cone, pith: PithLine, depth_mm: float, shape: tuple[int, int], px_per_mm: float) -> _View | None:
    """What of a level lies round a branch; None where the branch does not cross it there."""
    start_y, start_z = (float(v) for v in pith.at(np.array(cone.start_mm[0])))
    way = depth_mm - start_z - cone.start_mm[2]
    along = way / cone.way[2] if abs(cone.way[2]) > 1e-3 else -1.0
    if not LEAST_WAY_MM < along < cone.end_mm:
        return None
    x, y = cone.start_mm[0] + along * cone.way[0], start_y + cone.start_mm[1] + along * cone.way[1]
    beside = SHOWN_RADII[0] * float(cone.radius(np.array(along))) / max(abs(cone.way[2]), 0.15)
    rows, columns = (
        (max(int((at - beside) * px_per_mm), 0), min(int((at + beside) * px_per_mm) + 1, size))
        for at, size in zip((y, x), shape, strict=True)
    )
    if rows[1] - rows[0] < 3 or columns[1] - columns[0] < 3:
        return None
    y_mm: Reals = ((np.arange(*rows) + 0.5) / px_per_mm)[:, None].astype(np.float64)
    x_mm: Reals = ((np.arange(*columns) + 0.5) / px_per_mm)[None, :].astype(np.float64)
    pith_y, pith_z = pith.at(x_mm)
    share = cone.measure(x_mm, y_mm - pith_y, depth_mm - pith_z).share
    return _View((slice(*rows), slice(*columns)), x_mm, y_mm, share)


def draw_knots(
    picture: Floats, patches: Sequence[KnotPatch], pith: PithLine, *, depth_mm: float, px_per_mm: float
) -> None:
    """Draw the branches into the picture of a surface at a depth, each from the nearer side that shows it."""
    for cone in {id(patch.cone): patch.cone for patch in patches}.values():
        mine = [patch for patch in patches if patch.cone is cone]
        _draw_knot(picture, min(mine, key=lambda p: abs(p.depth_mm - depth_mm)), pith, depth_mm, px_per_mm)


def _draw_knot(picture: Floats, patch: KnotPatch, pith: PithLine, depth_mm: float, px_per_mm: float) -> None:
    cone = patch.cone
    view = _view(cone, pith, depth_mm, (picture.shape[0], picture.shape[1]), px_per_mm)
    if view is None:
        return
    mine = np.clip((SHOWN_RADII[1] - view.share) / (SHOWN_RADII[1] - SHOWN_RADII[2]), 0.0, 1.0)[..., None]
    # Along a ray from the branch's beginning the branch looks alike, only of other size.
    start_y, start_z = (float(v) for v in pith.at(np.array(cone.start_mm[0])))
    apex = cone.start_mm[0], start_y + cone.start_mm[1], start_z + cone.start_mm[2]
    grow = (patch.depth_mm - apex[2]) / (depth_mm - apex[2])
    column, row = (
        np.ascontiguousarray(
            np.broadcast_to((start + (at - start) * grow - corner) * px_per_mm - 0.5, view.share.shape),
            dtype=np.float32,
        )
        for at, start, corner in zip((view.x_mm, view.y_mm), apex[:2], patch.corner_mm, strict=True)
    )
    shown = cv2.remap(patch.pixels, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    picture[view.cut] += (shown - picture[view.cut]) * mine.astype(np.float32)
