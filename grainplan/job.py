"""A checked job: what to make, from which boards, with which machines."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from grainplan.boards import Leaf, RoughBoard, SidePhoto
from grainplan.frame import Bay, FrameLook, PanelMaking
from grainplan.plan import Foot, Weights
from grainplan.shop import Climate, Shop
from grainplan.species import Species
from grainplan.units import Units

BoardFeetRounding = Literal["exact", "trade", "up"]


@dataclass(frozen=True, slots=True)
class RingBands:
    """Ring angles, in degrees, up to which wood counts as plain and as rift; above is quarter.

    The default is that of the Architectural Woodwork Standards, 1st edition (2009), appendix B, p. 449.
    """

    plain_to_deg: float = 30.0
    rift_to_deg: float = 60.0

    def __post_init__(self) -> None:
        if not 0 < self.plain_to_deg < self.rift_to_deg < 90:
            raise ValueError(f"ring bands must rise between 0 and 90 degrees, got {self}")


@dataclass(frozen=True, slots=True)
class Keep:
    """A choice that stays as it is: these leaves, left to right, in this bay, from this place along and across."""

    bay: str
    leaves: tuple[Leaf, ...]
    x_mm: float | None = None
    y_mm: float | None = None
    foot: Foot | None = None


@dataclass(frozen=True, slots=True)
class LeaveOut:
    """A board that is not to be used: in one bay, or in none where `bay` is None."""

    board: str
    bay: str | None = None


@dataclass(frozen=True, slots=True)
class LeafReport:
    """What became of a leaf after the saw: its own photos and thickness, or why it is lost."""

    leaf: Leaf
    near: SidePhoto | None = None
    far: SidePhoto | None = None
    thickness_mm: float | None = None
    cup_mm: float = 0.0
    lost: str | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """Everything that `job.toml` says, checked, in millimetres.

    Parameters
    ----------
    folder : Path
        The job folder, absolute.
    sha256 : str
        Of the file as read, so that a plan knows which job it belongs to.
    units : {"in", "mm"}
        What bare numbers meant and what is printed.
    species : mapping of name to Species
        Every species that a board of the job is of, its own ``shrinkage`` table included.
    remarks : tuple of str
        What a word of the file was taken for, where the maker should know ("ash" is taken as white ash).
    file_name : str
        Of the job file in its folder.
    missing_photos : tuple of str
        Photos that the file names and that are not there, a sentence each, where the job was read all the same.
    """

    folder: Path
    sha256: str
    title: str
    units: Units
    boards: tuple[RoughBoard, ...]
    bays: tuple[Bay, ...]
    species: dict[str, Species]
    shop: Shop = field(default_factory=Shop)
    climate: Climate = field(default_factory=Climate)
    frame: FrameLook = field(default_factory=FrameLook)
    panel: PanelMaking = field(default_factory=PanelMaking)
    weights: Weights = field(default_factory=Weights)
    ring_bands: RingBands = field(default_factory=RingBands)
    keeps: tuple[Keep, ...] = ()
    leave_outs: tuple[LeaveOut, ...] = ()
    leaf_reports: tuple[LeafReport, ...] = ()
    spare_pair: bool = False
    rounding: BoardFeetRounding = "exact"
    remarks: tuple[str, ...] = ()
    file_name: str = "job.toml"
    missing_photos: tuple[str, ...] = ()

    def board(self, name: str) -> RoughBoard:
        """The board of that name; :class:`ValueError` where there is none."""
        for board in self.boards:
            if board.name == name:
                return board
        raise ValueError(f"the job has no board {name}")
