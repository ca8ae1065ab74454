"""Leaves out of a thick board: how many, where the cuts lie, what is left over, and how deep each surface was."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from grainplan.boards import Flaw, Piece, RoughBoard, Surface
from grainplan.errors import NotFound
from grainplan.geometry import Box
from grainplan.shop import Shop
from grainplan.units import format_both

_NEARLY = 1e-9  # 3 × 0.3 + 2 × 0.05 comes to 0.9999999999999999; a leaf must not be lost to that
_MOST_COMPARED = 4
FLATTEST_RING_DEG = 3.0


@dataclass(frozen=True, slots=True)
class Stock:
    """A board as it is clamped down to be flattened. All in mm.

    Parameters
    ----------
    thickness_mm : float
        At its thinnest, by caliper.
    cup_mm : float
        Hollow across the width.
    bow_mm : float
        Hollow along the length.
    twist_mm : float
        Lift of the fourth corner.
    """

    thickness_mm: float
    cup_mm: float = 0.0
    bow_mm: float = 0.0
    twist_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.thickness_mm > 0 or not math.isfinite(self.thickness_mm):
            raise ValueError(f"a board's thickness must be greater than 0, got {self.thickness_mm}")
        for what in ("cup_mm", "bow_mm", "twist_mm"):
            if not 0 <= getattr(self, what) < math.inf:
                raise ValueError(f"{what} must be 0 or more, got {getattr(self, what)}")

    @classmethod
    def of(cls, board: RoughBoard) -> Stock:
        """The stock that a whole board is."""
        return cls(board.thickness_mm, board.cup_mm, board.bow_mm, board.twist_mm)

    def shorten(self, length_share: float, *, width_share: float = 1.0) -> Stock:
        """What is left of cup, bow and twist in a piece that is this share of the length and of the width.

        Cup goes with the square of the width and bow with the square of the length (segments of a circle); twist, the
        turn of one end against the other, with length times width (derived).

        Raises
        ------
        ValueError
            When a share is not above 0 and at most 1.
        """
        for share in (length_share, width_share):
            if not 0 < share <= 1 + _NEARLY:
                raise ValueError(f"a piece is a share above 0 and at most 1 of its board, got {share}")
        return Stock(
            self.thickness_mm,
            self.cup_mm * width_share**2,
            self.bow_mm * length_share**2,
            self.twist_mm * length_share * width_share,
        )


@dataclass(frozen=True, slots=True)
class LeafChoice:
    """One number of leaves, beside the others.

    Parameters
    ----------
    leaves : int
    spare_mm : float
        Left over at the asked thickness; negative: so much more thickness would be needed.
    finished_leaf_mm : float
        How thick the leaves could be finished instead, with nothing left over; may be negative.
    tight : bool
        They fit, but a cut that wanders can spoil one.
    thickness_share : float
        Share of the caliper's thickness that becomes leaves of the asked thickness, 0 to 1; 0 where they do not fit.
    """

    leaves: int
    spare_mm: float
    finished_leaf_mm: float
    tight: bool
    thickness_share: float

    @property
    def fits(self) -> bool:
        """Whether the board gives that many."""
        return self.spare_mm >= 0


@dataclass(frozen=True, slots=True)
class LeafDepth:
    """Where a finished leaf lay in the board: depth of its two surfaces from the face side as photographed, mm."""

    near_mm: float
    far_mm: float


@dataclass(frozen=True, slots=True)
class Resaw:
    """How a board is resawn: the cuts, the leaves, what was between them, and where they lay. All in mm.

    Parameters
    ----------
    leaves : int
        1 or more.
    flat_thickness_mm : float
        After both broad sides are flat.
    finished_leaf_mm : float
    sawn_leaf_mm : tuple of float
        As they come off the saw, from the face side; the outer ones are thicker by the spare.
    cuts_mm : tuple of float
        From the flattened face, before outer planing, to the near side of each kerf: the fence distance.
    spare_mm : float
        Left over; half of it lies outside the first leaf, half outside the last.
    mate_gap_mm, pair_gap_mm, slip_gap_mm : float
        How far apart in the board two finished surfaces were that meet at a seam: mates (A1 far | A2 near); two pairs
        (A2 near | A3 far), and the backs of mates (A1 near | A2 far); one surface and the same of the next leaf.
    depths : tuple of LeafDepth
        A leaf each; each within `depth_doubt_mm`.
    depth_doubt_mm : float
        Nobody knows how flattening divides between face and back before it is done; half on each is taken.
    outer_loss_mm : float
        What is taken off the flattened face, and off the back, until the outer leaf's own outer surface shows.
    tight : bool
    caveats : tuple of str
    """

    leaves: int
    flat_thickness_mm: float
    finished_leaf_mm: float
    sawn_leaf_mm: tuple[float, ...]
    cuts_mm: tuple[float, ...]
    spare_mm: float
    mate_gap_mm: float
    pair_gap_mm: float
    slip_gap_mm: float
    depths: tuple[LeafDepth, ...]
    depth_doubt_mm: float
    outer_loss_mm: float
    tight: bool
    caveats: tuple[str, ...] = ()

    def depth_mm(self, number: int, surface: Surface) -> float:
        """Depth of a leaf's finished surface from the face side as photographed; `number` is from 1."""
        if not 1 <= number <= self.leaves:
            raise ValueError(f"the board gives leaves 1 to {self.leaves}, asked for {number}")
        depth = self.depths[number - 1]
        return depth.near_mm if surface == "near" else depth.far_mm


@dataclass(frozen=True, slots=True)
class LeavesAnswer:
    """The resaw arithmetic alone, as it is told on the command line; `leaves` is 0 where the board gives none."""

    leaves: int
    flat_thickness_mm: float
    sawn_leaf_mm: tuple[float, ...]
    spare_mm: float
    mate_gap_mm: float
    cuts_mm: tuple[float, ...]
    tight: bool
    choices: tuple[LeafChoice, ...]
    caveats: tuple[str, ...] = ()


def flatten_thickness(stock: Stock) -> float:
    """What is left of the thickness when both broad sides are flat, mm; may be negative for a badly bent board.

    Notes
    -----
    ``T − cup − bow − twist / 2``. Cup: the plane of the hollow's edges comes down to its bottom on one side, the crown
    on the other side follows, together once the cup (G. Wengert, "Stock loss when planing cupped lumber"); a little on
    the safe side, for the two faces of a cupped board are bent about one middle. Twist: shared between two corners.
    """
    return stock.thickness_mm - stock.cup_mm - stock.bow_mm - stock.twist_mm / 2


def count_leaves(flat_thickness_mm: float, shop: Shop, *, finished_mm: float) -> int:
    """How many leaves of this finished thickness a flattened board gives.

    ``n·t + (n − 1)·(k + 2p) + 2a ≤ T_flat``: t finished, k kerf, p planing a sawn surface, a outer planing a side.

    Raises
    ------
    ValueError
        When the finished thickness is not greater than 0.
    """
    if not finished_mm > 0:
        raise ValueError(f"a leaf's finished thickness must be greater than 0, got {finished_mm}")
    between = _gap_of_mates(shop)
    room = flat_thickness_mm - 2 * shop.outer_planing_mm + between
    return max(0, math.floor(room / (finished_mm + between) + _NEARLY))


def compare_leaf_counts(stock: Stock, shop: Shop, *, finished_mm: float) -> tuple[LeafChoice, ...]:
    """One, two, three and four leaves side by side (and more where the board gives more), fitting or not."""
    flat = flatten_thickness(stock)
    most = max(_MOST_COMPARED, count_leaves(flat, shop, finished_mm=finished_mm))
    return tuple(_choice(n, stock, shop, finished_mm) for n in range(1, most + 1))


def plan_resaw(stock: Stock, shop: Shop, *, finished_mm: float, leaves: int | None = None) -> Resaw | NotFound:
    """Where the cuts lie for the most leaves, or for fewer where the maker asks so.

    Parameters
    ----------
    stock : Stock
    shop : Shop
    finished_mm : float
        Finished thickness of a leaf.
    leaves : int or None
        None: as many as the board gives.

    Returns
    -------
    Resaw or NotFound
        The reason says how much thickness is missing.

    Raises
    ------
    ValueError
        When `finished_mm` is not greater than 0 or `leaves` is less than 1.

    Notes
    -----
    The spare stays outside: sawn surfaces lose p and no more, so that mates stay as alike as the saw leaves them. The
    first cut lies ``a + spare / 2 + t + p`` from the flattened face, each next one ``t + 2p + k`` further.
    """
    if leaves is not None and leaves < 1:
        raise ValueError(f"a board is sawn into 1 leaf or more, got {leaves}")
    flat = flatten_thickness(stock)
    n = count_leaves(flat, shop, finished_mm=finished_mm) if leaves is None else leaves
    choice = _choice(max(1, n), stock, shop, finished_mm)
    if not choice.fits:
        return NotFound(_explain_short(choice, flat, finished_mm))
    gap = _gap_of_mates(shop)
    outside = shop.outer_planing_mm + choice.spare_mm / 2
    step = finished_mm + gap
    cuts = tuple(outside + finished_mm + shop.planing_mm + i * step for i in range(n - 1))
    edges = (0.0, *(c + shop.kerf_mm for c in cuts)), (*cuts, flat)
    loss = stock.thickness_mm - flat
    near = [loss / 2 + outside + i * step for i in range(n)]
    return Resaw(
        leaves=n,
        flat_thickness_mm=flat,
        finished_leaf_mm=finished_mm,
        sawn_leaf_mm=tuple(end - start for start, end in zip(*edges, strict=True)),
        cuts_mm=cuts,
        spare_mm=choice.spare_mm,
        mate_gap_mm=gap,
        pair_gap_mm=2 * finished_mm + gap,
        slip_gap_mm=finished_mm + gap,
        depths=tuple(LeafDepth(z, z + finished_mm) for z in near),
        depth_doubt_mm=loss / 2,
        outer_loss_mm=outside,
        tight=choice.tight,
        caveats=_warn(choice, shop, finished_mm),
    )


def answer_leaves(stock: Stock, shop: Shop, *, finished_mm: float) -> LeavesAnswer:
    """Everything that the maker may ask about one thickness, whether the board gives leaves or not."""
    choices = compare_leaf_counts(stock, shop, finished_mm=finished_mm)
    found = plan_resaw(stock, shop, finished_mm=finished_mm)
    if isinstance(found, NotFound):
        flat = flatten_thickness(stock)
        return LeavesAnswer(0, flat, (), choices[0].spare_mm, _gap_of_mates(shop), (), False, choices, (found.reason,))
    return LeavesAnswer(
        leaves=found.leaves,
        flat_thickness_mm=found.flat_thickness_mm,
        sawn_leaf_mm=found.sawn_leaf_mm,
        spare_mm=found.spare_mm,
        mate_gap_mm=found.mate_gap_mm,
        cuts_mm=found.cuts_mm,
        tight=found.tight,
        choices=choices,
        caveats=found.caveats,
    )


def step_across(gap_mm: float, ring_angle_deg: float) -> float | NotFound:
    """How far a ring line has moved sideways between two surfaces that were `gap_mm` apart in the board, mm.

    ``gap / tan θ``, θ between ring and face: straight rings, derived; it grows without end as the rings come to
    lie flat.

    Raises
    ------
    ValueError
        When the gap is negative or the angle outside 0 to 90.
    """
    if gap_mm < 0 or not 0 <= ring_angle_deg <= 90:
        raise ValueError(f"a gap of 0 or more and an angle of 0 to 90 degrees, got {gap_mm} mm and {ring_angle_deg}°")
    if ring_angle_deg < FLATTEST_RING_DEG:
        return NotFound(
            f"the rings lie nearly flat ({ring_angle_deg:.0f}°): how far a line moves between two surfaces "
            "cannot be told"
        )
    return gap_mm / math.tan(math.radians(ring_angle_deg))


def cut_pieces(board: RoughBoard) -> tuple[RoughBoard, ...]:
    """The boards that a board's `pieces` are, each with a frame of its own; a board without pieces is its only one.

    A piece loses less to cup, bow, crook and twist than its board. Its flaws move with it; its pictures are cut from
    the board's own, so it has no photos.

    Raises
    ------
    ValueError
        When a piece lies outside its board.
    """
    if not board.pieces:
        return (board,)
    return tuple(_cut_piece(board, piece) for piece in board.pieces)


def suggest_pieces(board: RoughBoard, shop: Shop, *, finished_mm: float) -> tuple[str, ...]:
    """What ripping or crosscutting before resawing would change, in sentences; empty where it is best left whole.

    It is asked for where the board stands higher than the saw takes, and offered where halves give a leaf more.
    """
    stock = Stock.of(board)
    whole = count_leaves(flatten_thickness(stock), shop, finished_mm=finished_mm)
    said = []
    if board.largest_width_mm > shop.saw_height_mm:
        parts = math.ceil((board.largest_width_mm + shop.rip_mm) / (shop.saw_height_mm + shop.rip_mm))
        said.append(
            f"board {board.name} is {format_both(board.largest_width_mm)} wide and the resaw takes "
            f"{format_both(shop.saw_height_mm)}: rip it into {parts} first"
        )
    for how, shares in (("rip", (1.0, 0.5)), ("crosscut", (0.5, 1.0))):
        halves = flatten_thickness(stock.shorten(shares[0], width_share=shares[1]))
        more = count_leaves(halves, shop, finished_mm=finished_mm)
        if more > whole:
            said.append(
                f"board {board.name}: {how} it into two halves before flattening and each gives {more} leaves instead "
                f"of {whole}, with {format_both(halves)} flat instead of {format_both(flatten_thickness(stock))}"
            )
    return tuple(said)


def _gap_of_mates(shop: Shop) -> float:
    return shop.kerf_mm + 2 * shop.planing_mm


def _choice(leaves: int, stock: Stock, shop: Shop, finished_mm: float) -> LeafChoice:
    lost = (leaves - 1) * _gap_of_mates(shop) + 2 * shop.outer_planing_mm
    flat = flatten_thickness(stock)
    spare = flat - lost - leaves * finished_mm
    if abs(spare) < _NEARLY * max(1.0, flat) * 10:
        spare = 0.0
    fits = spare >= 0
    return LeafChoice(
        leaves=leaves,
        spare_mm=spare,
        finished_leaf_mm=(flat - lost) / leaves,
        tight=fits and spare < 2 * shop.saw_tolerance_mm * (leaves - 1),
        thickness_share=leaves * finished_mm / stock.thickness_mm if fits else 0.0,
    )


def _explain_short(choice: LeafChoice, flat_mm: float, finished_mm: float) -> str:
    leaves = "one leaf" if choice.leaves == 1 else f"{choice.leaves} leaves"
    missing = (
        f"{leaves} of {format_both(finished_mm)} would take {format_both(-choice.spare_mm)} more than the "
        f"{format_both(flat_mm)} that is left once the board is flat"
    )
    if choice.finished_leaf_mm > 0:
        return f"{missing}; {format_both(choice.finished_leaf_mm)} is the thickness that can be had"
    return f"{missing}; nothing would be left of the board"


def _warn(choice: LeafChoice, shop: Shop, finished_mm: float) -> tuple[str, ...]:
    caveats = []
    if choice.tight:
        spare = format_both(choice.spare_mm) if choice.spare_mm >= 0.2 else "nothing"
        cuts = "1 cut" if choice.leaves == 2 else f"each of {choice.leaves - 1} cuts"
        caveats.append(
            f"tight: {spare} to spare, and {cuts} may wander {format_both(shop.saw_tolerance_mm)}; make a test cut, or "
            "take a leaf fewer"
        )
    if finished_mm < shop.thinnest_planed_mm - _NEARLY:
        caveats.append(
            f"leaves of {format_both(finished_mm)} are thinner than the planer takes "
            f"({format_both(shop.thinnest_planed_mm)}): use a drum sander, or a carrier board where the "
            "machine's manual allows one"
        )
    return tuple(caveats)


def _cut_piece(board: RoughBoard, piece: Piece) -> RoughBoard:
    box = piece.box
    whole = Box(0.0, 0.0, board.length_mm, board.largest_width_mm)
    if not whole.contains(box) or not box.width > 0 or not box.height > 0:
        raise ValueError(f"piece {piece.name} does not lie inside board {board.name}")
    along, across = box.width / board.length_mm, min(1.0, box.height / board.largest_width_mm)
    stock = Stock.of(board).shorten(along, width_share=across)
    return replace(
        board,
        name=piece.name,
        length_mm=box.width,
        width_mm=box.height,
        width_head_mm=None,
        cup_mm=stock.cup_mm,
        bow_mm=stock.bow_mm,
        crook_mm=board.crook_mm * along**2,
        twist_mm=stock.twist_mm,
        photos={},
        flaws=tuple(move_flaw(flaw, box) for flaw in board.flaws if flaw.box.overlaps(box)),
        pieces=(),
        cut_from=(board.name, box),
    )


def move_flaw(flaw: Flaw, box: Box) -> Flaw:
    """A flaw in the frame of the piece `box`, cut off at its edges."""
    seen = Box(
        max(flaw.box.x0, box.x0) - box.x0,
        max(flaw.box.y0, box.y0) - box.y0,
        min(flaw.box.x1, box.x1) - box.x0,
        min(flaw.box.y1, box.y1) - box.y0,
    )
    return replace(flaw, box=seen)
