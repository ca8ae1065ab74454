"""Boards with and without sapwood: where its border truly runs, and what else may look like one.

Heart and sap differ by the colours of the look, or by a part of that; rings, clouds of tone and light are as on any
drawn board. Light falls off across the width, and on some boards the wood is brighter on one side of a ring without
being of another hue, as where fibres turn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Side
from grainplan.picture import Picture
from tests.drawn.forest import Growth, grow_board, place_pith, place_pith_plain
from tests.drawn.paint import draw_cut
from tests.drawn.solid import Knot, Plane, Solid, find_pith, locate

LOOK_OF_TURN = ("ash", "elm", "pine", "walnut")
NEVER_MM = 1e5


@dataclass(frozen=True, slots=True, eq=False)
class SapBoard:
    """A drawn board that may have sapwood.

    Parameters
    ----------
    solid : Solid
        Its `heart_mm` is where sapwood begins.
    strength : float
        Difference of sap and heart over that of the look; 0 where all of it is heart.
    sheen : float
        How much brighter, without another hue, the wood outside ring `sheen_mm` is.
    fall : float
        How much the light falls off across the width.
    """

    solid: Solid
    strength: float
    sheen: float
    sheen_mm: float
    fall: float
    seed: int

    def draw(self, side: Side, *, px_per_mm: float = 2.0) -> Picture:
        """A side as a good photo gives it, with sensor noise."""
        plane = _lay_plane(self.solid, side, px_per_mm)
        heart = draw_cut(replace(self.solid, heart_mm=NEVER_MM), plane).astype(np.float32)
        if self.strength:
            heart += self.strength * (draw_cut(self.solid, plane).astype(np.float32) - heart)
        beyond = np.clip((locate(self.solid, plane).rho_mm - self.sheen_mm) / 1.5, -40, 40)
        outer = 1 / (1 + np.exp(-beyond))
        light = 1 + self.sheen * outer + self.fall * np.linspace(-0.5, 0.5, heart.shape[0])[:, None]
        heart = cv2.GaussianBlur(heart * light[..., None].astype(np.float32), (0, 0), 0.3 * px_per_mm)
        random = np.random.default_rng(self.seed + 9)
        heart += random.standard_normal(heart.shape, dtype=np.float32) * np.float32(2.0)
        return Picture(np.clip(heart + 0.5, 0, 255).astype(np.uint8), px_per_mm)

    def find_sap(self, side: Side, *, px_per_mm: float = 1.0) -> NDArray[np.bool_]:
        """Where a side is sapwood, True or False for every pixel."""
        if not self.strength:
            plane = _lay_plane(self.solid, side, px_per_mm)
            return np.zeros(locate(self.solid, plane).rho_mm.shape, bool)
        return np.asarray(locate(self.solid, _lay_plane(self.solid, side, px_per_mm)).rho_mm > self.solid.heart_mm)


def grow_sap_board(seed: int, *, sap: bool, length_mm: float = 1200.0) -> SapBoard:
    """A board from a seed: any look, width, pith and light; with sapwood, its border crosses the face or the back."""
    random = np.random.default_rng(seed + 70_000)
    look = LOOK_OF_TURN[seed % len(LOOK_OF_TURN)]
    size = length_mm, float(random.integers(130, 221)), float(random.choice([22.0, 27.0, 38.0]))
    plain = random.random() < 0.6
    pith = (place_pith_plain if plain else place_pith)(random, size[1], size[2])
    knots = tuple(
        Knot(float(x), float(random.uniform(0, 360)), float(random.uniform(0, 20)), float(random.uniform(3, 9)), 90.0)
        for x in random.uniform(100, length_mm - 100, random.integers(0, 4))
    )
    growth = Growth(length_mm=size[0], width_mm=size[1], thickness_mm=size[2], look=look, pith=pith, knots=knots)
    solid = grow_board(seed, growth)
    pith_y, pith_z = (float(v) for v in find_pith(solid, length_mm / 2))
    far = size[1] if size[1] - pith_y > pith_y else 0.0
    at = abs(far - float(random.uniform(14.0, 0.42 * size[1])))
    solid = replace(solid, heart_mm=float(np.hypot(at - pith_y, random.choice([0.0, size[2]]) - pith_z)))
    strength = float(random.uniform(0.5, 1.0)) if sap else 0.0
    sheen = float(random.choice([0.0, 0.0, 0.05, 0.1]))
    other = float(random.uniform(0.3, 0.7) * size[1])
    return SapBoard(
        solid, strength, sheen, float(np.hypot(other - pith_y, pith_z)), float(random.uniform(-0.3, 0.3)), seed
    )


def _lay_plane(solid: Solid, side: Side, px_per_mm: float) -> Plane:
    places = {
        "face": Plane("z", 0.0, px_per_mm),
        "back": Plane("z", solid.thickness_mm, px_per_mm),
        "foot": Plane("x", 0.0, px_per_mm),
        "head": Plane("x", solid.length_mm, px_per_mm),
    }
    return places[side]
