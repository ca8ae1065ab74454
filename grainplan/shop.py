"""The shop: its machines and allowances, and the rooms that the piece will live in."""

from __future__ import annotations

from dataclasses import dataclass, fields

from grainplan.units import MM_PER_INCH as _INCH


@dataclass(frozen=True, slots=True)
class Shop:
    """What each cut and each planing takes, and what the machines will not take. All in mm.

    The defaults are common practice in a small shop with a 3/8 to 3/4 in resaw blade; every one is to be replaced by
    the maker's own measurement. The machine limits are those of many portable planers: the machine's manual governs.
    """

    kerf_mm: float = _INCH / 16
    """Kerf of the resaw blade, measured on a test cut."""
    saw_height_mm: float = 10 * _INCH
    """Widest board that the resaw takes on edge."""
    saw_tolerance_mm: float = _INCH / 64
    """How far a resaw cut may wander."""
    planing_mm: float = _INCH / 32
    """Taken off each sawn surface, flattening a leaf that moved included."""
    outer_planing_mm: float = _INCH / 32
    """Taken off the board's own face and back; 0 where they are already clean."""
    edge_waste_mm: float = 0.0
    """To true each rough edge of a board."""
    rip_mm: float = _INCH / 8
    """Kerf of a rip."""
    joint_mm: float = _INCH / 16
    """Taken off each edge that is glued."""
    crosscut_mm: float = _INCH / 8
    """Kerf of a crosscut."""
    end_waste_mm: float = _INCH
    """Checks and snipe, from each end of a board."""
    over_length_mm: float = _INCH / 4
    """Left on a glued panel at each end until it is trimmed."""
    over_width_mm: float = _INCH / 4
    """And at each side."""
    shortest_planed_mm: float = 12 * _INCH
    """From the planer's manual; a shorter piece is flagged."""
    thinnest_planed_mm: float = _INCH / 4
    """From the planer's manual; a thinner leaf is flagged."""

    narrowest_ripped_mm: float = 1.5 * _INCH
    """From the table saw's manual; a narrower strip is flagged."""
    shortest_ripped_mm: float = 12 * _INCH
    """From the table saw's manual; a shorter piece at the rip is flagged."""
    shortest_crosscut_mm: float = 6 * _INCH
    """From the table saw's manual; a shorter piece is flagged."""

    def __post_init__(self) -> None:
        for f in fields(self):
            if not getattr(self, f.name) >= 0:
                raise ValueError(f"{f.name} must be 0 or more, got {getattr(self, f.name)}")
        if not self.kerf_mm > 0:
            raise ValueError("kerf_mm must be greater than 0: every saw takes something")


@dataclass(frozen=True, slots=True)
class Room:
    """The air of a room: temperature and relative humidity."""

    temperature_c: float
    humidity_percent: float

    def __post_init__(self) -> None:
        if not 0 < self.humidity_percent < 100:
            raise ValueError(f"humidity is between 0 and 100 per cent, got {self.humidity_percent}")


@dataclass(frozen=True, slots=True)
class Climate:
    """The driest and the dampest air that the piece will live in."""

    driest: Room = Room(20.0, 25.0)
    dampest: Room = Room(25.0, 65.0)
