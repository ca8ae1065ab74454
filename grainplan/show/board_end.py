"""A board's end drawn to scale, with the leaves that come out of it and the cuts between them."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from html import escape

import cv2

from grainplan.boards import RoughBoard
from grainplan.errors import NotFound
from grainplan.picture import Picture
from grainplan.resaw import Resaw
from grainplan.shop import Shop
from grainplan.units import Units, format_length

_WOOD, _SAWDUST, _INK, _QUIET, _PENCIL = "#dcc49b", "#3a2f26", "#2f2923", "#7b7165", "#a4422f"
_LEFT_MM, _RIGHT_MM, _ABOVE_MM, _BELOW_MM = 3.0, 58.0, 9.0, 4.0
_LETTERS_MM, _SMALL_MM = 5.2, 4.4


@dataclass(frozen=True, slots=True, eq=False)
class BoardEnd:
    """What is drawn of a board's end.

    Parameters
    ----------
    board : RoughBoard
    resaw : Resaw or NotFound
        How it is resawn, or why it gives no leaf.
    shop : Shop
    units : {"in", "mm"}
        What the cut positions are written in.
    picture : Picture or None
        The foot end, square-on, in the board frame; without it the end is drawn in plain wood.
    """

    board: RoughBoard
    resaw: Resaw | NotFound
    shop: Shop
    units: Units
    picture: Picture | None = None


def draw_board_end(end: BoardEnd, *, room_mm: float) -> str:
    """Draw the end as SVG, the face side up and the face edge at the left, as it stands before one at the foot.

    Parameters
    ----------
    end : BoardEnd
    room_mm : float
        Width that the drawing has for the board, mm: that of the widest board of the job, so that all are drawn to one
        scale.

    Returns
    -------
    str
        SVG text; a millimetre of wood is one unit.
    """
    board = end.board
    wide, thick = board.width_at(0.0), board.thickness_mm
    size = (_LEFT_MM + max(room_mm, wide) + _RIGHT_MM, _ABOVE_MM + thick + _BELOW_MM)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-_LEFT_MM} {-_ABOVE_MM} {size[0]:.2f} {size[1]:.2f}" '
        f'font-family="sans-serif" role="img" aria-label="{escape(_say_end(end))}">',
        _draw_wood(end, wide, thick),
    ]
    if isinstance(end.resaw, NotFound):
        parts.append(_text(wide + 5, thick / 2 + _SMALL_MM / 3, "no leaf", _SMALL_MM, _PENCIL))
    else:
        parts += _draw_losses(end.resaw, wide, thick) + _draw_leaves(end, end.resaw, wide, thick)
    parts.append(f'<rect width="{wide:.2f}" height="{thick:.2f}" fill="none" stroke="{_INK}" stroke-width="0.35"/>')
    parts.append(_text(0, -2.6, "face side", _SMALL_MM, _QUIET))
    parts.append("</svg>")
    return "".join(parts)


def _say_end(end: BoardEnd) -> str:
    if isinstance(end.resaw, NotFound):
        return f"End of board {end.board.name}: no leaf"
    cuts = ", ".join(format_length(c, end.units) for c in end.resaw.cuts_mm) or "none"
    return f"End of board {end.board.name}: {end.resaw.leaves} leaves, cuts from the flattened face at {cuts}"


def _draw_wood(end: BoardEnd, wide: float, thick: float) -> str:
    plain = f'<rect width="{wide:.2f}" height="{thick:.2f}" fill="{_WOOD}"/>'
    if end.picture is None:
        return plain
    pixels = cv2.cvtColor(end.picture.pixels, cv2.COLOR_RGB2BGR)
    coded = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
    data = base64.b64encode(coded).decode("ascii")
    return (
        f'{plain}<image href="data:image/jpeg;base64,{data}" width="{wide:.2f}" height="{thick:.2f}" '
        'preserveAspectRatio="none"/>'
    )


def _draw_losses(resaw: Resaw, wide: float, thick: float) -> list[str]:
    """What is flattened and planed off, or stays outside as spare, on both broad sides: paled."""
    top = resaw.depths[0].near_mm
    bottom = resaw.depths[-1].far_mm
    return [
        f'<rect width="{wide:.2f}" height="{max(0.0, top):.3f}" fill="#fbf8f2" opacity="0.78"/>',
        f'<rect y="{bottom:.3f}" width="{wide:.2f}" height="{max(0.0, thick - bottom):.3f}" fill="#fbf8f2" '
        'opacity="0.78"/>',
    ]


def _draw_leaves(end: BoardEnd, resaw: Resaw, wide: float, thick: float) -> list[str]:
    parts = []
    flat_face = (thick - resaw.flat_thickness_mm) / 2
    for cut in resaw.cuts_mm:
        y = flat_face + cut
        kerf = end.shop.kerf_mm
        planed = end.shop.planing_mm
        parts.append(
            f'<rect y="{y - planed:.3f}" width="{wide:.2f}" height="{kerf + 2 * planed:.3f}" fill="#fbf8f2" '
            'opacity="0.62"/>'
            f'<rect y="{y:.3f}" width="{wide:.2f}" height="{kerf:.3f}" fill="{_SAWDUST}"/>'
            f'<path d="M{wide + 1:.2f} {y:.3f}h4" stroke="{_PENCIL}" stroke-width="0.35" fill="none"/>'
        )
    rows = _spread([flat_face + cut for cut in resaw.cuts_mm], _SMALL_MM * 1.15)
    for at, cut in zip(rows, resaw.cuts_mm, strict=True):
        parts.append(_text(wide + 6.5, at + _SMALL_MM / 3, format_length(cut, end.units), _SMALL_MM, _PENCIL))
    for number, depth in enumerate(resaw.depths, start=1):
        parts.append(
            f'<rect y="{depth.near_mm:.3f}" width="{wide:.2f}" height="{depth.far_mm - depth.near_mm:.3f}" '
            f'fill="none" stroke="{_INK}" stroke-opacity="0.55" stroke-width="0.2"/>'
        )
        middle = (depth.near_mm + depth.far_mm) / 2
        letters = min(_LETTERS_MM, 0.82 * (depth.far_mm - depth.near_mm))
        parts.append(_tag(wide / 2, middle, f"{end.board.name}{number}", letters))
    return parts


def _spread(rows: list[float], least: float) -> list[float]:
    """Move labels apart so that none covers the next, keeping their order and their middle."""
    spread = list(rows)
    for place in range(1, len(spread)):
        spread[place] = max(spread[place], spread[place - 1] + least)
    back = (sum(spread) - sum(rows)) / len(rows) if rows else 0.0
    return [row - back for row in spread]


def _text(x: float, y: float, words: str, size: float, ink: str) -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" fill="{ink}">{escape(words)}</text>'


def _tag(x: float, y: float, words: str, size: float) -> str:
    wide = size * (0.62 * len(words) + 0.9)
    return (
        f'<rect x="{x - wide / 2:.2f}" y="{y - size * 0.55:.2f}" width="{wide:.2f}" height="{size * 1.1:.2f}" '
        f'rx="{size * 0.2:.2f}" fill="#fbf8f2" opacity="0.85"/>'
        f'<text x="{x:.2f}" y="{y + size * 0.36:.2f}" font-size="{size:.2f}" fill="{_INK}" text-anchor="middle">'
        f"{escape(words)}</text>"
    )
