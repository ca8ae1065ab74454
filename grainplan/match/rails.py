"""How the grain runs on across a rail: the end of the lower panel against the foot of the upper one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from grainplan.errors import NotFound
from grainplan.match.bands import EdgeBand, EvenSurface, clip_band, cut_end
from grainplan.match.edges import EdgeRun, EdgeScore, EdgeSearch, Strangers, compare_edges
from grainplan.match.ends import END_BAND_MM

ALONG_MM = 6.0
ACROSS_MM = 6.0
ALONG_STEP_MM = 0.5


@dataclass(frozen=True, slots=True)
class RailCut:
    """Where two strips of a bay end at a rail, board frame.

    Attributes
    ----------
    foot_side_mm, head_side_mm : x of the end of the strip toward the foot, and of the one toward the head.
    hidden_mm : what the rail hides between the two sight lines.
    grain_deg : grain to the length, positive toward larger y.
    """

    foot_side_mm: float
    head_side_mm: float
    hidden_mm: float
    grain_deg: float = 0.0


def score_run_on(
    foot_side: EvenSurface,
    head_side: EvenSurface,
    cut: RailCut,
    *,
    y_mm: tuple[float, float],
    strangers: Strangers | None = None,
) -> EdgeScore | NotFound:
    """Whether grain lines run on behind the rail.

    Parameters
    ----------
    foot_side, head_side : EvenSurface
        The surfaces that show: one and the same where a bay takes upper and lower from one leaf.
    cut : RailCut
    y_mm : (float, float)
        The strip, across the board.
    strangers : Strangers, optional
        The same for ends that do not belong together.

    Returns
    -------
    EdgeScore or NotFound
        `step_mm` is how far a line, drawn on straight behind the rail, misses its other half.

    Notes
    -----
    The last 20 mm on one side lie on the first 20 mm of the other, moved across the board by what grain at `grain_deg`
    gains on that way, and a search of ±6 mm about it. Where the leaf loses as much as the rail hides, the step is how
    far the lines really bend; where it does not, the jump that this makes comes on top.
    """
    try:
        first = clip_band(cut_end(foot_side, cut.foot_side_mm, toward=-1, outward=False, band_mm=END_BAND_MM), *y_mm)
        second = clip_band(cut_end(head_side, cut.head_side_mm, toward=1, band_mm=END_BAND_MM), *y_mm)
    except ValueError as reason:
        return NotFound(str(reason))
    slope = math.tan(math.radians(cut.grain_deg))
    band = min(len(first.figure), len(second.figure)) / first.px_per_mm
    gained = (cut.head_side_mm - cut.foot_side_mm + band) * slope
    search = search_end(middle_mm=gained)
    return _score(first, second, (search, (cut.hidden_mm + band) * slope), strangers)


def score_end_match(
    surfaces: tuple[EvenSurface, EvenSurface],
    ends_mm: tuple[float, float],
    *,
    y_mm: tuple[float, float],
    reach_mm: float = ALONG_MM,
    strangers: Strangers | None = None,
) -> EdgeScore | NotFound:
    """Whether two leaves mirror each other across the end: an end match, the upper leaf with its foot up.

    Parameters
    ----------
    surfaces : (EvenSurface, EvenSurface)
        Below and above the rail.
    ends_mm : (float, float)
        x of the end of each that stands at the rail; the wood of both lies toward the foot of the board.
    y_mm : (float, float)
        The strip, across the board.
    reach_mm : float
        How far ring lines may have moved sideways, from `match.edges.reach_across`.
    strangers : Strangers, optional
        The same for ends that do not belong together.
    """
    try:
        first, second = (
            clip_band(cut_end(surface, end, toward=-1, band_mm=END_BAND_MM), *y_mm)
            for surface, end in zip(surfaces, ends_mm, strict=True)
        )
    except ValueError as reason:
        return NotFound(str(reason))
    search = search_end(reach_mm=reach_mm)
    return _score(first, second, (search, 0.0), strangers)


def search_end(*, reach_mm: float = ALONG_MM, middle_mm: float = 0.0) -> EdgeSearch:
    """How far the end of one strip is moved against that of the other: at least 6 mm along it, about `middle_mm`."""
    reach = max(ALONG_MM, reach_mm)
    return EdgeSearch(ACROSS_MM, reach, middle_along_mm=middle_mm, along_step_mm=ALONG_STEP_MM)


def _score(
    first: EdgeBand, second: EdgeBand, sought: tuple[EdgeSearch, float], strangers: Strangers | None
) -> EdgeScore | NotFound:
    """The score of two ends; lines meet where they are `expected` apart along the end."""
    search, expected = sought
    if min(first.figure.shape[1], second.figure.shape[1]) <= abs(search.middle_along_mm) * first.px_per_mm:
        return NotFound("the grain leaves the strip before it comes out on the other side of the rail")
    run = compare_edges(first, second, search)
    scored = run.score(float(run.x_mm[0]) - 1, float(run.x_mm[-1]) + 1, strangers=strangers)
    if isinstance(scored, NotFound):
        return scored
    return EdgeScore(
        scored.fit,
        scored.fit_doubt,
        _mean_miss(run, expected),
        scored.step_along_mm,
        scored.tone_de,
        scored.strangers,
        scored.caveats,
    )


def _mean_miss(run: EdgeRun, expected_mm: float) -> float:
    return float(np.average(np.abs(run.along_mm - expected_mm), weights=run.texture + 1e-9))
