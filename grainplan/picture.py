"""A square-on picture of a flat piece of wood that knows its millimetres."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from grainplan.errors import GrainplanError, PlanError
from grainplan.geometry import Box, Floats

Pixels = NDArray[np.uint8]
_PNG_STARTS, _PNG_ENDS = b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"
_PNG_HEAD = 24
"""The first and the last bytes of every whole file, and how many tell its width and height (PNG specification, 3rd
edition, 5.2, 11.2.1 and 11.2.5)."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A flattened picture of one plane of a board, in the board frame.

    Columns run along the first axis of the plane and rows along the second: (x, y) on the broad sides and on surfaces
    inside the board, (y, z) on the ends. Pixel (column c, row r) has its centre at ((c + 0.5), (r + 0.5)) / `px_per_mm`
    from the corner.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Kept read-only.
    px_per_mm : float
        Pixels a millimetre, the same along both axes.
    """

    pixels: Pixels
    px_per_mm: float

    def __post_init__(self) -> None:
        if self.pixels.dtype != np.uint8 or self.pixels.ndim != 3 or self.pixels.shape[2] != 3:
            raise ValueError(f"a picture is (rows, columns, 3) of uint8, got {self.pixels.shape} {self.pixels.dtype}")
        if not self.px_per_mm > 0:
            raise ValueError(f"a picture needs its pixels per millimetre, got {self.px_per_mm}")
        self.pixels.flags.writeable = False

    @property
    def mark(self) -> str:
        """Something that changes with any pixel: what was worked out from a picture is kept by it."""
        digest = hashlib.blake2b(f"{self.pixels.shape} {self.px_per_mm}".encode(), digest_size=12)
        digest.update(np.ascontiguousarray(self.pixels).data)
        return digest.hexdigest()

    @property
    def width_mm(self) -> float:
        """Extent along the columns, mm."""
        return float(self.pixels.shape[1] / self.px_per_mm)

    @property
    def height_mm(self) -> float:
        """Extent along the rows, mm."""
        return float(self.pixels.shape[0] / self.px_per_mm)

    def crop(self, box: Box) -> Picture:
        """The part inside `box` (mm), rounded to whole pixels; what lies outside the picture repeats its edge."""
        d = self.px_per_mm
        columns = max(1, round(box.width * d))
        rows = max(1, round(box.height * d))
        c = np.clip(round(box.x0 * d) + np.arange(columns), 0, self.pixels.shape[1] - 1)
        r = np.clip(round(box.y0 * d) + np.arange(rows), 0, self.pixels.shape[0] - 1)
        return Picture(self.pixels[np.ix_(r, c)], d)

    def lightness(self) -> Floats:
        """CIE L* of every pixel, float32, 0 to 100."""
        lab = cv2.cvtColor(self.pixels.astype(np.float32) / 255, cv2.COLOR_RGB2Lab)
        return np.ascontiguousarray(lab[:, :, 0])

    def mean_lab(self) -> tuple[float, float, float]:
        """Mean colour in CIE L*a*b* (D65)."""
        small = cv2.resize(self.pixels, (256, 64), interpolation=cv2.INTER_AREA)
        lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2Lab).reshape(-1, 3).mean(axis=0)
        return float(lab[0]), float(lab[1]), float(lab[2])


class KeptPicture(Picture):
    """A picture of the program's own that is read from its file when its pixels are first looked at.

    Parameters
    ----------
    path : Path
    px_per_mm : float
    mark : str
        What changes with its content.

    Raises
    ------
    PlanError
        When the file is missing, or does not begin and end as a PNG file; later, should its pixels be damaged.
    """

    __slots__ = ("_mark", "_path", "_read", "_size_px")

    _path: Path
    _mark: str
    _size_px: tuple[int, int]
    _read: Picture | None

    def __init__(self, path: Path, px_per_mm: float, *, mark: str) -> None:
        if not px_per_mm > 0:
            raise ValueError(f"a picture needs its pixels per millimetre, got {px_per_mm}")
        told = {"_path": path, "px_per_mm": px_per_mm, "_mark": mark, "_size_px": _find_size(path), "_read": None}
        for name, value in told.items():
            object.__setattr__(self, name, value)

    @property
    def pixels(self) -> Pixels:
        """As of any picture; read once."""
        read = self._read
        if read is None:
            try:
                read = read_picture(self._path, self.px_per_mm)
            except PlanError:
                raise PlanError(f"{self._path} is missing or damaged; delete it and plan again") from None
            object.__setattr__(self, "_read", read)
        return read.pixels

    @property
    def mark(self) -> str:
        """As it was told."""
        return self._mark

    @property
    def width_mm(self) -> float:
        """Extent along the columns, mm."""
        return self._size_px[0] / self.px_per_mm

    @property
    def height_mm(self) -> float:
        """Extent along the rows, mm."""
        return self._size_px[1] / self.px_per_mm


def _find_size(path: Path) -> tuple[int, int]:
    """Width and height of a PNG file that is whole, px."""
    try:
        with path.open("rb") as file:
            first = file.read(_PNG_HEAD)
            file.seek(-min(len(_PNG_ENDS), path.stat().st_size), 2)
            if first[: len(_PNG_STARTS)] == _PNG_STARTS and file.read() == _PNG_ENDS:
                return int.from_bytes(first[16:20]), int.from_bytes(first[20:24])
    except FileNotFoundError:
        raise PlanError(f"{path} is missing; measure the job again") from None
    except OSError as error:
        raise PlanError(f"{path} cannot be read ({error.strerror or error}); delete it and plan again") from None
    raise PlanError(f"{path} is damaged; delete it and plan again")


def save_picture(picture: Picture, path: Path) -> None:
    """Write a picture as PNG (or by the ending of `path`), with its density in the file.

    Raises
    ------
    GrainplanError
        When the ending is of no picture, or the place cannot be written to.
    """
    dpi = picture.px_per_mm * 25.4
    try:
        Image.fromarray(picture.pixels).save(path, dpi=(dpi, dpi))
    except ValueError:
        raise GrainplanError(f"{path} has no ending that names a picture; write for example {path.stem}.png") from None
    except OSError as error:
        raise GrainplanError(f"{path} cannot be written ({error.strerror or error}); choose another place") from None


def encode_picture(picture: Picture) -> bytes:
    """A picture as PNG, quickly: photos of wood hardly shrink with more effort."""
    done, content = cv2.imencode(".png", picture.pixels[:, :, ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])
    if not done:
        raise GrainplanError("a picture could not be encoded")
    return bytes(content)


def read_picture(path: Path, px_per_mm: float) -> Picture:
    """Read a picture that the program wrote.

    Raises
    ------
    PlanError
        When the file is missing or is not a picture.
    """
    try:
        with Image.open(path) as image:
            return Picture(np.array(image.convert("RGB")), px_per_mm)
    except FileNotFoundError:
        raise PlanError(f"{path} is missing; measure the job again") from None
    except (UnidentifiedImageError, OSError) as error:
        raise PlanError(f"{path} cannot be read as a picture ({error}); measure the job again") from None
