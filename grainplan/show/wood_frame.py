"""Stiles and rails drawn quietly round the panels, with the light of a window from the upper left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.arch import Arch
from grainplan.frame import Bay, FrameLook, Part
from grainplan.geometry import Floats
from grainplan.picture import Pixels

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Opening:
    """A sight opening in its bay: from the bay's left edge and from its foot, mm, with the rise of an arched top."""

    part: Part
    left_mm: float
    sill_mm: float
    width_mm: float
    height_mm: float
    arch_mm: float = 0.0

    @property
    def top_mm(self) -> float:
        """Upper sight line (the crown of an arch) above the bay's foot, mm."""
        return self.sill_mm + self.height_mm


@dataclass(frozen=True, slots=True)
class BayLayout:
    """A bay with its stiles and rails: outer size and openings from the foot up, mm."""

    width_mm: float
    height_mm: float
    openings: tuple[Opening, ...]


def lay_out_bay(bay: Bay, frame: FrameLook) -> BayLayout:
    """Stand a bay's openings between its stiles and rails."""
    openings = []
    up = frame.bottom_rail_mm
    heights = bay.sight_heights_mm
    for part, height in heights.items():
        arch = bay.arch_mm if part == list(heights)[-1] else 0.0
        openings.append(Opening(part, frame.stile_mm, up, bay.width_mm, height, arch))
        up += height + (bay.rail_mm or 0.0)
    top = openings[-1].top_mm + frame.top_rail_mm
    return BayLayout(bay.width_mm + 2 * frame.stile_mm, top, tuple(openings))


def draw_bay_frame(
    layout: BayLayout, panels: Mapping[Part, Pixels], *, wood: Colour, px_per_mm: float, seed: int
) -> Pixels:
    """Draw one bay: its frame in plain wood, and each panel lying in its grooves with the shadows that it gets there.

    Parameters
    ----------
    layout : BayLayout
    panels : mapping of part to ndarray
        Drawn at the same `px_per_mm`; an opening without one is left dark.
    wood : (float, float, float)
        Tone of stiles and rails, sRGB.
    px_per_mm : float
    seed : int
        Of the faint fibres, so that no two bays have the same.
    """
    p = px_per_mm
    rows, columns = max(1, round(layout.height_mm * p)), max(1, round(layout.width_mm * p))
    light = _draw_members(layout, (rows, columns), p, seed)
    drawn = np.asarray(cv2.merge([cv2.convertScaleAbs(light, alpha=tone) for tone in wood]), np.uint8)
    for opening in layout.openings:
        top, left = round(rows - opening.top_mm * p), round(opening.left_mm * p)
        panel = panels.get(opening.part)
        if panel is None:
            shape = (max(1, round(opening.height_mm * p)), max(1, round(opening.width_mm * p)), 3)
            panel = np.full(shape, np.array([v * 0.3 for v in wood], np.uint8), np.uint8)
        _lay_panel(drawn, (top, left), panel, opening=opening, px_per_mm=p)
    return drawn


def _draw_members(layout: BayLayout, shape: tuple[int, int], p: float, seed: int) -> Floats:
    """Brightness of stiles and rails: faint fibres along each member, its own tone, arrises and joints."""
    rows, columns = shape
    random = np.random.default_rng(seed)
    light = 1.0 + _draw_fibres(random, (columns, rows), p).T
    stile = round(layout.openings[0].left_mm * p)
    across = columns - 2 * stile
    borders = [0.0]
    for opening in layout.openings:
        borders += [opening.sill_mm, opening.top_mm - opening.arch_mm]
    borders.append(layout.height_mm)
    for low, high in zip(borders[::2], borders[1::2], strict=True):
        r0, r1 = round(rows - high * p), round(rows - low * p)
        tone = 1.0 + random.uniform(-0.018, 0.018)
        light[r0:r1, stile : columns - stile] = tone + _draw_fibres(random, (r1 - r0, across), p)
        line = max(1, round(0.45 * p))  # the shoulders of the joint
        light[r0:r1, stile - line : stile] *= 0.74
        light[r0:r1, columns - stile : columns - stile + line] *= 0.74
    light *= np.linspace(1.025, 0.975, rows, dtype=np.float32)[:, None]
    edge = max(1, round(0.9 * p))
    light[:edge], light[:, :edge] = light[:edge] * 1.07, light[:, :edge] * 1.05
    light[-edge:], light[:, -edge:] = light[-edge:] * 0.82, light[:, -edge:] * 0.82
    return np.asarray(light, np.float32)


def _draw_fibres(random: np.random.Generator, shape: tuple[int, int], p: float) -> Floats:
    """Faint streaks along the columns, about 1 % of brightness: wood without figure."""
    rows, columns = max(1, shape[0]), max(1, shape[1])
    total = np.zeros((rows, columns), np.float32)
    for wide_mm, long_mm, height in ((0.8, 70.0, 0.009), (5.0, 260.0, 0.009)):
        coarse = (max(2, round(rows / p / wide_mm)), max(2, round(columns / p / long_mm) + 1))
        noise = random.standard_normal(coarse, dtype=np.float32) * np.float32(height)
        total += cv2.resize(noise, (columns, rows), interpolation=cv2.INTER_CUBIC)
    return total


def _lay_panel(drawn: Pixels, corner: tuple[int, int], panel: Pixels, *, opening: Opening, px_per_mm: float) -> None:
    """Put a panel into its opening, under its arch and in the shade of its frame."""
    rows = min(panel.shape[0], drawn.shape[0] - corner[0])
    columns = min(panel.shape[1], drawn.shape[1] - corner[1])
    target = drawn[corner[0] : corner[0] + rows, corner[1] : corner[1] + columns]
    drops = measure_arch_drops(opening, columns, px_per_mm) * px_per_mm
    shade = _shade_opening((rows, columns), drops, px_per_mm)
    lit = (panel[:rows, :columns] * shade[:, :, None] + np.float32(0.5)).astype(np.uint8)
    curved = min(rows, int(np.ceil(drops.max())) + 1)
    cover = np.clip(np.arange(curved, dtype=np.float32)[:, None] + 1 - drops[None, :], 0, 1)[:, :, None]
    target[curved:] = lit[curved:]
    target[:curved] = np.clip(target[:curved] * (1 - cover) + lit[:curved] * cover + 0.5, 0, 255).astype(np.uint8)
    _light_arrises(drawn, corner, (rows, columns), px_per_mm)


def measure_arch_drops(opening: Opening, columns: int, px_per_mm: float) -> Floats:
    """How far the top of the opening lies below its crown, mm, at each column; zeros where it is square.

    Notes
    -----
    Of the circle ``y(x) = sqrt(R² − x²) − (R − H)``, x from the middle, R = W²/8H + H/2.
    """
    if opening.arch_mm <= 0:
        return np.zeros(columns, np.float32)
    arch = Arch(opening.width_mm, opening.arch_mm)
    from_middle = (np.arange(columns) + 0.5) / px_per_mm - opening.width_mm / 2
    inside = np.clip(arch.radius_mm**2 - from_middle**2, 0, None)
    height = np.sqrt(inside) - arch.centre_below_chord_mm
    return np.asarray(opening.arch_mm - height, np.float32)


def _shade_opening(shape: tuple[int, int], drops: Floats, p: float) -> Floats:
    """Brightness of a panel in its opening: the cast shadow of top and left, soft dusk along all four edges."""
    rows, columns = shape
    down = np.arange(rows, dtype=np.float32)
    right = np.arange(columns, dtype=np.float32) / p
    left = _fall_off(right, cast=0.22, reach_mm=3.2, line=0.30)
    far = 1 - 0.06 * np.exp(-(columns / p - right) / 12) - 0.30 * np.exp(-(columns / p - right) / 0.6)
    sill = 1 - 0.06 * np.exp(-(rows - down) / p / 12) - 0.30 * np.exp(-(rows - down) / p / 0.6)
    sides = np.asarray(sill[:, None] * (left * far)[None, :], np.float32)
    under = np.clip((down[:, None] - drops[None, :]) / p, 0, None) if drops.any() else (down / p)[:, None]
    return np.asarray(sides * _fall_off(under, cast=0.34, reach_mm=5.5, line=0.30), np.float32)


def _fall_off(distance_mm: Floats, *, cast: float, reach_mm: float, line: float) -> Floats:
    """Shade at a distance from an edge that stands between the panel and the light."""
    shadow = cast / (1 + np.exp(np.clip((distance_mm - reach_mm) / (0.22 * reach_mm), -30, 30)))
    return np.asarray(1 - shadow - 0.09 * np.exp(-distance_mm / 18) - line * np.exp(-distance_mm / 0.7), np.float32)


def _light_arrises(drawn: Pixels, corner: tuple[int, int], size: tuple[int, int], p: float) -> None:
    """Light caught by the frame's edges below and to the right of a panel."""
    (top, left), (rows, columns) = corner, size
    line = max(1, round(0.7 * p))
    for part in (
        drawn[top + rows : top + rows + line, left : left + columns],
        drawn[top : top + rows, left + columns : left + columns + line],
    ):
        part[:] = cv2.convertScaleAbs(np.ascontiguousarray(part), alpha=1.10) if part.size else part
