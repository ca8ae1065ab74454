"""Published shrinkage and movement coefficients by species (stub being filled)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Species:
    """How much a wood shrinks and moves.

    Parameters
    ----------
    name : str
        As makers say it: "white ash".
    radial_percent, tangential_percent : float or None
        Shrinkage, green to oven-dry.
    radial_coefficient, tangential_coefficient : float
        Change per unit of width and per cent of moisture, within 6 to 14 per cent moisture.
    source : str
        Where the numbers are from.
    """

    name: str
    radial_percent: float | None
    tangential_percent: float | None
    radial_coefficient: float
    tangential_coefficient: float
    source: str
