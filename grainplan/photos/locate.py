"""Which corner of the board is where in a photo, when nobody typed corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from grainplan.boards import BROAD_SIDES, Direction, RoughBoard, Side, SidePhoto
from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.photos.corners import outline_side
from grainplan.photos.load import REDUCTIONS, Photo, PhotoHeader, load_photo, read_header
from grainplan.photos.outline import find_outline
from grainplan.picture import Pixels

_END_MM = 2.0  # a part that begins or ends closer to the board's end than this shows that end
_SEARCHED_PX = 2400  # long side that is enough to place a corner
# Which of the four board points (foot at the face edge, head there, head at the other edge, foot there) stands upper
# left, upper right, lower right and lower left, by side and by where the foot lies once the length runs across.
_LIES: dict[tuple[str, Direction], tuple[int, int, int, int]] = {
    ("face", "left"): (0, 1, 2, 3),
    ("face", "right"): (2, 3, 0, 1),
    ("back", "left"): (3, 2, 1, 0),
    ("back", "right"): (1, 0, 3, 2),
    # An end lies with the face side up; the points are (y, z).
    ("foot", "left"): (0, 1, 2, 3),
    ("head", "left"): (1, 0, 3, 2),
}


@dataclass(frozen=True, slots=True)
class FoundCorners:
    """Corners in the order of the job format, px of the whole upright photo, and how far they may be off.

    `x_mm`: of a board that runs out of the picture, the part of its length that lies between the corners, by its width;
    `floats` where neither end is seen, so that only what was typed, or other photos, say where that part lies.
    """

    corners_px: Floats
    doubt_px: float
    caveats: tuple[str, ...] = ()
    x_mm: tuple[float, float] | None = None
    floats: bool = False


def choose_search_reduction(header: PhotoHeader) -> int:
    """How far a photo may be reduced for the search of its outline."""
    long = max(header.width_px, header.height_px)
    return next((k for k in REDUCTIONS if long / k >= _SEARCHED_PX), 1)


def locate_side(board: RoughBoard, side: Side) -> FoundCorners | NotFound:
    """Find the corners of a side in its photo, to be looked at, corrected, and written into the job file.

    Parameters
    ----------
    board : RoughBoard
    side : {"face", "back", "foot", "head"}
        With one photo; a side in several needs its corners typed.

    Raises
    ------
    PhotoError
        When the photo cannot be read.
    """
    photos = board.photos.get(side, ())
    if len(photos) != 1:
        return NotFound(f"board {board.name} has {len(photos)} photos of its {side}; corners are found in one alone")
    header = read_header(photos[0].path)
    photo = load_photo(header, reduction=choose_search_reduction(header))
    return find_corners(photo, board, side, photos[0])


def find_corners(photo: Photo, board: RoughBoard, side: Side, shot: SidePhoto) -> FoundCorners | NotFound:
    """Find a board's corners in a photo by its outline.

    Parameters
    ----------
    photo : Photo
    board : RoughBoard
        Its typed length, width and thickness say what outline to look for.
    side : str
    shot : SidePhoto
        Its `foot` says which way the board lies; an end lies with the face side up.
    """
    called = f"board {board.name}, {side} ({shot.path.name})"
    wide = photo.width_px >= photo.height_px
    foot: Direction = shot.foot or ("left" if wide or side not in BROAD_SIDES else "up")
    if side not in BROAD_SIDES:
        foot = "left"
    pixels, lies = _turn_to_left(photo.pixels, foot)
    points = outline_side(board, side, x_mm=shot.x_mm)
    order = list(_LIES[side, lies])
    foot_open, head_open = _list_open(board, side, shot)
    found = find_outline(
        pixels,
        _lay_out(points[order]),
        called=called,
        deep_mm=board.thickness_mm if side in BROAD_SIDES else None,
        open_ends=(foot_open, head_open) if lies == "left" else (head_open, foot_open),
    )
    if isinstance(found, NotFound):
        return found
    corners = np.empty((4, 2))
    corners[order] = _turn_back(found.corners_px, foot, photo.pixels)
    caveats = found.caveats
    if side in BROAD_SIDES and shot.foot is None:
        caveats += (f'which way the board lies was not told; its foot is taken to be {foot}: write foot = "{foot}"',)
    if side not in BROAD_SIDES:
        caveats += ("the end was taken to be photographed with the board's face side up",)
    return FoundCorners(
        corners * photo.reduction - np.array(photo.shift_px, float),
        found.doubt_px * photo.reduction,
        caveats,
        _lay_part(shot.x_mm, found.shown, (foot_open, head_open)),
        foot_open and head_open,
    )


def _list_open(board: RoughBoard, side: Side, shot: SidePhoto) -> tuple[bool, bool]:
    """Whether the board runs out of the picture at its foot and at its head, by the part that the photo shows."""
    if shot.x_mm is None or side not in BROAD_SIDES:
        return False, False
    return shot.x_mm[0] > _END_MM, shot.x_mm[1] < board.length_mm - _END_MM


def _lay_part(
    x_mm: tuple[float, float] | None, shown: float, open_ends: tuple[bool, bool]
) -> tuple[float, float] | None:
    """The part that is seen: as long as the width tells, from the end that is seen or about the typed middle."""
    if x_mm is None or not any(open_ends):
        return x_mm
    more = (x_mm[1] - x_mm[0]) * (shown - 1.0)
    foot_open, head_open = open_ends
    before = more * (0.5 if head_open else 1.0) if foot_open else 0.0
    return x_mm[0] - before, x_mm[1] + more - before


def _lay_out(points_mm: Floats) -> Floats:
    """The same outline with its upper left corner first and at the origin, x to the right and y down."""
    moved = points_mm - points_mm[0]
    across, down = np.sign(moved[1, 0]), np.sign(moved[3, 1])
    return np.asarray(moved * np.array([across, down]), float)


def _turn_to_left(pixels: Pixels, foot: Direction) -> tuple[Pixels, Direction]:
    """Turn a picture so that the board's length runs across; where its foot lies then."""
    if foot == "up":
        return np.ascontiguousarray(np.rot90(pixels)), "left"
    if foot == "down":
        return np.ascontiguousarray(np.rot90(pixels, -1)), "left"
    return pixels, foot


def _turn_back(points: Floats, foot: Direction, pixels: Pixels) -> Floats:
    height, width = pixels.shape[:2]
    if foot == "up":
        return np.column_stack([width - points[:, 1], points[:, 0]])
    if foot == "down":
        return np.column_stack([points[:, 1], height - points[:, 0]])
    return points
