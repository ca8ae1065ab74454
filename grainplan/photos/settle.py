"""Where along a board a photo lies that shows neither of its ends: where its wood meets that of its neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from grainplan.errors import NotFound
from grainplan.photos.align import ALIGN_PX_PER_MM, Part
from grainplan.photos.join import Joined, flatten_part, lay_anew, measure_step
from grainplan.photos.resample import Area

_REACH_MM = (25.0, 90.0)  # how far off x may be typed, at least and at most: less where the overlap is short
_APART_MM = 8.0  # twice what a typed width leaves open over a metre of board
_COMPARED_MM = 80.0  # of an overlap, which are compared


def settle_parts(parts: Sequence[Part], floats: Sequence[bool], area: Area) -> tuple[Part, ...] | NotFound:
    """Move the photos whose place along the board was typed by eye until their wood meets that of their neighbours.

    Parameters
    ----------
    parts : sequence of Part
        From foot to head.
    floats : sequence of bool
        Which of them show no end of the board.
    area : Area
        The whole side.

    Returns
    -------
    tuple of Part, or NotFound where straight grain, or wood that does not agree, leaves open where such a photo lies.
    """
    settled = list(parts)
    coarse = Area.of((area.x0_mm, area.y0_mm), (area.columns / area.px_per_mm, area.rows / area.px_per_mm), 1.0)
    for i, loose in enumerate(floats):
        if not loose:
            continue
        moves = []
        if i > 0:
            moves.append(_find_step(settled[i - 1], settled[i], coarse, sign=-1.0))
        if i + 1 < len(settled) and not floats[i + 1]:
            moves.append(_find_step(settled[i], settled[i + 1], coarse, sign=1.0))
        known = [move for move in moves if move is not None]
        if not known:
            return NotFound(
                f"photo {i + 1} shows no end of the board, and its wood does not tell where it lies beside the others; "
                "type its corners, at chalk marks"
            )
        settled[i] = _move_part(settled[i], float(np.mean(known)))
    return tuple(settled)


def meet_well(joined: Joined, found: Sequence[bool]) -> NotFound | None:
    """Why photos whose edges were found by the program are not to be believed: they do not meet.

    Parameters
    ----------
    joined : Joined
    found : sequence of bool
        Which of the photos were placed without typed corners.
    """
    for i, step in enumerate(joined.steps):
        if not (found[i] or found[i + 1]):
            continue
        off = float("inf") if isinstance(step, NotFound) else float(np.hypot(step.along_mm or 0.0, step.across_mm))
        if off > _APART_MM:
            how = "by their wood" if isinstance(step, NotFound) else f"by {off:.0f} mm"
            return NotFound(
                f"photos {i + 1} and {i + 2} do not meet {how}: an edge of the board was taken wrongly in one of them, "
                "or x is far off; type the corners of both, at chalk marks"
            )
    return None


def _find_step(left: Part, right: Part, area: Area, *, sign: float) -> float | None:
    overlap = left.end_mm - right.start_mm
    reach = float(np.clip((overlap - _COMPARED_MM) / 2, *_REACH_MM))
    step = measure_step(flatten_part(left, area), flatten_part(right, area), ALIGN_PX_PER_MM, reach_mm=reach)
    return None if isinstance(step, NotFound) or step.along_mm is None else sign * step.along_mm


def _move_part(part: Part, along_mm: float) -> Part:
    view = lay_anew(part.view, part.view.outline_mm + np.array([along_mm, 0.0]))
    return replace(part, view=view, start_mm=part.start_mm + along_mm, end_mm=part.end_mm + along_mm)
