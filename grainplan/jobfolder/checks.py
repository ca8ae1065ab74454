"""What must be there in a job file, and what its parts must say to each other. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from grainplan.frame import PanelMaking
from grainplan.jobfolder.boardchecks import BoardCheck
from grainplan.jobfolder.shape import BayShape, JobShape, LeafShape
from grainplan.jobfolder.values import guess_word, list_words, show_value
from grainplan.jobfolder.words import Faults, Loc
from grainplan.units import Units, format_length

_TOLERANCE_MM = 0.01


@dataclass(frozen=True, slots=True)
class JobCheck:
    """Everything that one value alone cannot tell.

    Parameters
    ----------
    shape : JobShape
        What could be read; a value that was refused is None, and `faults` knows its place.
    faults : Faults
        Gathers what is found.
    """

    shape: JobShape
    faults: Faults

    def run(self) -> None:
        """Look at everything, telling all that is wrong."""
        self._check_top()
        self._check_climate()
        self._check_panel()
        self._check_ring_bands()
        self._check_bays()
        self._check_mirrors()
        BoardCheck(self.shape, self.faults).run()
        self._check_keeps()
        self._check_leave_outs()
        self._check_leaves()

    @property
    def _units(self) -> Units:
        return self.shape.units or "in"

    def _show(self, length_mm: float) -> str:
        return format_length(length_mm, self._units)

    def _need(self, loc: Loc, value: object, how: str) -> bool:
        """Tell a missing value, unless it was written and refused; answers whether there is one."""
        if value is None and not self.faults.refused(loc):
            self.faults.add(loc[:-1], f"{loc[-1]} is missing; write it like {how}")
        return value is not None

    def _check_top(self) -> None:
        self._need(("units",), self.shape.units, 'units = "in" or units = "mm", near the top of the file')

    def _check_climate(self) -> None:
        climate = self.shape.climate
        if climate is None:
            return
        example = '{ temperature = "68 F", humidity = 25 }'
        for name in ("driest", "dampest"):
            room = getattr(climate, name)
            if self._need(("climate", name), room, f"{name} = {example}"):
                self._need(("climate", name, "temperature"), room.temperature, 'temperature = "68 F"')
                self._need(("climate", name, "humidity"), room.humidity, "humidity = 25")
        dry = climate.driest.humidity if climate.driest else None
        damp = climate.dampest.humidity if climate.dampest else None
        if dry is not None and damp is not None and dry > damp:
            self.faults.add(
                ("climate",),
                f"the driest room has {dry:g} per cent, more than the dampest ({damp:g}); are they swapped?",
            )

    def _check_panel(self) -> None:
        panel, tell = self.shape.panel, self.faults.add
        groove, thickness = panel.groove, panel.thickness
        if groove and panel.end_gap is not None and panel.end_gap >= groove:
            tell(("panel", "end_gap"), f"must be less than the groove is deep, {self._show(groove)}; {_tip('1/16 in')}")
        if groove and panel.room is not None and panel.room >= 2 * groove:
            tell(
                ("panel", "float"),
                f"{self._show(panel.room)} of room would let the panel fall out of its grooves, "
                f"{self._show(groove)} deep on each side",
            )
        edge = panel.edge or "flat"
        if edge == "flat" and panel.tongue is not None:
            tell(("panel", "tongue"), 'a flat panel has no tongue; write edge = "rebated" or "raised", or take it out')
        if edge != "flat":
            self._need(("panel", "tongue"), panel.tongue, 'tongue = "3/16 in", the thickness that enters the groove')
        if panel.tongue and thickness and panel.tongue >= thickness:
            tell(("panel", "tongue"), f"must be thinner than the panel, {self._show(thickness)}")
        enters = thickness if edge == "flat" else panel.tongue
        if panel.groove_width and enters and enters > panel.groove_width + _TOLERANCE_MM:
            tell(
                ("panel", "groove_width"),
                f"what enters the groove is {self._show(enters)} thick and does not go into "
                f"{self._show(panel.groove_width)}; widen the groove or thin the edge",
            )

    def _check_ring_bands(self) -> None:
        plain, rift = self.shape.ring_bands.plain_to, self.shape.ring_bands.rift_to
        if (plain is not None and rift is not None and plain >= rift) or plain == 90 or rift == 90:
            self.faults.add(("ring_bands",), "plain_to must be less than rift_to, and both less than 90 degrees")

    def _check_bays(self) -> None:
        self._check_names("bay", [bay.name for bay in self.shape.bay])
        for i, bay in enumerate(self.shape.bay):
            loc: Loc = ("bay", i)
            self._need((*loc, "name"), bay.name, 'name = "left door"')
            self._need((*loc, "width"), bay.width, 'width = "13 in", the width that is seen between the stiles')
            self._check_heights(loc, bay)

    def _check_heights(self, loc: Loc, bay: BayShape) -> None:
        parts = {name: getattr(bay, name) for name in ("upper", "lower", "rail")}
        written = [name for name in parts if parts[name] is not None or self.faults.refused((*loc, name))]
        single = bay.panel is not None or self.faults.refused((*loc, "panel"))
        if single and written:
            self.faults.add(
                loc, f"has panel beside {' and '.join(written)}; write upper, lower and rail, or panel alone"
            )
            return
        if not single and not written:
            self.faults.add(loc, "has no height; write upper, lower and rail, or panel alone for a single panel")
            return
        if not single:
            for name, example in (("upper", "16 in"), ("lower", "30 in"), ("rail", "2 1/2 in")):
                self._need((*loc, name), parts[name], f'{name} = "{example}" (or panel alone for a single panel)')
        top, arch = bay.panel if single else bay.upper, bay.arch
        if arch and top is not None and arch >= top:
            self.faults.add(
                (*loc, "arch"), f"rises {self._show(arch)}, but the top panel is only {self._show(top)} high"
            )
        elif arch and bay.width is not None and arch > bay.width / 2:
            self.faults.add(
                (*loc, "arch"),
                f"rises {self._show(arch)}, more than half of what it spans: {self._show(bay.width)} wide, "
                f"at most {self._show(bay.width / 2)} high",
            )

    def _check_names(self, table: str, names: Iterable[str | None]) -> None:
        seen: dict[str, int] = {}
        for i, name in enumerate(names):
            if name is None:
                continue
            first = seen.setdefault(name.casefold(), i)
            if first != i:
                self.faults.add(
                    (table, i, "name"),
                    f"{table}s {first + 1} and {i + 1} are both named {show_value(name)}; each needs a name of its own "
                    "(small and capital letters do not tell two names apart)",
                )

    def _check_mirrors(self) -> None:
        bays = {bay.name: bay for bay in self.shape.bay if bay.name}
        taken: dict[str, str] = {}
        for i, bay in enumerate(self.shape.bay):
            loc: Loc = ("bay", i, "mirror")
            if bay.mirror is None or (bay.mirror not in bays and len(self.shape.bay) == 1):
                continue  # the first bay of a job may name the one that is written next; build.py remarks on it
            if bay.mirror == bay.name:
                self.faults.add(loc, "a bay cannot be its own mirror image; name the other one")
                continue
            if not self._known(loc, bay.mirror, [name for name in bays if name != bay.name], "bay"):
                continue
            other = bays[bay.mirror]
            if other.mirror not in (None, bay.name):
                self.faults.add(
                    loc, f"bay {other.name} is told to mirror {show_value(other.mirror)}; a bay has one mirror image"
                )
            first = taken.setdefault(bay.mirror, bay.name or f"{i + 1}")
            if first != (bay.name or f"{i + 1}"):
                self.faults.add(loc, f"bay {bay.mirror} is already the mirror image of bay {first}; a bay has one")

    def _known(self, loc: Loc, name: str, names: list[str], what: str) -> bool:
        """Tell a name that is not there, with the likely one; answers whether it is there."""
        if name in names:
            return True
        # A bay or board whose own name is missing or refused may well be the one that is meant.
        if any(row.name is None for row in getattr(self.shape, what)):
            return False
        guess = guess_word(name, names)
        ask = f'did you mean "{guess}"?' if guess else (f"there are {list_words(names)}" if names else "there is none")
        self.faults.add(loc, f"there is no {what} {show_value(name)}; {ask}")
        return False

    def _wood_names(self) -> list[str]:
        boards = [b.name for b in self.shape.board if b.name]
        return boards + [p.name for b in self.shape.board for p in b.pieces if p.name]

    def _check_leaf(self, loc: Loc, leaf_board: str, number: int) -> bool:
        if not self._known(loc, leaf_board, self._wood_names(), "board"):
            return False
        board = next(
            (b for b in self.shape.board if leaf_board == b.name or leaf_board in [p.name for p in b.pieces]), None
        )
        thickness, kerf = self.shape.panel.thickness or PanelMaking().thickness_mm, self.shape.shop.kerf or 0.0
        if board is None or board.thickness is None or self.faults.refused(("panel", "thickness")):
            return True
        most = int((board.thickness + kerf) / (thickness + kerf) + 1e-9)
        if number > most:
            self.faults.add(
                loc,
                f"leaf {leaf_board}{number} cannot be: {self._show(board.thickness)} of wood gives at most {most} "
                f"leaves of {self._show(thickness)}",
            )
            return False
        return True

    def _check_keeps(self) -> None:
        bays = [bay.name for bay in self.shape.bay if bay.name]
        out = {(row.board, row.bay) for row in self.shape.leave_out}
        lost = {row.leaf.name for row in self.shape.leaf if row.leaf and row.lost}
        made = {bay.name for bay in self.shape.bay if bay.done}
        kept: dict[str, int] = {}
        for i, keep in enumerate(self.shape.keep):
            loc: Loc = ("keep", i)
            if self._need((*loc, "bay"), keep.bay, 'bay = "left door"') and keep.bay is not None:
                self._known((*loc, "bay"), keep.bay, bays, "bay")
                first = kept.setdefault(keep.bay, i)
                if first != i:
                    self.faults.add((*loc, "bay"), f"keep {first + 1} already holds this bay; take one of them out")
            if not self._need((*loc, "leaves"), keep.leaves, 'leaves = ["A1", "A2"]'):
                continue
            for leaf in keep.leaves or ():
                if not self._check_leaf((*loc, "leaves"), leaf.board, leaf.number):
                    continue
                if (leaf.board, keep.bay) in out or (leaf.board, None) in out:
                    self.faults.add(
                        (*loc, "leaves"), f"{leaf.name} is to stay, but board {leaf.board} is left out; take one away"
                    )
                if leaf.name in lost and keep.bay in made:
                    self.faults.add(
                        (*loc, "leaves"),
                        f"{leaf.name} stands in {keep.bay}, which is told to be made, and it is told to be lost; "
                        "take one away",
                    )

    def _check_leave_outs(self) -> None:
        bays = [bay.name for bay in self.shape.bay if bay.name]
        for i, row in enumerate(self.shape.leave_out):
            loc: Loc = ("leave_out", i)
            if self._need((*loc, "board"), row.board, 'board = "A"') and row.board is not None:
                self._known((*loc, "board"), row.board, self._wood_names(), "board")
            if row.bay is not None:
                self._known((*loc, "bay"), row.bay, bays, "bay")

    def _check_leaves(self) -> None:
        seen: dict[str, int] = {}
        for i, row in enumerate(self.shape.leaf):
            loc: Loc = ("leaf", i)
            if not self._need((*loc, "leaf"), row.leaf, 'leaf = "A1"') or row.leaf is None:
                continue
            first = seen.setdefault(row.leaf.name, i)
            if first != i:
                self.faults.add(loc, "is told twice; join the two under one [[leaf]]")
            if self._check_leaf((*loc, "leaf"), row.leaf.board, row.leaf.number):
                self._check_leaf_thickness(loc, row)

    def _check_leaf_thickness(self, loc: Loc, row: LeafShape) -> None:
        board = next((b for b in self.shape.board if row.leaf and b.name == row.leaf.board), None)
        if board and board.thickness and row.thickness and row.thickness > board.thickness:
            self.faults.add(
                (*loc, "thickness"),
                f"{self._show(row.thickness)} is more than the board it was sawn from, {self._show(board.thickness)}",
            )


def _tip(example: str) -> str:
    return f'common is "{example}"'
