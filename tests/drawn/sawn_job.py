"""A job folder of drawn boards, its photos square-on, and the photos of its leaves once they are sawn."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from PIL import Image

from grainplan.boards import Leaf, Side, Surface
from grainplan.picture import Picture
from tests.drawn.flat import photograph_flat, show_depth
from tests.drawn.solid import Solid

SIDES: tuple[Side, ...] = ("face", "back", "foot", "head")
RIM_PX = 12
HEAD = """
grainplan = 1
title = "drawn"
units = "mm"
[wood]
species = "white ash"
moisture = 8
[climate]
driest = { temperature = "19 C", humidity = 35 }
dampest = { temperature = "24 C", humidity = 60 }
[shop]
kerf = 1.6
saw_height = 260
saw_tolerance = 0.2
planing = 0.8
outer_planing = 0.8
edge_waste = 0
rip = 3
joint = 1.5
crosscut = 3
end_waste = 10
over_length = 4
over_width = 4
[frame]
stile = 50
top_rail = 50
bottom_rail = 60
[panel]
thickness = 6.35
groove = 9
end_gap = 1.5
strips = 2
"""


def write_job(folder: Path, solids: Mapping[str, Solid], bays: str, *, sides: tuple[Side, ...] = SIDES) -> Path:
    """A job file with these boards, all photographed, and the bays as their tables are written."""
    (folder / "photos").mkdir(parents=True)
    text = [HEAD, bays]
    for name, solid in solids.items():
        text.append(f'[[board]]\nname = "{name}"')
        sizes = {"length": solid.length_mm, "width": solid.width_mm, "thickness": solid.thickness_mm}
        text += [f"{what} = {size}" for what, size in sizes.items()]
        for side in sides:
            picture = photograph_flat(solid, side, seed=ord(name))
            text.append(f"{side} = {write_photo(folder, f'{name}-{side}', picture, side)}")
    (folder / "job.toml").write_text("\n".join(text) + "\n", encoding="utf-8")
    return folder


def write_photo(folder: Path, name: str, picture: Picture, side: Side) -> str:
    """Save a side's picture as it is seen from outside, a rim of dark ground round it; answers with its table."""
    pixels = {"back": picture.pixels[::-1], "head": picture.pixels[:, ::-1]}.get(side, picture.pixels)
    rimmed = np.pad(pixels, ((RIM_PX, RIM_PX), (RIM_PX, RIM_PX), (0, 0)), constant_values=25)
    Image.fromarray(rimmed).save(folder / "photos" / f"{name}.png", compress_level=1)
    high, wide = pixels.shape[:2]
    corners = [[0, 0], [wide, 0], [wide, high], [0, high]]
    order = {"back": (3, 2, 1, 0), "head": (1, 0, 3, 2)}.get(side, (0, 1, 2, 3))
    told = [[corners[place][0] + RIM_PX, corners[place][1] + RIM_PX] for place in order]
    return f'{{ photo = "photos/{name}.png", corners = {told} }}'


def photograph_leaf(
    folder: Path, solid: Solid, leaf: Leaf, depths_mm: Mapping[Surface, float], *, told_as: Leaf | None = None
) -> str:
    """The `[[leaf]]` table of a leaf whose true surfaces at these depths were photographed."""
    lines = [f'\n[[leaf]]\nleaf = "{(told_as or leaf).name}"']
    for surface, depth in depths_mm.items():
        side: Side = "face" if surface == "near" else "back"
        lines.append(f"{surface} = {write_photo(folder, f'{leaf.name}-{surface}', show_depth(solid, depth), side)}")
    return "\n".join(lines) + "\n"
