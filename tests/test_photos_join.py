"""A long board from three photos."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.geometry import apply_homography
from grainplan.photos.align import Part
from grainplan.photos.corners import outline_side, place_view, straighten_points
from grainplan.photos.flatten import flatten_side
from grainplan.photos.join import join_parts, measure_step
from grainplan.photos.load import load_photo, read_header
from grainplan.photos.resample import Area
from tests.blockmatch import match_blocks
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.camera import Photo as Shot
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_side
from tests.drawn.solid import Solid

LENGTH, WIDTH = 2400.0, 180.0
STRETCHES = ((0.0, 950.0), (730.0, 1680.0), (1450.0, 2400.0))


def look_at(shot: Shot, places_mm: np.ndarray, k1: float) -> np.ndarray:
    """Where places of the face stand in a photo, px from the first pixel's corner."""
    flat = np.column_stack([places_mm, np.zeros(len(places_mm))])
    spin, lens = cv2.Rodrigues(shot.rotation)[0], np.array([k1, 0, 0, 0.0])
    return cv2.projectPoints(flat, spin, shot.translation, shot.camera_matrix, lens)[0].reshape(-1, 2) + 0.5


def photograph_parts(
    folder: Path, solid: Solid, *, k1: float = 0.0, off_mm: float = 0.0
) -> tuple[tuple[SidePhoto, ...], list[Shot]]:
    """Three photos, each of its own light and tint; `off_mm`: how far a chalk mark of the middle one is off."""
    photos, shots = [], []
    for i, (start, end) in enumerate(STRETCHES):
        random = np.random.default_rng(40 + i)
        fill = 2.27
        off = -((start + end) / 2 - LENGTH / 2) / LENGTH * fill
        tilt, yaw, roll = random.normal(0, (4, 2, 1))
        camera = Camera(2400, 800, fill, tilt, yaw, roll, k1, (off, 0.0))
        white = tuple(1 + random.normal(0, 0.05, 3))
        shot = take_photo(solid, "face", camera, Scene("bench", 5 + i, 0.2, float(random.uniform(0, 360)), white=white))
        shift = off_mm if i == 1 else 0.0
        marks = [[start, 0], [end + shift, 0], [end + shift, WIDTH], [start, WIDTH]]
        corners = tuple((float(x), float(y)) for x, y in look_at(shot, np.array(marks), k1))
        Image.fromarray(shot.picture).save(folder / f"{i}.jpg", quality=90)
        photos.append(SidePhoto(folder / f"{i}.jpg", corners, x_mm=(start, end)))  # type: ignore[arg-type]
        shots.append(shot)
    return tuple(photos), shots


def find_worst(parts: tuple[Part, ...], shots: list[Shot], k1: float) -> float:
    """The farthest that a place which a part gives to the whole is off, by the camera's own formula, mm."""
    worst = 0.0
    for i, (part, shot) in enumerate(zip(parts, shots, strict=True)):
        start = part.start_mm if i == 0 else (part.start_mm + parts[i - 1].end_mm) / 2
        end = part.end_mm if i == len(parts) - 1 else (part.end_mm + parts[i + 1].start_mm) / 2
        grid = np.stack(np.meshgrid(np.linspace(start, end, 41), np.linspace(0, WIDTH, 7)), axis=-1).reshape(-1, 2)
        there = look_at(shot, grid, k1)
        straight = straighten_points(there, part.view.size_px, k1=part.view.k1)
        found = apply_homography(np.linalg.inv(part.view.to_photo), straight)
        worst = max(worst, float(np.linalg.norm(found - grid, axis=1).max()))
    return worst


@pytest.mark.parametrize(
    ("look", "k1", "off_mm"), [("ash", 0.0, 3.0), ("ash", -0.03, 0.0), ("elm", 0.03, 1.5), ("pine", -0.03, 0.0)]
)
def test_every_place_of_a_joined_board_is_within_three_mm(tmp_path: Path, look: str, k1: float, off_mm: float) -> None:
    """A 2.4 m board from three photos through an unknown lens, and a chalk mark that is off."""
    solid = grow_board(77, Growth(length_mm=LENGTH, width_mm=WIDTH, look=look))
    photos, shots = photograph_parts(tmp_path, solid, k1=k1, off_mm=off_mm)
    board = RoughBoard("A", LENGTH, WIDTH, 22, "white ash", 8, photos={"face": photos})
    typed = []
    for photo in photos:
        assert photo.corners is not None
        assert photo.x_mm is not None
        read = load_photo(read_header(photo.path))
        view = place_view(
            outline_side(board, "face", x_mm=photo.x_mm),
            np.array(photo.corners),
            size_px=(read.width_px, read.height_px),
            side="face",
            called="A",
        )
        typed.append(Part(read, view, *photo.x_mm))
    joined = join_parts(tuple(typed), Area.of((0.0, 0.0), (LENGTH, WIDTH), 2.0))
    worst = find_worst(joined.parts, shots, k1)
    assert worst < 3.0
    assert worst < 1.2 * joined.doubt_mm < 4.0
    assert any(f"up to {joined.doubt_mm:.1f} mm off" in c for c in joined.caveats)
    if off_mm == 0.0:
        assert worst < 0.8 * find_worst(tuple(typed), shots, k1)
        assert abs(joined.parts[0].view.k1 - k1) < 0.008
        assert not any("did not meet by" in c for c in joined.caveats)


def test_parts_of_other_light_meet_without_a_seam(tmp_path: Path) -> None:
    """Shot in different light and tint; a mark 3 mm off is told."""
    solid = grow_board(77, Growth(length_mm=LENGTH, width_mm=WIDTH, look="ash"))
    photos, _ = photograph_parts(tmp_path, solid, off_mm=3.0)
    found = flatten_side(RoughBoard("A", LENGTH, WIDTH, 22, "white ash", 8, photos={"face": photos}), "face")
    assert found
    truth = draw_side(solid, "face", 2.0)
    blocks = match_blocks(found.picture.pixels, truth, 2.0, block_mm=(60.0, 50.0))
    assert np.percentile(np.hypot(blocks[:, 2], blocks[:, 3]), 99) < 3.0
    seen, drawn = (p.astype(np.float32).mean(axis=0) for p in (found.picture.pixels, truth))
    tone = seen / drawn
    for joint in (840.0, 1565.0):
        left, right = (tone[int((joint + d) * 2) : int((joint + d) * 2) + 80].mean(axis=0) for d in (-70, 30))
        assert np.abs(left / right - 1).max() < 0.06
    assert any("did not meet by" in c for c in found.caveats)


def test_a_step_is_measured_to_a_tenth_of_a_millimetre() -> None:
    truth = draw_side(grow_board(78, Growth(length_mm=600.0, width_mm=WIDTH, look="ash")), "face", 2.0)
    move = np.array([[1, 0, 6.4], [0, 1, -3.0]])
    moved = cv2.warpAffine(truth, move, (1200, 360), borderMode=cv2.BORDER_REPLICATE)
    step = measure_step((0, truth[:, :700]), (300, moved[:, 300:]), 2.0)
    assert not isinstance(step, NotFound)
    assert step.along_mm == pytest.approx(3.2, abs=0.1)
    assert step.across_mm == pytest.approx(-1.5, abs=0.1)


def test_parts_that_do_not_overlap_or_agree_say_so() -> None:
    one, other = (draw_side(grow_board(s, Growth(length_mm=600.0, width_mm=WIDTH)), "face", 2.0) for s in (81, 82))
    little = measure_step((0, one[:, :700]), (640, one[:, 640:]), 2.0)
    assert isinstance(little, NotFound)
    assert "overlap by only 30 mm" in little.reason
    strange = measure_step((0, one[:, :700]), (300, other[:, 300:]), 2.0)
    assert isinstance(strange, NotFound) or strange.fit < 0.6


def test_parts_need_their_place(tmp_path: Path) -> None:
    photos = (SidePhoto(tmp_path / "0.jpg"), SidePhoto(tmp_path / "1.jpg", x_mm=(700.0, 2400.0)))
    found = flatten_side(RoughBoard("A", LENGTH, WIDTH, 22, "white ash", 8, photos={"face": photos}), "face")
    assert isinstance(found, NotFound)
    assert "chalk" in found.reason
