"""After the saw: what the leaves themselves show, and which of them are gone.

Flattened leaf photos are kept in the job's `out/` folder, so that planning again does not flatten them again.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

from grainplan.boards import Leaf, RoughBoard, Side, Surface
from grainplan.errors import NotFound, PlanError
from grainplan.job import Job, LeafReport
from grainplan.jobfolder.boardsfile import mark_board
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.photos.flatten import flatten_side
from grainplan.picture import Picture, encode_picture, read_picture
from grainplan.units import Units, format_length

LEAVES_FOLDER = "out/leaves"
_SHOT_LIKE: dict[Surface, Side] = {"near": "face", "far": "back"}
_KEPT_FORM = 1
"""Raised whenever flattening changes, so that what an older program kept is not taken for its own."""

_Flat = tuple[Picture, tuple[str, ...]]


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


def read_leaves(job: Job) -> tuple[SawnLeaf, ...]:
    """The leaves that the maker has reported after the saw: their real surfaces, and which of them are gone."""
    return tuple(read_leaf(report, job) for report in job.leaf_reports)


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
        found = _flatten(_as_board(job.board(report.leaf.board), report, side), report.leaf, surface, job.folder)
        if isinstance(found, NotFound):
            caveats.append(f"leaf {report.leaf.name}, {surface}: {found.reason}")
        else:
            pictures[surface] = found[0]
            caveats += [f"leaf {report.leaf.name}, {surface}: {caveat}" for caveat in found[1]]
    return SawnLeaf(report.leaf, pictures, caveats=tuple(caveats))


def explain_lost(report: LeafReport, job: Job) -> str | None:
    """Why a leaf is of no use any more, in the maker's words or by its thickness; no photo is looked at."""
    return report.lost or _explain_thin(report, finished_mm=job.panel.thickness_mm, units=job.units)


def list_lost(job: Job) -> dict[Leaf, str]:
    """The leaves that are of no use any more, and why; one in a bay that is made may be as thin as it is."""
    done = {bay.name for bay in job.bays if bay.done}
    made = {leaf for keep in job.keeps if keep.bay in done for leaf in keep.leaves}
    reports = [report for report in job.leaf_reports if report.lost or report.leaf not in made]
    return {report.leaf: why for report in reports if (why := explain_lost(report, job))}


def _flatten(as_board: RoughBoard, leaf: Leaf, surface: Surface, job_folder: Path) -> _Flat | NotFound:
    """One surface square-on, from `out/` where it lies there of the same photo, corners and sizes."""
    folder = job_folder / LEAVES_FOLDER
    name = f"{leaf.name}-{surface}-{mark_board(as_board)}-{_KEPT_FORM}"
    kept = _read_kept(folder, name)
    if kept is not None:
        return kept
    found = flatten_side(as_board, _SHOT_LIKE[surface])
    if isinstance(found, NotFound):
        return found
    make_folder(folder)
    for old in folder.iterdir():
        if old.name.startswith(f"{leaf.name}-{surface}-"):
            old.unlink(missing_ok=True)
    replace_file(folder / f"{name}.png", encode_picture(found.picture))
    told = {"px_per_mm": found.picture.px_per_mm, "caveats": list(found.caveats)}
    replace_file(folder / f"{name}.json", json.dumps(told).encode())
    return found.picture, found.caveats


def _read_kept(folder: Path, name: str) -> _Flat | None:
    """None where it is missing or damaged."""
    try:
        told = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
        picture = read_picture(folder / f"{name}.png", float(told["px_per_mm"]))
        return picture, tuple(str(caveat) for caveat in told["caveats"])
    except (OSError, ValueError, KeyError, TypeError, PlanError):
        return None


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
