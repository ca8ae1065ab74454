"""The border between sapwood and heart on a board's broad sides, where the two differ in hue.

Sapwood lies toward the bark, so it fills a band along a long edge, and its border keeps to a ring. Light and the sheen
of turned fibres change brightness alone; so hue is compared, as the logarithm of blue over red, and only in the pale
body of the rings, since ring lines have a hue of their own and lie closer in some places than in others. Along each
edge the path is sought whose step in hue is greatest in all. How far it stands out is judged against the greatest step
the other way, toward redder wood outside: the figure of heartwood shows one as often as the other. The end photos are
asked whether the border runs on through the thickness.

The weights were fitted to drawn boards of four looks (36 with sapwood and the same 36 without), and the confidence is
held down by `_MOST_SURE`, since no open pictures with such labels were found: fitted to two of the looks and judged on
the other two, false borders are two to three times as many. Where sap and heart look alike, as in spruce, there is
nothing to find. An edge of light of another colour, or of wood that has darkened, along a board passes for a border
where no photo of an end denies it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import BROAD_SIDES, END_SIDES, BroadSide, Flaw, Side
from grainplan.geometry import Box, list_runs
from grainplan.picture import Picture

Reals = NDArray[np.float64]
_CELL_MM = 10  # along the board; across it the picture has a row a millimetre
_GAP_MM, _REACH_MM = 2, 10  # left out on either side of the border, and compared beyond
_RIM_MM = 2  # floor or arris
_NARROWEST_MM = 5
_WIDEST = 0.6  # of the width
_SHORTEST_MM = 250.0
_STEEPEST = 2  # mm across in a cell
_BEND_COST = 0.01
_SMOOTH_CELLS = 10
_RUN_SHARE = 0.5  # of its usual step: where less is left, the border has run out over the edge
_BESIDE_MM = 25
_LEANS = np.linspace(-1.6, 1.6, 33)  # of the border through the thickness, mm across in a mm
_BIAS, _OUTDOES, _LEVEL, _LEAST, _COVER, _ROUGH = 2.78, 1.16, 2.58, 0.67, 6.58, 1.38
_ENDS = (0.87, 1.61)  # of the logarithm of the step on the ends over `_END_STEP`
_END_STEP = 0.04
_OTHER_SIDE = (0.19, 0.16)
_MOST_SURE = 0.8
_LEAST_SURE = 0.45  # board A of the real ones, bright on one side of a ring, reaches 0.42 in parts
_BOX_SPILL_MM = 12.0  # a border that wanders more is told in several boxes
_MOST_BOXES = 4


@dataclass(frozen=True, slots=True, eq=False)
class SapBorder:
    """Where heart turns into sapwood on a broad side.

    Parameters
    ----------
    on : {"face", "back"}
    far : bool
        Whether the sapwood lies along the edge away from the face edge.
    x_mm, y_mm : ndarray, shape (n,)
        Places of the border, from foot to head, board frame.
    width_mm : float
        Of the board.
    confidence : float
        0 to 1.
    """

    on: BroadSide
    far: bool
    x_mm: Reals
    y_mm: Reals
    width_mm: float
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class _Trail:
    """A path along an edge, rows of a side laid so that its sapwood has the larger rows; where along it holds."""

    on: BroadSide
    far: bool
    rows: NDArray[np.int64]
    run: tuple[int, int]
    score: float
    high: int
    steps: Reals


def find_sapwood(sides: Mapping[Side, Picture]) -> tuple[SapBorder, ...]:
    """Find the borders of the sapwood on the face and the back.

    Parameters
    ----------
    sides : mapping of side to Picture
        Flattened sides of one board, as many as there are; the ends, where photographed, have their say.

    Returns
    -------
    tuple of SapBorder
        At most one for each long edge of each side.
    """
    hues = {on: _read_hue(sides[on]) for on in BROAD_SIDES if on in sides}
    ends = {side: _read_end(sides[side]) for side in END_SIDES if side in sides}
    trails = [t for on in hues for far in (False, True) if (t := _follow(hues[on], on, far=far)) is not None]
    found = []
    for trail in trails:
        logit = trail.score + _ask_ends(trail, ends)
        other = [t.score for t in trails if t.on != trail.on and t.far == trail.far]
        if len(hues) > 1:
            logit += _OTHER_SIDE[0] + _OTHER_SIDE[1] * float(np.clip(other[0] if other else -4.0, -4.0, 4.0))
        sure = _MOST_SURE / (1.0 + float(np.exp(-logit)))
        start, end = trail.run
        if sure >= _LEAST_SURE and (end - start) * _CELL_MM >= _SHORTEST_MM:
            found.append(_lay(trail, sides[trail.on], sure))
    return tuple(found)


def propose_sapwood(sides: Mapping[Side, Picture]) -> tuple[Flaw, ...]:
    """The sapwood of a board's broad sides as flaws that the maker may take, move or drop; see :func:`find_sapwood`."""
    return tuple(flaw for border in find_sapwood(sides) for flaw in box_sapwood(border))


def box_sapwood(border: SapBorder) -> tuple[Flaw, ...]:
    """The sapwood outside a border, as flaws: one box, or up to four where the border wanders."""
    band = border.width_mm - border.y_mm if border.far else border.y_mm
    half = float(border.x_mm[1] - border.x_mm[0]) / 2
    boxes = []
    for start, end in _split(band):
        deep = float(band[start:end].max())
        y = (border.width_mm - deep, border.width_mm) if border.far else (0.0, deep)
        first = max(0.0, float(border.x_mm[start]) - half)
        box = Box(first, y[0], float(border.x_mm[end - 1]) + half, y[1])
        boxes.append(Flaw("sapwood", border.on, box, False, "program", round(border.confidence, 2)))
    return tuple(boxes)


def _split(band: Reals) -> list[tuple[int, int]]:
    """Stretches within which a band's width changes little, as few as will do."""
    parts = [(0, band.size)]
    while len(parts) < _MOST_BOXES:
        spill = [float(band[a:b].max()) * (b - a) - float(band[a:b].sum()) for a, b in parts]
        worst = int(np.argmax(spill))
        a, b = parts[worst]
        if np.ptp(band[a:b]) <= _BOX_SPILL_MM or b - a < 4:
            break
        cuts = range(a + 2, b - 1)
        cost = [float(band[a:c].max()) * (c - a) + float(band[c:b].max()) * (b - c) for c in cuts]
        cut = cuts[int(np.argmin(cost))]
        parts[worst : worst + 1] = [(a, cut), (cut, b)]
    return parts


def _read_hue(picture: Picture) -> Reals:
    """Blue over red of the rings' body: a row a millimetre across, a column a cell along."""
    colour, body = _weigh_body(picture, sigma=(6.0, 3.0))
    width = (8.0, 1.5)
    weight = cv2.GaussianBlur(body, (0, 0), sigmaX=width[0], sigmaY=width[1]) + np.float32(1e-6)
    hue = cv2.GaussianBlur(body * colour, (0, 0), sigmaX=width[0], sigmaY=width[1]) / weight
    cells = max(1, hue.shape[1] // _CELL_MM)
    return np.asarray(cv2.resize(hue, (cells, hue.shape[0]), interpolation=cv2.INTER_AREA), np.float64)


def _read_end(picture: Picture) -> Reals:
    """The same of an end: rows from face to back, columns across the board, a millimetre each."""
    colour, body = _weigh_body(picture, sigma=(4.0, 4.0))
    weight = cv2.GaussianBlur(body, (0, 0), 1.5) + np.float32(1e-6)
    return np.asarray(cv2.GaussianBlur(body * colour, (0, 0), 1.5) / weight, np.float64)


def _weigh_body(picture: Picture, *, sigma: tuple[float, float]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Logarithm of blue over red at a pixel a millimetre, and how much a place is paler than the wood around it."""
    size = (max(1, round(picture.width_mm)), max(1, round(picture.height_mm)))
    small = cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    bands = np.log(small + np.float32(2.0))
    light = np.ascontiguousarray(bands.mean(axis=2))
    paler = light - cv2.GaussianBlur(light, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1])
    body = 1.0 / (1.0 + np.exp(np.clip(-paler / 0.015, -20.0, 20.0)))
    return np.ascontiguousarray(bands[:, :, 2] - bands[:, :, 0]), np.asarray(body, np.float32)


def _measure_steps(hue: Reals) -> Reals:
    """At each border between two rows, how much bluer it is beyond than before: shape (rows + 1, columns)."""
    rows = hue.shape[0]
    whole = hue.copy()
    whole[:_RIM_MM] = whole[min(_RIM_MM, rows - 1)]
    whole[rows - _RIM_MM :] = whole[max(0, rows - _RIM_MM - 1)]
    total = np.vstack([np.zeros((1, hue.shape[1])), np.cumsum(whole, axis=0)])
    at = np.arange(rows + 1)

    def mean(first: NDArray[np.int64], last: NDArray[np.int64]) -> Reals:
        a, b = np.clip(first, 0, rows), np.clip(last, 0, rows)
        return np.asarray((total[b] - total[a]) / np.maximum(b - a, 1)[:, None], np.float64)

    return mean(at + _GAP_MM, at + _GAP_MM + _REACH_MM) - mean(at - _GAP_MM - _REACH_MM, at - _GAP_MM)


def _find_path(gain: Reals) -> NDArray[np.int64]:
    """The row, in each column, of the path along the columns that gains most; it bends by at most `_STEEPEST` rows."""
    rows, columns = gain.shape
    best = gain[:, 0]
    came = np.zeros((columns, rows), np.int64)
    bends = range(-_STEEPEST, _STEEPEST + 1)
    for column in range(1, columns):
        padded = np.pad(best, _STEEPEST, constant_values=-1e9)
        offers = np.array([padded[_STEEPEST - k : _STEEPEST - k + rows] - _BEND_COST * abs(k) for k in bends])
        choice = offers.argmax(axis=0)
        came[column] = choice - _STEEPEST
        best = offers[choice, np.arange(rows)] + gain[:, column]
    path = np.empty(columns, np.int64)
    path[-1] = int(best.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] - came[column, path[column]]
    return path


def _search(steps: Reals) -> tuple[NDArray[np.int64], Reals]:
    """The best path in the outer part of a side, and the step at each of its places."""
    gain = steps.copy()
    gain[: int((gain.shape[0] - 1) * (1 - _WIDEST))] = -1e6
    gain[gain.shape[0] - 1 - _NARROWEST_MM :] = -1e6
    path = _find_path(gain)
    return path, steps[path, np.arange(steps.shape[1])]


def _follow(hue: Reals, on: BroadSide, *, far: bool) -> _Trail | None:
    """The likeliest border along one edge, with the logarithm of its odds from this side alone."""
    laid = hue if far else hue[::-1]
    rows = laid.shape[0]
    if rows < 4 * _NARROWEST_MM or laid.shape[1] < 2:
        return None
    steps = _measure_steps(laid)
    path, step = _search(steps)
    _, other = _search(-steps)
    smooth, other = _smooth(step), _smooth(other)
    usual = float(np.quantile(smooth, 0.8))
    start, end = _find_longest(smooth > _RUN_SHARE * usual) if usual > 0 else (0, 0)
    if end - start < 2:
        return None
    level = np.mean(
        [
            laid[path[x] + 2 : rows - _RIM_MM, x].mean() - laid[max(0, path[x] - _BESIDE_MM) : path[x] - 2, x].mean()
            for x in range(start, end)
        ]
    )
    mean, least = float(step[start:end].mean()), float(np.quantile(smooth[start:end], 0.1))
    rough = float(np.abs(np.diff(path[start:end])).mean())
    score = (
        _BIAS
        + _OUTDOES * np.log(max(mean, 0.005) / max(float(other[start:end].mean()), 0.007))
        + _LEVEL * np.log(max(float(level), 0.005))
        + _LEAST * np.log(max(least, 0.004))
        + _COVER * min((end - start) / path.size, 0.8)
        - _ROUGH * np.log1p(rough)
    )
    return _Trail(on, far, path, (start, end), float(score), rows, step)


def _smooth(values: Reals) -> Reals:
    count = min(_SMOOTH_CELLS, values.size)
    padded = np.pad(values, (count // 2, count - 1 - count // 2), mode="edge")
    return np.convolve(padded, np.ones(count) / count, "valid")


def _find_longest(chosen: NDArray[np.bool_]) -> tuple[int, int]:
    return max(list_runs(chosen), key=lambda run: run[1] - run[0], default=(0, 0))


def _ask_ends(trail: _Trail, ends: Mapping[Side, Reals]) -> float:
    """What the ends that the border reaches add to the logarithm of its odds; 0 where there is none."""
    start, end = trail.run
    reached: list[tuple[Side, slice]] = []
    if start <= 3:
        reached.append(("foot", slice(start, start + 6)))
    if end >= trail.rows.size - 3:
        reached.append(("head", slice(max(start, end - 6), end)))
    seen = [
        _step_on_end(ends[side], float(np.median(trail.rows[where])), trail) for side, where in reached if side in ends
    ]
    if not seen:
        return 0.0
    return _ENDS[0] + _ENDS[1] * float(np.log(max(float(np.mean(seen)), 0.008) / _END_STEP))


def _step_on_end(hue: Reals, row: float, trail: _Trail) -> float:
    """The step in hue across the straight line through the thickness, at its best lean, that meets the border."""
    laid = hue if trail.on == "face" else hue[::-1]
    laid = laid if trail.far else laid[:, ::-1]
    thick, wide = laid.shape
    steps = _measure_steps(np.ascontiguousarray(laid.T))
    depth = np.arange(min(2, thick // 4), thick - min(2, thick // 4))
    best = -1.0
    for lean in _LEANS:
        across = np.rint(row * wide / trail.high + lean * depth).astype(np.int64)
        inside = (across >= 4) & (across <= wide - 4)
        if np.count_nonzero(inside) >= 0.5 * depth.size:
            best = max(best, float(steps[across[inside], depth[inside]].mean()))
    return best


def _lay(trail: _Trail, picture: Picture, sure: float) -> SapBorder:
    start, end = trail.run
    # A picture has whole pixels: its board may be half of one shorter, and no box may reach beyond it.
    cell = (picture.width_mm - 0.5 / picture.px_per_mm) / trail.rows.size
    x = (np.arange(start, end) + 0.5) * cell
    y = trail.rows[start:end] * (picture.height_mm / trail.high)
    y = y if trail.far else picture.height_mm - y
    wide = picture.height_mm
    return SapBorder(trail.on, trail.far, np.asarray(x, np.float64), np.asarray(y, np.float64), wide, sure)
