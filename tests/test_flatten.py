"""Typed corners to a square-on picture in the board frame."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import BROAD_SIDES, SIDES, RoughBoard, Side, SidePhoto
from grainplan.errors import NotFound, PhotoError
from grainplan.geometry import apply_homography, solve_homography
from grainplan.photos.corners import doubt_lens_mm, doubt_scale, outline_side, place_view
from grainplan.photos.flatten import flatten_side
from grainplan.photos.light import agree_colours, even_light, lift_shadow, light_side
from grainplan.photos.load import Photo
from grainplan.photos.measure import measure_board
from grainplan.photos.resample import Area, flatten_photo
from tests.blockmatch import match_blocks
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_side
from tests.drawn.solid import PithLine

BOARD = RoughBoard("A", 600.0, 150.0, 40.0, "white ash", 8.0)


def wave(x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
    """A pattern by formula, different everywhere on a board of 600 × 150 mm, waves of 12 mm and longer."""
    red = 128 + 60 * np.sin(x_mm / 2 + y_mm / 40) + 50 * np.sin(y_mm / 3)
    green = 30 + 190 * x_mm / 600
    blue = 30 + 190 * y_mm / 150
    return np.stack([red, green, blue], axis=-1)


def photograph(corners: np.ndarray, outline: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """The pattern through a homography, each pixel the mean of 9 points of its area."""
    inverse = np.linalg.inv(solve_homography(outline, corners))
    total = np.zeros((size[1], size[0], 3))
    for du in (1 / 6, 3 / 6, 5 / 6):
        for dv in (1 / 6, 3 / 6, 5 / 6):
            u, v = np.meshgrid(np.arange(size[0]) + du, np.arange(size[1]) + dv)
            x, y = apply_homography(inverse, np.column_stack([u.ravel(), v.ravel()])).T
            total += wave(x, y).reshape(total.shape)
    return np.clip(total / 9 + 0.5, 0, 255).astype(np.uint8)


# Slanted, turned by every quarter, and mirrored for the back: the corners of (0, 0), (600, 0), (600, 150), (0, 150).
CORNERS = np.array([[90.0, 110.0], [1510.0, 71.0], [1563.0, 440.0], [52.0, 421.0]])


def turn_corners(quarters: int, mirrored: bool) -> tuple[np.ndarray, tuple[int, int]]:
    corners, (width, height) = CORNERS.copy(), (1640, 520)
    if mirrored:
        corners[:, 1] = height - corners[:, 1]
    for _ in range(quarters):
        corners = np.column_stack([height - corners[:, 1], corners[:, 0]])
        width, height = height, width
    return corners, (width, height)


@pytest.mark.parametrize("quarters", range(4))
@pytest.mark.parametrize("side", BROAD_SIDES)
@pytest.mark.parametrize("density", [2.0, 1.0])
def test_every_pixel_shows_its_own_place(quarters: int, side: Side, density: float) -> None:
    """Against the formula: an offset of a tenth of a millimetre anywhere would show as 3 grey levels."""
    corners, size = turn_corners(quarters, side == "back")
    outline = outline_side(BOARD, side)
    photo = Photo(photograph(corners, outline, size), 1, (0, 0), *size)
    view = place_view(outline, corners, size_px=size, side=side, called="A")
    flat = flatten_photo(photo, view, Area.of((0.0, 0.0), (600.0, 150.0), density)).astype(float)
    rows, columns = flat.shape[:2]
    x, y = np.meshgrid((np.arange(columns) + 0.5) / density, (np.arange(rows) + 0.5) / density)
    off = (flat - wave(x, y))[3:-3, 3:-3]
    assert np.abs(off[..., 1:]).max() < 2.0
    assert np.abs(off[..., 0].mean()) < 0.5
    blurred = 0.04 if density == 2.0 else 0.12
    assert off[..., 0].std() < blurred * 55


def test_an_end_lies_with_y_along_and_z_down(tmp_path: Path) -> None:
    """The head is photographed mirrored: what is seen left of it lies at large y."""
    pixels = np.full((300, 700, 3), 90, np.uint8)
    pixels[100:200, 50:650] = 160
    pixels[100:130, 50:100] = (250, 20, 20)  # upper left, seen by the photographer
    Image.fromarray(pixels).save(tmp_path / "end.png")
    box = [(50.0, 100.0), (650.0, 100.0), (650.0, 200.0), (50.0, 200.0)]
    seen = {"foot": tuple(box), "head": (box[1], box[0], box[3], box[2])}
    for side in ("foot", "head"):
        board = replace(BOARD, photos={side: (SidePhoto(tmp_path / "end.png", seen[side]),)})
        found = flatten_side(board, side)
        assert found
        picture = found.picture.pixels
        assert picture.shape == (80, 300, 3)
        red = picture[5, 5] if side == "foot" else picture[5, -5]
        assert red[0] > 200 > 100 > red[1]
        assert found.photo_px_per_mm == pytest.approx(2.5)


def test_a_tapered_board_keeps_its_straight_face_edge() -> None:
    board = replace(BOARD, width_head_mm=100.0)
    outline = outline_side(board, "face")
    assert outline.tolist() == [[0, 0], [600, 0], [600, 100], [0, 150]]
    corners = apply_homography(solve_homography([[0, 0], [600, 0], [600, 150], [0, 150]], CORNERS), outline)
    photo = Photo(photograph(corners, outline, (1640, 520)), 1, (0, 0), 1640, 520)
    view = place_view(outline, corners, size_px=(1640, 520), side="face", called="A")
    flat = flatten_photo(photo, view, Area.of((0.0, 0.0), (600.0, 150.0), 2.0)).astype(float)
    x, y = np.meshgrid((np.arange(1200) + 0.5) / 2, (np.arange(300) + 0.5) / 2)
    assert np.abs(flat - wave(x, y))[4:190, 4:-4, 1:].max() < 2.0


def test_below_the_edge_of_a_tapered_board_no_floor_counts_as_wood(tmp_path: Path) -> None:
    pixels = np.full((400, 1400, 3), (20, 160, 20), np.uint8)  # a green floor
    grain = np.random.default_rng(1).integers(-9, 9, (400, 1, 1))
    wood = np.clip(np.array([190, 150, 100]) + grain + np.zeros((1, 1400, 1)), 0, 255).astype(np.uint8)
    corners = np.array([[100, 50], [1300, 50], [1300, 250], [100, 350]])
    mask = cv2.fillConvexPoly(np.zeros((400, 1400), np.uint8), corners, 1).astype(bool)
    pixels[mask] = wood[mask]
    Image.fromarray(pixels).save(tmp_path / "taper.png")
    typed = tuple((float(x), float(y)) for x, y in corners)
    board = replace(BOARD, width_head_mm=100.0, photos={"face": (SidePhoto(tmp_path / "taper.png", typed),)})
    found = flatten_side(board, "face")
    assert found
    picture = found.picture.pixels.astype(int)
    assert picture.shape == (300, 1200, 3)
    assert (picture[..., 0] > picture[..., 1] + 5).all()


@pytest.mark.parametrize("look", ["ash", "elm"])
@pytest.mark.parametrize("side", BROAD_SIDES)
@pytest.mark.parametrize("k1", [0.0, -0.03])
def test_flattened_drawn_boards_lie_where_the_truth_lies(tmp_path: Path, look: str, side: Side, k1: float) -> None:
    """Exact corners: 95 % of blocks within 1 mm. With an unknown lens: within 3.5 mm at mid-length, and told."""
    solid = grow_board(5, Growth(length_mm=1200.0, width_mm=180.0, look=look))
    shot = take_photo(solid, side, Camera(4000, 1200, 0.92, 10.0, -4.0, 1.5, k1), Scene("bench", 3))
    Image.fromarray(shot.picture).save(tmp_path / "a.jpg", quality=90)
    typed = tuple((float(x), float(y)) for x, y in shot.corners_px)
    board = RoughBoard("A", 1200, 180, 22, "white ash", 8, photos={side: (SidePhoto(tmp_path / "a.jpg", typed),)})
    found = flatten_side(board, side)
    assert found
    blocks = match_blocks(found.picture.pixels, draw_side(solid, side, 2.0), 2.0)
    assert len(blocks) > 150
    off = np.hypot(blocks[:, 2], blocks[:, 3])
    middle = np.abs(blocks[:, 0] - 600) < 100
    if k1 == 0.0:
        assert np.percentile(off, 95) < 1.0
    else:
        assert np.percentile(off[middle], 95) < 3.5
        assert any("the lens is not known" in caveat for caveat in found.caveats)


def test_what_a_lens_can_do_is_the_bend_of_opencv_s_model() -> None:
    """Against cv2.projectPoints: the farthest of a grid of places, with k1 = -0.03 and +0.03."""
    board = RoughBoard("A", 2000.0, 200.0, 30.0, "white ash", 8.0)
    focal, size = 1.15 * 4000, (4000, 3000)
    matrix = np.array([[focal, 0, 2000.0], [0, focal, 1500.0], [0, 0, 1]])
    grid = np.array([[x, y, 0.0] for x in np.linspace(0, 2000, 9) for y in (0.0, 100.0, 200.0)])
    spin, shift = np.array([0.1, -0.05, 0.02]), np.array([-1000.0, 300.0, 2600.0])
    worst = []
    for k1 in (-0.03, 0.03):
        lens = np.array([k1, 0, 0, 0.0])
        edge = np.array([[0, 0, 0], [2000, 0, 0], [2000, 200, 0], [0, 200, 0.0]])
        corners = cv2.projectPoints(edge, spin, shift, matrix, lens)[0].reshape(4, 2)
        seen = cv2.projectPoints(grid, spin, shift, matrix, lens)[0].reshape(-1, 2)
        view = place_view(outline_side(board, "face"), corners, size_px=size, side="face", called="A")
        back = apply_homography(np.linalg.inv(view.to_photo), seen)
        worst.append(np.linalg.norm(back - grid[:, :2], axis=1).max())
        assert doubt_lens_mm(view) > 0.9 * worst[-1]
    assert doubt_lens_mm(view) == pytest.approx(max(worst), rel=0.1)


def test_stated_scale_doubt_covers_corners_typed_a_pixel_off() -> None:
    """1.5 px typed off anywhere: the length of places on the picture is within the doubt 19 times in 20."""
    random = np.random.default_rng(3)
    outline = outline_side(BOARD, "face")
    view = place_view(outline, CORNERS, size_px=(1640, 520), side="face", called="A")
    doubt = doubt_scale(view)
    ends = np.array([[300.0, 5.0], [300.0, 145.0], [10.0, 75.0], [590.0, 75.0]])
    inside = []
    for _ in range(400):
        typed = CORNERS + random.normal(0, 1.5 / 1.96, (4, 2))
        off = place_view(outline, typed, size_px=(1640, 520), side="face", called="A")
        seen = apply_homography(np.linalg.inv(off.to_photo), apply_homography(view.to_photo, ends))
        across, along = np.linalg.norm(seen[1] - seen[0]) / 140, np.linalg.norm(seen[3] - seen[2]) / 580
        inside += [abs(across - 1) * 100 < doubt, abs(along - 1) * 100 < doubt]
    assert np.mean(inside) > 0.94


def refuse(corners: list[tuple[float, float]], side: Side = "face") -> str:
    with pytest.raises(PhotoError) as told:
        place_view(outline_side(BOARD, side), np.array(corners), size_px=(1640, 520), side=side, called="board A")
    return str(told.value)


def test_corners_that_cannot_be_right_are_refused_in_a_sentence() -> None:
    good = [(90.0, 110.0), (1510.0, 71.0), (1563.0, 440.0), (52.0, 421.0)]
    assert "lies outside the photo, which has 1640 × 520 px" in refuse([*good[:3], (-20.0, 421.0)])
    assert "turn counter-clockwise" in refuse(good[::-1])
    assert "turn clockwise" in refuse(good, "back")
    assert "turn clockwise" in refuse(good, "head")
    assert "cross or bend inward" in refuse([good[0], good[2], good[1], good[3]])
    assert "begin at the wrong one" in refuse([*good[1:], good[0]])
    assert "in line" in refuse([(10.0, 10.0), (500.0, 10.0), (1000.0, 10.0), (10.0, 300.0)])
    assert "times as large" in refuse([(10.0, 10.0), (1600.0, 250.0), (1600.0, 270.0), (10.0, 500.0)])
    for side in SIDES:
        assert outline_side(BOARD, side).shape == (4, 2)


def test_a_steep_slant_is_told() -> None:
    outline = outline_side(BOARD, "face")
    leaning = np.array([[100.0, 50.0], [1500.0, 180.0], [1500.0, 380.0], [100.0, 450.0]])
    told = place_view(outline, leaning, size_px=(1640, 520), side="face", called="A").caveats
    assert any("one end is" in t and "times as large" in t for t in told)
    flat = np.array([[100.0, 200.0], [1500.0, 200.0], [1500.0, 350.0], [100.0, 350.0]])
    told = place_view(outline, flat, size_px=(1640, 520), side="face", called="A").caveats
    assert any("slant of about 65 degrees" in t for t in told)


def test_light_is_evened_and_heart_is_left() -> None:
    """A board half sapwood and half heart across, another along, both under light that falls by 30 %."""
    random = np.random.default_rng(2)
    sap, heart = np.array([216.0, 192.0, 150.0]), np.array([168.0, 122.0, 78.0])
    along = np.linspace(0, 1, 2400)[None, :, None]
    down = np.linspace(0, 1, 300)[:, None, None]
    grain = random.normal(0, 5, (300, 1, 1)) + random.normal(0, 3, (300, 2400, 1))
    light = 1.12 - 0.30 * along
    for share in (1 / (1 + np.exp(-(down - 0.5) * 30)) + 0 * along, 1 / (1 + np.exp(-(along - 0.5) * 14)) + 0 * down):
        truth = np.clip(sap * (1 - share) + heart * share + grain, 0, 255)
        evened = even_light(np.clip(truth * light, 0, 255).astype(np.uint8)).astype(float)
        ratio = np.log(evened.mean(axis=2)) - np.log(truth.mean(axis=2))
        columns = cv2.blur(ratio.mean(axis=0)[None], (101, 1))[0]
        assert np.ptp(columns) < 0.3 * np.log(1.12 / 0.82)


@pytest.mark.parametrize("look", ["ash", "elm", "pine", "walnut"])
def test_a_shadow_across_the_board_is_lightened_and_told(look: str) -> None:
    solid = grow_board(97, Growth(length_mm=1500.0, width_mm=180.0, look=look, pith=PithLine(80.0, 90.0, 100.0, 80.0)))
    truth = draw_side(solid, "face", 2.0)
    assert light_side(truth, 2.0)[1] == ()
    x = (np.arange(truth.shape[1]) + 0.5) / 2
    cast = np.array([0.36, 0.35, 0.32]) / ((1 + np.exp(-(x - 600) / 8)) * (1 + np.exp((x - 850) / 8)))[:, None]
    lifted, told = light_side((truth * (1 - cast)).astype(np.uint8), 2.0)
    assert len(told) == 1
    assert "between 6" in told[0] or "between 5" in told[0]
    left = np.log(lifted.astype(float).mean(axis=0) / even_light(truth).astype(float).mean(axis=0))
    tone = cv2.blur(left, (1, 41))
    assert np.ptp(tone[1100:1800], axis=0).max() < 0.12  # of 0.43


def test_a_stain_is_left_as_it_is() -> None:
    """Dark across two thirds of the width: no shadow does that."""
    solid = grow_board(98, Growth(length_mm=900.0, width_mm=180.0, look="ash"))
    pixels = draw_side(solid, "face", 2.0).copy()
    pixels[:240, 700:900] = (pixels[:240, 700:900] * 0.6).astype(np.uint8)
    assert lift_shadow(pixels, 2.0)[1] == ()


def test_faces_of_two_photos_agree_where_they_show_the_same_wood() -> None:
    """Face sapwood, back heart, edges alike; the back shot warmer and darker. The true difference stays."""
    random = np.random.default_rng(4)
    sap, heart = np.array([210.0, 186.0, 148.0]), np.array([170.0, 126.0, 84.0])
    down = np.abs(np.linspace(-1, 1, 360))[:, None, None]
    middle = 1 / (1 + np.exp((down - 0.6) * 30))
    face = sap + random.normal(0, 6, (360, 1500, 1))
    back = sap * (1 - middle) + heart * middle + random.normal(0, 6, (360, 1500, 1))
    shot = back * np.array([0.95, 0.86, 0.80])
    over, under, apart = agree_colours(*(np.clip(p, 0, 255).astype(np.uint8) for p in (face, shot)))
    found = over.astype(float).mean(axis=1) / under.astype(float).mean(axis=1)
    assert np.abs(found - face.mean(axis=1) / back.mean(axis=1)).max() < 0.04
    assert apart == pytest.approx(0.25, abs=0.04)


def test_a_board_is_measured_with_what_it_has(tmp_path: Path) -> None:
    Image.fromarray(photograph(CORNERS, outline_side(BOARD, "face"), (1640, 520))).save(tmp_path / "a.png")
    typed = tuple((float(x), float(y)) for x, y in CORNERS)
    photos = {"face": (SidePhoto(tmp_path / "a.png", typed),), "back": (SidePhoto(tmp_path / "a.png"),)}
    shares: list[float] = []
    found = measure_board(replace(BOARD, photos=photos), progress=lambda share, doing: shares.append(share))
    assert list(found.sides) == ["face"]
    assert any("back" in caveat and "corners" in caveat for caveat in found.caveats)
    assert shares == sorted(shares)
    assert shares[-1] <= 1.0
    assert found.length_mm.value == 600.0
    assert found.sides["face"].picture.pixels.shape == (300, 1200, 3)
    assert found.sides["face"].scale_doubt_percent > 0
    assert isinstance(flatten_side(BOARD, "face"), NotFound)
    assert measure_board(BOARD).caveats


def test_real_boards_flatten_in_full(photo_data: Path) -> None:
    """Sawn softwood that fills its photo; a lengthwise pixel is not as long as a crosswise one is wide."""
    for name in "ACF":
        path = photo_data / "sawn-boards" / f"board_{name}.jpg"
        corners = ((1400.0, 0.0), (1400.0, 15872.0), (0.0, 15872.0), (0.0, 0.0))
        board = RoughBoard(name, 3100, 150, 32, "eastern white pine", 10, photos={"face": (SidePhoto(path, corners),)})
        found = flatten_side(board, "face")
        assert found
        assert found.picture.pixels.shape == (300, 6200, 3)
        assert found.photo_px_per_mm == pytest.approx(15872 / 3100, rel=0.01)
        assert any("smaller in proportion" in caveat for caveat in found.caveats)
        photo = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
        there = cv2.resize(np.rot90(photo), (6200, 300), interpolation=cv2.INTER_AREA)
        agreement = np.corrcoef(there[20:-20, 20:-20, 1].ravel(), found.picture.pixels[20:-20, 20:-20, 1].ravel())
        assert agreement[0, 1] > 0.93  # light is evened along the length
