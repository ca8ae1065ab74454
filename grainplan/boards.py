"""Boards as they lie on the bench, the leaves sawn out of them, and what was measured on their photos.

The board frame, in millimetres: lay the board down with its face side up and its foot to the left. `x` runs along the
length from the foot, `y` across the width from the face edge (the far edge), `z` into the thickness from the face side.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, get_args

from grainplan.geometry import Box
from grainplan.measured import Measured
from grainplan.picture import Picture

Side = Literal["face", "back", "foot", "head"]
SIDES: tuple[Side, ...] = get_args(Side)
BroadSide = Literal["face", "back"]
BROAD_SIDES: tuple[BroadSide, ...] = ("face", "back")
END_SIDES: tuple[Side, ...] = ("foot", "head")
Surface = Literal["near", "far"]
FlawKind = Literal["knot", "check", "pith", "pitch", "sapwood", "stain", "wane", "other"]
FlawPlace = Literal["face", "back", "through"]
LARGE_KINDS: tuple[FlawKind, ...] = ("sapwood", "stain", "wane")
"""Flaws that may hold other flaws."""
Direction = Literal["left", "right", "up", "down"]
Sawn = Literal["plain", "rift", "quarter"]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SidePhoto:
    """One photo of one side of a board, or of a part of its length.

    Parameters
    ----------
    path : Path
        The photo file, absolute.
    corners : four (x, y) pairs or None
        Photo pixels, after the photo is turned upright, of the board points that job-format names for this side.
    foot : {"left", "right", "up", "down"} or None
        Which way the foot lies in the photo, where no corners were typed.
    x_mm : (float, float) or None
        The part of the length that the photo shows, where a long side takes several photos.
    grey_card : two (x, y) pairs or None
        Opposite corners of a box on a grey card that lies in the photo, photo pixels.
    """

    path: Path
    corners: tuple[Point, Point, Point, Point] | None = None
    foot: Direction | None = None
    x_mm: tuple[float, float] | None = None
    grey_card: tuple[Point, Point] | None = None


@dataclass(frozen=True, slots=True)
class Flaw:
    """A knot, a check or another place that the maker does not want to see.

    Parameters
    ----------
    kind : str
        One of :data:`FlawKind`.
    on : {"face", "back", "through"}
        The near surface of the first leaf, the far surface of the last one, or every leaf.
    box : Box
        Where it is, board frame, mm.
    avoid : bool
        True: no panel may show it. False: it may be shown, at a cost.
    found_by : {"maker", "program"}
        Who says so. What the program proposes never overwrites the maker's own.
    confidence : float
        0 to 1.
    """

    kind: FlawKind
    on: FlawPlace
    box: Box
    avoid: bool = True
    found_by: Literal["maker", "program"] = "maker"
    confidence: float = 1.0

    def answers(self, proposed: Flaw) -> bool:
        """Whether this flaw of the maker's settles what the program proposes at the same place.

        Sapwood and stain are large: they and the small flaws within them are settled apart. Wane is settled by wane
        alone, and wood that is not there cannot be another small flaw.
        """
        if not _meet(self.on, self.box, proposed):
            return False
        if self.kind == "wane":
            return proposed.kind not in ("sapwood", "stain")
        return _are_alike(self.kind, proposed.kind) or (self.kind == "other" and proposed.kind != "wane")


@dataclass(frozen=True, slots=True)
class ClearSpot:
    """A place that the maker has looked at and found clear: what the program proposes there is no flaw.

    With a kind it speaks of that kind alone: a long strip that is no sapwood may still hold a knot.
    """

    on: BroadSide
    box: Box
    kind: FlawKind | None = None

    def answers(self, proposed: Flaw) -> bool:
        """Whether this spot says of what the program proposes that it is none.

        A spot of no kind must hold half of sapwood or stain to speak of it.
        """
        if not _meet(self.on, self.box, proposed):
            return False
        if self.kind is not None or proposed.kind not in ("sapwood", "stain"):
            return self.kind is None or _are_alike(self.kind, proposed.kind)
        wide = min(self.box.x1, proposed.box.x1) - max(self.box.x0, proposed.box.x0)
        high = min(self.box.y1, proposed.box.y1) - max(self.box.y0, proposed.box.y0)
        return wide * high >= 0.5 * proposed.box.area


def _meet(on: FlawPlace, box: Box, proposed: Flaw) -> bool:
    return on in (proposed.on, "through") and box.overlaps(proposed.box)


def _are_alike(one: FlawKind, other: FlawKind) -> bool:
    """Whether they may be two names of one thing: knot, check, pith and pitch are, large ones are not."""
    return one == other or not {one, other} & set(LARGE_KINDS)


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a board that is cut free before resawing, and is then a board with a name of its own."""

    name: str
    box: Box


@dataclass(frozen=True, slots=True)
class RoughBoard:
    """A board as it came from the yard.

    Parameters
    ----------
    name : str
        Ends in no digit, for its leaves are numbered: board A gives A1, A2, …
    length_mm, width_mm, thickness_mm : float
        Length; width at the narrowest (for a tapered board: at the foot); thickness at the thinnest, by caliper.
    species : str
        A name of the species table.
    moisture_percent : float
        As the board is now.
    width_head_mm : float or None
        Width at the head, for a tapered board.
    cup_mm, bow_mm, crook_mm, twist_mm : float
        Hollow across the width; bow and crook along the length; lift of the fourth corner.
    photos : mapping of side to photos
        In order from foot to head, where a side takes several.
    clear : tuple of ClearSpot
        Where a flaw that the program proposed is none.
    price : float or None
        A board foot (inch jobs) or a cubic metre.
    cut_from : (str, Box) or None
        The board that this one is a piece of, and where in it, where it is cut free before the resaw.
    """

    name: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    species: str
    moisture_percent: float
    width_head_mm: float | None = None
    cup_mm: float = 0.0
    bow_mm: float = 0.0
    crook_mm: float = 0.0
    twist_mm: float = 0.0
    photos: Mapping[Side, tuple[SidePhoto, ...]] = field(default_factory=dict)
    flaws: tuple[Flaw, ...] = ()
    clear: tuple[ClearSpot, ...] = ()
    pieces: tuple[Piece, ...] = ()
    price: float | None = None
    cut_from: tuple[str, Box] | None = None

    def __post_init__(self) -> None:
        if not self.name or self.name[-1].isdigit():
            raise ValueError(f'a board\'s name ends in no digit, got "{self.name}"')
        for what in ("length_mm", "width_mm", "thickness_mm"):
            if not getattr(self, what) > 0:
                raise ValueError(f"board {self.name}: {what} must be greater than 0, got {getattr(self, what)}")
        for what in ("cup_mm", "bow_mm", "crook_mm", "twist_mm"):
            if not getattr(self, what) >= 0:
                raise ValueError(f"board {self.name}: {what} must be 0 or more, got {getattr(self, what)}")

    def width_at(self, x_mm: float) -> float:
        """Width of the board at `x_mm` from the foot, mm, on the straight line from foot to head."""
        if self.width_head_mm is None:
            return self.width_mm
        return self.width_mm + (self.width_head_mm - self.width_mm) * x_mm / self.length_mm

    def list_open(self, proposed: Iterable[Flaw]) -> tuple[Flaw, ...]:
        """Those of the program's flaws that the maker has not answered, by a flaw of their own or a clear spot."""
        return tuple(
            flaw
            for flaw in proposed
            if not any(own.answers(flaw) for own in self.flaws) and not any(spot.answers(flaw) for spot in self.clear)
        )

    @property
    def largest_width_mm(self) -> float:
        """The wider of its two ends, mm."""
        return max(self.width_mm, self.width_head_mm or 0.0)


@dataclass(frozen=True, slots=True, order=True)
class Leaf:
    """One thin board sawn out of a thick one; leaves are numbered from 1 at the face side."""

    board: str
    number: int

    def __post_init__(self) -> None:
        if self.number < 1:
            raise ValueError(f"leaves are numbered from 1, got {self.number}")

    @property
    def name(self) -> str:
        """As it is chalked on the leaf: "A1"."""
        return f"{self.board}{self.number}"

    @classmethod
    def from_name(cls, name: str) -> Leaf:
        """Read "A1"; :class:`ValueError` where no number stands at the end."""
        board = name.rstrip("0123456789")
        if not board or board == name:
            raise ValueError(f'"{name}" is no leaf; a leaf is its board and a number, like "A1"')
        return cls(board, int(name[len(board) :]))


@dataclass(frozen=True, slots=True)
class BoardSide:
    """One side of a board, square-on and evenly lit, in the board frame."""

    picture: Picture
    photo_px_per_mm: float
    scale_doubt_percent: float
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Grain:
    """What the wood of a board looks like. A figure that could not be had is None, its reason among the caveats.

    Parameters
    ----------
    angle_deg : float or None
        Grain to the length, positive toward larger y.
    straightness : float or None
        0 (no direction) to 1 (straight as a ruler).
    ring_spacing_mm : float or None
        Mean width of a ring, square to the rings, in the cross-section.
    ring_angle_deg : float or None
        Between ring and face in the cross-section, mean over the width; 0 flat, 90 quarter.
    sawn : {"plain", "rift", "quarter"} or None
    colour_lab : three floats or None
        Mean colour, CIE L*a*b*.
    run_out_deg : Measured or None
        How fibres dive into the face on their way to the head; negative: they climb out of it.
    """

    angle_deg: float | None = None
    straightness: float | None = None
    ring_spacing_mm: float | None = None
    ring_angle_deg: float | None = None
    sawn: Sawn | None = None
    colour_lab: tuple[float, float, float] | None = None
    caveats: tuple[str, ...] = ()
    run_out_deg: Measured | None = None


@dataclass(frozen=True, slots=True)
class Pith:
    """Where the middle of the tree passes each end, (y, z) in the board frame, mm; it may lie outside the board."""

    foot_yz_mm: Point | None
    head_yz_mm: Point | None
    doubt_mm: float


@dataclass(frozen=True, slots=True)
class MeasuredBoard:
    """A board with its flattened sides and what was read from them.

    Parameters
    ----------
    board : RoughBoard
        The maker's own words about it.
    sides : mapping of side to BoardSide
        Those sides that have photos.
    length_mm, width_mm : Measured
        With the doubt that the photos leave.
    flaws : tuple of Flaw
        The maker's own, then what the program proposes.
    """

    board: RoughBoard
    length_mm: Measured
    width_mm: Measured
    sides: Mapping[Side, BoardSide] = field(default_factory=dict)
    grain: Grain = field(default_factory=Grain)
    pith: Pith | None = None
    flaws: tuple[Flaw, ...] = ()
    caveats: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The board's name."""
        return self.board.name
