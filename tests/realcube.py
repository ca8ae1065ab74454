"""A real cube of wood: each face left out in turn and foretold from the other five.

The cube is from M. Larsson et al. 2025, doi 10.1145/3730874 (MIT licence): six faces, true to each other. One thick
branch comes out on C and F, and its flank on the end D. The outlines of the knot were drawn by eye; the boxes round
those on the visible faces are given to the program, as a maker would draw them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from grainplan.geometry import Box
from grainplan.picture import Picture
from grainplan.wood.orient import DirectionField, even_out, measure_direction, measure_tensor, read_direction
from grainplan.wood.solid import PlacedRings, place_all_rings
from grainplan.wood.solid_code import learn_code, place_rings, prepare_side
from grainplan.wood.solid_grid import Layer
from grainplan.wood.solid_knot import KnotPlace

PX_PER_MM = 4.0  # the cube states no size; so taken, its rings are 3 to 6 mm wide
SIZE_PX, RIM_PX = 256, 3
LAYERS: dict[str, Layer] = {"A": "back edge", "B": "head", "C": "face", "D": "foot", "E": "back", "F": "face edge"}
FACES = tuple(LAYERS)
OUTLINES = {"C": (72, 182, 97, 80), "D": (40, 190, 110, 98), "F": (163, 204, 96, 60)}
"""The knot on a face: column and row of its middle, and its half axes, in the picture's pixels."""
AWAY = 1.5
"""From the knot is away what lies outside its outline, so many times enlarged."""
READ_RIM_PX = 10
"""Nearer the rim than the tensor's own width a direction is read from half a neighbourhood."""
BAND_PX = 24
HALF_RING_PX = 10
BAND_WOOD = 0.6
"""A band is judged where so much of its width is away from the knot, and where that leaves enough of its length."""
LEAST_PX = 80

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float32]]


@dataclass(frozen=True, slots=True, eq=False)
class Foretold:
    """A face left out: its number of ring at every pixel, the lightness foretold, and what the program found."""

    ring_mm: Floats
    lightness: Floats
    placed: PlacedRings


def turn_face(name: str, picture: np.ndarray) -> np.ndarray:
    """A face as side of a board: length along the fibres, width along the cube's z, depth along its x."""
    flipped = {"A": picture[::-1], "B": picture, "C": picture[::-1], "D": picture[::-1]}
    return np.ascontiguousarray(np.swapaxes(flipped.get(name, picture[::-1, ::-1]), 0, 1))


def lay_cube(folder: Path) -> dict[str, Picture]:
    """The six faces by their names, as sides of a board."""
    faces = {}
    for name in FACES:
        picture = cv2.imread(str(folder / "cube" / f"{name}_col.png"))
        assert picture is not None, name
        faces[name] = Picture(turn_face(name, picture[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX, ::-1]), PX_PER_MM)
    return faces


def mask_knot(name: str, enlarged: float = AWAY) -> np.ndarray:
    """True where a face shows wood away from the knot."""
    rows, columns = np.mgrid[RIM_PX : SIZE_PX - RIM_PX, RIM_PX : SIZE_PX - RIM_PX]
    if name not in OUTLINES:
        return np.ones(rows.shape, bool)
    column, row, wide, high = OUTLINES[name]
    return turn_face(name, ((columns - column) / wide) ** 2 + ((rows - row) / high) ** 2 >= enlarged**2)


def box_knots(names: Sequence[str]) -> list[KnotPlace]:
    """The boxes round the knot on these faces."""
    places = []
    for name in names:
        rows, columns = np.nonzero(~mask_knot(name, 1.0))
        if rows.size:
            ends = columns.min(), rows.min(), columns.max() + 1, rows.max() + 1
            places.append(KnotPlace(LAYERS[name], Box(*(float(end) / PX_PER_MM for end in ends))))
    return places


def foretell(faces: dict[str, Picture], name: str, *, boxed: bool = True) -> Foretold:
    """Foretell a face from the other five; its own picture is not looked at."""
    rest = [other for other in FACES if other != name]
    placed = place_all_rings({LAYERS[n]: faces[n] for n in rest}, knots=box_knots(rest) if boxed else ())
    assert isinstance(placed, PlacedRings), placed
    blank = Picture(np.zeros_like(faces[name].pixels), PX_PER_MM)
    side = prepare_side(blank, placed.grid, LAYERS[name], pith=placed.pith)
    ring = place_rings(side, placed.nodes, placed.grid)
    code = learn_code(placed.sides, placed.nodes, placed.grid, 0.15)
    shape = (blank.pixels.shape[1], blank.pixels.shape[0])
    fine = np.asarray(cv2.resize(ring, shape, interpolation=cv2.INTER_CUBIC), np.float32)
    return Foretold(fine, code.read(fine), placed)


def read_ring_direction(face: Picture) -> DirectionField:
    """The direction of the ring lines: lightness is averaged first over what is finer than rings.

    Saw marks run aslant over A and D and are 1 to 3 pixels wide, a ring 15 to 30; read as finely as boards are, the
    direction is half theirs.
    """
    values = even_out(face.lightness(), PX_PER_MM)
    return read_direction(measure_tensor(values, PX_PER_MM, gradient_mm=1.0, smooth_mm=2.5), PX_PER_MM)


def measure_direction_miss(told: Foretold, face: Picture, away: np.ndarray, *, fine: bool = False) -> float:
    """Mean angle between foretold and true lines, each place weighted by how sure the true one is, degrees."""
    field = measure_direction(face, smooth_mm=2.0) if fine else read_ring_direction(face)
    down, right = np.gradient(cv2.GaussianBlur(told.ring_mm, (0, 0), 3))
    apart = np.abs((np.degrees(np.arctan2(-right, down)) - field.angle_deg + 90) % 180 - 90)
    weight = field.sure * away
    inner = np.s_[READ_RIM_PX:-READ_RIM_PX, READ_RIM_PX:-READ_RIM_PX]
    return float(np.average(apart[inner], weights=weight[inner]))


def compare_rings(told: Foretold, name: str, other: Picture, truth: Picture) -> float:
    """Agreement of the foretold rings of a face with a picture: mean over bands of the best correlation.

    Bands are 24 pixels wide and run across the mean direction of the true rings of the face, for on an end these run
    aslant; the best shift is sought within half a ring.
    """
    away = mask_knot(name)
    field = read_ring_direction(truth)
    weight = field.sure * away
    mean_deg = float(np.degrees(np.angle((weight * np.exp(2j * np.radians(field.angle_deg))).sum())) / 2.0)
    seen = even_out(other.lightness(), PX_PER_MM, reach_mm=8.0)
    first, second, wood = (_turn(values, mean_deg) for values in (told.lightness, seen, away))
    found = []
    for start in range(0, first.shape[1] - BAND_PX + 1, BAND_PX):
        cut = np.s_[:, start : start + BAND_PX]
        share = np.mean(wood[cut] > 0.5, axis=1)
        one, two = (
            (values[cut] * (wood[cut] > 0.5)).mean(axis=1) / np.maximum(share, 1e-6) for values in (first, second)
        )
        good = share >= BAND_WOOD
        if good.sum() >= LEAST_PX:
            found.append(max(_correlate(one, two, good, shift) for shift in range(-HALF_RING_PX, HALF_RING_PX + 1)))
    return float(np.mean(found))


def _turn(values: np.ndarray, angle_deg: float) -> Floats:
    """A square picture turned about its middle; what comes in from outside is 0."""
    middle = (values.shape[0] - 1) / 2.0
    turned = cv2.getRotationMatrix2D((middle, middle), angle_deg, 1.0)
    return np.asarray(cv2.warpAffine(values.astype(np.float32), turned, values.shape[::-1]), np.float32)


def _correlate(one: np.ndarray, two: np.ndarray, good: np.ndarray, shift: int) -> float:
    both = good & np.roll(good, shift)
    both[:HALF_RING_PX] = both[-HALF_RING_PX:] = False
    return float(np.corrcoef(one[both], np.roll(two, shift)[both])[0, 1])
