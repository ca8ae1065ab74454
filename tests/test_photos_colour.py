"""Grey cards, and the sides of one board in one light: colours against the drawn truth, as CIEDE2000 differences."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from grainplan.boards import BroadSide, MeasuredBoard, RoughBoard, SidePhoto
from grainplan.errors import NotFound, PhotoError
from grainplan.match.colour import differ_ciede2000
from grainplan.photos.greycard import decode_tones, encode_light, read_card
from grainplan.photos.load import Photo
from grainplan.photos.measure import measure_board
from tests.drawn.camera import GREY_CARD, Camera, Scene, take_photo
from tests.drawn.camera import Photo as Shot
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_side
from tests.drawn.solid import Picture, Solid

LENGTH, WIDTH = 1000.0, 160.0
CARD = (430.0, 185.0, 530.0, 245.0)
LAMP, SHADE = (1.0, 0.72, 0.42), (0.62, 0.80, 1.05)  # tungsten and sky seen by a camera set for daylight


@pytest.fixture(scope="module")
def solid() -> Solid:
    return grow_board(31, Growth(length_mm=LENGTH, width_mm=WIDTH, look="elm"))


def photograph(
    folder: Path, solid: Solid, side: BroadSide, *, cast: tuple[float, float, float], card: bool
) -> SidePhoto:
    scene = Scene("bench", 4, light_fall=0.25, cast=cast, card_mm=CARD)
    shot = take_photo(solid, side, Camera(2000, 1000, 0.85, 3.0, 2.0, 0.5), scene)
    path = folder / f"{side}.jpg"
    Image.fromarray(shot.picture).save(path, quality=92)
    corners = tuple((float(x), float(y)) for x, y in shot.corners_px)
    return SidePhoto(path, corners, grey_card=find_card(shot) if card else None)  # type: ignore[arg-type]


def find_card(shot: Shot) -> tuple[tuple[float, float], tuple[float, float]]:
    """A box within the card, as a maker would draw it."""
    u0, v0, u1, v1 = CARD
    rim = np.array([[u0, v0, 0], [u1, v0, 0], [u1, v1, 0], [u0, v1, 0.0]])
    turn = cv2.Rodrigues(shot.rotation)[0]
    seen = cv2.projectPoints(rim, turn, shot.translation, shot.camera_matrix, np.zeros(4))[0].reshape(4, 2) + 0.5
    x, y = np.sort(seen[:, 0]), np.sort(seen[:, 1])
    return (float(x[2]), float(y[1])), (float(x[1]), float(y[2]))


def measure(
    folder: Path, solid: Solid, shots: dict[BroadSide, tuple[tuple[float, float, float], bool]]
) -> MeasuredBoard:
    photos = {s: (photograph(folder, solid, s, cast=cast, card=card),) for s, (cast, card) in shots.items()}
    return measure_board(RoughBoard("A", LENGTH, WIDTH, 25, "white ash", 8, photos=photos))


def list_colours(picture: Picture, rows: slice = slice(None)) -> np.ndarray:
    """Mean CIE L*a*b* of five stretches along the board."""
    stretches = np.array_split(picture[rows], 5, axis=1)
    means = np.array([[s.reshape(-1, 3).mean(axis=0) / 255 for s in stretches]], np.float32)
    return cv2.cvtColor(means, cv2.COLOR_RGB2Lab)[0]


def differ(board: MeasuredBoard, solid: Solid, side: BroadSide) -> float:
    seen, truth = board.sides[side].picture.pixels, draw_side(solid, side, 2.0)
    return float(differ_ciede2000(list_colours(seen), list_colours(truth)).mean())


@pytest.mark.parametrize("cast", [LAMP, SHADE])
def test_a_grey_card_makes_colours_true(tmp_path: Path, solid: Solid, cast: tuple[float, float, float]) -> None:
    (tmp_path / "plain").mkdir()
    plain = measure(tmp_path / "plain", solid, {"face": (cast, False)})
    carded = measure(tmp_path, solid, {"face": (cast, True)})
    off = differ(carded, solid, "face")
    print(f"CIEDE2000 to the truth: {differ(plain, solid, 'face'):.1f} without the card, {off:.1f} with it")
    assert differ(plain, solid, "face") > 5.0
    assert off < 2.0


@pytest.mark.parametrize("cards", [(), ("face",), ("back",), ("face", "back")])
def test_sides_of_one_board_agree(tmp_path: Path, solid: Solid, cards: tuple[BroadSide, ...]) -> None:
    """Face by lamp light, back in the shade: their edges show the same wood; a card on either makes both true."""
    board = measure(tmp_path, solid, {"face": (LAMP, "face" in cards), "back": (SHADE, "back" in cards)})
    rims = slice(2, 32), slice(-32, -2)
    truth = [draw_side(solid, side, 2.0) for side in ("face", "back")]
    seen = [board.sides[side].picture.pixels for side in ("face", "back")]
    for rim in rims:
        apart, own = (
            np.abs(list_colours(a, rim).mean(axis=0) - list_colours(b, rim).mean(axis=0)) for a, b in (seen, truth)
        )
        assert (np.abs(apart - own) < 5.0).all()
    off = [differ(board, solid, side) for side in ("face", "back")]
    print(cards, "CIEDE2000 to the truth:", np.round(off, 1))
    told = " ".join(board.caveats)
    if cards:
        assert max(off) < 4.0
        assert ("brought to" in told) == (len(cards) == 1)
    else:
        assert "or with a grey card" in told


def as_photo(pixels: np.ndarray) -> Photo:
    return Photo(pixels, 1, (0, 0), pixels.shape[1], pixels.shape[0])


def test_light_and_tones_are_each_other_s_inverse() -> None:
    tones = np.arange(256.0)
    assert encode_light(decode_tones(tones)) * 255 == pytest.approx(tones, abs=1e-6)
    assert decode_tones(np.array(GREY_CARD)) == pytest.approx(0.18, abs=0.002)


def test_what_is_no_grey_card_is_left_out_with_its_reason() -> None:
    box = ((20.0, 20.0), (80.0, 60.0))
    reasons = {}
    for name, tone in {
        "good": (140, 118, 90),
        "burnt": (252, 240, 230),
        "red": (200, 60, 40),
        "dark": (30, 30, 30),
    }.items():
        found = read_card(as_photo(np.full((100, 200, 3), tone, np.uint8)), box, called="a")
        reasons[name] = "" if found else found.reason  # type: ignore[union-attr]
    half = np.full((100, 200, 3), 118, np.uint8)
    half[:, 50:] = 60
    uneven = read_card(as_photo(half), box, called="a")
    small = read_card(as_photo(half), ((20.0, 20.0), (25.0, 60.0)), called="a")
    assert isinstance(uneven, NotFound)
    assert isinstance(small, NotFound)
    assert "tones 58 apart" in uneven.reason
    assert "too small" in small.reason
    assert reasons["good"] == ""
    assert "burnt out" in reasons["burnt"]
    assert "strong colour" in reasons["red"]
    assert "stops darker" in reasons["dark"]
    with pytest.raises(PhotoError, match="outside the photo, which has 200 × 100 px"):
        read_card(as_photo(half), ((20.0, 20.0), (280.0, 60.0)), called="a")
