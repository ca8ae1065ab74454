"""After the saw: what the leaves themselves show, and which of them are gone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from grainplan.boards import Leaf, RoughBoard, Side, Surface
from grainplan.errors import NotFound
from grainplan.job import Job, LeafReport
from grainplan.photos.flatten import flatten_side
from grainplan.picture import Picture
from grainplan.units import Units, format_length

_SHOT_LIKE: dict[Surface, Side] = {"near": "face", "far": "back"}


@dataclass(frozen=True, slots=True)
class SawnLeaf:
    """A leaf that the maker has reported.

    Parameters
    ----------
    leaf : Leaf
    pictures : mapping of surface to Picture
        Its real surfaces, in the frame of its board.
    lost : str or None
        Why it is of no use any more.
    caveats : tuple of str
    """

    leaf: Leaf
    pictures: dict[Surface, Picture] = field(default_factory=dict)
    lost: str | None = None
    caveats: tuple[str, ...] = ()


def read_leaf(report: LeafReport, job: Job) -> SawnLeaf:
    """Flatten the photos of a sawn leaf, and say whether it still makes its thickness.

    A leaf keeps its place in the board frame: its near surface is photographed like the board's face, its far surface
    like the board's back, the foot where it was.

    Raises
    ------
    PhotoError
        When a photo cannot be read or its corners cannot be right.
    """
    lost = explain_lost(report, job)
    if lost:
        return SawnLeaf(report.leaf, lost=lost)
    pictures: dict[Surface, Picture] = {}
    caveats: list[str] = []
    for surface, side in _SHOT_LIKE.items():
        photo = report.near if surface == "near" else report.far
        if photo is None:
            continue
        found = flatten_side(_as_board(job.board(report.leaf.board), report, side), side)
        if isinstance(found, NotFound):
            caveats.append(f"leaf {report.leaf.name}, {surface}: {found.reason}")
        else:
            pictures[surface] = found.picture
            caveats += [f"leaf {report.leaf.name}, {surface}: {caveat}" for caveat in found.caveats]
    return SawnLeaf(report.leaf, pictures, caveats=tuple(caveats))


def explain_lost(report: LeafReport, job: Job) -> str | None:
    """Why a leaf is of no use any more, in the maker's words or by its thickness; no photo is looked at."""
    return report.lost or _explain_thin(report, finished_mm=job.panel.thickness_mm, units=job.units)


def _as_board(board: RoughBoard, report: LeafReport, side: Side) -> RoughBoard:
    """The leaf as if it were a board with one photo: it is as long and as wide as its board."""
    photo = report.near if side == "face" else report.far
    assert photo is not None
    return replace(board, photos={side: (photo,)}, flaws=())


def _explain_thin(report: LeafReport, *, finished_mm: float, units: Units) -> str | None:
    """Why a leaf does not make its thickness any more; None where it does or nobody has measured it.

    A cupped leaf loses its cup when it is planed flat, as a board does.
    """
    if report.thickness_mm is None:
        return None
    flat_mm = report.thickness_mm - report.cup_mm
    if flat_mm >= finished_mm - 1e-6:
        return None
    measured, cup, wanted = (format_length(v, units) for v in (report.thickness_mm, report.cup_mm, finished_mm))
    hollow = f" less {cup} of cup" if report.cup_mm else ""
    return f"it measures {measured}{hollow}, which does not make {wanted}"
