"""What a fit is worth that was measured on predicted surfaces: the fit that the real ones are expected to reach.

Two surfaces that one model predicts agree with each other better than wood does: they have the same rings and no
fibres. On drawn boards predicted mates fit by 0.91 where the real ones fit by 0.58, on boards that are foretold poorly
as on boards that are foretold well. What a predicted fit says is, nearly, the fit times the trust in both pictures;
the rest is what two cuts so far apart have in common anyhow. So the fit is pulled to its expected true value before
anybody compares it or sees it. The step needs no such pull: 2.2 and 2.7 mm where 2.3 and 2.6 were true.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from grainplan.match.bands import BAND_MM
from grainplan.match.edges import EdgeRun, Strangers
from grainplan.match.ends import Ends
from grainplan.match.surfaces import LeafSurface

Floats = NDArray[np.float64]

FOUND, FOUND_SURER = 0.29, 0.42
"""What a found fit counts for a part of trust, and how much more of it where the trust is great. They and the three
below are one least-squares fit to the true fit of 18000 stretches of 100 mm on 61 drawn boards that no test and no
table uses: mates 2 to 6 mm apart, slips, seams 16 mm apart; one surface predicted, or both. They explain 0.59 of the
variance of the true fit, the found fit alone 0.30, all without it 0.43; terms for the kind of seam and for the ring
angle would explain no more."""
COMMON = 0.335
"""Of the fit 0.32; with it, seams at the 2 px/mm of a finished plan were told 0.04 too low on 60 more boards, at the
1 px/mm of the choice 0.02."""
PER_LOG_GAP = -0.097
"""For each time that the gap grows e-fold: fibres and waves that no model follows."""
PER_REACH_MM = 0.0044
"""A wider search finds more, among strangers too."""
STRANGERS, STRANGERS_PER_MM = 0.14, 0.0055
"""What edges that do not belong together reach under a search of 6 to 30 mm, on photos of 48 of these boards; no seam
of one board is expected to do worse."""
STRANGERS_SPREAD = 0.04
LEAST_GAP_MM = 1.0
UNSEEN, UNSEEN_PER_LOG_GAP = 0.67, -0.08
"""The mean true fit of these seams by their gap alone; that explains 0.10 of the variance."""
MIRROR_COMMON, MIRROR_FOUND, MIRROR_SURER = 0.09, 1.04, -0.36
"""The same fit for two leaves that mirror each other across a rail, on 4800 places along these boards."""
RUN_ON_COMMON, RUN_ON_FOUND, RUN_ON_SURER = 0.04, 1.29, -0.56
RUN_ON_NEAR, RUN_ON_NEAR_MM = 0.27, 20.0
"""And where a leaf runs on behind a rail (13000 places): close together even fibres run on."""


def trust_along(found: LeafSurface, edge_mm: float, x_mm: Floats, *, toward: int) -> Floats:
    """How far a surface is to be trusted beside an edge, at places along it: 1 for a photo.

    Parameters
    ----------
    found : LeafSurface
    edge_mm : float
        y of the edge, board frame.
    x_mm : float64, shape (n,)
    toward : {1, -1}
        Toward which y the strip lies.

    Returns
    -------
    float64, shape (n,)
        Agreement with the true surface to be expected, 0 to 1.
    """
    if found.seen != "inside" or found.picture is None:
        return np.ones(len(x_mm))
    if found.sure is None:
        return np.full(len(x_mm), found.confidence)
    rows, columns = found.sure.shape
    y = np.linspace(0.0, found.picture.height_mm, rows)
    low, high = sorted((edge_mm, edge_mm + toward * BAND_MM))
    weight = np.maximum(1.0 - np.maximum(np.maximum(low - y, y - high), 0.0) / (y[1] - y[0] if rows > 1 else 1.0), 0.0)
    along = np.average(found.sure, axis=0, weights=weight + 1e-9)
    return np.asarray(np.interp(x_mm, np.linspace(0.0, found.picture.width_mm, columns), along), np.float64)


def expect_fit(fit: Floats, trust: Floats, *, gap_mm: float, reach_mm: float) -> Floats:
    """The fit that real surfaces are expected to reach, from what predicted ones do.

    Parameters
    ----------
    fit : float64
        As it was found, -1 to 1.
    trust : float64
        The geometric mean of the trust in both surfaces, 0 to 1.
    gap_mm : float
        How far apart both lay in the board.
    reach_mm : float
        How far was searched across the seam.

    Returns
    -------
    float64
        Never less for a better fit, a surer prediction or a smaller gap.
    """
    gap = np.log(max(gap_mm, LEAST_GAP_MM))
    found = fit * trust * (FOUND + FOUND_SURER * trust)
    told = COMMON + found + PER_LOG_GAP * gap + PER_REACH_MM * reach_mm
    return np.asarray(np.clip(told, STRANGERS + STRANGERS_PER_MM * reach_mm, 1.0), np.float64)


def expect_unseen_fit(gap_mm: float | None) -> float:
    """The fit of a seam of which nothing is known but how far its surfaces lay apart in the board."""
    return UNSEEN + UNSEEN_PER_LOG_GAP * float(np.log(max(gap_mm or LEAST_GAP_MM, LEAST_GAP_MM)))


def expect_end_fit(fit: Floats | np.float64, trust: float, ends: Ends) -> Floats:
    """As :func:`expect_fit`, for ends that meet at a rail."""
    if ends.mirrored:
        told = MIRROR_COMMON + fit * trust * (MIRROR_FOUND + MIRROR_SURER * trust)
    else:
        near = RUN_ON_NEAR * np.exp(-ends.apart_mm / RUN_ON_NEAR_MM)
        told = RUN_ON_COMMON + near + fit * trust * (RUN_ON_FOUND + RUN_ON_SURER * trust)
    return np.asarray(np.clip(told, -1.0, 1.0), np.float64)


def expect_strangers(reach_mm: float) -> Strangers:
    """What strangers reach, where the job has no photo yet of a surface to measure it on."""
    return Strangers(STRANGERS + STRANGERS_PER_MM * reach_mm, STRANGERS_SPREAD, 0)


def temper_run(run: EdgeRun, trusts: tuple[Floats, Floats], *, gap_mm: float, reach_mm: float) -> EdgeRun:
    """A seam whose fit is the one to be expected of the real surfaces; unchanged where both are photographed.

    Parameters
    ----------
    run : EdgeRun
        As it was found.
    trusts : (float64, float64), each of shape (windows,)
        From :func:`trust_along`, for both surfaces.
    gap_mm, reach_mm : float
        As for :func:`expect_fit`; how far was searched where no rings were followed.
    """
    trust = np.sqrt(trusts[0] * trusts[1])
    if np.all(trust >= 1.0):
        return run
    return replace(run, fit=expect_fit(run.fit, trust, gap_mm=gap_mm, reach_mm=reach_mm))
