"""The shapes that `job.toml` is poured into: one a table, each key with how its value is read.

Every key may be missing here, so that a value that is refused can be set aside and the rest still be checked; what must
be there is told by checks.py. Lengths arrive in mm.
"""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, PlainValidator

from grainplan.boards import BROAD_SIDES, BroadSide, Direction, FlawKind, FlawPlace
from grainplan.frame import Match, RailGrain, Seen, View
from grainplan.jobfolder import values as v
from grainplan.plan import Foot

PanelEdge = Literal["flat", "rebated", "raised"]
TrueSide = Literal["front", "back"]
Rounding = Literal["exact", "trade", "up"]

Size = Annotated[float | None, v.length(over=0, at_most_mm=15000)]
Hollow = Annotated[float | None, v.length(at_most_mm=150)]
Fine = Annotated[float | None, v.length(at_most_mm=12)]
Margin = Annotated[float | None, v.length(at_most_mm=1000)]
Spot = Annotated[tuple[float, float] | None, v.lengths(2, "two lengths, x and y")]
Stretch = Annotated[tuple[float, float] | None, v.lengths(2, "two lengths, from and to")]
Weight = Annotated[float | None, v.number(0, 1000, "1 is as the program ships")]
Percent = Annotated[float | None, v.number(0, 30, "per cent", above=True)]
Shrinkage = Annotated[float | None, v.number(0, 25, "per cent, green to oven-dry", above=True)]


class Shape(BaseModel):
    """A table: unknown keys are refused, and nothing changes once it is read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ShrinkageShape(Shape):
    """Shrinkage from green to oven-dry, per cent, for a wood that is not in the table."""

    radial: Shrinkage = None
    tangential: Shrinkage = None


class WoodShape(Shape):
    """What all boards are of, unless they say otherwise."""

    species: v.Text = None
    shrinkage: ShrinkageShape | None = None
    moisture: Percent = None
    rounding: Annotated[Rounding | None, v.one_of(*get_args(Rounding))] = None


class RoomShape(Shape):
    """The air of a room."""

    temperature: v.Temperature = None
    humidity: Annotated[float | None, v.number(1, 99, "per cent of relative humidity")] = None


class ClimateShape(Shape):
    """The driest and the dampest room."""

    driest: RoomShape | None = None
    dampest: RoomShape | None = None


class ShopShape(Shape):
    """Machines and allowances."""

    kerf: Annotated[float | None, v.length(over=0, at_most_mm=12)] = None
    saw_height: Annotated[float | None, v.length(over=0, at_most_mm=2000)] = None
    saw_tolerance: Fine = None
    planing: Fine = None
    outer_planing: Annotated[float | None, v.length(at_most_mm=25)] = None
    edge_waste: Annotated[float | None, v.length(at_most_mm=150)] = None
    rip: Fine = None
    joint: Fine = None
    crosscut: Fine = None
    end_waste: Margin = None
    over_length: Annotated[float | None, v.length(at_most_mm=150)] = None
    over_width: Annotated[float | None, v.length(at_most_mm=150)] = None
    shortest_planed: Margin = None
    thinnest_planed: Annotated[float | None, v.length(at_most_mm=60)] = None
    narrowest_ripped: Annotated[float | None, v.length(at_most_mm=150)] = None
    shortest_ripped: Margin = None
    shortest_crosscut: Margin = None


class FrameShape(Shape):
    """Stiles and rails, drawn only."""

    stile: Annotated[float | None, v.length(over=0, at_most_mm=600)] = None
    top_rail: Annotated[float | None, v.length(over=0, at_most_mm=600)] = None
    bottom_rail: Annotated[float | None, v.length(over=0, at_most_mm=600)] = None


class PanelShape(Shape):
    """How panels are made."""

    thickness: Annotated[float | None, v.length(over=0, at_most_mm=60)] = None
    groove: Annotated[float | None, v.length(over=0, at_most_mm=60)] = None
    end_gap: Annotated[float | None, v.length(at_most_mm=60)] = None
    room: Annotated[float | None, v.length_or_auto(at_most_mm=100)] = Field(default=None, alias="float")
    strips: Annotated[int | None, PlainValidator(v.strip_count)] = None
    match: Annotated[Match | None, v.one_of(*get_args(Match))] = None
    rail_grain: Annotated[RailGrain | None, v.one_of(*get_args(RailGrain))] = None
    end_match: v.Switch = None
    true_side: Annotated[TrueSide | None, v.one_of(*get_args(TrueSide))] = None
    edge: Annotated[PanelEdge | None, v.one_of(*get_args(PanelEdge))] = None
    groove_width: Annotated[float | None, v.length(over=0, at_most_mm=60)] = None
    tongue: Annotated[float | None, v.length(over=0, at_most_mm=60)] = None


class BayShape(Shape):
    """One position of the piece."""

    name: v.ThingName = None
    view: Annotated[View | None, v.one_of(*get_args(View))] = None
    width: Size = None
    upper: Size = None
    lower: Size = None
    rail: Size = None
    panel: Size = None
    arch: Annotated[float | None, v.length(at_most_mm=15000)] = None
    alike: v.Text = None
    mirror: v.Text = None
    seen: Annotated[Seen | None, v.one_of(*get_args(Seen))] = None
    matters: Annotated[float | None, v.number(0, 1000, "1 is as any other bay", above=True)] = None
    done: v.Switch = None
    end_match: v.Switch = None


class PhotoShape(Shape):
    """One photo of one side."""

    photo: v.Text = None
    corners: v.Corners = None
    foot: Annotated[Direction | None, v.one_of(*get_args(Direction))] = None
    x: Stretch = None
    grey_card: v.CardBox = None


class FlawShape(Shape):
    """A place that the maker does not want to see."""

    kind: Annotated[FlawKind | None, v.one_of(*get_args(FlawKind))] = None
    on: Annotated[FlawPlace | None, v.one_of(*get_args(FlawPlace))] = None
    start: Spot = Field(default=None, alias="from")
    end: Spot = Field(default=None, alias="to")
    avoid: v.Switch = None


class ClearShape(Shape):
    """A place where a flaw that the program proposed is none; with a kind, none of that kind."""

    kind: Annotated[FlawKind | None, v.one_of(*get_args(FlawKind))] = None
    on: Annotated[BroadSide | None, v.one_of(*BROAD_SIDES)] = None
    start: Spot = Field(default=None, alias="from")
    end: Spot = Field(default=None, alias="to")


class PieceShape(Shape):
    """A part of a board that is cut free before resawing."""

    name: v.BoardName = None
    x: Stretch = None
    y: Stretch = None


class BoardShape(Shape):
    """A board as it came from the yard. A side is always a list of photos here."""

    name: v.BoardName = None
    species: v.Text = None
    shrinkage: ShrinkageShape | None = None
    moisture: Percent = None
    length: Size = None
    width: Annotated[float | None, v.length(over=0, at_most_mm=2000)] = None
    width_head: Annotated[float | None, v.length(over=0, at_most_mm=2000)] = None
    thickness: Annotated[float | None, v.length(over=0, at_most_mm=400)] = None
    cup: Hollow = None
    bow: Hollow = None
    crook: Hollow = None
    twist: Hollow = None
    face: tuple[PhotoShape, ...] = ()
    back: tuple[PhotoShape, ...] = ()
    foot: tuple[PhotoShape, ...] = ()
    head: tuple[PhotoShape, ...] = ()
    price: Annotated[float | None, v.number(0, 1e6, "a board foot or a cubic metre")] = None
    flaw: tuple[FlawShape, ...] = ()
    clear: tuple[ClearShape, ...] = ()
    pieces: tuple[PieceShape, ...] = ()


class KeepShape(Shape):
    """A choice that stays as it is."""

    bay: v.Text = None
    leaves: v.LeafNames = None
    where: Spot = None
    foot: Annotated[Foot | None, v.one_of(*get_args(Foot))] = None


class LeaveOutShape(Shape):
    """A board that is not to be used."""

    board: v.Text = None
    bay: v.Text = None


class LeafShape(Shape):
    """What became of a leaf after the saw. A surface is a list of one photo here."""

    leaf: v.LeafName = None
    near: tuple[PhotoShape, ...] = ()
    far: tuple[PhotoShape, ...] = ()
    thickness: Annotated[float | None, v.length(over=0, at_most_mm=400)] = None
    cup: Hollow = None
    lost: v.Text = None


class WeightsShape(Shape):
    """How much each part of the cost counts."""

    seams: Weight = None
    tone: Weight = None
    continuity: Weight = None
    flaws: Weight = None
    wood: Weight = None


class RingBandsShape(Shape):
    """Ring angles up to which wood counts as plain and as rift."""

    plain_to: Annotated[float | None, v.number(0, 90, "degrees between ring and face", above=True)] = None
    rift_to: Annotated[float | None, v.number(0, 90, "degrees between ring and face", above=True)] = None


class WishShape(Shape):
    """What would be good to have beside the plan."""

    spare_pair: v.Switch = None


class JobShape(Shape):
    """The whole file."""

    grainplan: Annotated[int | None, PlainValidator(lambda value: value)] = None
    title: v.Text = None
    units: Annotated[Literal["in", "mm"] | None, v.one_of("in", "mm")] = None
    wood: WoodShape = WoodShape()
    climate: ClimateShape | None = None
    shop: ShopShape = ShopShape()
    frame: FrameShape = FrameShape()
    panel: PanelShape = PanelShape()
    weights: WeightsShape = WeightsShape()
    ring_bands: RingBandsShape = RingBandsShape()
    wish: WishShape = WishShape()
    bay: tuple[BayShape, ...] = ()
    board: tuple[BoardShape, ...] = ()
    keep: tuple[KeepShape, ...] = ()
    leave_out: tuple[LeaveOutShape, ...] = ()
    leaf: tuple[LeafShape, ...] = ()


SHAPES: dict[str, type[Shape]] = {
    "": JobShape,
    "wood": WoodShape,
    "wood.shrinkage": ShrinkageShape,
    "climate": ClimateShape,
    "climate.driest": RoomShape,
    "climate.dampest": RoomShape,
    "shop": ShopShape,
    "frame": FrameShape,
    "panel": PanelShape,
    "weights": WeightsShape,
    "ring_bands": RingBandsShape,
    "wish": WishShape,
    "bay": BayShape,
    "board": BoardShape,
    "board.shrinkage": ShrinkageShape,
    "board.face": PhotoShape,
    "board.back": PhotoShape,
    "board.foot": PhotoShape,
    "board.head": PhotoShape,
    "board.flaw": FlawShape,
    "board.clear": ClearShape,
    "board.pieces": PieceShape,
    "keep": KeepShape,
    "leave_out": LeaveOutShape,
    "leaf": LeafShape,
    "leaf.near": PhotoShape,
    "leaf.far": PhotoShape,
}
"""Every table of the file by its path, so that a misspelt key can be compared with those that the table knows."""

LISTS = ("bay", "board", "keep", "leave_out", "leaf", "board.flaw", "board.clear", "board.pieces")
"""Tables of which there may be several, written with two brackets."""


def known_keys(table: str) -> tuple[str, ...]:
    """The keys that a table of :data:`SHAPES` knows, as they are written in the file."""
    return tuple(field.alias or name for name, field in SHAPES[table].model_fields.items())
