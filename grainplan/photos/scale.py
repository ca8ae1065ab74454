"""Scale from scale sheets: the camera, its lens and the lie of each sheet at once, with what remains in doubt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from grainplan.errors import NotFound
from grainplan.geometry import Floats
from grainplan.measured import Measured
from grainplan.photos.corners import FOCAL_PER_LONG_SIDE
from grainplan.photos.sheets import SHEET_WIDTH_MM, FoundSheet, list_mark_corners

CORNER_PX = 0.05  # standard deviation of a mark's corner in a sharp photo; more where the marks disagree by more
# What is usual, as standard deviations, where the marks themselves do not tell.
_FOCAL_USUAL = 0.08  # of its logarithm, about 1.15 times the long side
_K1_USUAL = 0.02  # among phone lenses
_SWELL_USUAL = 0.004  # of a mark's side, by which blur and the camera's tone curve shrink or swell black marks
_PRINT_USUAL = 0.0007  # of the print's size either way: 0.2 mm over 140, as well as a rule tells
_LOWER_USUAL_MM = (0.8, 0.9)  # mean, deviation: sheets lie on offcuts beside the board, rather lower than higher
_UNEVEN_MM = 0.5  # between one sheet's height and the next
_CURL_USUAL_MM = 0.8  # paper bends: its ends against its middle
_CAMERA = 12  # turn (3), shift (3), focal, k1, swell, print along and across, how low all sheets lie
_SHEET = 5  # turn, place (2), height and curl; of the first sheet only the last two, its frame is that of the plane


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """How a camera saw the plane of the scale sheets.

    Parameters
    ----------
    values : ndarray
        Turn (Rodrigues), shift (mm), logarithm of focal over 1.15 times the long side, k1, swell, how much larger the
        sheets are printed along and across, how far they lie below the face (mm); then the height and curl of the first
        sheet, whose frame is that of the plane, and the turn, place, height and curl of the others.
    covariance : ndarray
        Of the values: from what the marks' corners leave open and from what is usual of lenses, printers and paper.
    size_px : (int, int)
        Of the photo.
    off_px : float
        Root mean square of what the marks' corners are off this camera.
    """

    values: Floats
    covariance: Floats
    size_px: tuple[int, int]
    off_px: float

    @property
    def k1(self) -> Measured:
        """Radial distortion of the lens, OpenCV's coordinates at a focal length of 1.15 times the long side."""
        ratio = float(np.exp(2 * self.values[6]))
        return Measured(float(self.values[7]) / ratio, 2 * float(np.sqrt(self.covariance[7, 7])) / ratio)

    def measure_sides(self, corners_px: Floats, *, corner_px: float) -> tuple[Measured, Measured]:
        """Length and width, mm, of a four-sided thing in the plane of the sheets.

        Parameters
        ----------
        corners_px : ndarray, shape (4, 2)
            Of the whole photo, in the order of the job format.
        corner_px : float
            How far a corner may be off, 19 times in 20.
        """

        def sides(edges: Floats) -> Floats:
            return np.array([(edges[0] + edges[2]) / 2, (edges[1] + edges[3]) / 2])

        length, width = self._measure(corners_px, sides, corner_px=corner_px)
        return length, width

    def measure_widths(self, corners_px: Floats, *, corner_px: float) -> tuple[Measured, Measured, Measured]:
        """Width at the foot and at the head, mm, and how much narrower the head is; as :meth:`measure_sides`."""

        def widths(edges: Floats) -> Floats:
            return np.array([edges[3], edges[1], edges[3] - edges[1]])

        foot, head, taper = self._measure(corners_px, widths, corner_px=corner_px)
        return foot, head, taper

    def _measure(
        self, corners_px: Floats, choose: Callable[[Floats], Floats], *, corner_px: float
    ) -> tuple[Measured, ...]:
        """What is chosen of the four edges' lengths, with what the sheets and the corners leave open."""

        def look(values: Floats, corners: Floats) -> Floats:
            p = _meet_plane(values, corners, self.size_px)
            return choose(np.linalg.norm(np.roll(p, -1, axis=0) - p, axis=1))

        corners = np.asarray(corners_px, float)
        here = look(self.values, corners)
        turn = _slope(lambda v: look(v, corners), self.values)
        variance = np.diag(turn @ self.covariance @ turn.T)
        shake = _slope(lambda c: look(self.values, c.reshape(4, 2)), corners.ravel())
        variance = variance + (shake**2).sum(axis=1) * (corner_px / 2) ** 2
        return tuple(Measured(float(v), 2 * float(np.sqrt(s))) for v, s in zip(here, variance, strict=True))


def find_scale(sheets: tuple[FoundSheet, ...], size_px: tuple[int, int]) -> Scale | NotFound:
    """The camera that best explains where the marks of the sheets stand.

    Unknown together: turn and shift of the camera; where every sheet lies; and, held near what is usual, focal length
    and k1, how much the black marks look swollen (the distance of their middles does not), how large they were printed,
    how far the sheets lie below the face, and how they curl. What the photo cannot tell of these stays in the doubt.
    Solved by Gauss and Newton's method with Levenberg's damping.

    Parameters
    ----------
    sheets : tuple of FoundSheet
    size_px : (int, int)
        Width and height of the photo.
    """
    if not sheets:
        return NotFound("no scale sheet found; lay one at each end of the board, flat, at the height of its face")
    seen = np.vstack([s.corners_px for s in sheets])
    values = _guess(sheets, size_px)
    own = [i for k in range(len(sheets)) for i in (_CAMERA + _SHEET * k, _CAMERA + _SHEET * k + 1)]
    held = np.array([*range(6, _CAMERA), *own])
    mean = np.array([0.0] * 5 + [_LOWER_USUAL_MM[0]] + [0.0, 0.0] * len(sheets))
    spread = np.array(
        [_FOCAL_USUAL, _K1_USUAL, _SWELL_USUAL, _PRINT_USUAL, _PRINT_USUAL, _LOWER_USUAL_MM[1]]
        + [_UNEVEN_MM, _CURL_USUAL_MM] * len(sheets)
    )

    corner_px = CORNER_PX
    for _ in range(2):

        def misfit(v: Floats, corner: float = corner_px) -> Floats:
            return np.concatenate([((_project(v, size_px) - seen) / corner).ravel(), (v[held] - mean) / spread])

        values, slope = _solve(misfit, values)
        off = misfit(values)[: seen.size] * corner_px
        off_px = float(np.sqrt((off**2).sum() / max(1, off.size - (values.size - held.size))))
        corner_px = max(CORNER_PX, off_px)
    if off_px > max(1.5, 0.0006 * max(size_px)):
        return NotFound(
            f"the marks of the scale sheets are {off_px:.1f} px off a flat plane; lay them flat, all at one height"
        )
    return Scale(values, np.linalg.inv(slope.T @ slope), size_px, off_px)


def _guess(sheets: tuple[FoundSheet, ...], size_px: tuple[int, int]) -> Floats:
    """A camera that looks straight down on the first sheet, and the others where they then lie."""
    plan = list_mark_corners()
    focal = FOCAL_PER_LONG_SIDE * max(size_px)
    values = np.zeros(_CAMERA + 2 + _SHEET * (len(sheets) - 1))
    base = np.mean([_fit_rigid(plan, s.corners_px)[0] for s in sheets])
    _, roll, start = _fit_rigid(plan, sheets[0].corners_px)
    values[2] = roll
    values[5] = focal / base
    values[3:5] = (start - np.array(size_px) / 2) / base
    turn = np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
    for i, sheet in enumerate(sheets[1:]):
        _, own, place = _fit_rigid(plan, sheet.corners_px)
        at = _CAMERA + 2 + _SHEET * i
        values[at : at + 3] = (own - roll, *(turn.T @ (place - start) / base))
    return values


def _fit_rigid(plan: Floats, seen: Floats) -> tuple[float, float, Floats]:
    """Scale, turn and place of the plan's origin that lay a plan over what is seen."""
    a, b = plan - plan.mean(axis=0), seen - seen.mean(axis=0)
    ratio = ((b[:, 0] + 1j * b[:, 1]) * np.conj(a[:, 0] + 1j * a[:, 1])).sum() / (a**2).sum()
    turned = ratio * (plan.mean(axis=0) @ np.array([1, 1j]))
    return abs(ratio), float(np.angle(ratio)), seen.mean(axis=0) - np.array([turned.real, turned.imag])


def _project(values: Floats, size_px: tuple[int, int]) -> Floats:
    """Where the camera sees the corners of all marks, px."""
    plan = list_mark_corners()
    middles = np.repeat([plan[:4].mean(axis=0), plan[4:].mean(axis=0)], 4, axis=0)
    plan = (middles + (plan - middles) * (1 + values[8])) * (1 + values[9:11])
    lies = []
    for turn, x, y, height, curl in np.concatenate([np.zeros(3), values[_CAMERA:]]).reshape(-1, _SHEET):
        flat = plan @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + (x, y)
        bow = curl * ((plan[:, :1] / (SHEET_WIDTH_MM / 2) - 1) ** 2 - 1 / 3)
        lies.append(np.hstack([flat, values[11] + height + bow]))
    seen = np.vstack(lies) @ _turn_of(values).T + values[3:6]
    plain = seen[:, :2] / seen[:, 2:]
    bent = plain * (1 + values[7] * (plain**2).sum(axis=1, keepdims=True))
    return np.asarray(bent * _focal_of(values, size_px) + np.array(size_px) / 2, float)


def _meet_plane(values: Floats, places_px: Floats, size_px: tuple[int, int]) -> Floats:
    """Where rays through places of the photo meet the plane, mm."""
    bent = (places_px - np.array(size_px) / 2) / _focal_of(values, size_px)
    plain = bent.copy()
    for _ in range(10):
        plain = bent / (1 + values[7] * (plain**2).sum(axis=1, keepdims=True))
    turn = _turn_of(values)
    onto = np.linalg.inv(np.column_stack([turn[:, 0], turn[:, 1], values[3:6]]))
    met = np.column_stack([plain, np.ones(len(plain))]) @ onto.T
    return np.asarray(met[:, :2] / met[:, 2:], float)


def _focal_of(values: Floats, size_px: tuple[int, int]) -> float:
    return float(FOCAL_PER_LONG_SIDE * max(size_px) * np.exp(values[6]))


def _turn_of(values: Floats) -> Floats:
    """Rotation matrix of a turn, by Rodrigues' formula."""
    angle = float(np.linalg.norm(values[:3]))
    x, y, z = values[:3] / max(angle, 1e-12)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross), float)


def _slope(of: Callable[[Floats], Floats], at: Floats) -> Floats:
    """Derivative by central differences, each step fitted to the size of its value."""
    columns = []
    for i in range(at.size):
        step = 1e-5 * max(1.0, abs(float(at[i])))
        up, down = at.copy(), at.copy()
        up[i] += step
        down[i] -= step
        columns.append((of(up) - of(down)) / (2 * step))
    return np.column_stack(columns)


def _solve(misfit: Callable[[Floats], Floats], values: Floats) -> tuple[Floats, Floats]:
    """Least squares by damped Gauss-Newton steps."""
    off = misfit(values)
    damp = 1e-2
    slope = _slope(misfit, values)
    for _ in range(80):
        square = slope.T @ slope
        step = np.linalg.solve(square + damp * np.diag(np.diag(square) + 1e-12), slope.T @ off)
        tried = values - step
        new = misfit(tried)
        if np.isfinite(new).all() and float(new @ new) < float(off @ off):
            gained = float(off @ off) - float(new @ new)
            values, off, damp = tried, new, max(damp / 5, 1e-9)
            slope = _slope(misfit, values)
            if gained < 1e-9 * float(off @ off) + 1e-12:
                break
        else:
            damp *= 6
            if damp > 1e10:
                break
    return values, slope
