"""How the leaves of one place are opened into a panel: which surface of which leaf stands where, left to right."""

from __future__ import annotations

from dataclasses import dataclass, replace

from grainplan.boards import Surface
from grainplan.frame import Match, Part
from grainplan.plan import Foot, Span


@dataclass(frozen=True, slots=True)
class StripPlace:
    """One strip of a panel.

    Attributes
    ----------
    leaf : int
        Counted from the first leaf of the run, which is 0.
    surface : {"near", "far"}
        What shows on the front.
    y_mm : (float, float)
        What is sawn out of the leaf, counted from the lower edge of the whole width that the bay takes.
    """

    leaf: int
    surface: Surface
    y_mm: Span


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Strips from left to right as seen from the front, with the boards' foot down.

    Turned foot up, the same strips stand in the opposite order, so that the same edges meet.

    Attributes
    ----------
    run : number of leaves. width_mm : what it takes across them.
    strips : of all panels of the bay, or of the lower one where `upper` has strips of its own.
    upper : strips of an upper panel that stands on its head and mirrors the lower one across the rail (an end match);
        empty where the upper panel comes from the same leaves as the lower one.
    """

    match: Match
    run: int
    width_mm: float
    strips: tuple[StripPlace, ...]
    upper: tuple[StripPlace, ...] = ()

    def reversed(self) -> Arrangement:
        """The strips in the opposite order: in a book the seam moves to the other edge of the leaves."""
        return replace(self, strips=self.strips[::-1], upper=self.upper[::-1])


@dataclass(frozen=True, slots=True)
class Option:
    """One way to use the leaves of a place: how they are opened, and which way their foot stands.

    In an end match the foot is that of the lower panel.
    """

    arrangement: Arrangement
    foot: Foot

    @property
    def strips(self) -> tuple[StripPlace, ...]:
        """Left to right as seen from the front; in an end match those of the lower panel."""
        return self.strips_of("lower")

    @property
    def is_end_matched(self) -> bool:
        """Whether the upper panel stands on its head, from leaves of its own."""
        return bool(self.arrangement.upper)

    def strips_of(self, part: Part) -> tuple[StripPlace, ...]:
        """The strips of one panel, left to right as seen from the front."""
        own = self.arrangement.upper if part == "upper" and self.is_end_matched else self.arrangement.strips
        return own if self.foot == "down" else own[::-1]

    def foot_of(self, part: Part) -> Foot:
        """Which way the foot of one panel's leaves stands."""
        if part == "upper" and self.is_end_matched:
            return "up" if self.foot == "down" else "down"
        return self.foot


@dataclass(frozen=True, slots=True)
class Ripping:
    """How strips are ripped: their sawn width, what a rip takes, and what a leaf gives across."""

    strip_mm: float
    rip_mm: float
    usable_mm: float


def arrange_strips(strips: int, match: Match, ripping: Ripping, *, mates_on_front: bool) -> list[Arrangement]:
    """All ways to open the leaves of one place into a panel of equal strips.

    Parameters
    ----------
    strips : int
        1 to 4.
    match : {"book", "slip", "running"}
        "running" with equal strips is a slip match; unequal strips come from `arrange_running`.
    ripping : Ripping
    mates_on_front : bool
        Whether the two surfaces of one saw cut meet on the front, or on the back.

    Returns
    -------
    list of Arrangement
        Empty where a strip is wider than the leaf.
    """
    width = ripping.strip_mm
    if width > ripping.usable_mm + 1e-6:
        return []
    whole = (0.0, width)
    if strips == 1:
        return [Arrangement(match, 1, width, (StripPlace(0, surface, whole),)) for surface in ("near", "far")]
    if match != "book":
        return [
            Arrangement(match, strips, width, tuple(StripPlace(leaf, surface, whole) for leaf in range(strips)))
            for surface in ("near", "far")
        ]
    opened: tuple[Surface, Surface] = ("far", "near") if mates_on_front else ("near", "far")
    book = Arrangement(match, strips, width, tuple(StripPlace(leaf, opened[leaf % 2], whole) for leaf in range(strips)))
    found = [book, book.reversed()]
    if strips == 4 and 2 * width + ripping.rip_mm <= ripping.usable_mm + 1e-6:
        found += _two_beside_two(width, ripping.rip_mm, opened)
    return found


def _two_beside_two(width: float, rip: float, opened: tuple[Surface, Surface]) -> list[Arrangement]:
    """Four strips out of two leaves: each leaf is ripped in two, and stays together as far as one rip lets it."""
    low, high = (0.0, width), (width + rip, 2 * width + rip)
    first, second = opened
    strips = (
        StripPlace(0, first, low),
        StripPlace(1, second, low),
        StripPlace(1, second, high),
        StripPlace(0, first, high),
    )
    return [Arrangement("book", 2, 2 * width + rip, strips)]


def arrange_running(
    rough_mm: float, joint_mm: float, usable_mm: float, *, most: int = 4, least_mm: float = 0.0
) -> list[Arrangement]:
    """As many leaves as a panel needs, each at its full width and the last one at what is left.

    Where too little would be left for a strip, the others are a little narrower.

    Parameters
    ----------
    rough_mm : width of the glued panel. joint_mm : taken off each edge that is glued.
    usable_mm : what a leaf gives across. most : strips at most. least_mm : the narrowest strip that is ripped.
    """
    for strips in range(1, most + 1):
        needed = rough_mm + 2 * joint_mm * (strips - 1)
        if needed <= strips * usable_mm + 1e-6:
            last = max(needed - usable_mm * (strips - 1), min(needed / strips, max(least_mm, 4 * joint_mm)))
            widths = [(needed - last) / (strips - 1)] * (strips - 1) + [last] if strips > 1 else [needed]
            return [
                Arrangement(
                    "running",
                    strips,
                    max(widths),
                    tuple(StripPlace(leaf, surface, (0.0, w)) for leaf, w in enumerate(widths)),
                )
                for surface in ("near", "far")
            ]
    return []


def pair_ends(arrangement: Arrangement) -> list[Arrangement]:
    """Ways to give a lower panel an upper one that mirrors it across the rail: an end match, from twice the leaves.

    Above each strip stands the other surface of another leaf on its head, so that both run the same way across. Either
    the leaves of the two panels follow one another (A1 | A2 under A4 | A3: mates meet at the seams), or they alternate
    (A1 | A4 under A2 | A3: mates meet across the rail).
    """
    run = 2 * arrangement.run
    behind = tuple(StripPlace(run - 1 - s.leaf, other_side(s.surface), s.y_mm) for s in arrangement.strips)
    found = [replace(arrangement, run=run, upper=behind)]
    lower, upper = [], []
    for s in arrangement.strips:
        first = s.surface == "far"
        lower.append(StripPlace(2 * s.leaf + (0 if first else 1), s.surface, s.y_mm))
        upper.append(StripPlace(2 * s.leaf + (1 if first else 0), other_side(s.surface), s.y_mm))
    between = replace(arrangement, run=run, strips=tuple(lower), upper=tuple(upper))
    return found if between == found[0] else [*found, between]


def mate_gap(first: StripPlace, second: StripPlace, *, gap_mm: float, leaf_mm: float) -> float | None:
    """How far two surfaces that meet were apart in the board; None where they lay at different places across.

    Parameters
    ----------
    first, second : StripPlace
    gap_mm : float
        Between mates: kerf and two planings.
    leaf_mm : float
        Finished thickness of a leaf.
    """
    if first.leaf != second.leaf and first.y_mm[0] != second.y_mm[0]:
        return None
    depth = [2 * s.leaf + (s.surface == "far") for s in (first, second)]  # surfaces counted from the face
    low, high = min(depth), max(depth)
    leaves = sum(1 for surface in range(low, high) if surface % 2 == 0)  # leaves crossed from the lower to the higher
    return leaves * leaf_mm + (high - low - leaves) * gap_mm


def mirror_option(option: Option) -> Option:
    """The mirror image: strips in the opposite order, each by its other surface, leaves counted from the other end."""
    old = option.arrangement
    last = old.run - 1
    strips, upper = (
        tuple(StripPlace(last - s.leaf, other_side(s.surface), s.y_mm) for s in reversed(side))
        for side in (old.strips, old.upper)
    )
    return Option(replace(old, strips=strips, upper=upper), option.foot)


def other_side(surface: Surface) -> Surface:
    """The surface that shows on the back where this one shows on the front."""
    return "near" if surface == "far" else "far"
