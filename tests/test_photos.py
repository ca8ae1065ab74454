"""Photo files: read upright and once, or refused in a sentence."""

import io
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image, ImageOps

from grainplan.errors import PhotoError
from grainplan.photos.load import Photo as Loaded
from grainplan.photos.load import load_photo, read_header


def draw_pattern(width: int = 333, height: int = 210) -> np.ndarray:
    """Smooth, and different in every corner, so that JPEG keeps it and every way of turning shows."""
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    return np.stack([40 + 200 * x, 40 + 200 * y, 120 + 80 * np.sin(7 * x + 4 * y * y)], axis=2).astype(np.uint8)


def save(path: Path, pixels: np.ndarray, orientation: int = 1, **how: object) -> Path:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    Image.fromarray(pixels).save(path, exif=exif, **how)
    return path


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("reduction", [1, 2, 4, 8])
def test_every_exif_orientation_is_carried_out_once(tmp_path: Path, orientation: int, reduction: int) -> None:
    """Against Pillow's own transposition; a place carried to reduced pixels must show the colour it has there."""
    path = save(tmp_path / "a.jpg", draw_pattern(), orientation, quality=97, subsampling=0)
    with Image.open(path) as image:
        upright = np.array(ImageOps.exif_transpose(image).convert("RGB"))
    header = read_header(path)
    photo = load_photo(header, reduction=reduction)
    assert (header.width_px, header.height_px) == (photo.width_px, photo.height_px) == upright.shape[1::-1]
    places = np.random.default_rng(1).uniform(16, np.array(upright.shape[1::-1]) - 16, (60, 2))
    there = look(photo.pixels, photo.place(places))
    assert np.abs(there - look(upright, places)).max() < 2.5


def look(pixels: np.ndarray, places: np.ndarray) -> np.ndarray:
    at = (places - 0.5).astype(np.float32)
    return cv2.remap(pixels.astype(np.float32), at[:, 0], at[:, 1], cv2.INTER_LINEAR)[:, 0]


@pytest.mark.parametrize("ending", ["png", "webp", "tif"])
def test_other_kinds_are_upright_too(tmp_path: Path, ending: str) -> None:
    path = save(tmp_path / f"a.{ending}", draw_pattern(), 6, **({"lossless": True} if ending == "webp" else {}))
    photo = load_photo(read_header(path), reduction=4)
    assert photo.reduction == 1
    assert np.array_equal(photo.pixels, np.rot90(draw_pattern(), -1))


def test_heic_is_read_upright(tmp_path: Path) -> None:
    pi_heif = pytest.importorskip("pi_heif")
    assert pi_heif
    if not HEIC.is_file():
        pytest.fail(f"{HEIC} is missing")
    header = read_header(HEIC)
    photo = load_photo(header)
    assert photo.pixels.shape[:2] == (header.height_px, header.width_px)
    # drawn red on the left and blue on the right, then tagged to be turned a quarter clockwise: red is on top
    assert photo.pixels[10, 30, 0] > 150 > photo.pixels[-10, 30, 0]
    assert photo.pixels[10, 30, 2] < 100 < photo.pixels[-10, 30, 2]


HEIC = Path(__file__).parent / "small_photos" / "turned.heic"


def test_heic_without_its_reader_names_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.heic"
    path.write_bytes(b"\x00\x00\x00\x18ftypheic" + bytes(40))
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    with pytest.raises(PhotoError, match=r"grainplan\[heic\].*JPEG"):
        read_header(path)


def read(path: Path) -> Loaded:
    return load_photo(read_header(path))


def test_what_is_no_photo_is_refused_in_a_sentence(tmp_path: Path) -> None:
    good = save(tmp_path / "good.jpg", draw_pattern(), quality=90).read_bytes()
    png = io.BytesIO()
    Image.fromarray(draw_pattern()).save(png, "PNG")
    cases = {
        "empty.jpg": (b"", "is empty"),
        "words.jpg": (b"a letter to the sawyer", "no picture"),
        "half.jpg": (good[: len(good) // 2], "cut off or damaged"),
        "nearly.jpg": (good[: int(len(good) * 0.97)], "cut off or damaged"),
        "head.jpg": (good[:40], "picture|damaged"),
        "half.png": (png.getvalue()[: len(png.getvalue()) // 2], "cut off or damaged"),
    }
    for name, (content, sentence) in cases.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(PhotoError, match=sentence) as told:
            read(tmp_path / name)
        assert name in str(told.value)
    with pytest.raises(PhotoError, match="is not there"):
        read(tmp_path / "none.jpg")
    with pytest.raises(PhotoError):
        read(tmp_path)


@pytest.mark.parametrize("tone", [0, 128, 255])
def test_a_blank_photo_is_refused(tmp_path: Path, tone: int) -> None:
    noise = np.random.default_rng(0).normal(0, 1.0, (200, 300, 3))
    path = save(tmp_path / "blank.png", np.clip(tone + noise, 0, 255).astype(np.uint8))
    with pytest.raises(PhotoError, match="shows nothing"):
        read(path)


def test_a_thumbnail_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="only 60 × 30 px"):
        read(save(tmp_path / "tiny.jpg", draw_pattern(60, 30)))


def test_size_is_judged_before_decoding(tmp_path: Path) -> None:
    """The frame header of a small JPEG says 20000 × 16000: nothing of that may be decoded. 199 MP are let through."""
    content = bytearray(save(tmp_path / "a.jpg", draw_pattern(), quality=80).read_bytes())
    at = content.index(b"\xff\xc0") + 5
    for width, height in ((20000, 16000), (16320, 12240)):
        content[at : at + 4] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
        (tmp_path / "big.jpg").write_bytes(content)
        if width * height > 250_000_000:
            with pytest.raises(PhotoError, match="320 megapixels; the limit is 250"):
                read_header(tmp_path / "big.jpg")
        else:
            header = read_header(tmp_path / "big.jpg")
            assert (header.width_px, header.height_px) == (width, height)
