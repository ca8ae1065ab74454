"""A long side from several overlapping photos, joined in the board frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.photos.align import ALIGN_PX_PER_MM, Part, align_parts
from grainplan.photos.corners import View
from grainplan.photos.light import scale_colours
from grainplan.photos.resample import Area, flatten_photo
from grainplan.picture import Pixels

_SEARCH_MM = 25.0
_SHORTEST_OVERLAP_MM = 60.0
_BLEND_MM = 40.0
_LEAST_FIT = 0.35
_FLAT_PEAK = 0.01  # straight plain grain looks alike all along: the fit hardly falls where it is moved
_PROBE_MM = 4.0
JOIN_TOLD_MM = 2.0
_DOUBT_TOLD_MM = 1.0


@dataclass(frozen=True, slots=True)
class Step:
    """How far the wood in the next photo lies from where the one before has it, mm; `fit` is the correlation there.

    `along_mm` is None where straight grain tells nothing along the board.
    """

    along_mm: float | None
    across_mm: float
    fit: float


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """A side made of several photos.

    Parameters
    ----------
    pixels : ndarray of uint8
    parts : tuple of Part
        As they lie in it.
    steps : tuple of Step or NotFound
        How the typed marks made neighbours meet.
    doubt_mm : float
        The farthest that a place may be off, 19 times in 20.
    caveats : tuple of str
    """

    pixels: Pixels
    parts: tuple[Part, ...]
    steps: tuple[Step | NotFound, ...]
    doubt_mm: float
    caveats: tuple[str, ...]


def join_parts(parts: tuple[Part, ...], area: Area) -> Joined:
    """Flatten the parts, move each so that the wood runs on, even their colours, and blend them.

    The two ends of the board stay where the tape has them. A step at a join is first shared by the two photos, fading
    out toward their other ends; then marks and lens are fitted until the wood of every overlap lies on itself.

    Parameters
    ----------
    parts : tuple of Part
        From foot to head; each overlaps the next.
    area : Area
        The whole side.
    """
    flat = [flatten_part(part, area) for part in parts]
    steps = tuple(measure_step(flat[i], flat[i + 1], area.px_per_mm) for i in range(len(parts) - 1))
    overlaps = tuple(
        None if isinstance(step, NotFound) else _cut_overlap(one, other, area)
        for step, (one, other) in zip(steps, pairwise(parts), strict=True)
    )
    aligned = align_parts(tuple(_share_steps(parts, steps)), parts, overlaps)
    flat = [flatten_part(part, area) for part in aligned.parts]
    doubt = max(aligned.doubts_mm)
    pixels = _blend(flat, area, _even_parts(flat, tuple(p.true_colour for p in parts)))
    return Joined(pixels, aligned.parts, steps, doubt, (*_tell_steps(parts, steps), *_tell_doubt(doubt)))


def _cut_overlap(one: Part, other: Part, whole: Area) -> Area:
    """What two parts both show, as coarsely as they are brought together."""
    size = (one.end_mm - other.start_mm, whole.rows / whole.px_per_mm)
    return Area.of((other.start_mm, whole.y0_mm), size, min(whole.px_per_mm, ALIGN_PX_PER_MM))


def flatten_part(part: Part, area: Area) -> tuple[int, Pixels]:
    """First column in the whole side's picture, and the part's own pixels."""
    d = area.px_per_mm
    first, last = (int(np.clip(round(x * d), 0, area.columns)) for x in (part.start_mm, part.end_mm))
    own = Area(area.x0_mm + first / d, area.y0_mm, max(1, last - first), area.rows, d)
    return first, flatten_photo(part.photo, part.view, own)


def measure_step(
    left: tuple[int, Pixels], right: tuple[int, Pixels], px_per_mm: float, *, reach_mm: float = _SEARCH_MM
) -> Step | NotFound:
    """How far the wood of the right part lies from where the left part shows it, in the stretch that both show."""
    first, last = right[0], left[0] + left[1].shape[1]
    reach = round(reach_mm * px_per_mm)
    rows = left[1].shape[0]
    tall = max(2, min(reach, rows // 6))
    if last - first < max(2 * reach + 8, _SHORTEST_OVERLAP_MM * px_per_mm):
        return NotFound(
            f"they overlap by only {(last - first) / px_per_mm:.0f} mm; photograph them again with a third of each "
            "shown by the next, and write x for both"
        )
    one, other = (_details(p) for p in (left[1][:, first - left[0] :], right[1][:, : last - first]))
    inner = other[tall:-tall, reach:-reach]
    score = np.asarray(cv2.matchTemplate(one, inner, cv2.TM_CCOEFF_NORMED), np.float32)
    r, c = divmod(int(score.argmax()), score.shape[1])
    fit = float(score[r, c])
    if fit < _LEAST_FIT:
        return NotFound("the wood in the stretch that both show does not agree; see whether x and corners are right")
    probe = round(_PROBE_MM * px_per_mm)
    beside = [float(score[r, k]) for k in (c - probe, c + probe) if 0 <= k < score.shape[1]]
    known = fit - max(beside, default=-1.0) > _FLAT_PEAK
    along = reach - (c + _peak(score[r], c))
    across = tall - (r + _peak(score[:, c], r))
    return Step(along / px_per_mm if known else None, across / px_per_mm, fit)


def _details(pixels: Pixels) -> Floats:
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.8) - cv2.GaussianBlur(grey, (0, 0), 16.0))


def _peak(values: Floats, at: int) -> float:
    """Part of a pixel by which the peak of a parabola through three values lies off the middle one."""
    if not 0 < at < len(values) - 1:
        return 0.0
    before, here, after = (float(v) for v in values[at - 1 : at + 2])
    bend = before - 2 * here + after
    return 0.0 if bend >= 0 else 0.5 * (before - after) / bend


def _share_steps(parts: tuple[Part, ...], steps: tuple[Step | NotFound, ...]) -> list[Part]:
    halves = [(0.0, 0.0)]
    for step in steps:
        if isinstance(step, NotFound):
            halves.append((0.0, 0.0))
        else:
            halves.append((0.5 * (step.along_mm or 0.0), 0.5 * step.across_mm))
    halves.append((0.0, 0.0))
    moved = []
    for i, part in enumerate(parts):
        start, end = -np.array(halves[i]), np.array(halves[i + 1])
        outline = part.view.outline_mm + np.array([start, end, end, start])
        moved.append(replace(part, view=lay_anew(part.view, outline)))
    return moved


def lay_anew(view: View, outline_mm: Floats) -> View:
    """The same photo and the same corners, standing for other places on the board."""
    from_new = cv2.getPerspectiveTransform(outline_mm.astype(np.float32), view.outline_mm.astype(np.float32))
    return replace(view, to_photo=np.asarray(view.to_photo @ from_new, float), outline_mm=outline_mm)


def _blend(flat: list[tuple[int, Pixels]], area: Area, gains: list[Floats]) -> Pixels:
    """Even the parts' colours where they overlap, and let each fade into the next in the middle of the overlap."""
    whole = np.zeros((area.rows, area.columns, 3), np.uint8)
    for i, (first, part) in enumerate(flat):
        lit = scale_colours(part, np.exp(gains[i]).astype(np.float32)[None, None, :])
        if i == 0:
            whole[:, first : first + lit.shape[1]] = lit
            continue
        done = flat[i - 1][0] + flat[i - 1][1].shape[1]
        middle = (first + done) / 2
        ramp_px = min(_BLEND_MM * area.px_per_mm, max(2.0, done - first - 2.0))
        columns = np.arange(first, first + lit.shape[1])
        share = np.clip((columns + 0.5 - middle) / ramp_px + 0.5, 0.0, 1.0).astype(np.float32)[None, :, None]
        under = whole[:, first : first + lit.shape[1]].astype(np.float32)
        whole[:, first : first + lit.shape[1]] = np.rint(under * (1 - share) + lit * share)
    return whole


def _even_parts(flat: list[tuple[int, Pixels]], true_colours: tuple[bool, ...]) -> list[Floats]:
    """Logarithmic gains, one for each colour and part, that make neighbours agree; those of true parts stay near none.

    Where no part has a grey card, the mean of all is kept.
    """
    gains = [np.zeros(3)]
    for (first_a, a), (first_b, b) in pairwise(flat):
        last = first_a + a.shape[1]
        one, other = a[:, first_b - first_a :], b[:, : last - first_b]
        if one.shape[1] < 4 or other.shape[1] < 4:
            gains.append(gains[-1])
            continue
        small = (cv2.resize(p, (64, 32), interpolation=cv2.INTER_AREA).reshape(-1, 3) for p in (one, other))
        typical = [np.median(p, axis=0) for p in small]
        gains.append(gains[-1] + np.clip(np.log(typical[0] + 1.0) - np.log(typical[1] + 1.0), -0.7, 0.7))
    mean = np.mean([g for g, true in zip(gains, true_colours, strict=True) if true or not any(true_colours)], axis=0)
    return [np.asarray(g - mean, float) for g in gains]


def _tell_steps(parts: tuple[Part, ...], steps: tuple[Step | NotFound, ...]) -> tuple[str, ...]:
    told = []
    for i, step in enumerate(steps):
        which = f"photos {i + 1} and {i + 2}"
        if isinstance(step, NotFound):
            told.append(f"{which} could not be joined by their wood: {step.reason}")
            continue
        if step.along_mm is None:
            told.append(f"{which}: straight grain tells nothing along the board; they are joined by the typed x alone")
        off = float(np.hypot(step.along_mm or 0.0, step.across_mm))
        if off > JOIN_TOLD_MM:
            told.append(
                f"{which} did not meet by {off:.1f} mm between {parts[i + 1].start_mm:.0f} and {parts[i].end_mm:.0f} "
                "mm; they were moved until their wood met. Check the x and the corners of both"
            )
    return tuple(told)


def _tell_doubt(doubt_mm: float) -> tuple[str, ...]:
    if doubt_mm < _DOUBT_TOLD_MM:
        return ()
    return (
        f"joined from several photos: places between the ends may be up to {doubt_mm:.1f} mm off, for the marks there "
        "are known no better than tape and wood tell",
    )
