"""The arched top of a panel: a piece of a circle over a chord."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Arch:
    """A circular arch, as it is struck with a trammel.

    Parameters
    ----------
    chord_mm : float
        Width at the springing, mm; greater than 0.
    rise_mm : float
        From the chord to the crown, mm; greater than 0 and at most half the chord.

    Raises
    ------
    ValueError
        When the rise is no rise or more than a half circle.

    Notes
    -----
    ``R = W² / 8H + H / 2`` (Machinery's Handbook, segments of circles).
    """

    chord_mm: float
    rise_mm: float

    def __post_init__(self) -> None:
        if not 0 < self.rise_mm <= self.chord_mm / 2:
            raise ValueError(
                f"an arch rises by more than 0 and at most half its width, got {self.rise_mm} over {self.chord_mm} mm"
            )

    @property
    def radius_mm(self) -> float:
        """Set the trammel to this, mm."""
        return self.chord_mm**2 / (8 * self.rise_mm) + self.rise_mm / 2

    @property
    def centre_below_chord_mm(self) -> float:
        """Where the trammel's point stands: this far below the chord, on its middle, mm."""
        return self.radius_mm - self.rise_mm

    @property
    def length_mm(self) -> float:
        """Along the curve, from end to end, mm."""
        return 2 * self.radius_mm * math.asin(min(1.0, self.chord_mm / (2 * self.radius_mm)))

    def height_at(self, from_middle_mm: float) -> float:
        """Height of the curve over the chord, mm, at this distance from the middle (left or right).

        Outside the chord it is negative, as far as the circle reaches.

        Raises
        ------
        ValueError
            Where the circle does not reach.
        """
        if abs(from_middle_mm) > self.radius_mm:
            raise ValueError(f"the arch's circle has a radius of {self.radius_mm:g} mm, asked at {from_middle_mm:g} mm")
        return math.sqrt(self.radius_mm**2 - from_middle_mm**2) - self.centre_below_chord_mm

    def drop_from_crown(self, from_middle_mm: float, *, outward_mm: float = 0.0) -> float:
        """How far an edge that runs `outward_mm` outside this arch, about the same centre, lies below its own crown.

        It is the top edge of a panel that enters its arched groove by `outward_mm`, square to the curve.

        Parameters
        ----------
        from_middle_mm, outward_mm : float
            Millimetres.

        Raises
        ------
        ValueError
            Where that wider circle does not reach.
        """
        radius = self.radius_mm + outward_mm
        if abs(from_middle_mm) > radius:
            raise ValueError(f"the edge's circle has a radius of {radius:g} mm, asked at {from_middle_mm:g} mm")
        return radius - math.sqrt(radius**2 - from_middle_mm**2)
