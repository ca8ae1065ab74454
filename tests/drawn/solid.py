"""A board drawn as a solid: every side, and every surface inside, is a cut of the same ring surfaces.

Coordinates are those of the board frame, in millimetres: x from the foot, y from the face edge, z from the face.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.drawn.looks import LOOKS, Look
from tests.drawn.noise import SmoothField

Field = NDArray[np.float32]
Picture = NDArray[np.uint8]
PHI_SCALE_MM = 100.0


@dataclass(frozen=True, slots=True)
class Plane:
    """A cut square to one axis, and how finely it is drawn.

    `axis` "z" gives columns x, rows y; "x" columns y, rows z; "y" columns x, rows z.
    """

    axis: Literal["x", "y", "z"]
    at_mm: float
    px_per_mm: float = 2.0


@dataclass(frozen=True, slots=True)
class PithLine:
    """Where the pith passes the foot and the head; it may lie outside the board."""

    y_foot_mm: float
    z_foot_mm: float
    y_head_mm: float
    z_head_mm: float


@dataclass(frozen=True, slots=True)
class Knot:
    """A branch: a cone from the pith outward.

    It leaves the pith at `x_mm`, toward `around_deg` (0 along +y, 90 along +z), leaning `tilt_deg` toward the head;
    its radius is `radius_mm` where it meets the distance `reach_mm` from the pith, and grows in proportion.
    """

    x_mm: float
    around_deg: float
    tilt_deg: float
    radius_mm: float
    reach_mm: float


@dataclass(frozen=True, slots=True)
class Spot:
    """What is known of the wood at every place of a cut, each of the cut's shape.

    `rho_mm` is the distance from the pith that the ring here would have in an unbent tree, `tau_mm` the place round
    the pith; fibres run where both are constant. `knot` is 1 inside a knot and falls to 0 outside it.
    """

    rho_mm: Field
    tau_mm: Field
    knot: Field
    knot_depth_mm: Field


@dataclass(frozen=True, slots=True)
class Solid:
    """A whole board of known wood; `tests.drawn.forest.grow_board` makes one from a seed."""

    length_mm: float
    width_mm: float
    thickness_mm: float
    look_name: str
    pith: PithLine
    ring_borders_mm: Field
    ring_tone: Field
    waves: tuple[SmoothField, ...]
    clouds: SmoothField
    fibres: Field
    pores: Field
    knots: tuple[Knot, ...]
    heart_mm: float

    @property
    def look(self) -> Look:
        """The colours and the ring profile of the species."""
        return LOOKS[self.look_name]


def list_places(solid: Solid, plane: Plane) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """The x, y and z of the pixel centres of a cut, one list for each direction (the axis of the cut has one place)."""
    lists = []
    for axis, size in zip("xyz", (solid.length_mm, solid.width_mm, solid.thickness_mm), strict=True):
        if axis == plane.axis:
            lists.append(np.array([plane.at_mm]))
        else:
            lists.append((np.arange(round(size * plane.px_per_mm)) + 0.5) / plane.px_per_mm)
    return lists[0], lists[1], lists[2]


def lay_flat(block: NDArray[np.float32], plane: Plane) -> Field:
    """Turn a (x, y, z) block with one thin direction into rows and columns."""
    if plane.axis == "z":
        return np.ascontiguousarray(block[:, :, 0].T)
    if plane.axis == "x":
        return np.ascontiguousarray(block[0].T)
    return np.ascontiguousarray(block[:, 0, :].T)


def spread_places(solid: Solid, plane: Plane) -> tuple[Field, Field, Field]:
    """The x, y and z of each pixel, ready to combine: shapes (1, columns), (rows, 1) or (1, 1)."""
    x, y, z = (places.astype(np.float32) for places in list_places(solid, plane))
    if plane.axis == "z":
        return x[None, :], y[:, None], z[None, :]
    if plane.axis == "x":
        return x[None, :], y[None, :], z[:, None]
    return x[None, :], y[None, :], z[:, None]


def find_pith(solid: Solid, x_mm: NDArray[np.floating] | float) -> tuple[Field, Field]:
    """The pith's y and z at a place along the board."""
    share = np.asarray(x_mm, dtype=np.float32) / np.float32(solid.length_mm)
    pith = solid.pith
    return (
        np.float32(pith.y_foot_mm) + share * np.float32(pith.y_head_mm - pith.y_foot_mm),
        np.float32(pith.z_foot_mm) + share * np.float32(pith.z_head_mm - pith.z_foot_mm),
    )


def locate(solid: Solid, plane: Plane) -> Spot:
    """The ring and fibre coordinates of every pixel of a cut."""
    x, y, z = spread_places(solid, plane)
    pith_y, pith_z = find_pith(solid, x)
    across, down = np.broadcast_arrays(y - pith_y, z - pith_z)
    rho = cv2.magnitude(np.ascontiguousarray(across), np.ascontiguousarray(down))
    tau = np.arctan2(down, across) * np.float32(PHI_SCALE_MM)
    places = list_places(solid, plane)
    for wave in solid.waves:
        rho += lay_flat(wave.at(*places), plane)
    inside = np.zeros_like(rho)
    depth = np.zeros_like(rho)
    for knot in solid.knots:
        rho, tau = _bend_round(solid, knot, (x, across, down), (rho, tau), (inside, depth))
    return Spot(rho_mm=rho, tau_mm=tau, knot=inside, knot_depth_mm=depth)


def _bend_round(
    solid: Solid,
    knot: Knot,
    offsets: tuple[Field, Field, Field],
    wood: tuple[Field, Field],
    marks: tuple[Field, Field],
) -> tuple[Field, Field]:
    """Bend rings and fibres round one knot; `marks` (inside, depth) are filled in place."""
    x, across, down = offsets
    rho, tau = wood
    inside, depth = marks
    around, tilt = np.radians(knot.around_deg), np.radians(knot.tilt_deg)
    ux, uy, uz = np.sin(tilt), np.cos(tilt) * np.cos(around), np.cos(tilt) * np.sin(around)
    along = (x - np.float32(knot.x_mm)) * np.float32(ux) + across * np.float32(uy) + down * np.float32(uz)
    dx = (x - np.float32(knot.x_mm)) - along * np.float32(ux)
    dy, dz = across - along * np.float32(uy), down - along * np.float32(uz)
    off = np.sqrt(dx * dx + dy * dy + dz * dz) + np.float32(1e-3)
    radius = np.maximum(along, 1.0) * np.float32(knot.radius_mm / knot.reach_mm) + np.float32(0.5)
    share = off / radius
    ahead = along > 0
    # Rings climb the branch: a place near it belongs to a ring that lies further in elsewhere.
    bump = np.where(ahead, 1.0 * radius * np.exp(-(np.maximum(share - 0.8, 0) ** 2) / 1.6), 0)
    # Fibres part before a branch as water round a pile (stream function of a cylinder).
    side = dy * np.float32(-np.sin(around)) + dz * np.float32(np.cos(around))
    parted = np.where(ahead, side * np.minimum(1 / (share * share), 1.0), 0)
    new_inside = np.where(ahead, np.clip((1.06 - share) / 0.12, 0, 1), 0).astype(np.float32)
    deeper = new_inside > inside
    depth[deeper] = off[deeper]
    np.maximum(inside, new_inside, out=inside)
    mean_rho = np.maximum(np.hypot(across, down), 5.0)
    return (
        (rho - bump).astype(np.float32),
        (tau - parted * PHI_SCALE_MM / mean_rho).astype(np.float32),
    )


def count_rings(solid: Solid, rho_mm: Field) -> Field:
    """Ring number for a distance from the pith: whole at each border, straight between."""
    numbers = np.arange(solid.ring_borders_mm.size, dtype=np.float64)
    return np.interp(rho_mm, solid.ring_borders_mm, numbers).astype(np.float32)


def number_rings(solid: Solid, plane: Plane) -> Field:
    """The true ring number field of a cut."""
    return count_rings(solid, locate(solid, plane).rho_mm)


def measure_line_direction(solid: Solid, plane: Plane) -> tuple[Field, Field]:
    """Direction of the ring lines on a cut, degrees from the columns' axis toward larger rows, -90 to 90.

    Also the spacing of the ring lines in millimetres: where it is large, the direction says little.
    """
    rho = cv2.GaussianBlur(locate(solid, plane).rho_mm, (0, 0), 0.5 * plane.px_per_mm)
    down, right = np.gradient(rho, 1.0 / plane.px_per_mm)
    angle = np.degrees(np.arctan2(-right, down))
    angle = (angle + 90.0) % 180.0 - 90.0
    pitch = np.diff(solid.ring_borders_mm).mean() / np.maximum(np.hypot(down, right), 1e-3)
    return angle.astype(np.float32), pitch.astype(np.float32)


def measure_fibre_direction(solid: Solid, depth_mm: float, px_per_mm: float) -> Field:
    """Direction of the fibres on a plane at a depth, degrees from x toward y."""
    step = 0.25
    spots = [locate(solid, Plane("z", depth_mm + shift, px_per_mm)) for shift in (-step, 0.0, step)]
    rho_z = (spots[2].rho_mm - spots[0].rho_mm) / (2 * step)
    tau_z = (spots[2].tau_mm - spots[0].tau_mm) / (2 * step)
    rho_y, rho_x = np.gradient(spots[1].rho_mm, 1.0 / px_per_mm)
    tau_y, tau_x = np.gradient(spots[1].tau_mm, 1.0 / px_per_mm)
    along = rho_y * tau_z - rho_z * tau_y
    across = rho_z * tau_x - rho_x * tau_z
    angle = np.degrees(np.arctan2(across, along))
    return ((angle + 90.0) % 180.0 - 90.0).astype(np.float32)


def measure_ring_angle(solid: Solid, x_mm: float, y_mm: NDArray[np.floating] | float, z_mm: float = 0.0) -> Field:
    """Angle between ring line and face in the cross-section of the unbent tree, 0 to 90 degrees.

    tan(angle) = sideways offset from the pith / height above it.
    """
    pith_y, pith_z = find_pith(solid, x_mm)
    return np.degrees(np.arctan2(np.abs(np.asarray(y_mm) - pith_y), np.abs(z_mm - pith_z))).astype(np.float32)
