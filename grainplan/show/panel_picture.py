"""A panel behind its opening, made of the real pixels of the boards."""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np

from grainplan.match.surfaces import LeafSurface, SurfaceKey, Surfaces
from grainplan.picture import Picture, Pixels
from grainplan.show.strips import StripPlace

PieceSide = Literal["front", "back"]
UNSEEN = LeafSurface(None, "none")
_HATCH_GROUND, _HATCH_LINE = (222, 219, 213), (186, 181, 172)


def find_surface(place: StripPlace, surfaces: Surfaces, side: PieceSide) -> LeafSurface:
    """The surface that a strip shows on one side of the piece: from behind it is the other one of the same leaf."""
    strip = place.strip
    front_is_near = strip.surface == "near"
    key: SurfaceKey = (strip.leaf, "near" if front_is_near == (side == "front") else "far")
    return surfaces.get(key, UNSEEN)


def draw_panel(
    places: tuple[StripPlace, ...],
    sight_mm: tuple[float, float],
    *,
    surfaces: Surfaces,
    side: PieceSide,
    px_per_mm: float,
) -> Pixels:
    """Draw what shows of a panel in its opening.

    Parameters
    ----------
    places : tuple of StripPlace
    sight_mm : (float, float)
        Width and height of the opening, mm.
    surfaces : mapping
        The picture of each surface of each leaf.
    side : {"front", "back"}
        From behind, the other surfaces show, mirrored as one sees them.
    px_per_mm : float

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        Row 0 is at the upper sight line. Strips of which nothing is known are hatched.
    """
    columns, rows = (max(1, round(v * px_per_mm)) for v in sight_mm)
    drawn = np.empty((rows, columns, 3), np.uint8)
    for place in places:
        first, end = (int(np.clip(round(v * px_per_mm), 0, columns)) for v in (place.left_mm, place.right_mm))
        if end <= first:
            continue
        part = drawn[:, first:end]
        picture = find_surface(place, surfaces, side).picture
        if picture is None:
            part[:] = _draw_hatch(rows, end - first, px_per_mm)
        else:
            part[:] = _turn_upright(place, picture, sight_mm[1], first_column=first, part=part, px_per_mm=px_per_mm)
    return drawn if side == "front" else np.ascontiguousarray(drawn[:, ::-1])


def _turn_upright(  # noqa: PLR0913 - the six numbers that one warp needs
    place: StripPlace, picture: Picture, sight_height_mm: float, *, first_column: int, part: Pixels, px_per_mm: float
) -> Pixels:
    """The pixels of a strip, x running up or down and y across, each from where the board shows it."""
    pixels, density = _shrink(picture, px_per_mm)
    d, p = density, px_per_mm
    x0, y0 = place.board_point((first_column + 0.5) / p, sight_height_mm - 0.5 / p)
    to_board = np.array([[0.0, -place.x_step * d / p, x0 * d - 0.5], [place.y_step * d / p, 0.0, y0 * d - 0.5]])
    return np.asarray(
        cv2.warpAffine(
            pixels,
            to_board,
            (part.shape[1], part.shape[0]),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.uint8,
    )


def _shrink(picture: Picture, px_per_mm: float) -> tuple[Pixels, float]:
    """Average pixels that are much finer than what is drawn, so that thin lines do not break up."""
    factor = int(picture.px_per_mm / px_per_mm + 0.25)
    if factor < 2:
        return picture.pixels, picture.px_per_mm
    rows, columns = (n // factor for n in picture.pixels.shape[:2])
    whole = picture.pixels[: max(1, rows) * factor, : max(1, columns) * factor]
    small = cv2.resize(whole, (max(1, columns), max(1, rows)), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), picture.px_per_mm / factor


def _draw_hatch(rows: int, columns: int, px_per_mm: float) -> Pixels:
    """Plain slanted lines, 14 mm apart: nothing is known here."""
    r, c = np.arange(rows)[:, None] / px_per_mm, np.arange(columns)[None, :] / px_per_mm
    on_line = np.mod(r + c, 14.0) < 1.2
    return np.where(on_line[:, :, None], np.array(_HATCH_LINE, np.uint8), np.array(_HATCH_GROUND, np.uint8))
