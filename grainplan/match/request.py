"""What is asked of the match: bays with their sizes, measured boards and their leaves, the shop, the maker's wishes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from grainplan.boards import Leaf, MeasuredBoard
from grainplan.frame import Bay, BaySize, PanelMaking
from grainplan.job import Keep, LeaveOut
from grainplan.match.surfaces import Surfaces
from grainplan.plan import BoardUse, Weights
from grainplan.shop import Shop
from grainplan.units import Units


@dataclass(frozen=True, slots=True)
class Request:
    """Everything that the choice of leaves goes by.

    Parameters
    ----------
    bays : the bays of the job, in its order; those already made are left alone.
    sizes : by bay name, its panels from sight size to rough.
    boards : the measured boards, in the job's order.
    uses : by board name, how it is resawn; a board without leaves, or left out here, gives nothing.
    kept, left_out : the maker's wishes: what stays as it is, and boards that are not to be used.
    surfaces : by leaf and surface, its picture and what that is worth.
    lost : leaves that are gone, with the reason.
    spare_pair : whether wood is to be kept that could replace a panel; `match.spare` follows it.
    books : seam comparisons by density, filled as they are made; hand them on to the next request over the same
        surfaces, and they are not made again.
    seams_folder : where comparisons are kept from one day to the next; None where they are not.
    """

    title: str
    job_sha256: str
    bays: tuple[Bay, ...]
    sizes: Mapping[str, BaySize]
    boards: tuple[MeasuredBoard, ...]
    uses: Mapping[str, BoardUse]
    making: PanelMaking = field(default_factory=PanelMaking)
    shop: Shop = field(default_factory=Shop)
    weights: Weights = field(default_factory=Weights)
    kept: tuple[Keep, ...] = ()
    left_out: tuple[LeaveOut, ...] = ()
    surfaces: Surfaces = field(default_factory=dict)
    lost: Mapping[Leaf, str] = field(default_factory=dict)
    units: Units = "in"
    spare_pair: bool = False
    books: dict[float, Any] = field(default_factory=dict)
    seams_folder: Path | None = None

    def __post_init__(self) -> None:
        missing = [bay.name for bay in self.bays if bay.name not in self.sizes]
        if missing:
            raise ValueError(f"no sizes for bay {missing[0]}")
        names = [board.name for board in self.boards]
        if len(set(names)) != len(names):
            raise ValueError("two boards have the same name")
