"""The plan: which leaf goes where, how well its edges meet, and what is left over.

These things are what `out/plan.json` holds; job-format names each field. Lengths in mm, board frame.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from grainplan.boards import Leaf, Surface
from grainplan.frame import Match, Part

Status = Literal["proven best", "best found", "nothing fits"]
SeenAs = Literal["leaf photo", "inside", "own side", "stand-in", "none"]
Foot = Literal["down", "up"]
Span = tuple[float, float]
COST_PARTS = ("seams", "tone", "continuity", "flaws", "wood")


@dataclass(frozen=True, slots=True)
class Weights:
    """How much each part of the cost counts; 1 is as the program ships."""

    seams: float = 1.0
    tone: float = 1.0
    continuity: float = 1.0
    flaws: float = 1.0
    wood: float = 1.0

    def __post_init__(self) -> None:
        for part in COST_PARTS:
            if not getattr(self, part) >= 0:
                raise ValueError(f"weight {part} must be 0 or more, got {getattr(self, part)}")


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece of one leaf in one panel.

    Parameters
    ----------
    leaf : Leaf
    surface : {"near", "far"}
        Which surface shows on the front.
    foot : {"down", "up"}
        Which way the leaf's foot stands in the furniture.
    seen : str
        What the picture of that surface is; see :data:`SeenAs`.
    x_mm, y_mm : (float, float)
        What is sawn out of the leaf, over-length and joint in.
    """

    leaf: Leaf
    surface: Surface
    foot: Foot
    seen: SeenAs
    x_mm: Span
    y_mm: Span

    @property
    def flipped(self) -> bool:
        """Whether the leaf's y runs right to left as seen from the front: surface is far, xor foot is up."""
        return (self.surface == "far") != (self.foot == "up")


@dataclass(frozen=True, slots=True)
class Seam:
    """Where two strips of a panel meet, on one side of it.

    Parameters
    ----------
    panel : {"lower", "upper", "panel"}
    side : {"front", "back"}
    between : (int, int)
        Positions of the two strips, from 0 at the left as seen from the front.
    match : {"book", "slip", "running"}
    edge_y_mm : float
        The edge of the left strip's leaf at the seam.
    gap_mm : float or None
        How far the two finished surfaces were apart in the board; None between boards or places.
    fit, step_mm, strangers, tone_de : float or None
        As in design.md; None where the surfaces are not yet seen, with the reason among the caveats.
    """

    panel: Part
    side: Literal["front", "back"]
    between: tuple[int, int]
    match: Match
    edge_y_mm: float
    gap_mm: float | None
    fit: float | None = None
    step_mm: float | None = None
    strangers: float | None = None
    tone_de: float | None = None
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Continuity:
    """How the grain runs on from the lower panel into the upper one, strip by strip from the left.

    Parameters
    ----------
    hidden_mm, leaf_mm : float
        What the rail hides, and how far the two sight lines lie apart on the leaf; 0 in an end match.
    step_mm : tuple of float or None
        How far lines miss their other half.
    fit : tuple of float or None
        How well both ends agree, where the surfaces have been seen; empty where none has.
    end_match : bool
        The upper panel stands on its head and mirrors the lower one across the rail, from leaves of its own.
    strangers : float or None
        The fit of ends that do not belong together.
    """

    hidden_mm: float
    leaf_mm: float
    step_mm: tuple[float | None, ...]
    fit: tuple[float | None, ...] = ()
    end_match: bool = False
    strangers: float | None = None
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedPanel:
    """A finished panel and its strips, left to right as seen from the front.

    Parameters
    ----------
    width_mm, height_mm : float
        Finished, with what enters the grooves.
    strips : tuple of Strip
    tongue_mm : float or None
        How thick a rebated or raised panel is where it enters its groove; None for a flat one.
    field_mm : (float, float) or None
        What stays of it at full thickness, across and along.
    """

    width_mm: float
    height_mm: float
    strips: tuple[Strip, ...]
    tongue_mm: float | None = None
    field_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PlannedBay:
    """A filled bay: its panels from the foot up, its seams, and why it was chosen."""

    name: str
    panels: Mapping[Part, PlannedPanel]
    seams: tuple[Seam, ...] = ()
    continuity: Continuity | None = None
    why: str = ""
    caveats: tuple[str, ...] = ()

    @property
    def is_end_matched(self) -> bool:
        """Whether its upper panel stands on its head and mirrors the lower one across the rail."""
        return self.continuity is not None and self.continuity.end_match

    @property
    def strips(self) -> tuple[Strip, ...]:
        """All its strips, panel by panel from the foot up, left to right."""
        return tuple(strip for panel in self.panels.values() for strip in panel.strips)

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """The leaves that it stands on, each once."""
        return tuple(dict.fromkeys(strip.leaf for strip in self.strips))

    @property
    def lie(self) -> tuple[object, ...]:
        """Where its strips lie, to a tenth of a millimetre: equal for bays that are cut from the same wood."""
        return tuple(
            (part, s.leaf, s.surface, s.foot, *(round(v, 1) for v in (*s.x_mm, *s.y_mm)))
            for part, panel in self.panels.items()
            for s in panel.strips
        )


@dataclass(frozen=True, slots=True)
class BoardUse:
    """What is sawn out of a board, and where its cuts lie."""

    name: str
    leaves: int
    flat_thickness_mm: float
    sawn_leaf_mm: tuple[float, ...]
    finished_leaf_mm: float
    spare_mm: float
    tight: bool
    mate_gap_mm: float
    cuts_mm: tuple[float, ...]
    used_fraction: float
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Unfilled:
    """A bay that got no leaves, and what is missing."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Offcut:
    """A piece of a leaf that stays long and wide enough to be kept.

    Parameters
    ----------
    x_mm, y_mm : (float, float)
        Along the board, and across it at its end toward the foot.
    y_head_mm : (float, float) or None
        Across the board at its other end, where the board tapers; None: as at the first.
    """

    leaf: Leaf
    x_mm: Span
    y_mm: Span
    y_head_mm: Span | None = None

    @property
    def sound_y_mm(self) -> Span:
        """What there is of it across, over its whole length."""
        other = self.y_head_mm or self.y_mm
        return max(self.y_mm[0], other[0]), min(self.y_mm[1], other[1])


@dataclass(frozen=True, slots=True)
class SpareFor:
    """A panel that a spare could replace."""

    bay: str
    panel: Part


@dataclass(frozen=True, slots=True)
class Spare:
    """Wood that is kept for the day when a leaf is lost.

    Parameters
    ----------
    replaces : tuple of SpareFor
        The panels that it could stand in for, one of them at a time.
    strips : tuple of Strip
        What would be sawn out, left to right as seen from the front.
    cost : float
        What keeping it adds to the cost of the plan.
    says : str
        All of it in a sentence.
    """

    replaces: tuple[SpareFor, ...]
    strips: tuple[Strip, ...]
    cost: float
    says: str


@dataclass(frozen=True, slots=True)
class OtherPlan:
    """Another plan that truly differs: what it costs, and what one gives up or gains with it."""

    cost: float
    says: str
    bays: tuple[PlannedBay, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole choice, with its proof.

    Parameters
    ----------
    status : {"proven best", "best found", "nothing fits"}
    cost, bound : float
        In the cost's one unit; the best possible plan costs at least `bound`.
    cost_parts : mapping
        Weighted parts that add up to `cost`: seams, tone, continuity, flaws, wood.
    spares : tuple of Spare
        Where the maker wishes for a spare pair.
    no_spare : str
        Why there is none, where one was wished for.
    """

    title: str
    job_sha256: str
    status: Status
    cost: float
    bound: float
    cost_parts: Mapping[str, float]
    boards: tuple[BoardUse, ...] = ()
    bays: tuple[PlannedBay, ...] = ()
    unfilled: tuple[Unfilled, ...] = ()
    offcuts: tuple[Offcut, ...] = ()
    others: tuple[OtherPlan, ...] = ()
    caveats: tuple[str, ...] = ()
    weights: Weights = field(default_factory=Weights)
    spares: tuple[Spare, ...] = ()
    no_spare: str = ""
