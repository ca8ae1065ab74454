"""Fine checks: thin lines along the grain, darker than the wood on both sides and not redder.

The wood's own lines are dark and redder than its body; a crack is filled with shadow and dust. So brightness, and blue
over red, are compared across each line at 2 px/mm and summed along it in several slants, which brings out lines finer
than a pixel. Set on 16 drawn boards, eight frames and two boards of sawn softwood (Kodytek, Bodzas, Bilik 2021, doi
10.5281/zenodo.4694695, CC BY 4.0); few of those labels are cracks, so the confidence is low.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grainplan.boards import Flaw
from grainplan.geometry import Box
from grainplan.picture import Pixels

Field = NDArray[np.float32]
_ALONG_MM, _ACROSS_MM = 1.0, 0.5  # of a cell
_SLANTS_DEG = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0)
_HALF_CELLS = 6  # of the sum along a line
_DARKER, _GREYER = 0.03, 0.006  # logarithms: of brightness, and of blue over red
_PALE = 100.0  # blue, of 255: below it the camera's noise makes more of the hue, by this power of how much below
_NOISE_GROWS = 3
_OVER_USUAL = 2.5  # times what lines of this wood differ from their sides
_JOIN_CELLS = 11
_SHORTEST_MM = 20.0
_STEEPEST = 0.2  # rise over length of its box
_RIM_MM = 2.5
_EDGE_MM = 6.0  # a line that runs along an edge is its arris
_MOST_PER_M = 3.0  # more are the wood's own figure
_ON_OTHERS = 0.4  # of its length: then it belongs to a knot, a stain
_CONFIDENCE = 0.4


def find_checks(pixels: Pixels, on: Literal["face", "back"], *, others: Sequence[Flaw]) -> list[Flaw]:
    """Fine checks on a flattened broad side.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        At 2 px/mm.
    on : {"face", "back"}
    others : sequence of Flaw
        Knots and stains already found; a line that lies mostly on them is theirs.
    """
    size = pixels.shape[1] * _ACROSS_MM, pixels.shape[0] * _ACROSS_MM
    noise = max(1.0, _PALE / max(1.0, float(np.median(pixels[::4, ::4, 2])))) ** _NOISE_GROWS
    lines = [
        box
        for box in _list_lines(*_compare(pixels), greyer=_GREYER * noise)
        if box.y0 >= _EDGE_MM and box.y1 <= size[1] - _EDGE_MM and not _belongs(box, others)
    ]
    if len(lines) > max(_MOST_PER_M, _MOST_PER_M * size[0] / 1000):
        return []
    return [Flaw("check", on, box, False, "program", _CONFIDENCE) for box in lines]


def _compare(pixels: Pixels) -> tuple[Field, Field]:
    """How much darker, and how much bluer, the line through each cell is than the wood on both its sides."""
    half = cv2.resize(pixels, None, fx=_ACROSS_MM / _ALONG_MM, fy=1.0, interpolation=cv2.INTER_AREA)
    bands = np.log(half.astype(np.float32) + np.float32(4.0))
    light = bands.mean(axis=2)
    hue = np.ascontiguousarray(bands[:, :, 2] - bands[:, :, 0])
    thin = [
        cv2.GaussianBlur(v, (0, 0), sigmaX=0.5, sigmaY=0.6) - cv2.GaussianBlur(v, (0, 0), sigmaX=0.5, sigmaY=3.5)
        for v in (light, hue)
    ]
    darker = np.full(light.shape, -1.0, np.float32)
    bluer = np.zeros(light.shape, np.float32)
    for slant in _SLANTS_DEG:
        line = _draw_line(slant)
        here = -cv2.filter2D(thin[0], -1, line)
        better = here > darker
        darker = np.where(better, here, darker)
        bluer = np.where(better, cv2.filter2D(thin[1], -1, line), bluer)
    return darker, bluer


def _draw_line(slant_deg: float) -> Field:
    """A line through the middle of a small picture whose cells are 1 by 0.5 mm; it adds up to 1."""
    slope = np.tan(np.radians(slant_deg)) * _ALONG_MM / _ACROSS_MM
    along = np.arange(-_HALF_CELLS, _HALF_CELLS + 1)
    reach = int(np.ceil(abs(slope) * _HALF_CELLS)) + 1
    rows = np.arange(-reach, reach + 1)[:, None]
    line = np.maximum(0.0, 1.0 - np.abs(rows - slope * along[None, :])).astype(np.float32)
    return np.asarray(line / line.sum(), np.float32)


def _list_lines(darker: Field, bluer: Field, *, greyer: float) -> list[Box]:
    usual = 1.5 * float(np.median(np.abs(darker[::3, ::3])))
    mask = ((darker > max(_DARKER, _OVER_USUAL * usual)) & (bluer > greyer)).astype(np.uint8)
    rim = round(_RIM_MM / _ACROSS_MM)
    for side in (mask[:rim], mask[-rim:], mask[:, :1], mask[:, -1:]):
        side[:] = 0
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, _JOIN_CELLS), np.uint8)), np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    boxes = [
        Box(x * _ALONG_MM, y * _ACROSS_MM, (x + wide) * _ALONG_MM, (y + high) * _ACROSS_MM)
        for x, y, wide, high, _ in stats[1:count].tolist()
    ]
    return [box for box in boxes if box.width >= _SHORTEST_MM and box.height <= _STEEPEST * box.width]


def _belongs(box: Box, others: Sequence[Flaw]) -> bool:
    over = sum(min(box.x1, f.box.x1) - max(box.x0, f.box.x0) for f in others if f.box.overlaps(box))
    return over > _ON_OTHERS * box.width
