"""From a job file that was found right to the things of the program."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from grainplan.boards import SIDES, ClearSpot, Flaw, Piece, Point, RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.frame import Bay, FrameLook, PanelMaking
from grainplan.geometry import Box
from grainplan.job import Job, Keep, LeafReport, LeaveOut, RingBands
from grainplan.jobfolder.shape import (
    BayShape,
    BoardShape,
    ClearShape,
    FlawShape,
    JobShape,
    KeepShape,
    LeafShape,
    PhotoShape,
    ShrinkageShape,
)
from grainplan.plan import Weights
from grainplan.shop import Climate, Room, Shop
from grainplan.species import Species, find_species, make_own_species, tell_alias
from grainplan.units import format_length

_T = TypeVar("_T")
_SAME_MM = 0.01


def build_job(shape: JobShape, file: Path, *, sha256: str) -> Job:
    """Pour a checked shape into the frozen :class:`Job`; what the maker left out takes the program's default."""
    folder = file.parent
    woods = [_find_wood(board, shape) for board in shape.board]
    return Job(
        folder=folder,
        file_name=file.name,
        sha256=sha256,
        title=shape.title or folder.name,
        units=shape.units or "in",
        boards=tuple(_build_board(b, shape, folder) for b in shape.board),
        remarks=(
            *dict.fromkeys(remark for _, remark in woods if remark),
            *_remark_on_mirrors(shape),
            *(f"[panel], edge: {said}" for said in _build_panel(shape).judge_edge(shape.units or "in")),
        ),
        bays=tuple(_build_bay(b, {other.name for other in shape.bay}) for b in shape.bay),
        species={wood.name: wood for wood, _ in woods},
        shop=_fill(Shop, shape.shop, "_mm"),
        climate=_build_climate(shape),
        frame=_fill(FrameLook, shape.frame, "_mm"),
        panel=_build_panel(shape),
        weights=_fill(Weights, shape.weights, ""),
        ring_bands=_fill(RingBands, shape.ring_bands, "_deg"),
        keeps=tuple(_build_keep(row) for row in shape.keep),
        leave_outs=tuple(LeaveOut(row.board or "", row.bay) for row in shape.leave_out),
        leaf_reports=tuple(_build_leaf(row, folder) for row in shape.leaf),
        spare_pair=bool(shape.wish.spare_pair),
        rounding=shape.wood.rounding or "exact",
    )


def _fill(kind: type[_T], shape: BaseModel, unit: str) -> _T:
    """A dataclass from the keys that the maker wrote, its own defaults for the others."""
    names = {f.name for f in dataclasses.fields(kind)}  # type: ignore[arg-type]
    written = {
        key if key in names else key + unit: value for key, value in shape.model_dump().items() if value is not None
    }
    return kind(**written)


def _build_climate(shape: JobShape) -> Climate:
    if shape.climate is None:
        return Climate()
    rooms = []
    for room in (shape.climate.driest, shape.climate.dampest):
        if room is None or room.temperature is None or room.humidity is None:
            raise ValueError("a climate needs both rooms")
        rooms.append(Room(room.temperature, room.humidity))
    return Climate(*rooms)


def _build_panel(shape: JobShape) -> PanelMaking:
    written = {k: v for k, v in shape.panel.model_dump().items() if v is not None}
    in_mm = {"thickness", "groove", "end_gap", "groove_width", "tongue"}
    named = {f"{k}_mm" if k in in_mm else "float_mm" if k == "room" else k: v for k, v in written.items()}
    return PanelMaking(**named)


def _remark_on_mirrors(shape: JobShape) -> tuple[str, ...]:
    bays = {bay.name: bay for bay in shape.bay}
    units = shape.units or "in"
    remarks = []
    for bay in shape.bay:
        other = bays.get(bay.mirror)
        if bay.mirror is not None and other is None:
            remarks.append(
                f'Bay {bay.name}, mirror: there is no bay "{bay.mirror}" yet; nothing is mirrored until then'
            )
        elif bay.mirror is not None and other is not None:
            unlike = [
                f"{key} ({format_length(mine, units)} and {format_length(its, units)})"
                for key in ("width", "upper", "lower", "rail", "panel", "arch")
                if abs((mine := getattr(bay, key) or 0.0) - (its := getattr(other, key) or 0.0)) > _SAME_MM
            ]
            if unlike:
                remarks.append(
                    f"Bay {bay.name}, mirror: bay {bay.mirror} differs in {', '.join(unlike)}, so the two cannot be "
                    "mirror images; they are only made of like boards"
                )
    return tuple(remarks)


def _build_bay(bay: BayShape, names: set[str | None]) -> Bay:
    lengths = {f"{key}_mm": getattr(bay, key) for key in ("width", "upper", "lower", "rail", "panel", "arch")}
    words = {key: getattr(bay, key) for key in ("view", "alike", "seen", "matters", "done", "end_match")}
    words["mirror"] = bay.mirror if bay.mirror in names else None
    return Bay(name=bay.name or "", **{k: v for k, v in (lengths | words).items() if v is not None})


def _build_board(board: BoardShape, shape: JobShape, folder: Path) -> RoughBoard:
    length, width, thickness = board.length, board.width, board.thickness
    if not (board.name and length and width and thickness):
        raise ValueError("a board needs a name, a length, a width and a thickness")
    moisture = board.moisture if board.moisture is not None else shape.wood.moisture
    if moisture is None:
        raise ValueError(f"board {board.name} has no moisture")
    whole = (0.0, length), (0.0, max(width, board.width_head or 0.0))
    return RoughBoard(
        name=board.name,
        length_mm=length,
        width_mm=width,
        thickness_mm=thickness,
        species=_find_wood(board, shape)[0].name,
        moisture_percent=moisture,
        width_head_mm=board.width_head,
        cup_mm=board.cup or 0.0,
        bow_mm=board.bow or 0.0,
        crook_mm=board.crook or 0.0,
        twist_mm=board.twist or 0.0,
        photos={s: tuple(_build_photo(p, folder) for p in getattr(board, s)) for s in SIDES if getattr(board, s)},
        flaws=tuple(_build_flaw(f, whole[1][1], length) for f in board.flaw),
        clear=tuple(_build_clear(c, whole[1][1], length) for c in board.clear),
        pieces=tuple(Piece(p.name or "", _span_box(p.x or whole[0], p.y or whole[1])) for p in board.pieces),
        price=board.price,
    )


def _build_photo(photo: PhotoShape, folder: Path) -> SidePhoto:
    return SidePhoto(
        folder / (photo.photo or ""), corners=photo.corners, foot=photo.foot, x_mm=photo.x, grey_card=photo.grey_card
    )


def _span_box(x: tuple[float, float], y: tuple[float, float]) -> Box:
    return Box(x[0], y[0], x[1], y[1])


def _build_flaw(flaw: FlawShape, width: float, length: float) -> Flaw:
    if flaw.kind is None or flaw.on is None or flaw.start is None or flaw.end is None:
        raise ValueError("a flaw needs its kind, its side and two corners")
    box = _box_within(flaw.start, flaw.end, length=length, width=width)
    return Flaw(flaw.kind, flaw.on, box, avoid=flaw.avoid is not False)


def _build_clear(spot: ClearShape, width: float, length: float) -> ClearSpot:
    if spot.on is None or spot.start is None or spot.end is None:
        raise ValueError("a clear spot needs its side and two corners")
    return ClearSpot(spot.on, _box_within(spot.start, spot.end, length=length, width=width), spot.kind)


def _box_within(one: Point, other: Point, *, length: float, width: float) -> Box:
    """The box between two corners in any order, no larger than the board."""
    (xa, ya), (xb, yb) = one, other
    return Box(min(xa, xb), min(ya, yb), min(max(xa, xb), length), min(max(ya, yb), width))


def _build_keep(row: KeepShape) -> Keep:
    x, y = row.where or (None, None)
    return Keep(row.bay or "", row.leaves or (), x_mm=x, y_mm=y, foot=row.foot)


def _build_leaf(row: LeafShape, folder: Path) -> LeafReport:
    if row.leaf is None:
        raise ValueError("a leaf report needs its leaf")
    return LeafReport(
        row.leaf,
        near=_build_photo(row.near[0], folder) if row.near else None,
        far=_build_photo(row.far[0], folder) if row.far else None,
        thickness_mm=row.thickness,
        cup_mm=row.cup or 0.0,
        lost=row.lost,
    )


def _find_wood(board: BoardShape, shape: JobShape) -> tuple[Species, str | None]:
    """The species of a board, and what the maker's word was taken for where it is not the table's own."""
    wood = shape.wood
    name = board.species or wood.species
    if board.shrinkage is not None:
        return _own_species(f"{name or 'own wood'} (board {board.name})", board.shrinkage), None
    if board.species is None and wood.shrinkage is not None:
        return _own_species(f"{name or 'own wood'} (own figures)", wood.shrinkage), None
    found = find_species(name or "")
    if isinstance(found, NotFound):
        raise ValueError(f"board {board.name}: {found.reason}")
    return found, tell_alias(name or "", found)


def _own_species(name: str, own: ShrinkageShape) -> Species:
    if own.radial is None or own.tangential is None:
        raise ValueError("shrinkage needs radial and tangential")
    return make_own_species(name, own.radial, tangential_percent=own.tangential)
