"""How the grain runs on across a rail: the end of the lower panel against the foot of the upper one, at one place."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from grainplan.errors import NotFound
from grainplan.match.bands import EvenSurface, cut_end
from grainplan.match.colour import differ_ciede2000
from grainplan.match.edges import LITTLE_TEXTURE, ONE_WINDOW, SHORT_MM, EdgeScore, Strangers
from grainplan.match.ends import (
    END_BAND_MM,
    PLACE_STEP_MM,
    REACH_MM,
    STRIDES,
    EndRuns,
    Ends,
    compare_ends,
    draw_lines,
)

BESIDE_MM = 60.0
"""How far beyond the two ends of one place the wood is looked at: more than lines of 20 mm need."""


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

    @property
    def ends(self) -> Ends:
        """What is compared, wherever along the board."""
        return Ends(round(self.head_side_mm - self.foot_side_mm, 1), grain_deg=self.grain_deg, hidden_mm=self.hidden_mm)


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
    The lines of the last 20 mm on one side lie on those of the first 20 mm of the other, moved across the board by what
    grain at `grain_deg` gains on that way, and a search of ±6 mm about it. Where the leaf loses as much as the rail
    hides, the step is how far the lines really bend; where it does not, the jump that this makes comes on top.
    """
    slope = abs(math.tan(math.radians(cut.grain_deg)))
    if y_mm[1] - y_mm[0] <= (abs(cut.head_side_mm - cut.foot_side_mm) + END_BAND_MM) * slope:
        return NotFound("the grain leaves the strip before it comes out on the other side of the rail")
    run = _compare(foot_side, head_side, cut.ends, at_mm=cut.foot_side_mm)
    tone = _compare_colours((foot_side, cut.foot_side_mm, -1), (head_side, cut.head_side_mm, 1), y_mm)
    return score_ends(run, cut.foot_side_mm, y_mm=y_mm, tone=tone, strangers=strangers)


def score_end_match(
    surfaces: tuple[EvenSurface, EvenSurface],
    ends_mm: tuple[float, float],
    *,
    y_mm: tuple[float, float],
    reach_mm: float = REACH_MM,
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
    ends = Ends(round(ends_mm[1] - ends_mm[0], 1), mirrored=True, reach_mm=reach_mm)
    run = _compare(*surfaces, ends, at_mm=ends_mm[0])
    tone = _compare_colours((surfaces[0], ends_mm[0], -1), (surfaces[1], ends_mm[1], -1), y_mm)
    return score_ends(run, ends_mm[0], y_mm=y_mm, tone=tone, strangers=strangers)


def score_ends(
    run: EndRuns | None, at_mm: float, *, y_mm: tuple[float, float], tone: float, strangers: Strangers | None = None
) -> EdgeScore | NotFound:
    """The score of one place of `run`, with its doubt and what the maker should know beside it."""
    if run is None:
        return NotFound("the wood beside the rail is too short or too narrow to compare")
    place, inside = run.find(at_mm, y_mm)
    if place is None:
        return NotFound(f"less than {END_BAND_MM:.0f} mm of wood lie beside an end at {at_mm:.0f} mm")
    fit, weight, move = (values[place, inside] for values in (run.fit, run.weight, run.move_mm))
    mean = float(np.average(fit, weights=weight))
    deviation = math.sqrt(float(np.average((fit - mean) ** 2, weights=weight)))
    caveats = []
    if float(weight.mean()) < LITTLE_TEXTURE / 2:  # the mean along the grain has lost half of the figure
        caveats.append("plain wood with little figure: the fit says little here, the tone says more")
    if y_mm[1] - y_mm[0] < SHORT_MM / 2:
        caveats.append("a narrow strip: the fit rests on few lines")
    if strangers is not None and mean < strangers.level + strangers.spread:
        caveats.append("no better than ends that do not belong together")
    return EdgeScore(
        mean,
        2.0 * max(deviation, ONE_WINDOW) / math.sqrt(max(1.0, inside.sum() / STRIDES)),
        float(np.average(np.abs(move), weights=weight)),
        float(np.average(move, weights=weight)),
        tone,
        None if strangers is None else strangers.level,
        tuple(caveats),
    )


def _compare(first: EvenSurface, second: EvenSurface, ends: Ends, *, at_mm: float) -> EndRuns | None:
    """One place and those beside it, on no more of the wood than that takes."""
    far = sorted((at_mm, at_mm + ends.apart_mm))
    low = max(0.0, math.floor((far[0] - BESIDE_MM) / PLACE_STEP_MM) * PLACE_STEP_MM)
    columns = slice(round(low * first.px_per_mm), round((far[1] + BESIDE_MM) * first.px_per_mm))
    here, there = (
        draw_lines(replace(surface, figure=np.ascontiguousarray(surface.figure[:, columns])), ends.grain_deg)
        for surface in (first, second)
    )
    run = compare_ends(here, there, ends, px_per_mm=first.px_per_mm)
    return None if run is None else replace(run, at_mm=run.at_mm + low)


def _compare_colours(
    first: tuple[EvenSurface, float, int], second: tuple[EvenSurface, float, int], y_mm: tuple[float, float]
) -> float:
    """CIEDE2000 of the mean colours beside the two ends; nan where less than 10 mm of wood lie there."""
    colours = []
    for surface, end, toward in (first, second):
        try:
            along = cut_end(surface, end, toward=toward, band_mm=END_BAND_MM).lab_along
        except ValueError:
            return math.nan
        low, high = (int(y * surface.px_per_mm) for y in y_mm)
        colours.append(along[max(0, low) : max(high, 1)].mean(axis=0))
    return float(differ_ciede2000(*colours))
