"""The picture of a cut: ring profile, pores, fibre streaks, knots, in sRGB."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.drawn.noise import SmoothField
from tests.drawn.solid import (
    Field,
    Picture,
    Plane,
    Solid,
    Spot,
    count_rings,
    lay_flat,
    list_places,
    locate,
    spread_places,
)


def draw_cut(solid: Solid, plane: Plane) -> Picture:
    """What the board shows at the pixel centres of a cut, RGB, without camera or light."""
    spot = locate(solid, plane)
    colour = _mix_body(solid, plane, spot)
    _add_knots(solid, spot, colour)
    if plane.axis == "x":
        colour *= np.float32(0.82)
    return np.clip(colour + 0.5, 0, 255).astype(np.uint8)


def draw_side(solid: Solid, side: str, px_per_mm: float) -> Picture:
    """One of the sides "face", "back", "foot", "head", "face edge", "back edge", in the board frame."""
    planes = {
        "face": Plane("z", 0.0, px_per_mm),
        "back": Plane("z", solid.thickness_mm, px_per_mm),
        "foot": Plane("x", 0.0, px_per_mm),
        "head": Plane("x", solid.length_mm, px_per_mm),
        "face edge": Plane("y", 0.0, px_per_mm),
        "back edge": Plane("y", solid.width_mm, px_per_mm),
    }
    return draw_cut(solid, planes[side])


def _mix_body(solid: Solid, plane: Plane, spot: Spot) -> Field:
    look = solid.look
    dark, early = _shade_rings(solid, spot)
    x, _, _ = spread_places(solid, plane)
    streak = _sample_grain(solid.fibres, x / 70.0, spot.rho_mm / 0.9, spot.tau_mm / 0.55)
    if look.pores:
        pore = _sample_grain(solid.pores, x / 9.0, spot.rho_mm / 0.5, spot.tau_mm / 0.42)
        dark = dark * (1.0 + look.pores * early * np.clip(pore, -1.0, 1.6))
        dark += 0.10 * look.pores * np.clip(pore - 1.1, 0.0, 1.0)
    tone = look.streaks * streak + look.clouds * _cloud(solid.clouds, solid, plane)
    if look.bands:
        ring = count_rings(solid, spot.rho_mm)
        tone += look.bands * (1 - early) * np.sin(2 * np.pi * (3.0 * ring + 0.35 * streak)) * 0.5
    heart = 1.0 / (1.0 + np.exp((spot.rho_mm - solid.heart_mm) / 1.5))
    colour = np.empty((*dark.shape, 3), dtype=np.float32)
    for band in range(3):
        body = look.sap[band] + (0.5 * (look.heart[band] + look.pale[band]) - look.sap[band]) * heart
        colour[..., band] = body + (look.line[band] - body) * dark + tone * (1.0, 0.95, 0.85)[band]
    return colour


def _shade_rings(solid: Solid, spot: Spot) -> tuple[Field, Field]:
    """How dark each place is by its place in the ring (0 body, 1 line), and how much it is in the porous zone."""
    look = solid.look
    number = count_rings(solid, spot.rho_mm)
    year = np.clip(number.astype(np.int32), 0, solid.ring_borders_mm.size - 2)
    width = np.diff(solid.ring_borders_mm)
    since = (number - year) * width[year]
    until = width[year] - since
    if look.ring_porous:
        line = look.line_mm * np.clip(width / 3.0, 0.55, 1.3)
        early = np.exp(-((since / line[year]) ** 2))
        ahead = np.exp(-((until / 0.16) ** 2)) * 0.9
        late = 0.22 * (since / width[year]) ** 1.5
        dark = np.maximum(early * solid.ring_tone[year], ahead * solid.ring_tone[year + 1])
        dark = np.maximum(dark, late) * 0.92
        return dark.astype(np.float32), np.maximum(early, ahead).astype(np.float32)
    share = np.clip(since / width[year], 0.0, 1.0)
    late = share**2.6 * (1.0 - np.exp(-((until / 0.25) ** 2)) * 0.6)
    return (late * solid.ring_tone[year]).astype(np.float32), np.zeros_like(number)


def _cloud(clouds: SmoothField, solid: Solid, plane: Plane) -> Field:
    return lay_flat(clouds.at(*list_places(solid, plane)), plane)


def _sample_grain(grain: Field, *places: NDArray[np.floating]) -> Field:
    """Random grain that repeats in all directions, linear between its nodes, of deviation near one."""
    bounds, shares = [], []
    for place, size in zip(places, grain.shape, strict=True):
        whole = np.floor(place)
        shares.append((place - whole).astype(np.float32))
        first = whole.astype(np.int32) % size
        bounds.append((first, (first + 1) % size))
    flat = grain.ravel()
    _, size_y, size_z = grain.shape
    total = np.zeros(np.broadcast_shapes(*(share.shape for share in shares)), dtype=np.float32)
    for i in (0, 1):
        weight_x = shares[0] if i else 1 - shares[0]
        for j in (0, 1):
            weight_xy = weight_x * (shares[1] if j else 1 - shares[1])
            row = (bounds[0][i] * size_y + bounds[1][j]) * size_z
            total += weight_xy * (flat[row + bounds[2][0]] * (1 - shares[2]) + flat[row + bounds[2][1]] * shares[2])
    return total * np.float32(1.8)


def _add_knots(solid: Solid, spot: Spot, colour: Field) -> None:
    if not spot.knot.any():
        return
    look = solid.look
    rings = 0.5 + 0.5 * np.cos(2 * np.pi * spot.knot_depth_mm / look.knot_ring_mm)
    rim = np.clip(1 - np.abs(spot.knot - 0.5) * 2, 0, 1)
    heart = np.exp(-((spot.knot_depth_mm / 1.3) ** 2))
    check = np.clip(np.cos(3.0 * spot.tau_mm + 0.8 * spot.knot_depth_mm) - 0.9, 0, 1) * 3.0
    shade = (0.78 + 0.42 * rings) * (1 - 0.5 * rim) * (1 - 0.6 * heart) * (1 - check)
    for band in range(3):
        knot = (0.7 * look.knot[band] + 0.3 * look.line[band]) * shade
        colour[..., band] += (knot - colour[..., band]) * spot.knot
