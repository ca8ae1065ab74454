"""A board after its first leaves were photographed: each real surface divides the solid into two thinner ones.

What lies between two real surfaces is foretold from these two, which is nearer than face and back. The rings that the
whole board was fitted with tell which ring is which; the two surfaces then place them anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.solid import (
    BoardSolid,
    InsideView,
    PlacedRings,
    draw_level,
    fill_solid,
    fit_pixels,
    read_sides,
)
from grainplan.wood.solid_code import PASSES, fall_into_step
from grainplan.wood.solid_grid import Layer, NodeGrid, Reals, cut_level, lay_grid
from grainplan.wood.solid_pith import PithLine

LEAST_END_MM = 4.0
"""An end cut narrower than this says nothing of its own."""
SAME_MM = 0.5
"""Surfaces nearer to each other than this are one surface."""


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """A real surface inside a board: its depth from the face side, mm, and its picture in the board frame."""

    depth_mm: float
    picture: Picture


@dataclass(frozen=True, slots=True, eq=False)
class Slice:
    """The part of a board between two real surfaces, as a solid of its own."""

    top_mm: float
    bottom_mm: float
    solid: BoardSolid

    def draw(self, depth_mm: float) -> InsideView:
        """The surface at a depth of the whole board."""
        return draw_level(self.solid, depth_mm - self.top_mm)


def fit_slices(
    whole: BoardSolid, sides: Mapping[Layer, Picture], levels: Sequence[Level], *, depths_mm: Sequence[float]
) -> tuple[Slice, ...]:
    """For each depth, the board between the two real surfaces next to it, its rings placed anew.

    Parameters
    ----------
    whole : BoardSolid
        Fitted to the sides of the rough board.
    sides : mapping of side to Picture
        Those sides.
    levels : sequence of Level
        Surfaces of leaves that were photographed; those that nearly are the face or the back count for nothing.
    depths_mm : sequence of float
        What is asked for, from the face as photographed. The whole board answers where no leaf's surface is nearer than
        face and back.
    """
    thickness = whole.grid.size_mm[2]
    inner = sorted(levels, key=lambda level: level.depth_mm)
    inner = [level for level in inner if SAME_MM < level.depth_mm < thickness - SAME_MM]
    every = [Level(0.0, sides["face"]), *inner, Level(thickness, sides["back"])]
    made: dict[tuple[float, float], Slice] = {(0.0, thickness): Slice(0.0, thickness, whole)}
    found = []
    for depth in depths_mm:
        top = next((level for level in every[-2::-1] if level.depth_mm <= depth), every[0])
        below = (level for level in every[1:] if level.depth_mm > max(depth, top.depth_mm + SAME_MM))
        bottom = next(below, every[-1])
        key = (top.depth_mm, bottom.depth_mm)
        if key not in made:
            made[key] = _fit_between(whole, sides, top, bottom)
        found.append(made[key])
    return tuple(found)


def _fit_between(whole: BoardSolid, sides: Mapping[Layer, Picture], top: Level, bottom: Level) -> Slice:
    face = sides["face"]
    mine: dict[Layer, Picture] = {"face": fit_pixels(top.picture, face), "back": fit_pixels(bottom.picture, face)}
    if bottom.depth_mm - top.depth_mm >= LEAST_END_MM:
        ends: tuple[Layer, Layer] = ("foot", "head")
        for end in ends:
            if end in sides:
                strip = Box(0.0, top.depth_mm, sides[end].width_mm, bottom.depth_mm)
                mine[end] = sides[end].crop(strip)
    length, width, _ = whole.grid.size_mm
    grid = lay_grid((length, width, bottom.depth_mm - top.depth_mm))
    pith = _lift_pith(whole.pith, top.depth_mm)
    pulls, seen = read_sides(mine, grid, pith)
    known = [task for task in PASSES if task.own]  # which ring is which is known from the whole board
    start = _cut_nodes(whole, grid, top.depth_mm)
    nodes = fall_into_step(seen, grid, pulls, start=start, passes=tuple(known))
    return Slice(
        top.depth_mm,
        bottom.depth_mm,
        fill_solid(PlacedRings(grid, pith, nodes, seen, whole.likely), mine, caveats=whole.caveats),
    )


def _lift_pith(pith: PithLine, by_mm: float) -> PithLine:
    """The pith as it lies beneath a surface that much further down."""
    (foot_y, foot_z), (head_y, head_z) = pith.foot_yz_mm, pith.head_yz_mm
    return replace(pith, foot_yz_mm=(foot_y, foot_z - by_mm), head_yz_mm=(head_y, head_z - by_mm))


def _cut_nodes(whole: BoardSolid, grid: NodeGrid, top_mm: float) -> Reals:
    """The distortion of the whole board at the nodes of a slice."""
    depths = top_mm + np.arange(grid.counts[2]) * grid.step_mm[2]
    return np.stack([cut_level(whole.filled.nodes, whole.grid, 2, depth).T for depth in depths], axis=2)
