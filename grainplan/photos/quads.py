"""Four straight lines in a photo that can be the outline of a flat rectangle of known proportions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.geometry import Floats, solve_homography
from grainplan.photos.corners import FOCAL_PER_LONG_SIDE
from grainplan.picture import Pixels

_WORK_PX = 800  # long side of the picture that is searched; a board 8 px wide in it is too small to plan from
_LARGEST_ROLL_DEG = 14.0
_ROLL_STEP_DEG = 0.5
_STEP_PX = 4  # how far apart the two tones of an edge are compared, in the searched picture
_NOISE = 4.0  # square of a Lab difference that nobody would call an edge
_FELT_PX = (7, 5)  # over which lines along the wood are felt, along and across
_FELT_LEAST = 0.6  # square of a Lab difference: less is noise
_FELT_WEIGHT = 5.0
_LINES = 30
_ENDS = 10
_LEAST_FILL = 0.3  # of the photo's length
_STRETCH = 0.10  # of the proportions, and
_SKEW_DEG = 8.0  # out of square, in the searched picture
_JUDGED = 60
_RIM_EVIDENCE = 20.0  # of an end that is not in the picture: it decides nothing
SHOWN = (-0.06, 0.15)  # how much more of an open board a photo may show than was typed, logarithm of the ratio


@dataclass(frozen=True, slots=True)
class Quad:
    """Four corners, clockwise from the upper left, in px of the picture that was given.

    Parameters
    ----------
    corners_px : ndarray, shape (4, 2)
    score : float
    evidence : ndarray, shape (4,)
        Of the upper, right, lower and left edge: squared tone step over its variance along the edge, the weaker of one
        close by and one further off. A joint in a floor has tone on its two sides alike, so only the former.
    support : ndarray, shape (4,)
        Share of each edge that shows the step.
    scale : float
        Pixels of the given picture in one of the searched one.
    """

    corners_px: Floats
    score: float
    evidence: Floats
    support: Floats
    scale: float


@dataclass(frozen=True, slots=True)
class Line:
    """``y = at + slope (x - middle)`` for a long edge, ``x = at + slope (y - middle)`` for an end."""

    at: float
    slope: float
    evidence: float


def judge_shape(outline_mm: Floats, corners: Floats, size: tuple[int, int]) -> tuple[float, float]:
    """How far four corners are from a photo of this outline, for a usual lens.

    A homography of a flat thing is the camera's matrix times two columns of a rotation, which are equally long and
    square to each other (Zhang 2000, IEEE TPAMI 22(11), section 2.3).

    Returns
    -------
    stretch : float
        Logarithm of the length's scale over the width's; -0.02: 2 % too wide for its length.
    skew_deg : float
        Out of square.
    """
    focal = FOCAL_PER_LONG_SIDE * max(size)
    h = solve_homography(outline_mm, (corners - np.array(size) / 2) / focal)
    along, across = h[:, 0], h[:, 1]
    a, b = float(np.linalg.norm(along)), float(np.linalg.norm(across))
    cosine = max(-1.0, min(1.0, float(along @ across) / (a * b)))
    return math.log(a / b), abs(90.0 - math.degrees(math.acos(cosine)))


def stand_beyond(outline_mm: Floats, corners: Floats, size: tuple[int, int]) -> float:
    """How far the camera stands beyond a long edge, mm: below 0 past the upper one, above 0 past the lower, else 0.

    From the same decomposition as :func:`judge_shape`; the camera stands at minus the translation, turned back.
    """
    stood, _ = _stand(outline_mm, corners, size)
    low, high = float(outline_mm[:, 1].min()), float(outline_mm[:, 1].max())
    return min(0.0, stood - low) + max(0.0, stood - high)


def see_walls(outline_mm: Floats, corners: Floats, size: tuple[int, int], *, deep_mm: float) -> tuple[float, float]:
    """How wide the board's own upper and lower edge show below its face, px; 0 where the camera does not look past."""
    _, above = _stand(outline_mm, corners, size)
    beyond = stand_beyond(outline_mm, corners, size)
    tall_px = 0.5 * float(np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1]))
    px_per_mm = tall_px / float(np.ptp(outline_mm[:, 1]))
    shown = deep_mm * abs(beyond) / (above + deep_mm) * px_per_mm
    return (shown, 0.0) if beyond < 0 else (0.0, shown)


def _stand(outline_mm: Floats, corners: Floats, size: tuple[int, int]) -> tuple[float, float]:
    """Where the camera stands across the board, and how far above its face, mm."""
    focal = FOCAL_PER_LONG_SIDE * max(size)
    h = solve_homography(outline_mm, (corners - np.array(size) / 2) / focal)
    scale = 0.5 * float(np.linalg.norm(h[:, 0]) + np.linalg.norm(h[:, 1]))
    square = np.cross(h[:, 0], h[:, 1])
    return -float(h[:, 1] @ h[:, 2]) / scale**2, abs(float(square @ h[:, 2])) / float(np.linalg.norm(square)) / scale


def search_quads(pixels: Pixels, outline_mm: Floats, *, open_ends: tuple[bool, bool] = (False, False)) -> list[Quad]:
    """Outlines that a board may have, the likeliest first.

    Parameters
    ----------
    pixels : ndarray of uint8
        The board's length runs across the picture, within 14 degrees.
    outline_mm : ndarray, shape (4, 2)
        Its corners in its own plane, clockwise from the upper left as it lies.
    open_ends : (bool, bool)
        Whether it runs out of the picture at the left and at the right.
    """
    scale = max(1.0, max(pixels.shape[:2]) / _WORK_PX)
    width, height = round(pixels.shape[1] / scale), round(pixels.shape[0] / scale)
    small = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
    lab = np.asarray(cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2Lab), np.float32)
    down, _ = _step_fields(lab)
    felt = np.dstack([lab, feel_fibres(np.ascontiguousarray(lab[..., 0]))])
    _, right = _step_fields(felt)
    lines = _find_lines(down)
    length = float(np.linalg.norm(outline_mm[1] - outline_mm[0]))
    ratio = float(max(np.ptp(outline_mm[[0, 3]], axis=0).max(), np.ptp(outline_mm[[1, 2]], axis=0).max())) / length
    found: list[tuple[float, Floats]] = []
    for i, one in enumerate(lines):
        for other in lines[:i]:
            top, bottom = (one, other) if one.at < other.at else (other, one)
            apart = (bottom.at - top.at) / (width * ratio)
            if 0.6 * _LEAST_FILL < apart < 1.1 and abs(top.slope - bottom.slope) < 0.12 and _worth(top, bottom):
                ends = _find_ends(right, top, bottom) if not all(open_ends) else []
                left_right = _list_sides(ends, (top, bottom), width, open_ends)
                found += _close_quads(
                    (top, bottom), left_right, outline_mm=outline_mm, size=(width, height), is_open=any(open_ends)
                )
    found.sort(key=lambda f: -f[0])
    quads = [_judge((lab, felt), (corners, open_ends), score, scale) for score, corners in found[:_JUDGED]]
    return sorted(quads, key=lambda q: -q.score)


def feel_fibres(lightness: Floats) -> Floats:
    """How much more the tone changes down the picture than along it: wood has lines, sawdust and plain cloth have not.

    Parameters
    ----------
    lightness : ndarray, shape (rows, columns)
        CIE L* of the searched picture.

    Returns
    -------
    ndarray
        Weighted so that a step of it counts beside a step of the tone; zero where neither way tells.
    """
    down, along = (cv2.blur(np.square(np.gradient(lightness, axis=a)), _FELT_PX) for a in (0, 1))
    return np.asarray(_FELT_WEIGHT * np.log((down + _FELT_LEAST) / (along + _FELT_LEAST)), np.float32)


def _worth(top: Line, bottom: Line) -> bool:
    return math.log1p(top.evidence) + math.log1p(bottom.evidence) > 0.3


def _evidence(mean: Floats, deviation: Floats) -> Floats:
    """Squared tone step over its variance along the line, summed over the three channels."""
    return np.asarray((mean * mean / (deviation * deviation + _NOISE)).sum(axis=-1), float)


def _step_fields(lab: Floats) -> tuple[Floats, Floats]:
    """Tone below minus tone above, and right minus left, a few pixels each."""
    kernel = np.concatenate([-np.ones(_STEP_PX), np.ones(_STEP_PX)]).astype(np.float32) / _STEP_PX
    one = np.ones(1, np.float32)
    edge = cv2.BORDER_REPLICATE
    down = cv2.sepFilter2D(lab, -1, one, kernel, anchor=(0, _STEP_PX), borderType=edge)
    right = cv2.sepFilter2D(lab, -1, kernel, one, anchor=(_STEP_PX, 0), borderType=edge)
    return np.asarray(down), np.asarray(right)


def _find_lines(down: Floats) -> list[Line]:
    """Long lines on which the tone steps the same way all along the middle half of the photo."""
    height, width = down.shape[:2]
    blocks = 64
    field = cv2.resize(down, (blocks, height), interpolation=cv2.INTER_AREA)
    x = ((np.arange(blocks) + 0.5) / blocks - 0.5) * width
    middle = np.abs(x) < 0.25 * width
    field, x = np.ascontiguousarray(field[:, middle]), x[middle].astype(np.float32)
    rows = np.repeat(np.arange(height, dtype=np.float32)[:, None], x.size, axis=1)
    columns = np.repeat(np.arange(x.size, dtype=np.float32)[None, :], height, axis=0)
    slopes = np.tan(np.radians(np.arange(-_LARGEST_ROLL_DEG, _LARGEST_ROLL_DEG + 0.01, _ROLL_STEP_DEG)))
    field_of = np.zeros((slopes.size, height), np.float32)
    for i, slope in enumerate(slopes):
        turned = cv2.remap(
            field, columns, rows + np.float32(slope) * x, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        field_of[i] = _evidence(turned.mean(axis=1), turned.std(axis=1))
    field_of[:, :6] = field_of[:, -6:] = 0
    peak = (field_of >= cv2.dilate(field_of, np.ones((9, 9), np.uint8)) - 1e-6) & (field_of > 0.05)
    turns, rows_at = np.nonzero(peak)
    order = np.argsort(-field_of[turns, rows_at])[:_LINES]
    return [
        Line(float(r), float(slopes[t]), float(field_of[t, r]))
        for t, r in zip(turns[order], rows_at[order], strict=True)
    ]


def _find_ends(right: Floats, top: Line, bottom: Line) -> list[Line]:
    """Short lines between two long ones on which the tone steps the same way, left to right."""
    width = right.shape[1]
    x = np.arange(width, dtype=np.float32) - width / 2
    share = ((np.arange(24) + 0.5) / 24)[:, None].astype(np.float32)
    above, below = top.at + top.slope * x, bottom.at + bottom.slope * x
    y = (above + (below - above) * share).astype(np.float32)
    tall = bottom.at - top.at
    best, slope = np.zeros(width), np.zeros(width)
    for lean in (-0.12, -0.06, 0.0, 0.06, 0.12):
        turn = lean - (top.slope + bottom.slope) / 2
        places = (x + width / 2 + np.float32(turn * tall) * (share - 0.5)).astype(np.float32)
        strip = cv2.remap(right, places, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        evidence = _evidence(strip.mean(axis=0), strip.std(axis=0))
        better = evidence > best
        best[better], slope[better] = evidence[better], turn
    best[:4] = best[-4:] = 0
    peak = cv2.dilate(best.astype(np.float32)[None], np.ones((1, 11), np.uint8))[0]
    at = np.nonzero((best >= peak - 1e-6) & (best > 0.05))[0]
    at = np.sort(at[np.argsort(-best[at])[:_ENDS]])
    return [Line(float(k), float(slope[k]), float(best[k])) for k in at]


def _list_sides(
    ends: list[Line], long: tuple[Line, Line], width: int, open_ends: tuple[bool, bool]
) -> tuple[list[Line], list[Line]]:
    """What may be the left end and the right end; where the board runs out of the picture, its rim."""
    lean = -(long[0].slope + long[1].slope) / 2
    inset = abs(lean) * (long[1].at - long[0].at) / 2 + 1
    rims = [Line(inset, lean, _RIM_EVIDENCE)], [Line(width - 1 - inset, lean, _RIM_EVIDENCE)]
    return (rims[0] if open_ends[0] else ends), (rims[1] if open_ends[1] else ends)


def _close_quads(
    long: tuple[Line, Line],
    ends: tuple[list[Line], list[Line]],
    *,
    outline_mm: Floats,
    size: tuple[int, int],
    is_open: bool,
) -> list[tuple[float, Floats]]:
    """All outlines between two long lines that have the right shape, with their first scores."""
    found = []
    for right in ends[1]:
        for left in ends[0]:
            if right.at - left.at < _LEAST_FILL * size[0]:
                continue
            corners = np.array([_meet(line, end, long, size[0]) for line, end in _round(long, left, right)])
            stretch, skew = judge_shape(outline_mm, corners, size)
            if is_open and SHOWN[0] < stretch < SHOWN[1]:
                stretch = 0.0  # how much of it is seen, nobody knows well
            if abs(stretch) > _STRETCH or skew > _SKEW_DEG:
                continue
            seen = np.array([long[0].evidence, long[1].evidence, left.evidence, right.evidence])
            score = float(np.log1p(seen).sum() + 2 * np.log1p(seen.min()))
            found.append((score - 0.15 * (stretch / 0.03) ** 2 - 0.15 * (skew / 4) ** 2, corners))
    return found


def _round(long: tuple[Line, Line], left: Line, right: Line) -> tuple[tuple[Line, Line], ...]:
    return (long[0], left), (long[0], right), (long[1], right), (long[1], left)


def _meet(line: Line, end: Line, long: tuple[Line, Line], width: int) -> tuple[float, float]:
    half = width / 2
    middle = sum(one.at + one.slope * (end.at - half) for one in long) / 2
    x = (end.at + end.slope * (line.at - line.slope * half - middle)) / (1 - end.slope * line.slope)
    return x, line.at + line.slope * (x - half)


def _judge(fields: tuple[Floats, Floats], frame: tuple[Floats, tuple[bool, bool]], score: float, scale: float) -> Quad:
    """Look along all four edges of one outline, close by and a little further off; fibres count at the ends."""
    corners, (left_open, right_open) = frame
    evidence, support, fars = np.full(4, _RIM_EVIDENCE), np.ones(4), np.full(4, _RIM_EVIDENCE)
    for i in range(4):
        if (i == 1 and right_open) or (i == 3 and left_open):
            continue
        profiles, off = _look_across(fields[i % 2], corners[i], corners[(i + 1) % 4])
        close = profiles[:, (off >= 1) & (off <= 4)].mean(axis=1) - profiles[:, (off <= -1) & (off >= -4)].mean(axis=1)
        wide = profiles[:, (off >= 4) & (off <= 11)].mean(axis=1) - profiles[:, (off <= -4) & (off >= -11)].mean(axis=1)
        near, far = (float(_evidence(d.mean(axis=0), d.std(axis=0))) for d in (close, wide))
        mean = close.mean(axis=0)
        evidence[i], fars[i] = min(near, far), far
        support[i] = float(((close @ mean) > 0.35 * float(mean @ mean)).mean())
    far_total = float(np.log1p(fars).sum() + 2 * np.log1p(fars.min()))
    total = score + far_total + 4 * float(np.log(np.maximum(support, 0.05)).sum())
    return Quad(corners * scale, total, evidence, support, scale)


def _look_across(lab: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Profiles across a line, 64 blocks along it, inside positive."""
    t = np.linspace(0.03, 0.97, 256)[:, None]
    along = (end - start) / np.linalg.norm(end - start)
    off = np.arange(-12, 13)
    places = (start + (end - start) * t)[:, None, :] + np.array([-along[1], along[0]]) * off[None, :, None] - 0.5
    seen = cv2.remap(
        lab,
        places[..., 0].astype(np.float32),
        places[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(seen.reshape(64, 4, off.size, lab.shape[2]).mean(axis=1), float), off.astype(float)
