"""What is told of a poor photo, and that nothing is told of a good one."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import RoughBoard, Side
from grainplan.photos.check import check_photo, measure_blur
from grainplan.photos.corners import outline_side, place_view
from grainplan.photos.load import Photo, load_photo, read_header
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.forest import Growth, grow_board

GROWTH = Growth(length_mm=900.0, width_mm=170.0, thickness_mm=25.0)
BOARD = RoughBoard("A", 900.0, 170.0, 25.0, "white ash", 8.0)
CAMERA = Camera(2400, 900, 0.9, 6.0, 3.0, 1.0)


def look(pixels: np.ndarray, corners: np.ndarray, side: Side = "face", board: RoughBoard = BOARD) -> tuple[str, ...]:
    size = (pixels.shape[1], pixels.shape[0])
    view = place_view(outline_side(board, side), corners, size_px=size, side=side, called="A")
    return check_photo(Photo(pixels, 1, (0, 0), *size), view, side)


@pytest.mark.parametrize("look_name", ["ash", "elm", "pine", "walnut"])
def test_a_sharp_photo_passes_and_a_blurred_one_does_not(look_name: str) -> None:
    solid = grow_board(31, Growth(length_mm=900.0, width_mm=170.0, thickness_mm=25.0, look=look_name))
    sharp = take_photo(solid, "face", CAMERA, Scene("concrete", 4))
    assert look(sharp.picture, sharp.corners_px) == ()
    blurred = take_photo(solid, "face", CAMERA, Scene("concrete", 4, blur_px=4.0))
    told = look(blurred.picture, blurred.corners_px)
    assert len(told) == 1
    assert "blurred" in told[0]
    assert "take it again" in told[0]


def test_blur_of_a_step_is_its_width_by_formula() -> None:
    """A step smeared by a Gaussian of deviation s is as steep as one of width s·√(2π)."""
    random = np.random.default_rng(1)
    bars = np.repeat(np.where(np.arange(60) % 2, 60, 190), 40).astype(np.float32)
    for sigma in (3.0, 4.0, 5.0):
        line = cv2.GaussianBlur(np.tile(bars, (300, 1)), (0, 0), sigma)
        pixels = np.repeat(line[..., None] + random.normal(0, 1.5, (*line.shape, 1)), 3, axis=2)
        found = measure_blur(np.clip(pixels, 0, 255).astype(np.uint8))
        whole = np.hypot(sigma, 0.8) * np.sqrt(2 * np.pi)  # the window of 17 px sees most of the step
        assert 0.7 * whole < found < 1.1 * whole


def test_glare_cut_ends_and_coarse_photos_are_told() -> None:
    solid = grow_board(32, GROWTH)
    shot = take_photo(solid, "face", CAMERA, Scene("concrete", 4))
    burnt = shot.picture.copy()
    middle = shot.corners_px.mean(axis=0)
    cv2.circle(burnt, (int(middle[0]), int(middle[1])), 70, (255, 255, 255), -1)
    told = look(burnt, shot.corners_px)
    assert [t.split(":")[0] for t in told] == ["glare"]
    cut = int(shot.corners_px[1, 0]) - 60
    corners = np.minimum(shot.corners_px, [cut - 1.0, 2000.0])
    told = look(np.ascontiguousarray(shot.picture[:, :cut]), corners)
    assert [t.split(" and ")[0] for t in told] == ["the head end reaches the rim of the photo"]
    small = cv2.resize(shot.picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    told = look(small, shot.corners_px / 2)
    assert len(told) == 1
    assert "too few pixels for the rings: lines closer than 3." in told[0]


def test_real_sawn_boards_are_sharp(photo_data: Path) -> None:
    for name in "ACF":
        photo = load_photo(read_header(photo_data / "sawn-boards" / f"board_{name}.jpg"))
        middle = photo.pixels[7000:9000]
        assert measure_blur(middle) < 4.0
        assert measure_blur(cv2.GaussianBlur(middle, (0, 0), 4.0)) > 4.5


def test_a_photo_on_disk_is_told_by_its_side(tmp_path: Path) -> None:
    """An end shown with too few pixels: rings of 1.5 mm need 4 of them."""
    solid = grow_board(33, GROWTH)
    shot = take_photo(solid, "foot", Camera(500, 200, 0.8), Scene("bench", 1))
    Image.fromarray(shot.picture).save(tmp_path / "foot.png")
    photo = load_photo(read_header(tmp_path / "foot.png"))
    told = look(photo.pixels, shot.corners_px, "foot")
    assert any("lines closer than 1.7 mm" in t for t in told)
