"""Where the lines of a seam went between its two surfaces, by the pith: what a second band is cut along."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound
from grainplan.match.bands import RingMove, make_ring_move
from grainplan.match.edges import reach_after_rings
from grainplan.match.surfaces import SurfaceKey
from grainplan.plan import BoardUse

BESIDE_MM = 15.0
"""Where beside an edge the lines lie that decide how well it meets another."""
REACH_STEP_MM = 3.0


@dataclass(frozen=True, slots=True)
class Following:
    """How a second band follows its rings, and how far is left to search."""

    move: RingMove
    across_mm: float


def follow_seam(
    board: MeasuredBoard, use: BoardUse, pair: tuple[SurfaceKey, SurfaceKey], *, edge_mm: float, toward: int
) -> Following | None:
    """How rings move between the two surfaces of a seam; None where they do not, or the pith does not tell.

    Parameters
    ----------
    board : MeasuredBoard
    use : BoardUse
        How it is resawn.
    pair : ((Leaf, Surface), (Leaf, Surface))
        Left and right.
    edge_mm : float
        Edge of the right strip across the board.
    toward : {1, -1}
        Toward which y that strip lies.
    """
    first, second = (find_depth(use, key) for key in pair)
    if board.pith is None or abs(first - second) < 1e-6:
        return None
    move = make_ring_move(board.pith, board.board.length_mm, from_mm=first, to_mm=second)
    if isinstance(move, NotFound):
        return None
    reach = reach_after_rings(move, edge_mm + toward * BESIDE_MM, board.pith.doubt_mm)
    return Following(move, round(reach / REACH_STEP_MM) * REACH_STEP_MM)


def find_depth(use: BoardUse, key: SurfaceKey) -> float:
    """Depth of a leaf's finished surface from the face side, to about a millimetre; exactly, how far two lie apart."""
    leaf, surface = key
    place = 2 * (leaf.number - 1) + (surface == "far")  # surfaces counted from the face
    first = use.cuts_mm[0] - use.finished_leaf_mm if use.cuts_mm else 0.0
    cuts = place // 2
    return first + (place - cuts) * use.finished_leaf_mm + cuts * use.mate_gap_mm
