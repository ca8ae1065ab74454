"""Read a photo: upright once, red first, and no more pixels decoded than are wanted.

Photo coordinates run right and down from the corner of the first pixel, whose centre is at (0.5, 0.5), in pixels of the
whole photo after it is turned upright.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image, UnidentifiedImageError

from grainplan.errors import PhotoError
from grainplan.geometry import Floats
from grainplan.picture import Pixels

LARGEST_MEGAPIXELS = 250
SHORTEST_PX = 40  # a board's end photographed as a strip is rarely more than a few hundred pixels high
REDUCTIONS = (8, 4, 2)  # what the JPEG decoder can leave out by itself
_BLANK_SPREAD = 2.0  # grey levels; sensor noise alone spreads an evenly grey photo by one or so
_HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")


@dataclass(frozen=True, slots=True)
class PhotoHeader:
    """What a photo file says of itself before a pixel is decoded.

    Parameters
    ----------
    path : Path
    content : bytes
        The file as it is.
    kind : str
        "JPEG", "PNG", "HEIF" and so on.
    width_px, height_px : int
        After it is turned upright.
    orientation : int
        EXIF value 1 to 8; 5 to 8 change width and height over.
    """

    path: Path
    content: bytes
    kind: str
    width_px: int
    height_px: int
    orientation: int


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photo's pixels, upright, perhaps reduced, and how they lie in the whole photo.

    A place at (u, v) of these pixels is at ``(u, v) * reduction - shift_px`` of the whole photo, both counted from the
    corner of the first pixel.
    """

    pixels: Pixels
    reduction: int
    shift_px: tuple[int, int]
    width_px: int
    height_px: int

    def place(self, points_px: Floats) -> Floats:
        """Carry places of the whole photo, shape (n, 2), to these pixels."""
        return np.asarray((np.asarray(points_px, float) + self.shift_px) / self.reduction, float)


def read_header(path: Path) -> PhotoHeader:
    """Look at a photo file without decoding it.

    Raises
    ------
    PhotoError
        When it is missing, empty, no picture, too large or too small, or a HEIC file and its reader is not installed.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise PhotoError(f"{path.name} is not there; put the photo in the job folder or mend its name") from None
    except OSError as error:
        raise PhotoError(f"{path.name} cannot be read ({error.strerror}); copy it again") from None
    if not content:
        raise PhotoError(f"{path.name} is empty (0 bytes); copy it from the camera again")
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC_BRANDS:
        _learn_heic(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content)) as image:
                kind, (width, height) = str(image.format), image.size
                orientation = _read_orientation(image)
    except Image.DecompressionBombError:
        # Pillow refuses from 179 megapixels on; our own limit lies higher, since phones take 200.
        kind, (width, height), orientation = "JPEG", _read_large_size(content, path), 1
    except UnidentifiedImageError:
        raise PhotoError(f"{path.name} is no picture that can be read; export it as JPEG") from None
    except (OSError, ValueError, SyntaxError) as error:
        raise PhotoError(f"{path.name} is damaged ({error}); copy it from the camera again") from None
    return _check_size(PhotoHeader(path, content, kind, width, height, orientation))


def _learn_heic(path: Path) -> None:
    try:
        import pi_heif
    except ImportError:
        raise PhotoError(
            f"{path.name} is a HEIC photo; install grainplan[heic] to read it, or export it as JPEG"
        ) from None
    pi_heif.register_heif_opener()


def _read_orientation(image: Image.Image) -> int:
    """EXIF orientation still to be carried out; the HEIC reader and Pillow's TIFF reader do it themselves."""
    if image.format == "TIFF":
        return 1
    try:
        value = image.getexif().get(ExifTags.Base.Orientation, 1)
    except (OSError, ValueError, SyntaxError):
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _read_large_size(content: bytes, path: Path) -> tuple[int, int]:
    """Size of a JPEG that Pillow will not open, from its frame header (ITU-T T.81, B.2.2)."""
    at = 2
    while content[:2] == b"\xff\xd8" and at + 9 < len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = (int.from_bytes(content[at + i : at + i + 2], "big") for i in (5, 7))
            return width, height
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    raise PhotoError(f"{path.name} has more than 179 megapixels and is no JPEG; export it as a JPEG of 12 to 50")


def _check_size(header: PhotoHeader) -> PhotoHeader:
    name, width, height = header.path.name, header.width_px, header.height_px
    if width * height > LARGEST_MEGAPIXELS * 1_000_000:
        raise PhotoError(
            f"{name} has {width} × {height} px, {width * height / 1e6:.0f} megapixels; the limit is "
            f"{LARGEST_MEGAPIXELS}. Export it smaller: 12 to 50 megapixels are plenty for a board"
        )
    if min(width, height) < SHORTEST_PX:
        raise PhotoError(
            f"{name} has only {width} × {height} px, perhaps a thumbnail; copy the full photo (at least "
            f"{SHORTEST_PX} px on its short side)"
        )
    if header.orientation >= 5:
        width, height = height, width
    return PhotoHeader(header.path, header.content, header.kind, width, height, header.orientation)


def load_photo(header: PhotoHeader, *, reduction: int = 1) -> Photo:
    """Decode a photo, upright, red first.

    Parameters
    ----------
    header : PhotoHeader
    reduction : {1, 2, 4, 8}
        Leave out this many pixels in each direction while decoding, where the file allows (JPEG); other files come
        whole.

    Raises
    ------
    PhotoError
        When the file is cut off or damaged, or shows nothing but one tone.
    """
    if reduction not in (1, *REDUCTIONS):
        raise ValueError(f"a photo is reduced by 1, 2, 4 or 8, got {reduction}")
    reduction = reduction if header.kind in ("JPEG", "MPO") else 1
    raw = _decode_fast(header, reduction) if header.kind in ("JPEG", "MPO") else _decode_any(header)
    thin = np.ascontiguousarray(raw[:: max(1, raw.shape[0] // 100), :: max(1, raw.shape[1] // 100)])
    if float(np.max(cv2.meanStdDev(thin)[1])) < _BLANK_SPREAD:
        raise PhotoError(f"{header.path.name} shows nothing, all of it is one tone; take the photo again")
    pixels = _turn_upright(raw, header.orientation)
    # The decoder rounds a reduced size up, so turning about moves the rest of the last block to the front.
    rest_x = pixels.shape[1] * reduction - header.width_px
    rest_y = pixels.shape[0] * reduction - header.height_px
    from_right = header.orientation in (2, 3, 6, 7)
    from_bottom = header.orientation in (3, 4, 7, 8)
    shift = (rest_x if from_right else 0, rest_y if from_bottom else 0)
    return Photo(pixels, reduction, shift, header.width_px, header.height_px)


def _decode_fast(header: PhotoHeader, reduction: int) -> Pixels:
    # IMREAD_REDUCED_COLOR_2, _4 and _8 are 16, 32 and 64 on top of "colour"; straight to red-first saves a pass.
    flags = {1: 0, 2: 16, 4: 32, 8: 64}[reduction] | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        found = cv2.imdecode(np.frombuffer(header.content, np.uint8), flags)
    except cv2.error:
        found = None
    if found is None:
        raise _say_cut_off(header)
    return np.asarray(found, np.uint8)


def _decode_any(header: PhotoHeader) -> Pixels:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(header.content)) as opened:
                image: Image.Image = opened
                if image.mode in ("I;16", "I;16B", "I", "F"):
                    deep = np.asarray(image, np.float32)
                    image = Image.fromarray(np.asarray(deep / max(float(deep.max()), 1.0) * 255, np.uint8))
                if image.mode in ("RGBA", "LA", "P", "PA"):
                    sheet = Image.new("RGBA", image.size, "white")
                    sheet.alpha_composite(image.convert("RGBA"))
                    image = sheet
                return np.array(image.convert("RGB"))
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise _say_cut_off(header) from error


def _say_cut_off(header: PhotoHeader) -> PhotoError:
    return PhotoError(
        f"{header.path.name} is cut off or damaged ({len(header.content) / 1e6:.1f} MB read); copy it from the camera "
        "again"
    )


def _turn_upright(raw: Pixels, orientation: int) -> Pixels:
    """Carry out an EXIF orientation (CIPA DC-008, tag 0x0112)."""
    if orientation == 1:
        return raw
    if orientation in (5, 6, 7, 8):
        raw = np.asarray(cv2.transpose(raw), np.uint8)
    flip = {2: 1, 3: -1, 4: 0, 5: None, 6: 1, 7: -1, 8: 0}[orientation]
    return raw if flip is None else np.asarray(cv2.flip(raw, flip), np.uint8)
