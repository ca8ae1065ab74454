"""Boards that are no rectangles, photographed: waney, tapered, crooked, with a corner gone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from tests.drawn import camera as drawn
from tests.drawn.camera import Camera, Photo, Scene, Side, seen_from_outside
from tests.drawn.noise import draw_cloud
from tests.drawn.paint import draw_side
from tests.drawn.solid import Field, Solid

_BARK = (88.0, 68.0, 52.0)


@dataclass(frozen=True, slots=True)
class Bay:
    """A stretch of an edge where the wood is missing: the tree's own outside, or nothing (`bark` False)."""

    edge: Literal["upper", "lower"]
    start_mm: float
    end_mm: float
    deep_mm: float
    bark: bool = True


@dataclass(frozen=True, slots=True)
class Shape:
    """What is off a rectangle, as the side lies before the eye: `u` to the right, `v` down, mm.

    `right_mm`: how much narrower the right end is, at its lower edge. `gone`: for a corner (0 upper left, then
    clockwise) how far it is cut off along and across. `crook_mm`: both long edges bow this far down in the middle.
    """

    right_mm: float = 0.0
    crook_mm: float = 0.0
    bays: tuple[Bay, ...] = ()
    gone: tuple[tuple[int, float, float], ...] = ()

    def corners(self, wide: float, high: float) -> np.ndarray:
        """The corners that its straight edges have, upper left first and clockwise."""
        return np.array([[0, 0], [wide, 0], [wide, high - self.right_mm], [0, high]], float)


def photograph(solid: Solid, side: Side, shape: Shape, camera: Camera, scene: Scene) -> Photo:
    """Photograph a side of a board of this shape; the corners come clockwise from the upper left as it lies."""
    wide, high, deep = drawn.measure_side(solid, side)
    matrix, rotation, translation = drawn.stand_camera(camera, wide, high)
    lens = np.array([camera.k1, 0.0, 0.0, 0.0])
    rays = drawn._cast_rays(camera, matrix, lens, rotation)
    eye = -rotation.T @ translation
    density = 1.15 * camera.fill * camera.width_px / wide
    wood = seen_from_outside(draw_side(solid, side, density), side)
    picture = drawn._lay_floor(scene, rays, eye, deep, (wide, high))
    u, v = drawn._meet_plane(rays, eye, 0.0)
    inside, bark = _cover(shape, (wide, high), (u, v))
    random = np.random.default_rng(scene.seed + 5)
    rough = (
        1
        + 0.25 * draw_cloud(random, u.shape, cell_px=(14.0, 5.0))
        + 0.15 * draw_cloud(random, u.shape, cell_px=(3.0, 2.0))
    )
    barked = np.asarray(rough[..., None] * np.float32(_BARK), np.float32)
    seen = drawn._sample(wood, u * density, v * density)
    picture = np.where(inside[..., None], seen, np.where(bark[..., None], barked, picture))
    flat = np.column_stack([shape.corners(wide, high), np.zeros(4)])
    corners = cv2.projectPoints(flat, cv2.Rodrigues(rotation)[0], translation, matrix, lens)[0].reshape(4, 2)
    return Photo(drawn._expose(picture, scene), corners + 0.5, matrix, rotation, translation)


def _cover(shape: Shape, size: tuple[float, float], at: tuple[Field, Field]) -> tuple[np.ndarray, np.ndarray]:
    """Where wood is seen, and where bark is."""
    (wide, high), (u, v) = size, at
    bow = shape.crook_mm * (1 - (2 * u / wide - 1) ** 2)
    v = v - bow
    bottom = high - shape.right_mm * u / wide
    whole = (u >= 0) & (u <= wide) & (v >= 0) & (v <= bottom)
    inside, bark = whole.copy(), np.zeros_like(whole)
    for bay in shape.bays:
        share = np.clip((u - bay.start_mm) / (bay.end_mm - bay.start_mm), 0, 1)
        wobble = 1 + 0.12 * np.sin(u / 17.0) + 0.08 * np.sin(u / 7.3)
        deep = bay.deep_mm * np.maximum(np.sin(np.pi * share), 0) ** 0.7 * wobble
        lost = whole & ((v < deep) if bay.edge == "upper" else (v > bottom - deep))
        inside &= ~lost
        bark |= lost & bay.bark
    for corner, along, across in shape.gone:
        du = u if corner in (0, 3) else wide - u
        dv = v if corner in (0, 1) else bottom - v
        lost = whole & (du / along + dv / across < 1)
        inside &= ~lost
        bark &= ~lost
    return inside, bark
