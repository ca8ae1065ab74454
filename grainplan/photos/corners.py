"""Four corners on a photo: whether they can be right, and what they make of the photo's scale."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from grainplan.boards import END_SIDES, RoughBoard, Side
from grainplan.errors import PhotoError
from grainplan.geometry import Floats, apply_homography, signed_area, solve_homography

CORNER_DOUBT_PX = 1.5  # how well a corner is hit by a person who zooms in; rough ends are not sharper
FOCAL_PER_LONG_SIDE = 1.15  # a phone's main lens, about 26 mm of a 36 mm frame over a 4:3 picture
USUAL_K1 = 0.03  # radial distortion left by phones, OpenCV's coordinates
_SLANT_TOLD = 1.5  # one end of the board this many times larger in the photo than the other
_FORESHORTENED = 1.4  # about 45 degrees
_STEEPEST = 6.0
_WRONG_START = 5.0  # of the proportions; a slant of 78 degrees would do the same, and shows nothing
_OUTSIDE_PX = 2.0  # where a board just fills the photo, its corner may be typed a pixel outside

ORDER = {
    "face": "foot at the face edge, head at the face edge, head at the other edge, foot at the other edge",
    "foot": "face edge at the face side, other edge at the face side, other edge at the back, face edge at the back",
}
TURNING = (
    "In the picture they turn clockwise on the face and the foot and counter-clockwise on the back and the head: "
    "corners that turn the other way belong to another side, or were typed in another order"
)


@dataclass(frozen=True, slots=True)
class View:
    """How a photo sees a plane of the board.

    Parameters
    ----------
    to_photo : ndarray, shape (3, 3)
        Homography from the board frame (mm) to the whole upright photo (px from the first pixel's corner).
    outline_mm : ndarray, shape (4, 2)
        The typed corners in the board frame.
    size_px : (int, int)
        Width and height of the photo.
    caveats : tuple of str
    k1, k1_doubt : float
        Radial distortion of the lens (:func:`bend_points`): `to_photo` leads to where a straight lens would have put a
        place.
    """

    to_photo: Floats
    outline_mm: Floats
    size_px: tuple[int, int]
    caveats: tuple[str, ...] = ()
    k1: float = 0.0
    k1_doubt: float = USUAL_K1

    @property
    def corners_px(self) -> Floats:
        """The corners in the photo, shape (4, 2)."""
        return bend_points(apply_homography(self.to_photo, self.outline_mm), self.size_px, k1=self.k1)

    def stretch_at(self, points_mm: Floats) -> Floats:
        """Photo pixels a millimetre along both board axes at some places, shape (n, 2, 2): [axis of the photo, board].

        The derivative of the homography.
        """
        h = np.asarray(self.to_photo, float)
        p = np.column_stack([points_mm, np.ones(len(points_mm))]) @ h.T
        top = h[None, :2, :2] * p[:, 2, None, None] - p[:, :2, None] * h[None, 2:, :2]
        return np.asarray(top / (p[:, 2] ** 2)[:, None, None], float)

    def densities(self) -> Floats:
        """Photo pixels a millimetre along and across the board at the four corners and the middle, shape (5, 2)."""
        points = np.vstack([self.outline_mm, self.outline_mm.mean(axis=0)])
        return np.asarray(np.hypot(*np.moveaxis(self.stretch_at(points), 1, 0)), float)


def size_side(board: RoughBoard, side: Side) -> tuple[float, float]:
    """Extent of a side's picture in the board frame, mm: (length, width) or, for an end, (width there, thickness)."""
    if side in END_SIDES:
        return board.width_at(0.0 if side == "foot" else board.length_mm), board.thickness_mm
    return board.length_mm, board.largest_width_mm


def outline_side(board: RoughBoard, side: Side, *, x_mm: tuple[float, float] | None = None) -> Floats:
    """The four board points that a side's corners stand for, in the order of the job format, mm, shape (4, 2).

    Parameters
    ----------
    board : RoughBoard
    side : str
    x_mm : (float, float), optional
        The part of the length that the photo shows, for one of several photos of a side.
    """
    if side in END_SIDES:
        width, thickness = size_side(board, side)
        return np.array([[0.0, 0.0], [width, 0.0], [width, thickness], [0.0, thickness]])
    start, end = x_mm or (0.0, board.length_mm)
    return np.array([[start, 0.0], [end, 0.0], [end, board.width_at(end)], [start, board.width_at(start)]])


def place_view(outline_mm: Floats, corners_px: Floats, *, size_px: tuple[int, int], side: Side, called: str) -> View:
    """Check typed corners and say how the photo sees the side.

    Parameters
    ----------
    outline_mm, corners_px : ndarray, shape (4, 2)
        The same four points on the board and in the photo.
    size_px : (int, int)
        Width and height of the upright photo.
    side : str
        Which side of the board.
    called : str
        How to name the photo to the maker, as "board A, face (a-face.jpg)".

    Raises
    ------
    PhotoError
        When the corners lie outside the photo, enclose nothing, cross, or turn the wrong way.
    """
    corners = np.asarray(corners_px, float)
    _check_corners(corners, size_px, side, called)
    try:
        view = View(solve_homography(outline_mm, corners), np.asarray(outline_mm, float), size_px)
    except ValueError:
        raise PhotoError(f"{called}: three of the four corners are in line; type them again") from None
    seen = view.densities()
    if seen.max(axis=0).max() > _STEEPEST * seen.min(axis=0)[seen.max(axis=0).argmax()]:
        raise PhotoError(
            f"{called}: by these corners one end is over {_STEEPEST:.0f} times as large in the photo as the other; "
            "type the corners again, or stand over the middle of the board and take it anew"
        )
    along, across = seen[4]
    if max(along / across, across / along) > _WRONG_START:
        raise PhotoError(
            f"{called}: by these corners the {'width' if along > across else 'length'} is shown "
            f"{max(along / across, across / along):.0f} times smaller than it should be; they seem to begin at the "
            f"wrong one. The order is {ORDER['foot' if side in END_SIDES else 'face']}"
        )
    return View(view.to_photo, view.outline_mm, size_px, _tell_slant(seen))


def _check_corners(corners: Floats, size_px: tuple[int, int], side: Side, called: str) -> None:
    width, height = size_px
    for x, y in corners:
        if not (-_OUTSIDE_PX <= x <= width + _OUTSIDE_PX and -_OUTSIDE_PX <= y <= height + _OUTSIDE_PX):
            raise PhotoError(
                f"{called}: the corner ({x:g}, {y:g}) lies outside the photo, which has {width} × {height} px once it "
                "is upright; were the corners read off a smaller or a turned copy?"
            )
    area = signed_area(corners)
    turns = [signed_area(np.roll(corners, -i, axis=0)[:3]) for i in range(4)]
    order = ORDER["foot" if side in END_SIDES else "face"]
    if abs(area) < 100 or min(abs(t) for t in turns) < 1:
        raise PhotoError(f"{called}: these four corners enclose nothing, three of them are in line; type them again")
    if min(turns) < 0 < max(turns):
        raise PhotoError(f"{called}: two sides of these four corners cross or bend inward; the order is {order}")
    if (area > 0) != (side in ("face", "foot")):
        way = "clockwise" if area > 0 else "counter-clockwise"
        raise PhotoError(f"{called}: these corners turn {way}. {TURNING}. The order is {order}")


def _tell_slant(seen: Floats) -> tuple[str, ...]:
    caveats = []
    ratio = float((seen.max(axis=0) / seen.min(axis=0)).max())
    if ratio > _SLANT_TOLD:
        caveats.append(
            f"taken at a steep slant: one end is {ratio:.1f} times as large in the photo as the other; stand over the "
            "middle of the board for a sharper far end"
        )
    along, across = seen[4]
    squeeze = float(max(along / across, across / along))
    if squeeze > _FORESHORTENED:
        thin = "width" if along > across else "length"
        caveats.append(
            f"by the typed sizes the {thin} is shown {squeeze:.1f} times smaller in proportion than it should be: the "
            f"photo was taken at a slant of about {math.degrees(math.acos(1 / squeeze)):.0f} degrees, or a size or a "
            "corner is wrong"
        )
    return tuple(caveats)


def doubt_scale(view: View, *, corner_px: float = CORNER_DOUBT_PX) -> float:
    """How far a length measured on the flattened picture may be off because corners are not hit exactly, per cent.

    The two ends of an edge are off by `corner_px` independently, so its length is off by √2 times that; a length in the
    middle is the mean of two such edges, which takes the √2 out again. The larger of the two directions is given: on a
    narrow board that is the width.
    """
    c = view.corners_px
    long_px = 0.5 * (np.linalg.norm(c[1] - c[0]) + np.linalg.norm(c[2] - c[3]))
    wide_px = 0.5 * (np.linalg.norm(c[3] - c[0]) + np.linalg.norm(c[2] - c[1]))
    return float(100 * corner_px / min(long_px, wide_px))


def bend_points(points_px: Floats, size_px: tuple[int, int], *, k1: float) -> Floats:
    """Where a lens puts what a perfect one would put at `points_px`: ``x (1 + k1 r²)``, OpenCV's radial model.

    Coordinates are taken from the middle of the photo and divided by its focal length, 1.15 times its long side.
    """
    middle = np.array(size_px, float) / 2
    focal = FOCAL_PER_LONG_SIDE * max(size_px)
    straight = (np.asarray(points_px, float) - middle) / focal
    return np.asarray(straight * (1 + k1 * (straight**2).sum(axis=1, keepdims=True)) * focal + middle, float)


def straighten_points(points_px: Floats, size_px: tuple[int, int], *, k1: float) -> Floats:
    """Undo :func:`bend_points`, by fixed-point steps."""
    middle = np.array(size_px, float) / 2
    focal = FOCAL_PER_LONG_SIDE * max(size_px)
    bent = (np.asarray(points_px, float) - middle) / focal
    straight = bent.copy()
    for _ in range(12):
        straight = bent / (1 + k1 * (straight**2).sum(axis=1, keepdims=True))
    return np.asarray(straight * focal + middle, float)


def know_lens(view: View, *, k1: float, doubt: float) -> View:
    """The same view through a lens whose distortion was measured."""
    straight = straighten_points(view.corners_px, view.size_px, k1=k1)
    return replace(view, to_photo=solve_homography(view.outline_mm, straight), k1=k1, k1_doubt=doubt)


def doubt_lens_mm(view: View) -> float:
    """The farthest that the lens may have moved a place between the corners, mm.

    As far as it is not known: a usual phone's (k1 up to ±0.03), or what a measurement leaves open.
    """
    low, high = view.outline_mm.min(axis=0), view.outline_mm.max(axis=0)
    along, across = np.meshgrid(np.linspace(low[0], high[0], 9), np.linspace(low[1], high[1], 3))
    truth = np.column_stack([along.ravel(), across.ravel()])
    worst = 0.0
    for k1 in (view.k1 - view.k1_doubt, view.k1 + view.k1_doubt):
        other = know_lens(view, k1=k1, doubt=0.0)
        bent = bend_points(apply_homography(other.to_photo, truth), view.size_px, k1=k1)
        straight = straighten_points(bent, view.size_px, k1=view.k1)
        seen = apply_homography(np.linalg.inv(view.to_photo), straight)
        worst = max(worst, float(np.linalg.norm(seen - truth, axis=1).max()))
    return worst
