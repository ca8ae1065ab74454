"""Wood that is missing, a crook and the lens, told from the edges of drawn boards of known shape."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grainplan import changes, steps
from grainplan.boards import BroadSide, Flaw, MeasuredBoard, RoughBoard, SidePhoto
from grainplan.errors import NotFound
from grainplan.geometry import Box, apply_homography, solve_homography
from grainplan.measured import Measured
from grainplan.photos.corners import USUAL_K1, outline_side, place_view
from grainplan.photos.flatten import flatten_side, read_side
from grainplan.photos.frame_line import FrameLine, fit_frame, tell_missing
from grainplan.photos.lens import Bows, weigh_bows
from grainplan.photos.load import Photo
from grainplan.photos.locate import FoundCorners, find_corners
from grainplan.photos.measure import measure_board
from grainplan.photos.scale import find_scale
from grainplan.photos.sheets import find_sheets
from grainplan.photos.wane import Gone, find_missing
from tests.drawn.camera import Camera, Scene
from tests.drawn.forest import Growth, grow_board
from tests.drawn.shaped import Bay, Shape, photograph
from tests.drawn.sheet_trials import LENGTH_MM, SIZE_PX, TYPED_OFF_PX, WIDTH_MM, draw_trial

LENGTH, WIDTH = 1300.0, 200.0
BOARD = RoughBoard("A", LENGTH, WIDTH, 26.0, "white ash", 8.0)
CAMERA = Camera(2400, 1000, 0.88, 3.0, 2.0, 1.0)
JOB_ORDER = {"face": [0, 1, 2, 3], "back": [3, 2, 1, 0]}


def shoot(
    shape: Shape, side: BroadSide = "face", camera: Camera = CAMERA, *, look: str = "ash", seed: int = 71
) -> tuple[np.ndarray, np.ndarray]:
    """A drawn photo, and its straight frame's corners in the order of the job format."""
    growth = Growth(length_mm=LENGTH, width_mm=WIDTH, thickness_mm=26.0, look=look)
    shot = photograph(grow_board(seed, growth), side, shape, camera, Scene("concrete", seed))
    return shot.picture, shot.corners_px[JOB_ORDER[side]]


def follow(pixels: np.ndarray, corners: np.ndarray, side: BroadSide = "face") -> tuple[Photo, FrameLine, Bows]:
    photo = Photo(np.ascontiguousarray(pixels), 1, (0, 0), pixels.shape[1], pixels.shape[0])
    size = (pixels.shape[1], pixels.shape[0])
    view = place_view(outline_side(BOARD, side), corners, size_px=size, side=side, called="A")
    frame = fit_frame(photo, view, side)
    bows = weigh_bows(photo, view, frame, crook_mm=0.0)
    assert isinstance(bows, Bows)
    return photo, frame, bows


@pytest.mark.parametrize("bark", [True, False])
@pytest.mark.parametrize("side", ["face", "back"])
def test_wane_lies_where_it_was_drawn(side: BroadSide, bark: bool) -> None:
    """On the back the upper edge before the eye is the other one of the board."""
    pixels, corners = shoot(Shape(bays=(Bay("upper", 300.0, 620.0, 24.0, bark),)), side)
    photo, frame, _ = follow(pixels, corners, side)
    told, flaws = tell_missing(photo, frame, side, length_mm=LENGTH)
    assert len(told) == len(flaws) == 1
    box = flaws[0].box
    assert (box.x0, box.x1) == pytest.approx((300, 620), abs=25)  # a bay begins at nothing
    deep = (box.y0, box.y1) if side == "face" else (WIDTH - box.y1, WIDTH - box.y0)
    assert deep == pytest.approx((0, 24), abs=3.5)
    assert flaws[0].kind == "wane"
    assert not flaws[0].avoid
    assert ("face edge" if side == "face" else "other edge") in told[0]
    assert "± " in told[0]


def test_a_corner_that_is_cut_off_is_told_with_its_size() -> None:
    cuts = [(0, 45.0, 30.0), (1, 25.0, 40.0), (2, 50.0, 22.0), (3, 30.0, 30.0)]
    for seed, (corner, along, across) in enumerate(cuts):
        pixels, corners = shoot(Shape(gone=((corner, along, across),)), look=("elm", "pine")[seed % 2], seed=80 + seed)
        _, frame, _ = follow(pixels, corners)
        wane, gone = find_missing(pixels, frame.edges, frame.corners_px, frame.outline_mm)
        assert wane == ()
        assert [g.corner for g in gone] == [corner]
        found = gone[0]
        assert isinstance(found, Gone)
        assert (found.along_mm, found.across_mm) == pytest.approx((along, across), abs=found.doubt_mm)
        assert found.doubt_mm < 5


@pytest.mark.parametrize("look", ["ash", "elm", "pine", "walnut"])
def test_nothing_is_missing_on_whole_boards(look: str) -> None:
    """Dark rings that run out at an edge are wood."""
    pixels, corners = shoot(Shape(), look=look, seed=90)
    photo, frame, _ = follow(pixels, corners)
    assert tell_missing(photo, frame, "face", length_mm=LENGTH) == ((), ())


def test_edges_at_the_rim_of_the_photo_tell_nothing() -> None:
    """A board that fills its photo: no lens, no wane."""
    pixels, corners = shoot(Shape(bays=(Bay("upper", 300.0, 620.0, 24.0),)))
    low, high = corners.min(axis=0).astype(int) + 2, corners.max(axis=0).astype(int) - 2
    inside = np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]])
    filled = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (high - low)
    photo = Photo(inside, 1, (0, 0), inside.shape[1], inside.shape[0])
    size = (inside.shape[1], inside.shape[0])
    view = place_view(outline_side(BOARD, "face"), filled.astype(float), size_px=size, side="face", called="A")
    frame = fit_frame(photo, view, "face")
    assert frame.seen == (False,) * 4
    assert tell_missing(photo, frame, "face", length_mm=LENGTH) == ((), ())
    assert isinstance(weigh_bows(photo, view, frame, crook_mm=0.0), NotFound)


@pytest.mark.parametrize("k1", [-0.03, 0.02])
@pytest.mark.parametrize("crook", [0.0, 4.0])
def test_lens_and_crook_are_told_apart(k1: float, crook: float) -> None:
    """In the middle of the photo a lens bows the edges against each other, a crook both alike."""
    pixels, corners = shoot(Shape(crook_mm=crook), camera=replace(CAMERA, k1=k1), look="pine")
    _, _, bows = follow(pixels, corners)
    assert bows.k1.value == pytest.approx(k1, abs=bows.k1.doubt)
    assert bows.k1.doubt < 0.8 * USUAL_K1
    assert bows.crook_mm.value == pytest.approx(crook, abs=bows.crook_mm.doubt + 0.1)
    assert bows.crook_mm.doubt < 1.0


def test_a_crooked_board_is_found_by_its_outline() -> None:
    """Both long edges bow the same way: that is the board, and its corners are where its ends are."""
    pixels, corners = shoot(Shape(crook_mm=4.0), look="pine")
    photo = Photo(pixels, 1, (0, 0), pixels.shape[1], pixels.shape[0])
    found = find_corners(photo, BOARD, "face", SidePhoto(Path("a.jpg"), foot="left"))
    assert isinstance(found, FoundCorners), found
    assert np.linalg.norm(found.corners_px - corners, axis=1).max() < 3.0


def test_measuring_follows_the_edges_and_flattening_alone_does_not(tmp_path: Path) -> None:
    shape = Shape(bays=(Bay("lower", 700.0, 950.0, 20.0),), crook_mm=4.0)
    pixels, corners = shoot(shape, camera=replace(CAMERA, k1=-0.03), look="pine")
    Image.fromarray(pixels).save(tmp_path / "a.png")
    typed = tuple((float(x), float(y)) for x, y in corners)
    board = replace(BOARD, photos={"face": (SidePhoto(tmp_path / "a.png", typed),)})
    measured = measure_board(board)
    told = " ".join(measured.sides["face"].caveats)
    assert "wood is missing along its other edge" in told
    assert "bow toward the other edge, by 4" in told or "bow toward the other edge, by 3" in told
    assert "the lens is only roughly known" in told or "the lens is" not in told
    assert [f.kind for f in measured.flaws] == ["wane"]
    plain = flatten_side(board, "face")
    assert plain
    assert "missing" not in " ".join(plain.caveats)
    assert "the lens is not known" in " ".join(plain.caveats)
    quick = read_side(board, "face")
    assert quick
    assert quick.missing == ()


def test_wane_that_was_found_is_written_to_be_corrected(tmp_path: Path) -> None:
    job = steps.open_job(steps.copy_sample(tmp_path / "job"))
    board, size = job.board("A"), Measured(1.0, 0.0)
    wane = Flaw("wane", "face", Box(300.0, 0.0, 620.2, 24.0), False, "program", 0.7)
    knot = replace(wane, kind="knot")
    measured = MeasuredBoard(board=board, length_mm=size, width_mm=size, flaws=(*board.flaws, wane, knot))
    written, told = changes.write_found_wane(job, [measured])
    assert len(told) == 1
    added = written.board("A").flaws[len(board.flaws) :]
    assert [(f.kind, f.on, f.found_by, f.avoid) for f in added] == [("wane", "face", "maker", True)]
    assert added[0].box.x0 <= 300.0 < 620.0 < added[0].box.x1 < 623.0
    assert changes.write_found_wane(written, []) == (written, ())


@pytest.mark.parametrize("taper_mm", [0.0, 14.0])
def test_sheets_tell_a_taper_from_the_slant_of_the_photo(taper_mm: float) -> None:
    rim = np.array([[0, 0], [LENGTH_MM, 0], [LENGTH_MM, WIDTH_MM], [0, WIDTH_MM]])
    for seed in (31, 32, 33):
        trial = draw_trial(seed)
        corners = trial.typed_px.copy()
        corners[2] += (
            apply_homography(solve_homography(rim, trial.corners_px), np.array([[LENGTH_MM, WIDTH_MM - taper_mm]]))[0]
            - trial.corners_px[2]
        )
        scale = find_scale(find_sheets(trial.photo, around_px=trial.typed_px), SIZE_PX)
        assert not isinstance(scale, NotFound)
        foot, head, taper = scale.measure_widths(corners, corner_px=2 * TYPED_OFF_PX)
        assert taper.value == pytest.approx(taper_mm, abs=taper.doubt)
        assert taper.doubt < 4.0
        assert foot.value == pytest.approx(WIDTH_MM, abs=foot.doubt)
        assert head.value == pytest.approx(WIDTH_MM - taper_mm, abs=head.doubt)
