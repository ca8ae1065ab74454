"""The bar code of the rings: one lightness for each ring place, learned from all sides and used to place them all.

Wide and narrow, dark and pale years follow each other in the same order wherever the board is cut. The mean lightness
over all places of equal ring is the code; each neighbourhood of each side is then moved along the code to where it
agrees best. Wide neighbourhoods first, without the side's own part of the code, so that whole sides fall into step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.picture import Picture
from grainplan.wood.orient import blur_wide
from grainplan.wood.solid_grid import (
    LAYERS,
    Floats,
    Layer,
    NodeGrid,
    Reals,
    place_pixels,
    spread_nodes,
    take_layer,
)
from grainplan.wood.solid_pith import PithLine, tell_plain
from grainplan.wood.solid_relax import Anchor, LinePull, relax

BIN_MM = 0.2
"""Step of the code."""
SHIFT_MM = 0.25
"""Step of the search along the code."""
END_WORTH = 6.0
"""How much a square millimetre of an end tells against one of a broad side, whose fibres repeat along the grain."""
FAINT = 20.0
"""Square millimetres of wood that a place of the code needs to count half."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One round of placing: code smoothing, doubt and reach of the shift (mm), windows, and how far to trust.

    `window_mm` holds the deviations along and across on the broad sides, `end_window_mm` on the ends. `trust` is about
    the number of independent looks in a window. `own` tells whether a side's own wood stays in the code.
    """

    smooth_mm: float
    doubt_mm: float
    reach_mm: float
    window_mm: tuple[float, float]
    end_window_mm: tuple[float, float]
    trust: float
    own: bool = True


PASSES: tuple[Pass, ...] = (
    Pass(0.6, 2.5, 6.0, (200.0, 40.0), (50.0, 12.0), 120.0, own=False),
    Pass(0.6, 2.0, 5.0, (120.0, 30.0), (30.0, 12.0), 90.0, own=False),
    Pass(0.6, 1.5, 4.0, (80.0, 20.0), (15.0, 8.0), 60.0, own=False),
    Pass(0.8, 1.2, 3.0, (60.0, 16.0), (12.0, 8.0), 42.0),
    Pass(0.6, 0.9, 2.5, (50.0, 12.0), (10.0, 6.0), 42.0),
    Pass(0.5, 0.7, 2.0, (40.0, 9.0), (8.0, 5.0), 42.0),
    Pass(0.4, 0.6, 1.5, (30.0, 7.0), (6.0, 4.0), 36.0),
    Pass(0.35, 0.5, 1.25, (25.0, 5.0), (5.0, 3.0), 36.0),
    Pass(0.3, 0.4, 1.0, (20.0, 4.0), (4.0, 2.5), 36.0),
    Pass(0.3, 0.4, 1.0, (20.0, 4.0), (4.0, 2.5), 36.0),
)
"""Found on drawn boards; the reach falls from two rings to a third of one."""


@dataclass(frozen=True, slots=True, eq=False)
class SeenSide:
    """One side made ready: lightness without slow changes, and where its pixels lie.

    Parameters
    ----------
    layer : str
        Which side.
    values : ndarray of float32, shape (rows, columns)
        Mean near 0, deviation 1.
    distance_mm : ndarray, same shape
        From the pith line.
    columns_mm, rows_mm : ndarray
        Places of the columns and rows on the side.
    """

    layer: Layer
    values: Floats
    distance_mm: Floats
    columns_mm: Reals
    rows_mm: Reals

    @property
    def step_mm(self) -> tuple[float, float]:
        """Distance of the columns and of the rows."""
        return float(self.columns_mm[1] - self.columns_mm[0]), float(self.rows_mm[1] - self.rows_mm[0])

    @property
    def is_end(self) -> bool:
        """True for the foot and the head."""
        return LAYERS[self.layer][0] == 0


@dataclass(frozen=True, slots=True, eq=False)
class Code:
    """Lightness by ring place: `total` and `weight` in bins of `BIN_MM` from `first_mm`."""

    first_mm: float
    total: Reals
    weight: Reals

    @property
    def values(self) -> Floats:
        """Mean lightness of each bin, drawn toward 0 where little wood was seen."""
        return (self.total / (self.weight + FAINT)).astype(np.float32)

    def read(self, ring_mm: Floats) -> Floats:
        """The code at ring places, linear between bins."""
        return read_table(self.values, self.first_mm, ring_mm)


def read_table(table: Floats, first_mm: float, ring_mm: Floats) -> Floats:
    """Values of a table in bins of `BIN_MM`, linear between them."""
    place = np.clip((ring_mm - np.float32(first_mm)) * np.float32(1.0 / BIN_MM), 0.0, np.float32(table.size - 1.001))
    index = place.astype(np.int32)
    share = place - index
    return np.asarray(table[index] * (1 - share) + table[index + 1] * share, dtype=np.float32)


def prepare_side(
    picture: Picture, grid: NodeGrid, layer: Layer, *, pith: PithLine, calm: Reals | None = None
) -> SeenSide:
    """Make a side ready for comparing: coarser along the grain, without slow changes of tone.

    Where the wood is not `calm` (cells of the grid, 0 in a knot) its lightness says nothing about rings and is muted.
    """
    density = picture.px_per_mm
    lightness = picture.lightness()
    if LAYERS[layer][0] == 0:
        slow = blur_wide(lightness, 15.0 * density, 15.0 * density)
        step = (0.5, 0.5)
    else:
        slow = blur_wide(lightness, 200.0 * density, 60.0 * density)
        step = (3.0, 0.5)
    shape = (max(4, round(picture.width_mm / step[0])), max(4, round(picture.height_mm / step[1])))
    small = cv2.resize(lightness - slow, shape, interpolation=cv2.INTER_AREA)
    values = np.clip(small / (float(small.std()) + 1e-6), -2.5, 2.5).astype(np.float32)
    if calm is not None:
        values *= cv2.resize(calm.astype(np.float32), shape, interpolation=cv2.INTER_LINEAR)
    columns = (np.arange(shape[0]) + 0.5) * picture.width_mm / shape[0]
    rows = (np.arange(shape[1]) + 0.5) * picture.height_mm / shape[1]
    places = place_pixels(grid, layer, columns, rows)
    distance = pith.distance(*places)
    values *= tell_plain(pith, places).astype(np.float32)
    return SeenSide(layer, values, np.broadcast_to(distance, values.shape).astype(np.float32), columns, rows)


def measure_from(side: SeenSide, grid: NodeGrid, pith: PithLine) -> SeenSide:
    """The same side, its distances those from another pith."""
    distance = pith.distance(*place_pixels(grid, side.layer, side.columns_mm, side.rows_mm))
    return replace(side, distance_mm=np.broadcast_to(distance, side.values.shape).astype(np.float32))


def place_rings(side: SeenSide, nodes: Reals, grid: NodeGrid) -> Floats:
    """Ring place of every pixel of a side: distance from the pith plus distortion, mm."""
    bend = spread_nodes(take_layer(nodes, side.layer), grid.layer_steps(side.layer), side.columns_mm, side.rows_mm)
    return np.asarray(side.distance_mm + bend, dtype=np.float32)


def learn_codes(rings: Mapping[Layer, tuple[SeenSide, Floats]], smooth_mm: float) -> dict[Layer, Code]:
    """The code as each side alone shows it, all on the same bins."""
    first = min(float(ring.min()) for _, ring in rings.values()) - 8.0
    last = max(float(ring.max()) for _, ring in rings.values()) + 8.0
    bins = int((last - first) / BIN_MM) + 2
    codes = {}
    for layer, (side, ring) in rings.items():
        place = (ring - np.float32(first)) * np.float32(1.0 / BIN_MM)
        index = place.astype(np.int32)
        share = place - index
        area = side.step_mm[0] * side.step_mm[1] * (END_WORTH if side.is_end else 1.0)
        parts = []
        for amount in (side.values, np.ones_like(side.values)):
            low = np.bincount(index.ravel(), ((1 - share) * amount).ravel() * area, bins)
            high = np.bincount(index.ravel() + 1, (share * amount).ravel() * area, bins)
            parts.append(_smooth((low[:bins] + high[:bins]).astype(np.float64), smooth_mm))
        codes[layer] = Code(first, parts[0], parts[1])
    return codes


def join_codes(codes: Mapping[Layer, Code], leave_out: Layer | None = None) -> Code:
    """One code of all sides, or of all but one."""
    kept = [code for layer, code in codes.items() if layer != leave_out]
    return Code(kept[0].first_mm, sum((c.total for c in kept), 0.0), sum((c.weight for c in kept), 0.0))  # type: ignore[arg-type]


def _smooth(values: Reals, smooth_mm: float) -> Reals:
    line = cv2.GaussianBlur(
        values.reshape(1, -1), (0, 0), max(smooth_mm / BIN_MM, 0.05), borderType=cv2.BORDER_CONSTANT
    )
    return np.asarray(line.ravel(), dtype=np.float64)


def find_shift(side: SeenSide, ring: Floats, code: Code, grid: NodeGrid, task: Pass) -> tuple[Reals, Reals, Reals]:
    """How far the rings at each node of a side must move to agree with the code.

    Returns
    -------
    shift, strength, agreement : ndarray, shape (rows, columns) of nodes
        Best shift in mm, its information in 1/mm² beyond the doubt it started from, and the correlation reached.
    """
    window = task.end_window_mm if side.is_end else task.window_mm
    counts, spacing = grid.layer_counts(side.layer), grid.layer_steps(side.layer)
    size = ((counts[0] - 1) * spacing[0], (counts[1] - 1) * spacing[1])
    pool = tuple(
        max(4, min(2 * (count - 1), round(4.0 * long / wide)))
        for count, long, wide in zip(counts, size, window, strict=True)
    )
    sigma = [max(wide * cells / long, 0.3) for wide, cells, long in zip(window, pool, size, strict=True)]
    table = code.values

    def average(values: Floats) -> Floats:
        # Pooled first, to half a node's step or a quarter of the window: blurring all pixels would take too long.
        pooled = cv2.resize(values, pool, interpolation=cv2.INTER_AREA)
        return np.asarray(cv2.GaussianBlur(pooled, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1]), dtype=np.float32)

    column, row = np.meshgrid(
        *(
            (np.arange(count) * cells / (count - 1) - 0.5).astype(np.float32)
            for count, cells in zip(counts, pool, strict=True)
        )
    )
    power = average(side.values * side.values) + np.float32(0.05)
    shifts = np.arange(-task.reach_mm, task.reach_mm + 1e-6, SHIFT_MM)
    scores = np.empty((shifts.size, counts[1], counts[0]))
    for index, shift in enumerate(shifts):
        said = read_table(table, code.first_mm, ring + np.float32(shift))
        alike = average(side.values * said) / np.sqrt(power * (average(said * said) + np.float32(0.03)))
        scores[index] = cv2.remap(alike, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return _judge_shifts(shifts, scores, task)


def _judge_shifts(shifts: Reals, scores: Reals, task: Pass) -> tuple[Reals, Reals, Reals]:
    """Mean and information of the shift, agreement taken as log-likelihood and the doubt as a normal prior."""
    belief = task.trust * scores - (shifts**2 / (2.0 * task.doubt_mm**2))[:, None, None]
    belief = np.exp(belief - belief.max(axis=0))
    belief /= belief.sum(axis=0)
    mean = (belief * shifts[:, None, None]).sum(axis=0)
    spread = (belief * shifts[:, None, None] ** 2).sum(axis=0) - mean**2 + SHIFT_MM**2 / 12.0
    strength = np.maximum(1.0 / spread - 1.0 / task.doubt_mm**2, 0.0)
    # The prior drew the mean toward nought; it is taken out again, for the relaxation brings its own.
    shift = np.clip(np.where(strength > 1e-6, mean / (spread * strength + 1e-9), 0.0), -task.reach_mm, task.reach_mm)
    return shift, strength, scores.max(axis=0)


def fall_into_step(
    sides: Mapping[Layer, SeenSide],
    grid: NodeGrid,
    pulls: Mapping[Layer, LinePull],
    *,
    start: Reals,
    passes: tuple[Pass, ...] = PASSES,
) -> Reals:
    """Move all sides along the code, pass by pass, and relax the distortion after each."""
    softer = {layer: replace(pull, weight=0.5 * pull.weight) for layer, pull in pulls.items()}
    nodes = start
    for task in passes:
        rings = {layer: (side, place_rings(side, nodes, grid)) for layer, side in sides.items()}
        codes = learn_codes(rings, task.smooth_mm)
        whole = join_codes(codes)
        anchors = {}
        for layer, (side, ring) in rings.items():
            code = whole if task.own or len(codes) == 1 else join_codes(codes, leave_out=layer)
            shift, strength, _ = find_shift(side, ring, code, grid, task)
            anchors[layer] = Anchor(take_layer(nodes, layer) + shift, strength * _share(side, grid, task))
        nodes = relax(grid, softer, start=nodes, anchors=anchors)
    return nodes


def _share(side: SeenSide, grid: NodeGrid, task: Pass) -> float:
    """Part of a window's information that one node may claim, since neighbours look through the same window."""
    window = task.end_window_mm if side.is_end else task.window_mm
    spacing = grid.layer_steps(side.layer)
    return float(min(1.0, 4.0 * spacing[0] * spacing[1] / (2.0 * np.pi * window[0] * window[1])))


def measure_agreement(side: SeenSide, ring: Floats, code: Code, grid: NodeGrid) -> Reals:
    """How well each node's neighbourhood agrees with the code as it is placed: correlation, -1 to 1."""
    still = Pass(0.0, 1.0, 0.0, (30.0, 8.0), (6.0, 6.0), 1.0)
    _, _, agreement = find_shift(side, ring, code, grid, still)
    return agreement


def learn_code(sides: Mapping[Layer, SeenSide], nodes: Reals, grid: NodeGrid, smooth_mm: float) -> Code:
    """The code of all sides as they are placed."""
    rings = {layer: (side, place_rings(side, nodes, grid)) for layer, side in sides.items()}
    return join_codes(learn_codes(rings, smooth_mm))
