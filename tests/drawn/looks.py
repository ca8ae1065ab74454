"""How a species looks: colours and the lightness across one year ring. Invented, plausible values."""

from __future__ import annotations

from dataclasses import dataclass, field

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Look:
    """The look of a species, sRGB 0 to 255.

    Parameters
    ----------
    pale, line
        Colour of the body of a ring and of its dark line.
    heart, sap
        Colour that heartwood and sapwood are drawn toward.
    ring_porous
        True: the dark line starts sharply with the ring and fades outward (ash, elm). False: it grows slowly toward
        the ring's outer border and ends there (pine).
    line_mm
        Thickness of the dark line across the ring.
    pores, streaks, clouds, rays
        Strength of the dashes in the porous zone, of the fine fibre streaks, of the slow changes of tone, and of the
        bands in the late wood (elm).
    """

    pale: Colour
    line: Colour
    heart: Colour
    sap: Colour
    knot: Colour
    ring_porous: bool
    line_mm: float
    pores: float
    streaks: float
    clouds: float
    bands: float = 0.0
    knot_ring_mm: float = field(default=2.1)


LOOKS: dict[str, Look] = {
    "ash": Look(
        pale=(222, 199, 162),
        line=(158, 119, 78),
        heart=(200, 170, 128),
        sap=(232, 214, 184),
        knot=(104, 70, 42),
        ring_porous=True,
        line_mm=0.85,
        pores=0.55,
        streaks=4.5,
        clouds=5.0,
    ),
    "elm": Look(
        pale=(188, 149, 110),
        line=(112, 74, 47),
        heart=(160, 116, 80),
        sap=(212, 186, 148),
        knot=(82, 52, 33),
        ring_porous=True,
        line_mm=0.95,
        pores=0.7,
        streaks=6.5,
        clouds=7.0,
        bands=9.0,
    ),
    "pine": Look(
        pale=(233, 205, 158),
        line=(190, 132, 76),
        heart=(222, 178, 128),
        sap=(238, 217, 176),
        knot=(122, 72, 38),
        ring_porous=False,
        line_mm=1.2,
        pores=0.0,
        streaks=3.5,
        clouds=4.0,
    ),
    "walnut": Look(
        pale=(132, 99, 73),
        line=(78, 54, 40),
        heart=(112, 80, 58),
        sap=(186, 158, 124),
        knot=(54, 36, 27),
        ring_porous=True,
        line_mm=1.3,
        pores=0.35,
        streaks=6.0,
        clouds=8.0,
    ),
}
