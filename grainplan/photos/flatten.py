"""A side of a board made square-on, in the board frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.boards import BROAD_SIDES, BoardSide, RoughBoard, Side, SidePhoto
from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.photos.check import check_photo
from grainplan.photos.corners import (
    CORNER_DOUBT_PX,
    View,
    doubt_lens_mm,
    doubt_scale,
    outline_side,
    place_view,
    size_side,
)
from grainplan.photos.light import even_light
from grainplan.photos.load import REDUCTIONS, Photo, PhotoHeader, load_photo, read_header
from grainplan.photos.locate import choose_search_reduction, find_corners
from grainplan.picture import Picture, Pixels
from grainplan.progress import Progress, keep_quiet

PX_PER_MM = 2.0
_LENS_TOLD_MM = 1.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """The part of a plane that is wanted, and how finely.

    Parameters
    ----------
    x0_mm, y0_mm : float
        The corner of its first pixel, board frame.
    columns, rows : int
    px_per_mm : float
    """

    x0_mm: float
    y0_mm: float
    columns: int
    rows: int
    px_per_mm: float

    @classmethod
    def of(cls, start_mm: tuple[float, float], size_mm: tuple[float, float], px_per_mm: float) -> Sheet:
        """The sheet that covers `size_mm` from `start_mm` on."""
        columns, rows = (max(1, round(s * px_per_mm)) for s in size_mm)
        return cls(start_mm[0], start_mm[1], columns, rows, px_per_mm)


def flatten_side(
    board: RoughBoard, side: Side, *, px_per_mm: float = PX_PER_MM, progress: Progress = keep_quiet
) -> BoardSide | NotFound:
    """One side of a board from its photo, square-on and evenly lit, in the board frame.

    Columns run along x and rows along y on the face and the back, along y and z on the ends; the back and the head are
    seen through the board, so that all four agree along the edges they share.

    Parameters
    ----------
    board : RoughBoard
    side : {"face", "back", "foot", "head"}
    px_per_mm : float
        Of the picture that is made. Where the photo itself has fewer, a caveat says so.
    progress : callable

    Returns
    -------
    BoardSide, or NotFound where the side has no photo or the photo cannot be placed on the board.

    Raises
    ------
    PhotoError
        When a photo cannot be read or its corners cannot be right.
    """
    photos = board.photos.get(side, ())
    if not photos:
        return NotFound(f"board {board.name} has no photo of its {side}")
    if len(photos) > 1:
        return NotFound(f"board {board.name}, {side}: several photos of one side cannot be joined yet; give one photo")
    called = f"board {board.name}, {side} ({photos[0].path.name})"
    progress(0.0, f"reading {called}")
    header = read_header(photos[0].path)
    placed = _place_photo(board, side, photos[0], (header, px_per_mm))
    if isinstance(placed, NotFound):
        return placed
    photo, view, corner_px = placed
    seen = check_photo(photo, view, side)
    progress(0.5, f"flattening {called}")
    sheet = Sheet.of((0.0, 0.0), size_side(board, side), px_per_mm)
    pixels = flatten_photo(photo, view, sheet)
    if side in BROAD_SIDES:
        if board.width_head_mm is not None:
            pixels = _cover_beyond_edge(pixels, board, px_per_mm)
        pixels = even_light(pixels)
    progress(1.0, f"flattened {called}")
    return BoardSide(
        picture=Picture(pixels, px_per_mm),
        photo_px_per_mm=round(float(view.densities()[4].min()), 3),
        scale_doubt_percent=round(doubt_scale(view, corner_px=corner_px), 3),
        caveats=(*view.caveats, *seen, *_tell_density(view, px_per_mm), *_tell_lens(view, side)),
    )


def _place_photo(
    board: RoughBoard, side: Side, shot: SidePhoto, wanted: tuple[PhotoHeader, float]
) -> tuple[Photo, View, float] | NotFound:
    """Decode a photo as finely as is wanted and say how it sees the side, by typed corners or by its outline."""
    header, px_per_mm = wanted
    called = f"board {board.name}, {side} ({shot.path.name})"
    outline = outline_side(board, side, x_mm=shot.x_mm)
    size = (header.width_px, header.height_px)
    if shot.corners is not None:
        view = place_view(outline, np.array(shot.corners), size_px=size, side=side, called=called)
        return load_photo(header, reduction=choose_reduction(view, px_per_mm)), view, CORNER_DOUBT_PX
    photo = load_photo(header, reduction=choose_search_reduction(header))
    found = find_corners(photo, board, side, shot)
    if isinstance(found, NotFound):
        return found
    view = place_view(outline, found.corners_px, size_px=size, side=side, called=called)
    finer = choose_reduction(view, px_per_mm)
    if finer < photo.reduction:
        photo = load_photo(header, reduction=finer)
    return photo, replace(view, caveats=(*found.caveats, *view.caveats)), found.doubt_px


def _tell_density(view: View, px_per_mm: float) -> tuple[str, ...]:
    own = float(view.densities()[4].min())
    if own >= 0.98 * px_per_mm:
        return ()
    return (
        f"the photo has only {own:.2g} px/mm, fewer than the {px_per_mm:g} px/mm of its flattened picture; closer "
        "photos show more",
    )


def _tell_lens(view: View, side: Side) -> tuple[str, ...]:
    off = doubt_lens_mm(view)
    if side not in BROAD_SIDES or off < _LENS_TOLD_MM:
        return ()
    return (
        f"the lens is not known: with the distortion that phones usually leave, places between the corners may be up "
        f"to {off:.1f} mm off",
    )


def choose_reduction(view: View, px_per_mm: float) -> int:
    """How far the photo may be reduced while it is decoded, so that no detail worth having is lost.

    A tenth fewer pixels than the sheet has is let pass: a photo's own pixels, each of them one colour interpolated to
    three, are not that sharp.
    """
    fewest = float(view.densities().min())
    return next((k for k in REDUCTIONS if fewest / k >= 0.9 * px_per_mm), 1)


def flatten_photo(photo: Photo, view: View, sheet: Sheet) -> Pixels:
    """Resample a photo square-on.

    What is still finer than the sheet after decoding is averaged by area first, so that the picture neither aliases nor
    blurs; then one cubic interpolation.

    Parameters
    ----------
    photo : Photo
    view : View
    sheet : Sheet

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
    """
    part, x0, y0 = _crop_round(photo, view, sheet)
    wanted = _area_factors(photo, view, sheet)
    height, width = part.shape[:2]
    size = (max(2, round(width * wanted[0])), max(2, round(height * wanted[1])))
    if size != (width, height):
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
    fx, fy = size[0] / width, size[1] / height
    k, d = photo.reduction, sheet.px_per_mm
    from_sheet = np.array([[1 / d, 0, 0.5 / d + sheet.x0_mm], [0, 1 / d, 0.5 / d + sheet.y0_mm], [0, 0, 1]])
    to_pixels = np.array(
        [
            [fx / k, 0, fx * (photo.shift_px[0] / k - x0) - 0.5],
            [0, fy / k, fy * (photo.shift_px[1] / k - y0) - 0.5],
            [0, 0, 1],
        ]
    )
    return np.asarray(
        cv2.warpPerspective(
            part,
            to_pixels @ view.to_photo @ from_sheet,
            (sheet.columns, sheet.rows),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.uint8,
    )


def _corners_of(sheet: Sheet) -> Floats:
    x1, y1 = sheet.x0_mm + sheet.columns / sheet.px_per_mm, sheet.y0_mm + sheet.rows / sheet.px_per_mm
    return np.array([[sheet.x0_mm, sheet.y0_mm], [x1, sheet.y0_mm], [x1, y1], [sheet.x0_mm, y1]])


def _crop_round(photo: Photo, view: View, sheet: Sheet) -> tuple[Pixels, int, int]:
    """The part of the photo's pixels that the sheet needs, and where it begins."""
    whole = View(view.to_photo, _corners_of(sheet), view.size_px)
    places = photo.place(whole.corners_px)
    height, width = photo.pixels.shape[:2]
    low = np.clip(np.floor(places.min(axis=0)) - 4, 0, (width - 2, height - 2)).astype(int)
    high = np.clip(np.ceil(places.max(axis=0)) + 4, low + 2, (width, height)).astype(int)
    return photo.pixels[low[1] : high[1], low[0] : high[0]], int(low[0]), int(low[1])


def _area_factors(photo: Photo, view: View, sheet: Sheet) -> tuple[float, float]:
    """By how much to shrink the pixels in each direction of the photo before the interpolation."""
    whole = View(view.to_photo, _corners_of(sheet), view.size_px)
    points = np.vstack([whole.outline_mm, whole.outline_mm.mean(axis=0)])
    stretch = whole.stretch_at(points) / photo.reduction / sheet.px_per_mm
    # Photo pixels along each photo axis for one pixel of the sheet; the least over the sheet, so that none is blurred.
    steps = np.hypot(stretch[:, :, 0], stretch[:, :, 1]).min(axis=0)
    return tuple(1.0 if s < 1.25 else float(1 / s) for s in steps)  # type: ignore[return-value]


def _cover_beyond_edge(pixels: Pixels, board: RoughBoard, px_per_mm: float) -> Pixels:
    """Below the edge of a tapered board lies floor: repeat the last wood there, so that no floor counts as wood."""
    x = (np.arange(pixels.shape[1]) + 0.5) / px_per_mm
    edge = np.interp(x, [0.0, board.length_mm], [board.width_at(0.0), board.width_at(board.length_mm)])
    last = np.clip(np.floor(edge * px_per_mm - 0.5).astype(int) - 1, 0, pixels.shape[0] - 1)
    rows = np.minimum(np.arange(pixels.shape[0])[:, None], last[None, :])
    return np.ascontiguousarray(np.take_along_axis(pixels, rows[:, :, None], axis=0))
