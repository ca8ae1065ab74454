"""One edge of a board in a photo, to a fraction of a pixel: where the tone steps along a nearly straight line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from grainplan.geometry import Floats
from grainplan.picture import Pixels

_SAMPLES = 384
_BLOCKS = 48  # samples are averaged in blocks: wood and floor have texture, an edge runs on
_ENDS_LEFT_OUT = 0.025  # of the length: at the corners the other edge's tones come in
_RANGE_PX = 8.0
_OTHER_STEP = 0.35  # of the step that was found
_LARGEST_TURN = 0.05  # of an edge's length, between where it is expected and where it is: 3 degrees
_SEEN = 0.35  # of the mean step, for a block that counts as seen


@dataclass(frozen=True, slots=True)
class Seek:
    """Where an edge is expected: off the line by `curve`, within `reach_px`, its end turned by `turn_px` at most."""

    curve: tuple[float, float, float]
    reach_px: float
    turn_px: float


@dataclass(frozen=True, slots=True)
class Edge:
    """A line that bows a little: ``offset(t) = c0 + c1 t + c2 t²`` square to the chord, t from -1 to 1 along it.

    Parameters
    ----------
    start, end : ndarray, shape (2,)
        Ends of the chord, px.
    curve : (c0, c1, c2)
        Offsets, px, positive to the right of the way from start to end (into a board whose corners turn clockwise).
    spread_px : float
        Robust deviation of the blocks from the curve.
    step : float
        Tone step across the edge, CIE Lab units.
    support : float
        Share of the blocks that show the step, 0 to 1.
    """

    start: Floats
    end: Floats
    curve: tuple[float, float, float]
    spread_px: float
    step: float
    support: float

    @property
    def direction(self) -> Floats:
        """Unit vector along the chord."""
        return np.asarray((self.end - self.start) / np.linalg.norm(self.end - self.start), float)

    @property
    def bow_px(self) -> float:
        """How far the middle stands off the chord between the curve's ends, px."""
        return -self.curve[2]

    def point_at(self, t: float) -> Floats:
        """The place at t, -1 at the start and 1 at the end."""
        d = self.direction
        c0, c1, c2 = self.curve
        middle, half = (self.start + self.end) / 2, float(np.linalg.norm(self.end - self.start)) / 2
        return np.asarray(middle + d * half * t + np.array([-d[1], d[0]]) * (c0 + c1 * t + c2 * t * t), float)


def meet_edges(one: Edge, other: Edge) -> Floats:
    """Where two edges meet near the end of the first and the start of the second, px."""
    t, u = 1.0, -1.0
    for _ in range(4):
        p, q = one.point_at(t), other.point_at(u)
        dp, dq = (one.point_at(t + 1e-3) - p) / 1e-3, (other.point_at(u + 1e-3) - q) / 1e-3
        move = np.linalg.solve(np.column_stack([dp, -dq]), q - p)
        t, u = t + float(move[0]), u + float(move[1])
    return one.point_at(t)


def sample_across(pixels: Pixels, start: Floats, end: Floats, *, reach_px: float) -> tuple[Floats, Floats]:
    """Profiles across a line, averaged in blocks along it.

    Returns
    -------
    profiles : ndarray, shape (blocks, offsets, 3)
        CIE Lab.
    offsets : ndarray
        px, positive to the right of the way from start to end.
    """
    t = np.linspace(_ENDS_LEFT_OUT, 1 - _ENDS_LEFT_OUT, _SAMPLES)[:, None]
    along = end - start
    normal = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    offsets = np.arange(-math.ceil(reach_px), math.ceil(reach_px) + 1)
    places = ((start + along * t)[:, None, :] + normal * offsets[None, :, None] - 0.5).astype(np.float32)
    seen = cv2.remap(pixels, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab = cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_RGB2Lab)
    return lab.reshape(_BLOCKS, _SAMPLES // _BLOCKS, offsets.size, 3).mean(axis=1), offsets.astype(float)


def look_along(pixels: Pixels, edge: Edge, *, blocks: int, span_px: tuple[int, int]) -> Floats:
    """Profiles across an edge along its curve, from one end to the other, shape (blocks, offsets, 3), CIE Lab.

    Parameters
    ----------
    pixels : ndarray of uint8
    edge : Edge
        From corner to corner.
    blocks : int
        Stretches of the edge; each profile is their mean.
    span_px : (int, int)
        First and last offset, positive inward.
    """
    each = 4
    t = (2 * (np.arange(blocks * each) + 0.5) / (blocks * each) - 1)[:, None]
    d, (c0, c1, c2) = edge.direction, edge.curve
    half = float(np.linalg.norm(edge.end - edge.start)) / 2
    offsets = np.arange(span_px[0], span_px[1] + 1)
    places = ((edge.start + edge.end) / 2 + d * half * t)[:, None, :]
    places = places + np.array([-d[1], d[0]]) * (offsets[None, :] + c0 + c1 * t + c2 * t * t)[..., None] - 0.5
    at = places.astype(np.float32)
    seen = cv2.remap(pixels, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    lab = cv2.cvtColor(seen.astype(np.float32) / 255, cv2.COLOR_RGB2Lab)
    return np.asarray(lab.reshape(blocks, each, offsets.size, 3).mean(axis=1), float)


def fit_edge(
    pixels: Pixels, start: Floats, end: Floats, *, reach_px: float, curve: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> Edge:
    """Fit an edge near a line.

    Parameters
    ----------
    pixels : ndarray of uint8
    start, end : ndarray
        Ends of the line, px from the first pixel's corner.
    reach_px : float
        How far off the curve the edge is sought.
    curve : (c0, c1, c2)
        Where it is expected, off the line.
    """
    margin = _RANGE_PX + reach_px + float(np.abs(curve).sum())
    profiles, offsets = sample_across(pixels, start, end, reach_px=margin)
    t = np.linspace(-1 + 2 * _ENDS_LEFT_OUT, 1 - 2 * _ENDS_LEFT_OUT, 2 * _BLOCKS + 1)[1::2]
    limit = _LARGEST_TURN * float(np.linalg.norm(end - start)) / 2
    expected = Seek(curve, reach_px, limit)
    c0, c1, c2 = _find_line(profiles, offsets, t, expected)
    window = min(3.0, reach_px)  # px of tone on each side; a narrow one beside another edge
    for reach in (min(reach_px, 4.0), min(reach_px, 3.0), min(reach_px, 3.0)):
        straight = _follow(profiles, offsets, c0 + c1 * t + c2 * t * t, reach + 2 * window)
        slope = _slope_toward_inside(straight, window)
        places = np.arange(slope.shape[1]) - (slope.shape[1] - 1) / 2
        at, height = _find_peaks(slope, places, reach)
        c0, c1, c2, spread = _fit_curve(t, at + c0 + c1 * t + c2 * t * t, height)
    straight = _follow(profiles, offsets, c0 + c1 * t + c2 * t * t, _RANGE_PX)
    middle = straight.shape[1] // 2
    jump = straight[:, middle + 2 : middle + 6].mean(axis=1) - straight[:, middle - 5 : middle - 1].mean(axis=1)
    mean = jump.mean(axis=0)
    seen = float(((jump @ mean) > _SEEN * float(mean @ mean)).mean())
    return Edge(start, end, (c0, c1, c2), spread, float(np.linalg.norm(mean)), seen)


def list_steps_inside(pixels: Pixels, edge: Edge, *, reach_px: float) -> list[float]:
    """Offsets (px, inward) of other lines that run along an edge on its inner side, the innermost first."""
    margin = reach_px + _RANGE_PX + float(np.abs(edge.curve).sum())
    profiles, offsets = sample_across(pixels, edge.start, edge.end, reach_px=margin)
    t = np.linspace(-1 + 2 * _ENDS_LEFT_OUT, 1 - 2 * _ENDS_LEFT_OUT, 2 * _BLOCKS + 1)[1::2]
    c0, c1, c2 = edge.curve
    line = _follow(profiles, offsets, c0 + c1 * t + c2 * t * t, reach_px + 3).mean(axis=0)
    slope = np.linalg.norm(cv2.GaussianBlur(np.gradient(line, axis=0), (1, 7), sigmaX=1.2), axis=1)
    middle = (len(slope) - 1) // 2
    least = _OTHER_STEP * float(slope[middle - 2 : middle + 3].max())
    inner = range(middle + 2, len(slope) - 3)
    peaks = [i for i in inner if slope[i - 1] <= slope[i] > slope[i + 1] and slope[i] > least]
    return [float(i - middle) for i in reversed(peaks)]


def _find_line(profiles: Floats, offsets: Floats, t: Floats, seek: Seek) -> tuple[float, float, float]:
    """The line or slight bow along which the tone steps add up best, the whole length at once."""
    curve, reach, turn_limit = seek.curve, seek.reach_px, seek.turn_px
    slope = cv2.GaussianBlur(np.gradient(profiles, axis=1).reshape(len(profiles), -1, 3), (9, 1), sigmaX=1.5)
    # No block may decide alone: a nail or a dark knot is cut down to what the others show.
    size = np.linalg.norm(slope, axis=2, keepdims=True)
    slope = slope * np.minimum(1.0, 3.0 * np.median(size.max(axis=1)) / np.maximum(size, 1e-6))
    best, found = -1.0, curve
    most = math.floor(min(reach - 2.0, max(2.0, turn_limit))) if reach > 3 else 0
    turns = np.arange(-most, most + 1)
    # What lies near the expected place is a little more likely than what lies far off.
    near = 1.0 - 0.25 * (np.arange(-math.ceil(reach), math.ceil(reach) + 1) / reach) ** 2
    for bow in (0.0, -2.0, 2.0, -4.0, 4.0):
        for turn in turns:
            c1, c2 = curve[1] + turn, curve[2] + bow
            line = _follow(slope, offsets, curve[0] + c1 * t + c2 * t * t, reach).mean(axis=0)
            height = np.linalg.norm(line, axis=1) * (1.0 - 0.03 * abs(bow)) * near
            i = int(height.argmax())
            if height[i] > best:
                best, found = float(height[i]), (curve[0] + i - (len(height) - 1) / 2, float(c1), float(c2))
    return found


def _follow(profiles: Floats, offsets: Floats, centre: Floats, reach: float) -> Floats:
    """Profiles moved so that the expected curve stands in the middle."""
    places = np.arange(-math.ceil(reach), math.ceil(reach) + 1, dtype=np.float32)
    columns = (centre[:, None] + places[None, :] - offsets[0]).astype(np.float32)
    rows = np.repeat(np.arange(len(profiles), dtype=np.float32)[:, None], len(places), axis=1)
    return np.asarray(
        cv2.remap(profiles.astype(np.float32), columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), float
    )


def _slope_toward_inside(straight: Floats, window: float) -> Floats:
    """Derivative across the edge, along the colour direction in which the inside differs from the outside."""
    middle = straight.shape[1] // 2
    w = round(window)
    mean = straight.mean(axis=0)
    toward = mean[middle + 1 : middle + 1 + 2 * w].mean(axis=0) - mean[middle - 2 * w : middle].mean(axis=0)
    tone = straight @ (toward / max(float(np.linalg.norm(toward)), 1e-6))
    smooth = cv2.GaussianBlur(tone.astype(np.float32), (0, 0), sigmaX=1.2, sigmaY=0.8)
    return np.asarray(np.gradient(smooth, axis=1), float)


def _find_peaks(slope: Floats, places: Floats, reach: float) -> tuple[Floats, Floats]:
    """The steepest place of each block's profile, and how steep it is."""
    inside = np.where(np.abs(places) <= reach, slope, -np.inf)
    i = np.clip(inside.argmax(axis=1), 1, slope.shape[1] - 2)
    rows = np.arange(len(slope))
    before, here, after = slope[rows, i - 1], slope[rows, i], slope[rows, i + 1]
    bend = before - 2 * here + after
    off = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    return places[i] + np.clip(off, -1, 1), np.maximum(here, 0.0)


def _fit_curve(t: Floats, at: Floats, height: Floats) -> tuple[float, float, float, float]:
    """Robust parabola through the blocks, the steep ones counting more."""
    base = np.column_stack([np.ones_like(t), t, t * t])
    weight = np.minimum(height / max(float(np.median(height)), 1e-9), 1.5) + 1e-3
    keep = weight.copy()
    found = np.array([np.median(at), 0.0, 0.0])
    spread = 1.0
    for _ in range(12):
        off = at - base @ found
        spread = max(0.15, 1.4826 * float(np.median(np.abs(off))))
        keep = weight / (1 + (off / (2 * spread)) ** 2) ** 2
        left = base.T * keep
        found = np.linalg.solve(left @ base + np.diag([0, 0, 0.02]), left @ at)
    return float(found[0]), float(found[1]), float(found[2]), spread
