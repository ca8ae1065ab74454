"""A guess made better by damped least squares (Levenberg and Marquardt), robust to what does not belong to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from grainplan.wood.solid_grid import Reals

FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-2, 1e-5, 1e6
LEAST_GAIN = 1e-4
"""A step that betters the cost by a smaller part of it is the last."""


@dataclass(frozen=True, slots=True, eq=False)
class Misfit:
    """How far a guess is off, each value in units of its usual stray.

    Parameters
    ----------
    lines : float64, shape (n,)
        Of what was read; it counts as after Cauchy, so that what is far off pulls little.
    weight : float64, shape (n,)
    own : float64, shape (k,)
        Of the guess itself from what is ordinary; it counts in full.
    """

    lines: Reals
    weight: Reals
    own: Reals = field(default_factory=lambda: np.zeros(0))

    @property
    def cost(self) -> float:
        """What the guess costs."""
        return float(self.weight @ np.log1p(0.5 * self.lines * self.lines)) + 0.5 * float(self.own @ self.own)


def improve_guess(
    compare: Callable[[Reals], Misfit], start: Reals, *, steps: Reals, rounds: int = 40
) -> tuple[Reals, float]:
    """Better a guess step by step; slopes are taken by small steps.

    Parameters
    ----------
    compare : callable
        From a guess to its misfit.
    start : float64, shape (m,)
    steps : float64, shape (m,)
        How far each part of the guess is moved to take its slope.
    rounds : int
        The most steps.

    Returns
    -------
    (float64 of shape (m,), float)
        The guess and its cost.
    """
    guess, damping, here = start, FIRST_DAMPING, compare(start)
    for _ in range(rounds):
        moved = [compare(guess + step) for step in np.diag(steps)]
        slope = np.stack([(m.lines - here.lines) / step for m, step in zip(moved, steps, strict=True)], axis=1)
        slope_own = np.stack([(m.own - here.own) / step for m, step in zip(moved, steps, strict=True)], axis=1)
        keep = here.weight / (1.0 + 0.5 * here.lines * here.lines)
        information = (slope * keep[:, None]).T @ slope + slope_own.T @ slope_own
        pull = (slope * keep[:, None]).T @ here.lines + slope_own.T @ here.own
        held = information + damping * np.diag(np.diag(information)) + 1e-9 * np.eye(steps.size)
        trial = guess - np.linalg.solve(held, pull)
        there = compare(trial)
        if there.cost < here.cost:
            gain = (here.cost - there.cost) / max(here.cost, 1e-12)
            guess, here = trial, there
            damping = max(damping / 5.0, LEAST_DAMPING)
            if gain < LEAST_GAIN:
                break
        else:
            damping *= 8.0
            if damping > MOST_DAMPING:
                break
    return guess, here.cost
