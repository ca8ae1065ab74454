"""A long board in several photos whose corners nobody typed: found by its edges, its width, and its wood."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.photos.edges import Edge
from grainplan.photos.flatten import flatten_side
from grainplan.photos.load import load_photo, read_header
from grainplan.photos.locate import FoundCorners, find_corners
from grainplan.photos.open_ends import lay_open_end
from tests.blockmatch import match_blocks
from tests.drawn.camera import Camera, Scene, take_photo
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_side
from tests.test_photos_join import look_at

LENGTH, WIDTH = 2400.0, 200.0
SEEN = ((-80.0, 950.0), (730.0, 1680.0), (1450.0, 2480.0))
TYPED = ((0.0, 940.0), (745.0, 1665.0), (1462.0, 2400.0))
BOARD = RoughBoard("A", LENGTH, WIDTH, 26, "white ash", 8)


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> tuple[SidePhoto, ...]:
    """Three photos; x was read off by eye, some 15 mm short of the rims."""
    folder = tmp_path_factory.mktemp("parts")
    solid = grow_board(13, Growth(length_mm=LENGTH, width_mm=WIDTH, thickness_mm=26, look="elm"))
    shots = []
    for i, ((start, end), x_mm) in enumerate(zip(SEEN, TYPED, strict=True)):
        fill = LENGTH / (end - start)
        off = -((start + end) / 2 - LENGTH / 2) / LENGTH * fill
        tilt, yaw, roll = np.random.default_rng(60 + i).normal(0, (3, 2, 1))
        camera = Camera(2400, 900, fill, tilt, yaw, roll, 0.01, (off, 0.02))
        shot = take_photo(solid, "face", camera, Scene("concrete", 30 + i, 0.2))
        Image.fromarray(shot.picture).save(folder / f"{i}.jpg", quality=92)
        shots.append(SidePhoto(folder / f"{i}.jpg", foot="left", x_mm=x_mm))
        if i == 0:
            np.save(folder / "corner.npy", look_at(shot, np.array([[0.0, 0.0], [0.0, WIDTH]]), 0.01))
    return tuple(shots)


def test_a_long_board_is_joined_without_typed_corners(photos: tuple[SidePhoto, ...]) -> None:
    found = flatten_side(replace(BOARD, photos={"face": photos}), "face")
    assert found
    solid = grow_board(13, Growth(length_mm=LENGTH, width_mm=WIDTH, thickness_mm=26, look="elm"))
    blocks = match_blocks(found.picture.pixels, draw_side(solid, "face", 2.0), 2.0, block_mm=(60.0, 50.0))
    assert len(blocks) > 60
    assert np.percentile(np.hypot(blocks[:, 2], blocks[:, 3]), 99) < 3.0
    assert any("by its width how much of its length" in c for c in found.caveats)
    assert any("joined from several photos: places between the ends may be up to" in c for c in found.caveats)


def test_a_part_tells_how_much_of_the_board_it_shows(photos: tuple[SidePhoto, ...]) -> None:
    """By the width, wherever x was typed; the end that is seen is exact."""
    photo = load_photo(read_header(photos[0].path))
    for typed in (900.0, 960.0):
        shot = replace(photos[0], x_mm=(0.0, typed))
        found = find_corners(photo, BOARD, "face", shot)
        assert isinstance(found, FoundCorners)
        assert found.x_mm is not None
        assert found.x_mm[0] == 0.0
        assert found.x_mm[1] == pytest.approx(950, abs=8)  # 1 % of tilt, lens and rim
        assert not found.floats
        exact = np.load(photos[0].path.parent / "corner.npy")
        assert np.linalg.norm(found.corners_px[[0, 3]] - exact, axis=1).max() <= 3.0


def test_photos_that_do_not_meet_are_refused(photos: tuple[SidePhoto, ...]) -> None:
    far = (photos[0], replace(photos[1], x_mm=(1045.0, 1965.0)), photos[2])
    long = (replace(photos[0], x_mm=(0.0, 1300.0)), *photos[1:])
    for shots in (far, long):
        found = flatten_side(replace(BOARD, photos={"face": shots}), "face")
        assert isinstance(found, NotFound)
        assert "type" in found.reason
    untold = (replace(photos[0], x_mm=None), *photos[1:])
    assert "needs its x" in flatten_side(replace(BOARD, photos={"face": untold}), "face").reason  # type: ignore[union-attr]


def test_an_open_end_is_laid_square_across() -> None:
    """Against cv2.projectPoints: the line lies at one place of the board, just inside the rim."""
    size, focal = (2400, 900), 1.15 * 2400
    matrix = np.array([[focal, 0, 1200], [0, focal, 450], [0, 0, 1.0]])
    turn = cv2.Rodrigues(np.array([0.08, -0.05, 0.03]))[0]
    away = np.array([-500.0, -90.0, 1150.0])

    def see(places: list[list[float]]) -> np.ndarray:
        flat = np.column_stack([np.array(places, float), np.zeros(len(places))])
        return cv2.projectPoints(flat, turn, away, matrix, None)[0].reshape(-1, 2)

    foot, far = see([[0, 0], [0, 180]]), see([[900, 0], [900, 180]])
    straight = [Edge(a, b, (0.0, 0.0, 0.0), 0.1, 30.0, 1.0) for a, b in ((foot[0], far[0]), (far[1], foot[1]))]
    seen = Edge(foot[1], foot[0], (0.0, 0.0, 0.0), 0.1, 30.0, 1.0)
    line = lay_open_end((straight[0], straight[1]), seen, right=True, size_px=size)
    assert line[:, 0].max() == pytest.approx(size[0], abs=1.0)
    x = np.linspace(800, 1100, 3001)
    at = [
        float(x[np.abs(see([[v, y] for v in x])[:, 0] - px).argmin()])
        for y, px in zip((0, 180), line[:, 0], strict=True)
    ]
    assert at[0] == pytest.approx(at[1], abs=0.5)
