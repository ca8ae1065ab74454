"""Draw the photos and the job file of the sample job again: ``python -m tests.drawn.make_sample [FOLDER]``.

The same seeds give the same files. Sizes, prices and names are invented; the boards are drawn, nobody's photographs.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.drawn.camera import Camera, Scene, Side, take_photo
from tests.drawn.forest import Growth, grow_board
from tests.drawn.sample_text import JOB_HEAD, SAPWOOD_OF_D
from tests.drawn.solid import Knot, PithLine, Plane, Solid, locate

INCH = 25.4
SIDES: tuple[Side, ...] = ("face", "back", "foot", "head")


@dataclass(frozen=True, slots=True)
class SampleBoard:
    """A board of the sample job: sizes in inches as they are written, and what it is grown from."""

    name: str
    remark: str
    sizes_in: tuple[float, float, float]
    written: tuple[str, str, str]
    pith: PithLine
    ring_mm: float
    wave_mm: float
    heart_mm: float = 400.0
    knots: tuple[Knot, ...] = ()
    marked: str = ""
    hollow: str = ""
    price: float = 9.25


BOARDS = (
    SampleBoard(
        "A",
        "widest cathedral of the stack, meant for a door",
        (73.0, 7.5, 1.0),
        ("73 in", "7 1/2 in", "1 in"),
        PithLine(92.0, 112.0, 101.0, 84.0),
        3.1,
        1.3,
        hollow='cup = "1/32 in"',
    ),
    SampleBoard(
        "B",
        "from the same log as A, next to it on the pile",
        (72.0, 7.375, 1.0),
        ("72 in", "7 3/8 in", "1 in"),
        PithLine(88.0, 78.0, 79.0, 103.0),
        3.0,
        1.2,
    ),
    SampleBoard(
        "C",
        "a sound knot in the middle; perhaps it can hide behind a rail",
        (74.5, 7.75, 1.0625),
        ("74 1/2 in", "7 3/4 in", "1 1/16 in"),
        PithLine(118.0, 98.0, 110.0, 88.0),
        3.4,
        1.4,
        knots=(Knot(1035.0, -104.0, 12.0, 8.0, 90.0),),
        price=8.5,
    ),
    SampleBoard(
        "D",
        "heart along the face edge, a pale band of sapwood along the other",
        (71.25, 7.25, 0.96875),
        ("71 1/4 in", "7 1/4 in", "31/32 in"),
        PithLine(28.0, 84.0, 36.0, 92.0),
        2.7,
        1.3,
        heart_mm=126.0,
        hollow='bow = "1/16 in"',
        marked=SAPWOOD_OF_D,
    ),
    SampleBoard(
        "E",
        "rift: straight lines, hardly any figure",
        (73.5, 7.125, 1.0),
        ("73 1/2 in", "7 1/8 in", "1 in"),
        PithLine(-78.0, 128.0, -70.0, 132.0),
        2.6,
        1.0,
        price=11.0,
    ),
    SampleBoard(
        "F",
        "planed down for another job: too thin to give two leaves",
        (72.0, 7.5, 0.5625),
        ("72 in", "7 1/2 in", "9/16 in"),
        PithLine(104.0, 71.0, 96.0, 80.0),
        3.2,
        1.4,
        price=6.0,
    ),
)


def grow_sample(board: SampleBoard) -> Solid:
    """The wood of a sample board."""
    length, width, thickness = (size * INCH for size in board.sizes_in)
    growth = Growth(
        length_mm=length,
        width_mm=width,
        thickness_mm=thickness,
        look="ash",
        pith=board.pith,
        ring_mm=board.ring_mm,
        wave_mm=board.wave_mm,
        knots=board.knots,
        heart_mm=board.heart_mm,
    )
    return grow_board(4100 + ord(board.name), growth)


def aim_camera(board: SampleBoard, side: Side) -> tuple[Camera, Scene]:
    """Where the maker stood for one photo: by hand, so a little askew each time."""
    random = np.random.default_rng([ord(board.name), SIDES.index(side)])
    tilt, yaw, roll = random.normal(0.0, (3.0, 1.6, 0.5))
    off = tuple(random.normal(0.0, 0.015, 2))
    white = tuple(1.0 + random.normal(0.0, (0.005, 0.002, 0.009)))
    seed = 300 + 10 * ord(board.name)
    if side in ("face", "back"):
        camera = Camera(3000, 780, 0.935, 11.0 + tilt, yaw, roll, -0.004, off)
        return camera, Scene("bench", seed, light_fall=0.22, light_from_deg=50.0, white=white)
    camera = Camera(1500, 520, 0.84, 9.0 + tilt, -4.0 + 2 * yaw, roll, 0.0, off)
    return camera, Scene("bench", seed, light_fall=0.2, white=white, noise=1.3, floor_blur_px=5.0)


def find_flaw_box(solid: Solid) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """The box round all knots on the face and the back, with the wood that bends round them, mm."""
    if not solid.knots:
        return None
    found = []
    for depth in (0.0, solid.thickness_mm):
        rows, columns = np.nonzero(locate(solid, Plane("z", depth, 1.0)).knot > 0.5)
        found.append(np.array([[columns.min(), rows.min()], [columns.max(), rows.max()]], dtype=float))
    low = np.min([box[0] for box in found], axis=0) - 8.0
    high = np.max([box[1] for box in found], axis=0) + 9.0
    return np.maximum(low, 0.0), np.minimum(high, (solid.length_mm, solid.width_mm))


def write_inches(value_mm: float) -> str:
    """A length in quarter inches, as a maker writes it."""
    quarters = round(value_mm / INCH * 4)
    whole, rest = divmod(quarters, 4)
    fraction = ("", "1/4", "1/2", "3/4")[rest]
    return f"{whole} {fraction} in".replace("0 1", "1") if not whole and rest else f"{whole} {fraction}".strip() + " in"


def write_board(board: SampleBoard, corners: dict[Side, NDArray[np.float64]], solid: Solid) -> str:
    """The board's part of the job file."""
    lines = ["", "[[board]]", f'name = "{board.name}"' + f"{'':22}# {board.remark}"]
    lines += [f'{key} = "{text}"' for key, text in zip(("length", "width", "thickness"), board.written, strict=True)]
    if board.hollow:
        lines.append(board.hollow)
    for side in SIDES:
        points = ", ".join(f"[{x:.1f}, {y:.1f}]" for x, y in corners[side])
        lines.append(f'{side} = {{ photo = "photos/{board.name.lower()}-{side}.jpg", corners = [{points}] }}')
    lines.append(f"price = {board.price:.2f}")
    box = find_flaw_box(solid)
    if box is not None:
        low, high = box
        lines += ["", "[[board.flaw]]", 'kind = "knot"', 'on = "through"                  # it shows on both sides']
        lines.append(f'from = ["{write_inches(low[0])}", "{write_inches(low[1])}"]')
        lines.append(f'to   = ["{write_inches(high[0])}", "{write_inches(high[1])}"]')
        lines.append("avoid = true")
    if board.marked:
        lines += ["", board.marked]
    return "\n".join(lines) + "\n"


def make_sample(folder: Path) -> None:
    """Draw all photos of the sample job into `folder` and write its job file."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    parts = [JOB_HEAD]
    for board in BOARDS:
        solid = grow_sample(board)
        corners: dict[Side, NDArray[np.float64]] = {}
        for side in SIDES:
            photo = take_photo(solid, side, *aim_camera(board, side))
            corners[side] = photo.corners_px
            path = folder / "photos" / f"{board.name.lower()}-{side}.jpg"
            Image.fromarray(photo.picture).save(path, quality=87, subsampling="4:2:0", optimize=True)
        parts.append(write_board(board, corners, solid))
    (folder / "job.toml").write_text("".join(parts), encoding="utf-8")


if __name__ == "__main__":
    default = Path(__file__).resolve().parents[2] / "sample_images" / "hall-cupboard"
    make_sample(Path(sys.argv[1]) if len(sys.argv) > 1 else default)
