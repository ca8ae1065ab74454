"""What must be told of each board in a job file: its sizes, its wood, its photos, flaws, pieces. In mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grainplan.boards import BROAD_SIDES, SIDES
from grainplan.errors import NotFound
from grainplan.geometry import Box, signed_area
from grainplan.jobfolder.shape import BoardShape, ClearShape, FlawShape, JobShape, PhotoShape, ShrinkageShape
from grainplan.jobfolder.values import show_value
from grainplan.jobfolder.words import Faults, Loc
from grainplan.species import find_species
from grainplan.units import Units, format_length

_TOLERANCE_MM = 0.5  # a rule laid on rough wood; what lies less far outside is taken as at the edge
TURNING = "In the picture they turn clockwise on the face and the foot and counter-clockwise on the back and the head"
_TURNING_LEAF = "In the picture they turn clockwise on the near surface and counter-clockwise on the far one"
_CLOCKWISE = {"face": True, "foot": True, "back": False, "head": False, "near": True, "far": False}
_ORDER = {
    "broad": "foot at the face edge, head at the face edge, head at the other edge, foot at the other edge",
    "end": "face edge at the face side, other edge at the face side, other edge at the back, face edge at the back",
}


@dataclass(frozen=True, slots=True)
class BoardCheck:
    """What one value of a board alone cannot tell.

    Parameters
    ----------
    shape : JobShape
        What could be read.
    faults : Faults
        Gathers what is found.
    """

    shape: JobShape
    faults: Faults

    def run(self) -> None:
        """Look at every board and at every leaf's photos."""
        wood = self.shape.wood
        self._check_species(("wood",), wood.species, wood.shrinkage)
        self._check_names()
        for i, board in enumerate(self.shape.board):
            self._check_sizes(("board", i), board)
            self._check_wood(("board", i), board)
            self._check_flaws(("board", i), board)
            self._check_pieces(("board", i), board)
            for side in SIDES:
                self._check_photos(("board", i, side), getattr(board, side), board.length)
        for i, leaf in enumerate(self.shape.leaf):
            for surface in ("near", "far"):
                self._check_photos(("leaf", i, surface), getattr(leaf, surface), None)

    @property
    def _units(self) -> Units:
        return self.shape.units or "in"

    def _show(self, length_mm: float) -> str:
        return format_length(length_mm, self._units)

    def _need(self, loc: Loc, value: object, how: str) -> None:
        if value is None and not self.faults.refused(loc):
            self.faults.add(loc[:-1], f"{loc[-1]} is missing; write it like {how}")

    def _check_names(self) -> None:
        seen: dict[str, str] = {}
        for i, board in enumerate(self.shape.board):
            self._need(("board", i, "name"), board.name, 'name = "A"')
            named: list[tuple[Loc, str, str | None]] = [(("board", i, "name"), f"board {i + 1}", board.name)]
            for j, piece in enumerate(board.pieces):
                self._need(("board", i, "pieces", j, "name"), piece.name, 'name = "A left"')
                named.append((("board", i, "pieces", j, "name"), f"piece {j + 1} of board {i + 1}", piece.name))
            for loc, what, name in named:
                if name is None:
                    continue
                first = seen.setdefault(name.casefold(), what)
                if first != what:
                    self.faults.add(
                        loc,
                        f"{first} and {what} are both named {show_value(name)}; each needs a name of its own "
                        "(small and capital letters do not tell two names apart)",
                    )

    def _check_sizes(self, loc: Loc, board: BoardShape) -> None:
        self._need((*loc, "length"), board.length, 'length = "72 in"')
        self._need((*loc, "width"), board.width, 'width = "7 1/4 in", at the narrowest')
        self._need((*loc, "thickness"), board.thickness, 'thickness = "15/16 in", at the thinnest, by caliper')
        thickness, width = board.thickness, board.width
        if thickness and width and thickness > width:
            self.faults.add(
                (*loc, "thickness"),
                f"{self._show(thickness)} is more than the width, {self._show(width)}; are the two swapped?",
            )
        for warp in ("cup", "bow", "twist"):
            value = getattr(board, warp)
            if value and thickness and value >= thickness:
                self.faults.add(
                    (*loc, warp),
                    f"{self._show(value)} is as much as the board is thick ({self._show(thickness)}): nothing would be "
                    "left once it is flat; measure again, or crosscut and rip the board first and enter its pieces",
                )
        if board.crook and width and board.crook >= width:
            self.faults.add(
                (*loc, "crook"), f"{self._show(board.crook)} is as much as the board is wide ({self._show(width)})"
            )

    def _check_wood(self, loc: Loc, board: BoardShape) -> None:
        wood = self.shape.wood
        self._check_species(loc, board.species, board.shrinkage)
        told = any(v is not None for v in (board.species, board.shrinkage, wood.species, wood.shrinkage))
        places: tuple[Loc, ...] = (("wood", "species"), ("wood", "shrinkage"), (*loc, "species"), (*loc, "shrinkage"))
        if not told and not any(self.faults.refused(p) for p in places):
            self.faults.add(
                loc, 'its species is missing; write species = "white ash" here or under [wood] for all boards'
            )
        dry = board.moisture is not None or wood.moisture is not None
        if not dry and not self.faults.refused((*loc, "moisture")) and not self.faults.refused(("wood", "moisture")):
            self.faults.add(
                loc, "its moisture is missing; write moisture = 8.0 (per cent) here or under [wood] for all boards"
            )

    def _check_species(self, loc: Loc, name: str | None, shrinkage: ShrinkageShape | None) -> None:
        if shrinkage is not None:
            self._need((*loc, "shrinkage", "radial"), shrinkage.radial, "radial = 4.9")
            self._need((*loc, "shrinkage", "tangential"), shrinkage.tangential, "tangential = 7.8")
            radial, tangential = shrinkage.radial, shrinkage.tangential
            if radial is not None and tangential is not None and radial > tangential:
                self.faults.add(
                    (*loc, "shrinkage"),
                    f"radial ({radial:g}) is more than tangential ({tangential:g}), as in no wood; are they swapped?",
                )
        elif name is not None and isinstance(found := find_species(name), NotFound):
            self.faults.add((*loc, "species"), found.reason)

    def _check_flaws(self, loc: Loc, board: BoardShape) -> None:
        for i, flaw in enumerate(board.flaw):
            here: Loc = (*loc, "flaw", i)
            self._need((*here, "kind"), flaw.kind, 'kind = "knot"')
            self._need((*here, "on"), flaw.on, 'on = "face", "back" or "through"')
            self._need((*here, "from"), flaw.start, 'from = ["20 in", "1 in"], along and across the board')
            self._need((*here, "to"), flaw.end, 'to = ["22 in", "2 1/2 in"], along and across the board')
            self._check_box(here, board, flaw)
        for i, clear in enumerate(board.clear):
            here = (*loc, "clear", i)
            self._need((*here, "on"), clear.on, 'on = "face" or "back"')
            self._need((*here, "from"), clear.start, 'from = ["20 in", "1 in"], along and across the board')
            self._need((*here, "to"), clear.end, 'to = ["22 in", "2 1/2 in"], along and across the board')
            self._check_box(here, board, clear)

    def _check_box(self, loc: Loc, board: BoardShape, spot: FlawShape | ClearShape) -> None:
        for key, corner in (("from", spot.start), ("to", spot.end)):
            if corner is not None:
                self._check_inside((*loc, key), board, corner)

    def _check_inside(self, loc: Loc, board: BoardShape, spot: Sequence[float]) -> None:
        x, y = spot
        width = max(board.width, board.width_head or 0.0) if board.width else None
        if board.length and x > board.length + _TOLERANCE_MM:
            self.faults.add(
                loc, f"lies {self._show(x)} from the foot, outside the board, which is {self._show(board.length)} long"
            )
        if width and y > width + _TOLERANCE_MM:
            self.faults.add(
                loc, f"lies {self._show(y)} from the face edge, outside the board, which is {self._show(width)} wide"
            )

    def _check_pieces(self, loc: Loc, board: BoardShape) -> None:
        boxes: list[tuple[int, Box]] = []
        for i, piece in enumerate(board.pieces):
            here: Loc = (*loc, "pieces", i)
            if (
                piece.x is None
                and piece.y is None
                and not self.faults.refused((*here, "x"))
                and not self.faults.refused((*here, "y"))
            ):
                self.faults.add(here, 'tells no place; write x = ["0 in", "36 in"] or y = ["0 in", "3 in"], or both')
            if not board.length or not board.width:
                continue
            x, y = piece.x or (0.0, board.length), piece.y or (0.0, max(board.width, board.width_head or 0.0))
            for key, (start, end) in (("x", x), ("y", y)):
                if end <= start:
                    backwards = f"{self._show(start)} to {self._show(end)}"
                    self.faults.add((*here, key), f"must run from the smaller to the larger; you wrote {backwards}")
            self._check_inside(here, board, (x[1], y[1]))
            if x[1] > x[0] and y[1] > y[0]:
                box = Box(x[0], y[0], x[1], y[1])
                for j, other in boxes:
                    if box.overlaps(other):
                        self.faults.add(
                            here, f"overlaps piece {j + 1} of the same board; each piece is cut free of the others"
                        )
                boxes.append((i, box))

    def _check_photos(self, loc: Loc, photos: Sequence[PhotoShape], length: float | None) -> None:
        side = str(loc[-1])
        end = side in ("foot", "head")
        for i, photo in enumerate(photos):
            here: Loc = (*loc, i)
            self._need((*here, "photo"), photo.photo, 'photo = "photos/a-face.jpg"')
            if end and photo.foot is not None:
                self.faults.add(here, "a photo of an end shows no length, so foot says nothing there; take it out")
            if photo.x is not None and side not in BROAD_SIDES:
                self.faults.add(here, "x is for a face or back in several photos; take it out")
            self._check_corners((*here, "corners"), photo, side, end=end)
        if len(photos) > 1 and side not in BROAD_SIDES:
            self.faults.add(loc, "takes one photo; only face and back may be several")
        elif photos and side in BROAD_SIDES:
            self._check_stretches(loc, photos, length)

    def _check_stretches(self, loc: Loc, photos: Sequence[PhotoShape], length: float | None) -> None:
        reached: float | None = None
        for i, photo in enumerate(photos):
            here: Loc = (*loc, i, "x")
            if photo.x is None:
                if len(photos) > 1:
                    self._need(here, None, 'x = ["0 in", "40 in"], the part of the length that this photo shows')
                reached = None
                continue
            start, end = photo.x
            if end <= start:
                self.faults.add(here, f"must run from foot to head; you wrote {self._show(start)} to {self._show(end)}")
            elif length and end > length + _TOLERANCE_MM:
                self.faults.add(here, f"reaches {self._show(end)}, but the board is {self._show(length)} long")
            elif reached is not None and start > reached + _TOLERANCE_MM:
                self.faults.add(
                    here,
                    f"begins at {self._show(start)}, but the photo before it ends at {self._show(reached)}; "
                    "photos of one side must overlap, in order from foot to head",
                )
            reached = max(end, reached or 0.0)

    def _check_corners(self, loc: Loc, photo: PhotoShape, side: str, *, end: bool) -> None:
        if photo.corners is None:
            return
        area = signed_area(photo.corners)
        turns = [
            signed_area([photo.corners[i], photo.corners[(i + 1) % 4], photo.corners[(i + 2) % 4]]) for i in range(4)
        ]
        order = _ORDER["end" if end else "broad"]
        if abs(area) < 100 or any(abs(t) < 1 for t in turns):
            self.faults.add(
                loc, "these four points enclose no rectangle: three of them are in line, or too close together"
            )
        elif min(turns) < 0 < max(turns):
            self.faults.add(loc, f"two sides of these four points cross or bend inward; the order is {order}")
        elif (area > 0) != _CLOCKWISE[side]:
            way = "clockwise" if area > 0 else "counter-clockwise"
            turning = _TURNING_LEAF if side in ("near", "far") else TURNING
            self.faults.add(loc, f"these corners turn {way}. {turning}; the order is {order}")
