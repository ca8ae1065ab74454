"""A board as a solid: ring surfaces fitted to all its sides, and any surface inside drawn before the saw.

Order of work: the pith line from the lines on all sides; a smooth distortion that makes those lines lines of one ring;
then all sides fall into step along one bar code of the rings, and the pith is placed anew by them. Inside, the
distortion is the most likely one between face, back and ends, and every place takes the colour of its ring. Nothing is
blended from face and back: on drawn boards that says next to nothing about the wood between them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.wood.orient import DirectionField
from grainplan.wood.ring_figure import PX_PER_MM, measure_power
from grainplan.wood.solid_code import (
    BIN_MM,
    PASSES,
    Code,
    Pass,
    SeenSide,
    fall_into_step,
    learn_code,
    measure_agreement,
    measure_from,
    place_rings,
    prepare_side,
)
from grainplan.wood.solid_fill import Filled, fill_inside, measure_height
from grainplan.wood.solid_grid import LAYERS, Floats, Layer, NodeGrid, Reals, lay_grid, place_pixels
from grainplan.wood.solid_grown import Growth, grow_together, weigh_rings
from grainplan.wood.solid_knot import KnotPlace, lay_cones
from grainplan.wood.solid_paint import Paint, measure_rings, mix_paint, paint_level, paint_rings
from grainplan.wood.solid_pith import PithLine, fit_pith_line, tell_plain
from grainplan.wood.solid_refit import move_pith, refit_pith
from grainplan.wood.solid_relax import LinePull, pull_along_lines, read_cells, relax
from grainplan.wood.solid_stand import find_stand

READ_DOUBT_MM = 0.15
"""How far a ring read on a side lies from the truth, one deviation (drawn boards)."""
SOFTENED = 1.15
"""Deviation inside for each millimetre of the estimated one, set on drawn boards where the rings alone agree best."""
UNFOLLOWED = 0.9
"""The same where agreement is reckoned from ring places: the softened picture agrees a little better than the crisp
code that is reckoned with."""
TOLD, LEFT, RECKONED = 1.02, 0.82, 0.2
"""The agreement that is told is what is left of the figure (see :func:`expect_agreement`) and what is reckoned from
ring places, to these powers, times the first; held to twenty drawn boards."""
KNOTTY = 0.5
"""Part of the expected agreement that is lost beside a branch."""
TRUSTED = 0.35
"""Expected agreement below which an inside picture is a guess, and a seam is not scored on it."""


@dataclass(frozen=True, slots=True, eq=False)
class PlacedRings:
    """Where the rings lie on all sides that were seen, before the inside is estimated.

    Parameters
    ----------
    grid, pith
        As in :class:`BoardSolid`.
    nodes : ndarray, shape of the grid
        Distortion, mm.
    sides : mapping of side to SeenSide
    likely : float
        How likely the pith is not a quite wrong one, 0 to 1; told only where no end shows it.
    """

    grid: NodeGrid
    pith: PithLine
    nodes: Reals
    sides: Mapping[Layer, SeenSide]
    likely: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class BoardSolid:
    """A board whose rings are placed all through.

    Parameters
    ----------
    grid : NodeGrid
        The nodes of the distortion.
    pith : PithLine
        The straight pith that ring places are measured from.
    filled : Filled
        Distortion and its doubt.
    code : Code
        Lightness by ring place.
    agreement : mapping of "face", "back" to ndarray, shape (rows, columns) of nodes
        How well each neighbourhood agrees with the code, -1 to 1.
    power : mapping of "face", "back" to ndarray, same shape
        How strong the figure of each neighbourhood is: mean square of its lightness, without slow changes.
    paint : Paint
        Colours.
    caveats : tuple of str
        What was missing.
    likely : float
        As in :class:`PlacedRings`.
    """

    grid: NodeGrid
    pith: PithLine
    filled: Filled
    code: Code
    agreement: Mapping[Layer, Reals]
    power: Mapping[Layer, Floats]
    paint: Paint
    caveats: tuple[str, ...] = ()
    likely: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class InsideView:
    """A predicted surface inside a board.

    Parameters
    ----------
    picture : Picture
        As the surface is expected to look, in the board frame: columns x, rows y. Its fine fibres are those of the
        nearer side, and only like the true ones.
    rings_alone : Picture
        Without fibres, and the softer the less sure its rings are: what can really be foretold, and what a seam is
        scored on.
    sure : ndarray of float32, shape (rows, columns) of nodes
        Expected correlation with the true lightness at each place, 0 to 1; spread evenly over the surface.
    confidence : float
        Its mean.
    caveats : tuple of str
        Plain sentences.
    """

    picture: Picture
    rings_alone: Picture
    sure: Floats
    confidence: float
    caveats: tuple[str, ...]


def fit_solid(
    sides: Mapping[Layer, Picture], *, knots: Sequence[KnotPlace] = (), thickness_mm: float | None = None
) -> BoardSolid | NotFound:
    """Place the rings of a board all through, from the pictures of its sides.

    Parameters
    ----------
    sides : mapping of side to Picture
        Flattened pictures in the board frame: face, back and best of all the ends. Edges are used where given.
    knots : sequence of KnotPlace
        Knots that show on face and back: drawn inside too, and the rings bent round them.
    thickness_mm : float, optional
        Of the board; only looked at where no end tells it.

    Returns
    -------
    BoardSolid or NotFound
        Not found, with the reason, where the sides do not determine the rings.
    """
    if "face" not in sides or "back" not in sides:
        return NotFound("the inside cannot be told from one broad side: photograph the face and the back")
    sides = {**sides, "back": fit_pixels(sides["back"], sides["face"])}
    missing = [layer for layer in ("foot", "head") if layer not in sides]
    if len(missing) < 2:
        placed = place_all_rings(sides, knots=knots)
    elif thickness_mm is not None:
        placed = place_without_ends(sides, thickness_mm, knots=knots)
    else:
        return NotFound("the inside cannot be told with neither a photo of an end nor the board's thickness")
    if isinstance(placed, NotFound):
        return placed
    caveats = tuple(f"there is no photo of the {layer}" for layer in missing)
    if len(missing) == 2:
        caveats = (
            "there is no photo of an end: how the rings stand is told by face and back alone, "
            f"{placed.likely:.0%} likely; which side is the bark's and how far off the pith lies stay undetermined",
        )
    return fill_solid(placed, sides, caveats=caveats)


def fill_solid(placed: PlacedRings, sides: Mapping[Layer, Picture], *, caveats: tuple[str, ...] = ()) -> BoardSolid:
    """Estimate the inside of a board whose rings are placed on its sides, and learn its colours."""
    grid, pith, seen = placed.grid, placed.pith, placed.sides
    filled = fill_inside(placed.nodes, grid, sides.keys())
    code = learn_code(seen, filled.nodes, grid, 0.15)
    broad: tuple[Layer, Layer] = ("face", "back")
    agreement = {
        layer: measure_agreement(seen[layer], place_rings(seen[layer], filled.nodes, grid), code, grid)
        for layer in broad
    }
    power = {layer: measure_power(sides[layer], grid.counts[1::-1]) for layer in broad}
    paint = mix_paint(sides, filled.nodes, grid, pith)
    return BoardSolid(grid, pith, filled, code, agreement, power, paint, caveats, placed.likely)


def fit_pixels(picture: Picture, model: Picture) -> Picture:
    """The same picture on the pixels of another; they differ by a rounding, or where photos had other densities."""
    if picture.pixels.shape == model.pixels.shape:
        return picture
    shape = (model.pixels.shape[1], model.pixels.shape[0])
    pixels = cv2.resize(picture.pixels, shape, interpolation=cv2.INTER_AREA)
    return Picture(np.asarray(pixels, dtype=np.uint8), model.px_per_mm)


def place_all_rings(sides: Mapping[Layer, Picture], *, knots: Sequence[KnotPlace] = ()) -> PlacedRings | NotFound:
    """Fit pith and distortion so that all sides are one function of ring place.

    Parameters
    ----------
    sides : mapping of side to Picture
        At least one end, and two sides that tell the board's three measures between them.
    knots : sequence of KnotPlace
        Those that show on face and back; of a short piece that one branch bends all through, those on any side.
    """
    grid = lay_grid(measure_size(sides))
    if grown := grow_together(sides, grid, knots):
        return _place_by_growth(sides, grid, grown, knots)
    pith = fit_pith_line(sides, grid)
    if isinstance(pith, NotFound):
        return pith
    pith = replace(pith, cones=lay_cones(knots, pith, grid.size_mm[2]))
    return _better_pith(_bring_into_step(sides, grid, pith), knots)


def _place_by_growth(
    sides: Mapping[Layer, Picture], grid: NodeGrid, grown: Growth, knots: Sequence[KnotPlace]
) -> PlacedRings:
    """Beside a branch the rings flow into its own, or climb it by a hump: whichever the sides speak for."""
    humped = replace(grown.pith, cones=lay_cones(knots, grown.pith, grid.size_mm[2]))
    both = [_bring_into_step(sides, grid, pith) for pith in (grown.pith, humped)]
    return max(
        both,
        key=lambda placed: weigh_rings(grown.lines, placed.pith, seen=placed.sides, nodes=placed.nodes, grid=grid),
    )


def place_without_ends(
    sides: Mapping[Layer, Picture], thickness_mm: float, *, knots: Sequence[KnotPlace] = ()
) -> PlacedRings | NotFound:
    """The same where no end is seen: the pith is one that face and back agree with."""
    grid = lay_grid((sides["face"].width_mm, sides["face"].height_mm, thickness_mm))
    stand = find_stand(sides, grid)
    if isinstance(stand, NotFound):
        return stand
    pith = replace(stand.pith, cones=lay_cones(knots, stand.pith, thickness_mm))
    placed = _better_pith(_bring_into_step(sides, grid, pith, passes=PASSES[1:]), knots)
    return replace(placed, likely=stand.likely)


def _bring_into_step(
    sides: Mapping[Layer, Picture], grid: NodeGrid, pith: PithLine, *, passes: tuple[Pass, ...] = PASSES
) -> PlacedRings:
    pulls, seen = read_sides(sides, grid, pith)
    nodes = relax(grid, pulls, start=np.zeros(grid.counts), tolerance=1e-4)
    return PlacedRings(grid, pith, fall_into_step(seen, grid, pulls, start=nodes, passes=passes), seen)


def _better_pith(placed: PlacedRings, knots: Sequence[KnotPlace]) -> PlacedRings:
    """The same rings, seen from a pith that they tell of better than the lines did."""
    grid, nodes, seen = placed.grid, placed.nodes, placed.sides
    better = refit_pith(nodes, grid, placed.pith, seen=seen.keys(), height_mm=measure_height(nodes, grid))
    nodes = move_pith(nodes, grid, placed.pith, better)
    better = replace(better, cones=lay_cones(knots, better, grid.size_mm[2]))
    return PlacedRings(grid, better, nodes, {layer: measure_from(side, grid, better) for layer, side in seen.items()})


def read_sides(
    sides: Mapping[Layer, Picture], grid: NodeGrid, pith: PithLine
) -> tuple[dict[Layer, LinePull], dict[Layer, SeenSide]]:
    """What the lines of each side ask of the distortion, and each side made ready for comparing."""
    pulls: dict[Layer, LinePull] = {}
    for layer, picture in sides.items():
        steps, counts = grid.layer_steps(layer), grid.layer_counts(layer)
        places = place_pixels(grid, layer, np.arange(counts[0]) * steps[0], np.arange(counts[1]) * steps[1])
        distance = np.broadcast_to(pith.distance(*places), (counts[1], counts[0]))
        pulls[layer] = pull_along_lines(read_cells(picture, grid, layer), distance, grid, layer)
    seen = {
        layer: prepare_side(picture, grid, layer, pith=pith, calm=pulls[layer].calm) for layer, picture in sides.items()
    }
    return pulls, seen


def measure_size(sides: Mapping[Layer, Picture]) -> tuple[float, float, float]:
    """Length, width and thickness, each the mean over the sides that show it, mm."""
    shown: tuple[list[float], list[float], list[float]] = ([], [], [])
    for layer, picture in sides.items():
        column, row = (axis for axis in range(3) if axis != LAYERS[layer][0])
        shown[column].append(picture.width_mm)
        shown[row].append(picture.height_mm)
    length, width, thickness = (float(np.mean(values)) for values in shown)
    return length, width, thickness


def draw_level(solid: BoardSolid, depth_mm: float) -> InsideView:
    """Draw the surface that a cut at this depth will show.

    Parameters
    ----------
    solid : BoardSolid
        From :func:`fit_solid`.
    depth_mm : float
        From the face as photographed, 0 to the thickness.
    """
    thickness = solid.grid.size_mm[2]
    if not 0 <= depth_mm <= thickness + 0.5:
        raise ValueError(f"a depth lies between 0 and {thickness:.1f} mm, got {depth_mm}")
    share = min(depth_mm / thickness, 1.0)
    doubt = float(SOFTENED * _read_deviation(solid, depth_mm).mean())
    whole, rings = paint_level(solid.paint, measure_level_rings(solid, depth_mm), share=share, doubt_mm=doubt)
    density = solid.paint.px_per_mm
    sure = expect_agreement(solid, depth_mm)
    confidence = float(sure.mean())
    caveats = solid.caveats
    if confidence < TRUSTED:
        caveats = (*caveats, f"at this depth the rings are a guess (expected agreement {confidence:.2f})")
    return InsideView(Picture(whole, density), Picture(rings, density), sure, confidence, caveats)


def measure_level_rings(solid: BoardSolid, depth_mm: float, *, px_per_mm: float | None = None) -> Floats:
    """Ring place (mm from the pith, unbent) of every pixel of the surface at a depth, in the sides' pixels or other."""
    density = px_per_mm or solid.paint.px_per_mm
    shape = [round(size * density / solid.paint.px_per_mm) for size in solid.paint.sides["face"].ring_mm.shape]
    places = (np.arange(shape[1]) + 0.5) / density, (np.arange(shape[0]) + 0.5) / density
    return measure_rings(solid.filled.nodes, solid.grid, solid.pith, depth_mm=depth_mm, places_mm=places)


def measure_level_direction(solid: BoardSolid, depth_mm: float) -> DirectionField:
    """Direction of the ring lines on the surface at a depth, and how sure it is."""
    density = solid.paint.px_per_mm
    rings = cv2.GaussianBlur(measure_level_rings(solid, depth_mm), (0, 0), 0.5 * density)
    down, right = np.gradient(rings, 1.0 / density)
    angle = (np.degrees(np.arctan2(-right, down)) + 90.0) % 180.0 - 90.0
    sure = cv2.resize(expect_agreement(solid, depth_mm), (rings.shape[1], rings.shape[0]))
    return DirectionField(angle.astype(np.float32), sure.astype(np.float32), density)


def expect_agreement(solid: BoardSolid, depth_mm: float) -> Floats:
    """Correlation to be expected of the rings alone with the true lightness at each node of a level, 0 to 1.

    A picture that is the mean over all that a surface may be agrees with it to the square root of their powers' ratio
    (conditional expectation), and round each place the surface is as strong in figure as the sides are there. So much
    the picture tells by itself: where rings are faint, lie flat, or blur for doubt, little figure is left.
    """
    share = min(depth_mm / solid.grid.size_mm[2], 1.0)
    doubt = float(SOFTENED * _read_deviation(solid, depth_mm).mean())
    ring = measure_level_rings(solid, depth_mm, px_per_mm=PX_PER_MM)
    foretold = Picture(paint_rings(solid.paint, ring, share=share, doubt_mm=doubt), PX_PER_MM)
    shown = solid.power["face"] * (1 - share) + solid.power["back"] * share
    left = np.sqrt(measure_power(foretold, shown.shape) / (shown + 1e-6))
    x, y, _ = (np.arange(count) * step for count, step in zip(solid.grid.counts, solid.grid.step_mm, strict=True))
    plain = tell_plain(solid.pith, (*place_pixels(solid.grid, "face", x, y)[:2], np.full((1, 1), depth_mm)))
    told = TOLD * left**LEFT * _reckon_agreement(solid, depth_mm) ** RECKONED * (1.0 - KNOTTY * (1.0 - plain))
    told *= solid.likely
    return np.asarray(np.clip(told, 0.0, 1.0), dtype=np.float32)


def _reckon_agreement(solid: BoardSolid, depth_mm: float) -> Reals:
    """The same as far as ring places tell it.

    What the sides themselves reach with the code, times what the doubt of the ring places leaves of the code's
    agreement with itself.
    """
    share = depth_mm / solid.grid.size_mm[2]
    reached = solid.agreement["face"] * (1 - share) + solid.agreement["back"] * share
    left = _fade_with_doubt(solid.code, np.hypot(UNFOLLOWED * _read_deviation(solid, depth_mm), READ_DOUBT_MM))
    return np.clip(np.maximum(reached, 0.0) * left[None], 0.0, 1.0)


def _read_deviation(solid: BoardSolid, depth_mm: float) -> Reals:
    """Estimated deviation of the ring places at a depth, mm, by place along the board."""
    levels = np.arange(solid.grid.counts[2]) * solid.grid.step_mm[2]
    return np.array([np.interp(depth_mm, levels, row) for row in solid.filled.deviation_mm])


def _fade_with_doubt(code: Code, deviation_mm: Reals) -> Reals:
    """Mean agreement of the code with itself, moved by normal errors of these deviations."""
    seen = code.weight > 0.2 * float(code.weight.max()) * 0.1
    values = np.where(seen, code.values, 0.0).astype(np.float64)
    power = float((values**2).sum()) + 1e-9
    lags = np.arange(0, int(6.0 / BIN_MM))
    alike = np.array([(values[lag:] * values[: values.size - lag]).sum() / power for lag in lags])
    density = np.exp(-0.5 * (lags[None] * BIN_MM / deviation_mm[:, None]) ** 2)
    density[:, 1:] *= 2.0
    return np.asarray((density * alike[None]).sum(axis=1) / density.sum(axis=1), dtype=np.float64)
