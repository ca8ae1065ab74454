"""Grow a board from a seed: pith, ring widths, waves, knots, streaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.drawn.noise import SmoothField, make_field
from tests.drawn.solid import Field, Knot, PithLine, Solid

# Shares of the variance of the waves, and their correlation lengths in x, y and z. Most of it is slow: where it
# changed by itself within 3 mm of depth at full height, rings would fold over on themselves, which wood does not do.
WAVE_PARTS = (
    (0.12, (60.0, 12.0, 3.0)),
    (0.28, (140.0, 30.0, 12.0)),
    (0.60, (420.0, 70.0, 40.0)),
)


@dataclass(frozen=True, slots=True)
class Growth:
    """What a board is grown from. Whatever is None is drawn from the seed.

    `wave_mm` is the amplitude of the waves: the square root of two times their standard deviation, as for a sine.
    """

    length_mm: float = 1200.0
    width_mm: float = 180.0
    thickness_mm: float = 22.0
    look: str = "ash"
    pith: PithLine | None = None
    ring_mm: float | None = None
    ring_variation: float = 0.35
    wave_mm: float | None = None
    knots: tuple[Knot, ...] | None = None
    heart_mm: float = 400.0
    wave_parts: tuple[tuple[float, tuple[float, float, float]], ...] = WAVE_PARTS


def place_pith(random: np.random.Generator, width_mm: float, thickness_mm: float) -> PithLine:
    """A pith 60 mm inside to 250 mm beyond the board's edge, beside it and beneath or above it, with some lean."""
    beside = random.uniform(-60.0, 250.0)
    beneath = random.uniform(-60.0, 250.0)
    y = width_mm + beside if random.random() < 0.5 else -beside
    z = thickness_mm + beneath if random.random() < 0.5 else -beneath
    lean_y, lean_z = random.normal(0.0, 5.0, 2)
    return PithLine(y - lean_y, z - lean_z, y + lean_y, z + lean_z)


def place_pith_plain(random: np.random.Generator, width_mm: float, thickness_mm: float) -> PithLine:
    """A pith behind the board, for a plain-sawn face with a cathedral."""
    y = width_mm * random.uniform(0.2, 0.8)
    z = thickness_mm + random.uniform(35.0, 120.0)
    lean_y, lean_z = random.normal(0.0, 5.0), random.normal(0.0, 7.0)
    return PithLine(y - lean_y, z - lean_z, y + lean_y, z + lean_z)


def grow_rings(random: np.random.Generator, ring_mm: float, variation: float, reach_mm: float) -> Field:
    """Ring borders from the pith outward: good years and bad ones, in short runs."""
    count = int(reach_mm / ring_mm * 1.6) + 20
    luck = random.standard_normal(count)
    for year in range(1, count):
        luck[year] = 0.45 * luck[year - 1] + np.sqrt(1 - 0.45**2) * luck[year]
    widths = ring_mm * np.clip(1.0 + variation * luck, 0.35, 2.0)
    return np.concatenate([[0.0], np.cumsum(widths)]).astype(np.float32)


def grow_board(seed: int, growth: Growth | None = None) -> Solid:
    """A board of known wood; the same seed and growth give the same board."""
    plan = growth or Growth()
    random = np.random.default_rng(seed)
    pith = place_pith(random, plan.width_mm, plan.thickness_mm)
    pith = plan.pith or pith
    ring_mm = random.uniform(2.0, 5.0)
    ring_mm = plan.ring_mm or ring_mm
    wave_mm = random.uniform(1.0, 2.5)
    wave_mm = wave_mm if plan.wave_mm is None else plan.wave_mm
    size = (plan.length_mm, plan.width_mm, plan.thickness_mm)
    reach = 40.0 + max(
        np.hypot(abs(y) + plan.width_mm, abs(z) + plan.thickness_mm)
        for y, z in ((pith.y_foot_mm, pith.z_foot_mm), (pith.y_head_mm, pith.z_head_mm))
    )
    borders = grow_rings(random, ring_mm, plan.ring_variation, float(reach))
    tone = np.clip(random.normal(0.85, 0.2, borders.size + 1), 0.3, 1.3).astype(np.float32)
    waves = tuple(
        make_field(random, size=size, spacing=spacing, deviation=wave_mm / np.sqrt(2.0) * np.sqrt(share))
        for share, spacing in plan.wave_parts
    )
    knots = plan.knots if plan.knots is not None else ()
    return Solid(
        length_mm=plan.length_mm,
        width_mm=plan.width_mm,
        thickness_mm=plan.thickness_mm,
        look_name=plan.look,
        pith=pith,
        ring_borders_mm=borders,
        ring_tone=tone,
        waves=waves,
        clouds=_make_clouds(random, size),
        fibres=_make_grain(random, (24, 96, 512)),
        pores=_make_grain(random, (96, 64, 512)),
        knots=knots,
        heart_mm=plan.heart_mm,
    )


def _make_clouds(random: np.random.Generator, size: tuple[float, float, float]) -> SmoothField:
    return make_field(random, size=size, spacing=(220.0, 26.0, 14.0), deviation=1.0)


def _make_grain(random: np.random.Generator, shape: tuple[int, int, int]) -> Field:
    return random.standard_normal(shape).astype(np.float32)
