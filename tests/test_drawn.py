"""The drawn boards and the drawn camera tell the truth they claim."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.drawn.camera import Camera, Scene, list_corners, take_photo
from tests.drawn.floors import FLOORS, draw_floor
from tests.drawn.forest import Growth, grow_board
from tests.drawn.noise import make_field
from tests.drawn.paint import draw_cut, draw_side
from tests.drawn.solid import (
    Knot,
    PithLine,
    Plane,
    locate,
    measure_fibre_direction,
    measure_line_direction,
    measure_ring_angle,
    number_rings,
)

STRAIGHT = Growth(
    length_mm=400.0,
    width_mm=180.0,
    thickness_mm=24.0,
    pith=PithLine(60.0, 84.0, 60.0, 84.0),
    ring_mm=3.0,
    ring_variation=0.0,
    wave_mm=0.0,
)


def test_concentric_rings_keep_their_spacing_on_face_and_edge() -> None:
    """Ring lines stand g / sin(angle) apart on the face, g / cos(angle) through the thickness (plain geometry)."""
    board = grow_board(1, STRAIGHT)
    for y in (100.0, 140.0, 170.0):
        angle = np.radians(measure_ring_angle(board, 200.0, y))
        face = number_rings(board, Plane("z", 0.0, 8.0))[:, 10]
        row = int(y * 8)
        on_face = 0.25 / (face[row + 1] - face[row - 1])
        end = number_rings(board, Plane("x", 0.0, 8.0))[:, int(y * 8)]
        through = 0.25 / abs(end[2] - end[0])
        assert on_face == pytest.approx(3.0 / np.sin(angle), rel=0.01)
        assert through == pytest.approx(3.0 / np.cos(angle), rel=0.02)


def test_ring_angle_is_that_of_the_circle() -> None:
    """tan(angle) = sideways offset / height above the pith: R 100, 60 above, 80 beside gives 53.13 degrees."""
    board = grow_board(1, Growth(pith=PithLine(50.0, 60.0, 50.0, 60.0), wave_mm=0.0))
    assert measure_ring_angle(board, 0.0, 130.0) == pytest.approx(53.1301, abs=1e-3)


def test_a_ring_moves_sideways_between_two_depths() -> None:
    """R 100, 60 above the pith, 3 mm deeper: the ring moves from 80 to 82.158 mm beside it (plain geometry)."""
    board = grow_board(
        1, Growth(width_mm=200.0, pith=PithLine(50.0, 60.0, 50.0, 60.0), ring_mm=3.0, ring_variation=0, wave_mm=0.0)
    )
    top = locate(board, Plane("z", 0.0, 10.0)).rho_mm[:, 0]
    below = locate(board, Plane("z", 3.0, 10.0)).rho_mm[:, 0]
    y = (np.arange(top.size) + 0.5) / 10.0
    beside = y > 60.0
    before, after = (np.interp(100.0, rho[beside], y[beside]) - 50.0 for rho in (top, below))
    assert before == pytest.approx(80.0, abs=0.01)
    assert after == pytest.approx(np.sqrt(100.0**2 - 57.0**2), abs=0.01)


def test_ring_widths_vary_as_asked() -> None:
    board = grow_board(3, Growth(ring_mm=3.5))
    widths = np.diff(board.ring_borders_mm)
    assert widths.mean() == pytest.approx(3.5, rel=0.15)
    assert widths.std() / widths.mean() == pytest.approx(0.35, abs=0.08)


def test_smooth_fields_have_the_wanted_height_and_correlation() -> None:
    field = make_field(np.random.default_rng(0), size=(6000.0, 600.0, 60.0), spacing=(60.0, 12.0, 3.0), deviation=1.5)
    values = field.at(np.arange(0, 6000, 30.0), np.arange(0, 600, 6.0), np.arange(0, 60, 1.5))
    assert values.mean() == pytest.approx(0.0, abs=0.05)
    assert values.std() == pytest.approx(1.5, rel=0.03)
    for axis in range(3):
        moved = np.take(values, np.arange(2, values.shape[axis]), axis)
        still = np.take(values, np.arange(values.shape[axis] - 2), axis)
        # Normalised spline of degree 7 at one spacing: 1191 / 2416.
        assert np.mean(moved * still) / values.var() == pytest.approx(1191 / 2416, abs=0.05)


@pytest.mark.parametrize("look", ["ash", "elm", "pine"])
def test_sides_agree_along_the_edges_they_share(look: str) -> None:
    board = grow_board(7, Growth(length_mm=300.0, look=look, knots=(Knot(150.0, -60.0, 8.0, 8.0, 120.0),)))
    density = 8.0
    face, foot, edge = (number_rings(board, Plane(axis, 0.0, density)) for axis in ("z", "x", "y"))
    head = number_rings(board, Plane("x", board.length_mm, density))
    back = number_rings(board, Plane("z", board.thickness_mm, density))
    step = 0.2  # half a pixel each way, in rings
    assert np.abs(face[:, 0] - foot[0]).max() < step
    assert np.abs(face[0] - edge[0]).max() < step
    assert np.abs(foot[:, 0] - edge[:, 0]).max() < step
    assert np.abs(back[:, -1] - head[-1]).max() < step


def test_same_seed_same_picture_and_other_seed_another() -> None:
    growth = Growth(length_mm=300.0)
    first, again, other = (draw_side(grow_board(seed, growth), "back", 2.0) for seed in (5, 5, 6))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_dark_lines_stand_at_ring_borders_in_ash() -> None:
    board = grow_board(1, STRAIGHT)
    cut = Plane("x", 0.0, 8.0)
    lightness = draw_cut(board, cut).astype(float).mean(axis=2)
    phase = number_rings(board, cut) % 1.0
    assert lightness[phase < 0.1].mean() < lightness[(phase > 0.4) & (phase < 0.8)].mean() - 15


def test_directions_of_a_straight_lean_are_those_of_the_lean() -> None:
    lean = PithLine(-80.0, 12.0, -60.0, 12.0)
    board = grow_board(2, Growth(length_mm=400.0, thickness_mm=24.0, pith=lean, wave_mm=0.0))
    expected = np.degrees(np.arctan2(20.0, 400.0))
    lines, spacing = measure_line_direction(board, Plane("z", 12.0, 2.0))
    assert np.median(lines) == pytest.approx(expected, abs=0.1)
    assert np.median(spacing) == pytest.approx(np.diff(board.ring_borders_mm).mean(), rel=0.02)
    assert np.median(measure_fibre_direction(board, 12.0, 2.0)) == pytest.approx(expected, abs=0.1)


def test_camera_corners_are_where_the_board_ends() -> None:
    """The picture itself: just inside each corner lies board, just outside it floor."""
    board = grow_board(3, Growth(length_mm=600.0, pith=PithLine(90.0, 110.0, 90.0, 110.0)))
    camera = Camera(1500, 700, 0.8, tilt_deg=12.0, yaw_deg=-6.0, roll_deg=2.0, k1=-0.03)
    scene = Scene("dark cloth", seed=2, noise=0.0, blur_px=0.0, light_fall=0.0, shadow=0.0)
    photo = take_photo(board, "face", camera, scene)
    middle = photo.corners_px.mean(axis=0)
    bright = photo.picture.mean(axis=2) > 90
    for corner in photo.corners_px:
        inward = (middle - corner) / np.linalg.norm(middle - corner)
        along = corner + inward * 4
        assert bright[int(along[1]), int(along[0])]
    drawn_mm2 = cv2.contourArea(photo.corners_px.astype(np.float32))
    assert bright.sum() == pytest.approx(drawn_mm2, rel=0.03)  # the lens bows the edges, the edge shows a little


@pytest.mark.parametrize(("side", "clockwise"), [("face", True), ("back", False), ("foot", True), ("head", False)])
def test_corners_turn_as_the_job_format_says(side: str, clockwise: bool) -> None:
    board = grow_board(3, Growth(length_mm=400.0))
    corners = list_corners(board, side)  # type: ignore[arg-type]
    assert (cv2.contourArea(corners.astype(np.float32), oriented=True) > 0) == clockwise


def test_corners_match_the_projection_of_a_point_by_hand() -> None:
    """One point through the pinhole and k1 by the formula of OpenCV's camera model."""
    board = grow_board(3, Growth(length_mm=600.0))
    photo = take_photo(board, "face", Camera(900, 400, 0.8, tilt_deg=10.0, k1=-0.05), Scene(noise=0.0))
    there = photo.rotation @ np.array([600.0, 180.0, 0.0]) + photo.translation
    x, y = there[:2] / there[2]
    bend = 1 - 0.05 * (x * x + y * y)
    expected = (1.15 * 900 * x * bend + 450.0, 1.15 * 900 * y * bend + 200.0)
    assert photo.corners_px[2] == pytest.approx(expected, abs=1e-6)


def test_flattening_the_photo_gives_the_side_back() -> None:
    board = grow_board(8, Growth(length_mm=500.0, pith=PithLine(90.0, 90.0, 95.0, 100.0)))
    photo = take_photo(board, "back", Camera(1800, 900, 0.9, tilt_deg=8.0), Scene(noise=0.0, light_fall=0.0))
    density = 3.0
    wide, high = 500 * density, 180 * density
    target = np.float32([[0, 0], [wide, 0], [wide, high], [0, high]]) - 0.5
    turn = cv2.getPerspectiveTransform(photo.corners_px.astype(np.float32) - np.float32(0.5), target.astype(np.float32))
    flat = cv2.warpPerspective(photo.picture, turn, (int(wide), int(high)))
    truth = draw_side(board, "back", density)
    seen = flat[10:-10, 10:-10].mean(axis=2).ravel()
    agreement = {
        rows: np.corrcoef(seen, np.roll(truth, rows, axis=0)[10:-10, 10:-10].mean(axis=2).ravel())[0, 1]
        for rows in (-1, 0, 1)
    }
    assert agreement[0] > 0.94  # the camera blurs a little
    assert agreement[0] > max(agreement[-1], agreement[1]) + 0.02


def test_there_are_ten_floors_and_each_is_its_own() -> None:
    assert len(FLOORS) >= 10
    means = [draw_floor(name, 1, shape=(200, 300), px_per_mm=1.0).mean(axis=(0, 1)) for name in FLOORS]
    assert len({tuple(np.round(mean)) for mean in means}) == len(FLOORS)
