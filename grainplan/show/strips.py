"""Where each strip of a panel stands behind the sight opening, and which point of the board shows where."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.plan import PlannedPanel, Strip


@dataclass(frozen=True, slots=True)
class StripPlace:
    """One strip in its opening, as seen from the front.

    Across runs from the left sight line to the right, up from the lower sight line. The outer strips reach behind the
    stiles, so that `left_mm` of the first is negative.

    Parameters
    ----------
    strip : Strip
    left_mm, right_mm : float
        Where its glued edges stand across the opening, mm.
    x_at_sill_mm, y_at_left_mm : float
        The board point that shows at the lower sight line, and the one that would show at the left one, mm.
    """

    strip: Strip
    left_mm: float
    right_mm: float
    x_at_sill_mm: float
    y_at_left_mm: float

    @property
    def x_step(self) -> int:
        """1 where x runs up the panel, -1 where the leaf's foot stands up."""
        return 1 if self.strip.foot == "down" else -1

    @property
    def y_step(self) -> int:
        """1 where y runs left to right, -1 where the strip is flipped."""
        return -1 if self.strip.flipped else 1

    def board_point(self, across_mm: float, up_mm: float) -> tuple[float, float]:
        """The (x, y) of the board that shows at a place of the opening, mm; the same on the front and from behind."""
        return self.x_at_sill_mm + self.x_step * up_mm, self.y_at_left_mm + self.y_step * across_mm


def place_strips(
    panel: PlannedPanel, *, sight_width_mm: float, sight_height_mm: float, joint_mm: float
) -> tuple[StripPlace, ...]:
    """Stand the strips of a panel side by side behind their opening.

    The edges that are glued lose `joint_mm` each; what is left is a little longer and wider than the finished panel,
    and is trimmed evenly, so that its middle is the middle of the opening.

    Parameters
    ----------
    panel : PlannedPanel
    sight_width_mm, sight_height_mm : float
        What is seen between stiles and rails, mm; to the crown, where the top is arched.
    joint_mm : float
        Taken off each edge that is glued, mm.

    Raises
    ------
    ValueError
        When the panel has no strips, or they do not fill the opening.
    """
    if not panel.strips:
        raise ValueError("a planned panel has at least one strip")
    last = len(panel.strips) - 1
    widths = [s.y_mm[1] - s.y_mm[0] - joint_mm * ((place > 0) + (place < last)) for place, s in enumerate(panel.strips)]
    shortest = min(s.x_mm[1] - s.x_mm[0] for s in panel.strips)
    if sum(widths) < sight_width_mm - 1e-6 or shortest < sight_height_mm - 1e-6:
        raise ValueError(
            f"the strips make {sum(widths):.1f} × {shortest:.1f} mm, "
            f"which does not fill an opening of {sight_width_mm:.1f} × {sight_height_mm:.1f} mm"
        )
    places = []
    left = (sight_width_mm - sum(widths)) / 2
    for place, (strip, width) in enumerate(zip(panel.strips, widths, strict=True)):
        hidden = (strip.x_mm[1] - strip.x_mm[0] - sight_height_mm) / 2
        sill = strip.x_mm[0] + hidden if strip.foot == "down" else strip.x_mm[1] - hidden
        trimmed = joint_mm if place > 0 else 0.0
        y_at_edge = strip.y_mm[1] - trimmed if strip.flipped else strip.y_mm[0] + trimmed
        step = -1 if strip.flipped else 1
        places.append(StripPlace(strip, left, left + width, sill, y_at_edge - step * left))
        left += width
    return tuple(places)
