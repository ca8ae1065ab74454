"""How far a ring line moves sideways between two surfaces: the step to expect at a seam that nobody has seen."""

from __future__ import annotations

import math

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound
from grainplan.resaw import step_across


def find_ring_angle(board: MeasuredBoard, y_mm: float, z_mm: float) -> float | NotFound:
    """Angle between ring and face in the cross-section near one edge of a leaf, degrees, 0 flat to 90 quarter.

    Where the pith is known the rings are taken as circles round it: tan θ is the distance from the pith across the
    board over that through it, at the foot and at the head, averaged as angles. Else it is the board's mean angle.

    Parameters
    ----------
    board : MeasuredBoard
    y_mm, z_mm : float
        Where, in the board frame.
    """
    ends = [] if board.pith is None else [e for e in (board.pith.foot_yz_mm, board.pith.head_yz_mm) if e is not None]
    if ends:
        angles = [math.degrees(math.atan2(abs(y_mm - y), abs(z_mm - z))) for y, z in ends]
        return sum(angles) / len(angles)
    if board.grain.ring_angle_deg is not None:
        return board.grain.ring_angle_deg
    return NotFound(f"the ring angle of board {board.name} is not known; photograph its ends")


def expect_step(board: MeasuredBoard, gap_mm: float, *, y_mm: float, z_mm: float) -> float | NotFound:
    """How far a ring line is off at a seam, mm: `gap / tan θ`, the straight-ring limit of concentric rings.

    Parameters
    ----------
    board : MeasuredBoard
    gap_mm : float
        How far apart the two finished surfaces were in the board.
    y_mm, z_mm : float
        The edge that meets the other, board frame.
    """
    angle = find_ring_angle(board, y_mm, z_mm)
    if isinstance(angle, NotFound):
        return angle
    step = step_across(gap_mm, min(angle, 90.0))
    return step if isinstance(step, float) else NotFound(f"board {board.name}: {step.reason}")
