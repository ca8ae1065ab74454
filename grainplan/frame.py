"""What is made: bays between stiles and rails, and the panels that fill them. All lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from grainplan.units import MM_PER_INCH as _INCH
from grainplan.units import Units, format_length

Match = Literal["book", "slip", "running"]
RailGrain = Literal["skip", "save"]
Seen = Literal["front", "both"]
Part = Literal["lower", "upper", "panel"]
View = Literal["front", "left side", "right side", "back"]
MOST_PLAY_MM = _INCH / 32
"""A panel looser than this in its groove rattles (common practice)."""
LEAST_TONGUE_MM = _INCH / 8
"""A thinner tongue breaks easily (common practice)."""


@dataclass(frozen=True, slots=True)
class FrameLook:
    """Stiles and rails, drawn only; None where the maker has not said."""

    stile_mm: float = 2.5 * _INCH
    top_rail_mm: float = 2.5 * _INCH
    bottom_rail_mm: float = 3 * _INCH


@dataclass(frozen=True, slots=True)
class PanelMaking:
    """How panels are made.

    Parameters
    ----------
    thickness_mm : float
        Finished thickness of a leaf.
    groove_mm : float
        Depth of the groove.
    end_gap_mm : float
        Room left along the grain, at each end.
    float_mm : float or None
        Total room across the grain; None: worked out from the climate.
    strips : int or None
        Strips a panel, 1 to 4; None: whatever is best.
    match : {"book", "slip", "running"}
    rail_grain : {"skip", "save"}
        Whether grain runs on as if behind the rail, or the rail's wood is saved and the grain jumps.
    end_match : bool
        Whether the upper panel of a bay mirrors the lower one across the rail, from leaves of its own that stand on
        their head, unless the bay says otherwise.
    true_side : {"front", "back"}
        Which side gets the mates where both are seen.
    edge : {"flat", "rebated", "raised"}
        How the panel's edge enters the groove; for rebated and raised ones `tongue_mm` is what enters.
    """

    thickness_mm: float = _INCH / 4
    groove_mm: float = 3 * _INCH / 8
    end_gap_mm: float = _INCH / 16
    float_mm: float | None = None
    strips: int | None = None
    match: Match = "book"
    rail_grain: RailGrain = "skip"
    true_side: Literal["front", "back"] = "front"
    edge: Literal["flat", "rebated", "raised"] = "flat"
    groove_width_mm: float | None = None
    tongue_mm: float | None = None
    end_match: bool = False

    def __post_init__(self) -> None:
        if not self.thickness_mm > 0 or not self.groove_mm > 0:
            raise ValueError("a panel needs a thickness and a groove greater than 0")
        if not 0 <= self.end_gap_mm < self.groove_mm:
            raise ValueError(f"end_gap_mm must be 0 or more and less than the groove, got {self.end_gap_mm}")
        if self.strips is not None and not 1 <= self.strips <= 4:
            raise ValueError(f"a panel has 1 to 4 strips, got {self.strips}")
        if self.tongue_mm is not None and not 0 < self.tongue_mm < self.thickness_mm:
            raise ValueError(f"a tongue is thinner than its panel, got {self.tongue_mm} of {self.thickness_mm}")

    @property
    def has_tongue(self) -> bool:
        """Whether the panel is thinned all round to what enters the groove."""
        return self.edge != "flat" and self.tongue_mm is not None

    @property
    def enters_mm(self) -> float:
        """How thick the panel is where it enters the groove, mm."""
        return self.tongue_mm if self.has_tongue and self.tongue_mm is not None else self.thickness_mm

    def shape_field(self, width_mm: float, height_mm: float) -> tuple[float, float] | None:
        """What stays at full thickness of a finished panel, across and along, mm; None for a flat one.

        The tongue is as wide as the groove is deep: so the shoulder stands as far from stile and rail as the panel's
        edge stands from the bottom of its groove, and closes no sooner when the panel grows. Plain geometry.
        """
        if not self.has_tongue:
            return None
        return width_mm - 2 * self.groove_mm, height_mm - 2 * self.groove_mm

    def judge_edge(self, units: Units) -> tuple[str, ...]:
        """What is to be said of the edge in its groove, in sentences."""
        said, what = [], "tongue" if self.has_tongue else "flat edge"
        enters = format_length(self.enters_mm, units)
        if self.has_tongue and self.enters_mm < LEAST_TONGUE_MM - 1e-6:
            least = format_length(LEAST_TONGUE_MM, units)
            said.append(f"a tongue of {enters} breaks easily; {least} is the least by common practice")
        if self.groove_width_mm is not None:
            groove, play = format_length(self.groove_width_mm, units), self.groove_width_mm - self.enters_mm
            if play < -0.01:
                said.append(f"the {what} is {enters} thick and does not go into a groove {groove} wide")
            elif play > MOST_PLAY_MM + 1e-6:
                loose = format_length(play, units)
                said.append(
                    f"the {what} is {enters} thick in a groove {groove} wide: {loose} of play, and the panel rattles; "
                    "make the groove narrower or what enters it thicker"
                )
        return tuple(said)


@dataclass(frozen=True, slots=True)
class Bay:
    """One position of the piece: an upper and a lower panel that share their leaves, or a single panel.

    Parameters
    ----------
    name, view : str
        Bays of one view stand in a row, in the order of the job file.
    width_mm : float
        Sight width: what is seen between the stiles.
    lower_mm, upper_mm, rail_mm : float or None
        Sight heights and what the middle rail hides; None for a bay with a single panel.
    panel_mm : float or None
        Sight height of a single panel.
    arch_mm : float
        Rise of the arched top of the top panel; the sight height runs to the crown. 0: square.
    alike : str or None
        Bays with one word here are to look alike.
    mirror : str or None
        The bay that is to be this one's mirror image.
    seen : {"front", "both"}
    matters : float
        How much this bay counts.
    done : bool
        Made already: it stays as it is.
    end_match : bool or None
        Whether its upper panel mirrors its lower one across the rail; None: as all bays of the job.
    """

    name: str
    width_mm: float
    lower_mm: float | None = None
    upper_mm: float | None = None
    rail_mm: float | None = None
    panel_mm: float | None = None
    view: View = "front"
    arch_mm: float = 0.0
    alike: str | None = None
    mirror: str | None = None
    seen: Seen = "front"
    matters: float = 1.0
    done: bool = False
    end_match: bool | None = None

    def __post_init__(self) -> None:
        pair = (self.lower_mm, self.upper_mm, self.rail_mm)
        if (self.panel_mm is None) == any(v is None for v in pair):
            raise ValueError(f"bay {self.name}: give upper, lower and rail, or panel alone")
        for part, height in self.sight_heights_mm.items():
            if not height > 0:
                raise ValueError(f"bay {self.name}: {part} must be greater than 0, got {height}")
        if not self.width_mm > 0:
            raise ValueError(f"bay {self.name}: width must be greater than 0, got {self.width_mm}")
        top = list(self.sight_heights_mm.values())[-1]
        if not 0 <= self.arch_mm < top or self.arch_mm > self.width_mm / 2:
            raise ValueError(
                f"bay {self.name}: arch must be less than the top panel and half the width, got {self.arch_mm}"
            )

    def is_end_matched(self, making: PanelMaking) -> bool:
        """Whether the upper panel mirrors the lower one across the rail; never for a single panel."""
        wanted = making.end_match if self.end_match is None else self.end_match
        return wanted and self.panel_mm is None

    @property
    def sight_heights_mm(self) -> dict[Part, float]:
        """Sight height of each panel, from the foot up."""
        if self.panel_mm is not None:
            return {"panel": self.panel_mm}
        assert self.lower_mm is not None
        assert self.upper_mm is not None
        return {"lower": self.lower_mm, "upper": self.upper_mm}


@dataclass(frozen=True, slots=True)
class PanelSize:
    """A panel from sight size to rough: what is seen, what is trimmed to, what is glued up. All in mm.

    Parameters
    ----------
    sight_width_mm, sight_height_mm : float
        What is seen between stiles and rails.
    width_mm, height_mm : float
        Finished: it lies in its grooves with room to move.
    rough_width_mm, rough_height_mm : float
        As glued, before it is trimmed.
    side_engagement_mm, end_engagement_mm : float
        How deep a finished edge lies in its groove, as made.
    """

    sight_width_mm: float
    sight_height_mm: float
    width_mm: float
    height_mm: float
    rough_width_mm: float
    rough_height_mm: float
    side_engagement_mm: float
    end_engagement_mm: float


@dataclass(frozen=True, slots=True)
class BaySize:
    """The panels of a bay from the foot up, with the room across the grain and what it was worked out from."""

    bay: str
    panels: dict[Part, PanelSize]
    float_mm: float
    caveats: tuple[str, ...] = ()
