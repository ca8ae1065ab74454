"""A picture keeps its millimetres; lightness and colour against scikit-image."""

from pathlib import Path

import numpy as np
import pytest
from skimage.color import rgb2lab

from grainplan.errors import PlanError
from grainplan.geometry import Box
from grainplan.picture import KeptPicture, Picture, encode_picture, read_picture, save_picture


@pytest.fixture
def picture() -> Picture:
    return Picture(np.random.default_rng(3).integers(0, 256, (60, 200, 3), dtype=np.uint8), 2.0)


def test_size_in_millimetres(picture: Picture) -> None:
    assert (picture.width_mm, picture.height_mm) == (100.0, 30.0)


def test_a_crop_is_the_pixels_of_its_box(picture: Picture) -> None:
    part = picture.crop(Box(10, 5, 40, 20))
    np.testing.assert_array_equal(part.pixels, picture.pixels[10:40, 20:80])
    assert part.px_per_mm == picture.px_per_mm


def test_a_crop_beyond_the_edge_repeats_it(picture: Picture) -> None:
    part = picture.crop(Box(-5, 0, 5, 30))
    np.testing.assert_array_equal(part.pixels[:, :11], np.repeat(picture.pixels[:, :1], 11, axis=1))


def test_lightness_is_that_of_cie(picture: Picture) -> None:
    np.testing.assert_allclose(
        picture.lightness(), rgb2lab(picture.pixels)[:, :, 0], atol=0.4
    )  # OpenCV interpolates a table


def test_mean_colour_is_that_of_cie() -> None:
    plain = Picture(np.full((40, 90, 3), (201, 171, 122), np.uint8), 2.0)
    np.testing.assert_allclose(plain.mean_lab(), rgb2lab(plain.pixels)[0, 0], atol=0.4)  # OpenCV interpolates a table


def test_nobody_draws_into_a_picture(picture: Picture) -> None:
    with pytest.raises(ValueError, match="read-only"):
        picture.pixels[0, 0] = 0


def test_saved_and_read_again(picture: Picture, tmp_path: Path) -> None:
    save_picture(picture, tmp_path / "a.png")
    np.testing.assert_array_equal(read_picture(tmp_path / "a.png", 2.0).pixels, picture.pixels)


def test_a_missing_or_damaged_picture_is_told(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="missing"):
        read_picture(tmp_path / "none.png", 2.0)
    (tmp_path / "bad.png").write_bytes(b"not a picture")
    with pytest.raises(PlanError, match="cannot be read"):
        read_picture(tmp_path / "bad.png", 2.0)


def test_a_kept_picture_is_read_when_it_is_looked_at(picture: Picture, tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(encode_picture(picture))
    kept = KeptPicture(path, picture.px_per_mm, mark="5f3c")
    assert (kept.mark, kept.px_per_mm) == ("5f3c", picture.px_per_mm)
    assert (kept.width_mm, kept.height_mm) == (picture.width_mm, picture.height_mm)
    np.testing.assert_array_equal(kept.pixels, picture.pixels)
    path.unlink()
    assert kept.pixels is not None  # read once
    with pytest.raises(PlanError, match="missing"):
        KeptPicture(path, 2.0, mark="5f3c")


def test_a_kept_picture_that_is_damaged_is_told(picture: Picture, tmp_path: Path) -> None:
    """Cut off it is refused at once; spoilt within, when it is looked at."""
    path, content = tmp_path / "a.png", encode_picture(picture)
    path.write_bytes(content[:-3])
    with pytest.raises(PlanError, match="delete it and plan again"):
        KeptPicture(path, 2.0, mark="5f3c")
    path.write_bytes(content[:60] + bytes(40) + content[100:])
    kept = KeptPicture(path, 2.0, mark="5f3c")
    with pytest.raises(PlanError, match="delete it and plan again"):
        _ = kept.pixels


def test_the_mark_changes_with_any_pixel(picture: Picture) -> None:
    other = picture.pixels.copy()
    assert Picture(other, 2.0).mark == Picture(picture.pixels, 2.0).mark
    changed = other.copy()
    changed[-1, -1, 2] ^= 1
    assert Picture(changed, 2.0).mark != Picture(picture.pixels, 2.0).mark
    assert Picture(other, 1.0).mark != Picture(picture.pixels, 2.0).mark


@pytest.mark.parametrize(("shape", "density"), [((4, 4), 2.0), ((4, 4, 3), 0.0)])
def test_what_is_no_picture_is_refused(shape: tuple[int, ...], density: float) -> None:
    with pytest.raises(ValueError, match="picture"):
        Picture(np.zeros(shape, np.uint8), density)
