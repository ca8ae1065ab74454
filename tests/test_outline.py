"""A board found without corners, or refused with a reason; never a wrong one."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import BROAD_SIDES, Direction, RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.photos.borders import find_border
from grainplan.photos.edges import Edge, fit_edge, meet_edges
from grainplan.photos.flatten import flatten_side
from grainplan.photos.load import Photo, load_photo, read_header
from grainplan.photos.locate import FoundCorners, find_corners, locate_side
from grainplan.photos.quads import judge_shape, see_walls, stand_beyond
from tests.bench.bench_outline import draw_trial, wrap
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.floors import FLOORS, draw_floor
from tests.drawn.forest import Growth, grow_board

BOARD = RoughBoard("A", 1100.0, 170.0, 26.0, "white ash", 8.0)
GROWTH = Growth(length_mm=1100.0, width_mm=170.0, thickness_mm=26.0)
EASY = Camera(2400, 900, 0.85, 3.0, 2.0, 1.0, 0.01)


def as_photo(pixels: np.ndarray) -> Photo:
    return Photo(np.ascontiguousarray(pixels), 1, (0, 0), pixels.shape[1], pixels.shape[0])


def shot_by(foot: Direction | None = "left") -> SidePhoto:
    return SidePhoto(Path("a.jpg"), foot=foot)


# Floors and looks that share no colour; boards of a floor's own colour may be refused, which the next test counts.
@pytest.mark.parametrize("floor", [name for name in FLOORS if name not in ("plywood", "sawdust")])
def test_corners_within_three_pixels_over_ten_floors(floor: str) -> None:
    look = "pine" if floor in ("bench", "planks") else "elm"
    solid = grow_board(640 + len(floor), replace(GROWTH, look=look))
    shot = take_photo(solid, "face", EASY, Scene(floor, 91))
    found = find_corners(as_photo(shot.picture), BOARD, "face", shot_by())
    assert isinstance(found, FoundCorners), found
    off = np.linalg.norm(found.corners_px - shot.corners_px, axis=1)
    assert off.max() <= 3.0
    assert found.doubt_px <= 3.6


@pytest.mark.parametrize("side", BROAD_SIDES)
@pytest.mark.parametrize("foot", ["left", "right", "up", "down"])
def test_foot_settles_which_way_the_board_lies(side: str, foot: Direction) -> None:
    solid = grow_board(652, replace(GROWTH, look="pine"))
    shot = take_photo(solid, side, EASY, Scene("concrete", 12))  # type: ignore[arg-type]
    quarters = {"left": 0, "up": 3, "right": 2, "down": 1}[foot]
    pixels, corners = shot.picture, shot.corners_px
    for _ in range(quarters):  # a quarter to the left
        corners = np.column_stack([corners[:, 1], pixels.shape[1] - corners[:, 0]])
        pixels = np.rot90(pixels)
    found = find_corners(as_photo(pixels), BOARD, side, shot_by(foot))  # type: ignore[arg-type]
    assert isinstance(found, FoundCorners), found
    assert np.linalg.norm(found.corners_px - corners, axis=1).max() <= 3.0


@pytest.mark.parametrize("side", ["foot", "head"])
def test_ends_are_found_with_the_face_side_up(side: str) -> None:
    solid = grow_board(653, replace(GROWTH, look="ash", thickness_mm=40.0))
    shot = take_photo(solid, side, Camera(1800, 700, 0.8, 2.0, 1.0), Scene("dark cloth", 12))  # type: ignore[arg-type]
    board = replace(BOARD, thickness_mm=40.0)
    found = find_corners(as_photo(shot.picture), board, side, SidePhoto(Path("a.jpg")))  # type: ignore[arg-type]
    if isinstance(found, NotFound):
        assert "type" in found.reason  # the arris of an end is soft: it may be refused, but not be wrong
    else:
        assert np.linalg.norm(found.corners_px - shot.corners_px, axis=1).max() <= 4.0


@pytest.mark.parametrize("floor", list(FLOORS))
def test_no_board_is_found_where_there_is_none(floor: str) -> None:
    for seed in (5, 6):
        pixels = draw_floor(floor, seed, shape=(700, 1500), px_per_mm=1.0 + 0.4 * (seed - 5))
        noisy = pixels + np.random.default_rng(seed).normal(0, 1.5, pixels.shape)
        found = find_corners(as_photo(np.clip(noisy, 0, 255).astype(np.uint8)), BOARD, "face", shot_by())
        assert isinstance(found, NotFound)
        assert "board A, face (a.jpg)" in found.reason
        assert "type" in found.reason


def test_a_board_of_other_proportions_is_not_taken() -> None:
    solid = grow_board(654, replace(GROWTH, look="pine"))
    shot = take_photo(solid, "face", EASY, Scene("concrete", 12))
    for width in (140.0, 210.0):
        found = find_corners(as_photo(shot.picture), replace(BOARD, width_mm=width), "face", shot_by())
        assert isinstance(found, NotFound)


def test_a_cut_off_board_is_refused() -> None:
    solid = grow_board(655, replace(GROWTH, look="pine"))
    shot = take_photo(solid, "face", EASY, Scene("concrete", 12))
    cut = int(shot.corners_px[:, 0].max()) - 150
    found = find_corners(as_photo(shot.picture[:, :cut]), BOARD, "face", shot_by())
    assert isinstance(found, NotFound)


def test_found_corners_flatten_and_say_so(tmp_path: Path) -> None:
    solid = grow_board(656, replace(GROWTH, look="pine"))
    shot = take_photo(solid, "back", EASY, Scene("concrete", 12))
    Image.fromarray(shot.picture).save(tmp_path / "a.jpg", quality=92)
    typed = tuple((float(x), float(y)) for x, y in shot.corners_px)
    located = locate_side(replace(BOARD, photos={"back": (SidePhoto(tmp_path / "a.jpg"),)}), "back")
    assert isinstance(located, FoundCorners)
    assert np.linalg.norm(located.corners_px - shot.corners_px, axis=1).max() <= 3.0
    assert isinstance(locate_side(BOARD, "face"), NotFound)
    pictures = []
    for photo in (SidePhoto(tmp_path / "a.jpg", typed), SidePhoto(tmp_path / "a.jpg")):
        side = flatten_side(replace(BOARD, photos={"back": (photo,)}), "back")
        assert side
        pictures.append(side.picture.pixels.astype(float))
    assert any("found by the program" in c for c in side.caveats)
    assert any('write foot = "left"' in c for c in side.caveats)
    assert np.abs(cv2.blur(pictures[0] - pictures[1], (9, 9))).mean() < 3.0


def test_an_edge_is_fitted_to_a_tenth_of_a_pixel() -> None:
    """A bowed step by formula, under noise."""
    random = np.random.default_rng(8)
    x, y = np.meshgrid(np.arange(900) + 0.5, np.arange(300) + 0.5)
    t = x / 450 - 1
    line = 140.3 + 6.0 * t - 2.5 * t * t
    tone = 90 + 70 / (1 + np.exp(-(y - line) / 0.6))
    pixels = np.clip(tone[..., None] + random.normal(0, 6, (300, 900, 3)), 0, 255).astype(np.uint8)
    edge = fit_edge(pixels, np.array([0.0, 143.0]), np.array([900.0, 143.0]), reach_px=14.0)
    for at in (-0.9, -0.3, 0.4, 0.9):
        px, py = edge.point_at(at)
        assert py == pytest.approx(140.3 + 6 * (px / 450 - 1) - 2.5 * (px / 450 - 1) ** 2, abs=0.15)
    assert edge.bow_px == pytest.approx(2.5, abs=0.2)
    assert edge.support > 0.95
    assert edge.step == pytest.approx(27, abs=4)


def test_two_edges_meet_where_their_lines_cross() -> None:
    pixels = np.full((200, 300, 3), 60, np.uint8)
    pixels[40:, :220] = 170
    top = fit_edge(pixels, np.array([20.0, 41.0]), np.array([220.0, 41.0]), reach_px=5.0)
    right = fit_edge(pixels, np.array([221.0, 40.0]), np.array([221.0, 190.0]), reach_px=5.0)
    assert meet_edges(top, right) == pytest.approx([220, 40], abs=0.3)


def test_shape_and_stand_follow_from_the_camera() -> None:
    """Against cv2.projectPoints: a board of the typed shape has no stretch and is square from wherever it is seen."""
    outline = np.array([[0, 0], [1100, 0], [1100, 170], [0, 170.0]])
    size, focal = (2400, 900), 1.15 * 2400
    matrix = np.array([[focal, 0, 1200], [0, focal, 450], [0, 0, 1.0]])
    for tilt in (-20.0, -3.0, 0.0, 12.0):
        turn = cv2.Rodrigues(np.array([np.radians(tilt), 0.1, 0.05]))[0]
        away = np.array([0, 0, 1500.0]) - turn @ np.array([550.0, 85.0, 0])
        flat = np.column_stack([outline, np.zeros(4)])
        corners = cv2.projectPoints(flat, turn, away, matrix, None)[0].reshape(4, 2)
        assert judge_shape(outline, corners, size) == pytest.approx((0, 0), abs=1e-6)
        stood = float((-turn.T @ away)[1])
        assert stand_beyond(outline, corners, size) == pytest.approx(min(0, stood) + max(0, stood - 170), abs=0.1)
        wider = outline * np.array([1.0, 1.03])
        assert judge_shape(wider, corners, size)[0] == pytest.approx(np.log(1.03), abs=1e-6)


def test_the_boards_own_edge_shows_as_wide_as_the_camera_sees_it() -> None:
    """Against cv2.projectPoints: a point one thickness below the edge, beside the edge itself."""
    outline = np.array([[0, 0], [1100, 0], [1100, 170], [0, 170.0]])
    size, focal, deep = (2400, 900), 1.15 * 2400, 30.0
    matrix = np.array([[focal, 0, 1200], [0, focal, 450], [0, 0, 1.0]])
    for tilt in (-16.0, 14.0):
        turn = cv2.Rodrigues(np.array([np.radians(tilt), 0.0, 0.0]))[0]
        away = np.array([0, 0, 1500.0]) - turn @ np.array([550.0, 85.0, 0])
        places = [[*p, 0.0] for p in outline] + [[550, v, z] for v in (0, 170) for z in (0, deep)]
        seen = cv2.projectPoints(np.array(places, float), turn, away, matrix, None)[0].reshape(-1, 2)
        upper, lower = see_walls(outline, seen[:4], size, deep_mm=deep)
        below = seen[5, 1] - seen[4, 1], seen[7, 1] - seen[6, 1]  # how much farther down the lower arris is seen
        assert upper == pytest.approx(max(0.0, -below[0]), rel=0.1)
        assert lower == pytest.approx(max(0.0, below[1]), rel=0.1)
        assert upper + lower > 5


# Of the photos that the rooms were tuned on: the board's own edge shows by a few pixels; a line of the wood lies at a
# slight angle to an edge of the floor's colour.
@pytest.mark.parametrize(("floor", "seed"), [("grass", 5026), ("gravel", 5054), ("sawdust", 5038)])
def test_neither_the_boards_own_edge_nor_a_line_of_the_wood_is_taken(floor: str, seed: int) -> None:
    trial = draw_trial(floor, seed)
    found = find_corners(wrap(trial.pixels), trial.board, trial.side, shot_by())
    assert isinstance(found, FoundCorners), found
    assert np.linalg.norm(found.corners_px - trial.corners_px, axis=1).max() < 2.0


def test_areas_of_two_colours_are_parted_past_lines_of_the_wood() -> None:
    """A border by formula, 3 px off at one end; a dark line in the wood meets it at an angle."""
    random = np.random.default_rng(5)
    x, y = np.meshgrid(np.arange(900) + 0.5, np.arange(200) + 0.5)
    border = 100.0 + 3.0 * (x / 450 - 1)
    pixels = np.where((y > border)[..., None], (196, 166, 120), (186, 140, 90)) + random.normal(0, 4, (200, 900, 3))
    grain = np.abs(y - 104.0 - 0.01 * x) < 1.2
    pixels[grain] -= 45
    edge = Edge(np.array([0.0, 100.0]), np.array([900.0, 100.0]), (0.0, 0.0, 0.0), 0.2, 10.0, 1.0)
    found = find_border(np.clip(pixels, 0, 255).astype(np.uint8), edge)
    assert found.off_px == pytest.approx(0.0, abs=0.6)
    assert found.turn_px == pytest.approx(3.0, abs=0.6)
    assert found.gain > 2


def test_real_sawn_boards_are_right_or_refused(photo_data: Path) -> None:
    """One end of each lies outside its picture, and their pixels are not square: none can be placed rightly."""
    for name in "ACF":
        path = photo_data / "sawn-boards" / f"board_{name}.jpg"
        board = RoughBoard(name, 3100.0, 150.0, 32.0, "eastern white pine", 10.0)
        found = find_corners(load_photo(read_header(path)), board, "face", SidePhoto(path, foot="up"))
        assert isinstance(found, NotFound)


def test_real_pictures_without_a_board_give_none(photo_data: Path) -> None:
    places = [*sorted((photo_data / "veneer-panels").glob("*.jpg")), *sorted((photo_data / "cube").glob("*.png"))]
    assert len(places) >= 8
    for path in places:
        assert isinstance(find_corners(load_photo(read_header(path)), BOARD, "face", SidePhoto(path)), NotFound)
