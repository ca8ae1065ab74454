"""A camera by formula: a drawn board on a floor, photographed, with the exact pixels of its corners.

The world is the seen side's own plane, in millimetres: u to the right, v down, as one looks at the side; the floor
lies one thickness behind it. The lens is OpenCV's model with one radial coefficient.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.drawn.floors import draw_floor, soften
from tests.drawn.noise import draw_cloud
from tests.drawn.paint import draw_side
from tests.drawn.solid import Field, Picture, Solid

Side = Literal["face", "back", "foot", "head"]
FOCAL_PER_WIDTH = 1.15
GREY_CARD = 118.0  # 18 % of the light, in the transfer curve of IEC 61966-2-1


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera stands and how its lens bends.

    Parameters
    ----------
    width_px, height_px
        Size of the photo.
    fill
        Part of the photo's width that the board takes, seen straight on.
    tilt_deg, yaw_deg, roll_deg
        Turn about the photo's horizontal, vertical and viewing axis.
    k1
        Radial distortion in OpenCV's normalised coordinates, with f = 1.15 times the photo's width.
    off_centre
        Where the board's centre is aimed at, as a part of the photo's width and height from its middle.
    focal_ratio
        Focal length over 1.15 times the photo's width; `k1` belongs to this focal length.
    """

    width_px: int = 3000
    height_px: int = 1000
    fill: float = 0.9
    tilt_deg: float = 0.0
    yaw_deg: float = 0.0
    roll_deg: float = 0.0
    k1: float = 0.0
    off_centre: tuple[float, float] = (0.0, 0.0)
    focal_ratio: float = 1.0


@dataclass(frozen=True, slots=True)
class Scene:
    """Floor, light and sensor."""

    floor: str = "bench"
    seed: int = 0
    light_fall: float = 0.15
    light_from_deg: float = 60.0
    shadow: float = 0.45
    noise: float = 1.6
    blur_px: float = 0.6
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    floor_blur_px: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)  # the camera's wrong balance and exposure, in linear light
    card_mm: tuple[float, float, float, float] | None = None  # of a grey card on the seen plane: u0, v0, u1, v1


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo, and the exact pixels of the board's corners in the order of the job format."""

    picture: Picture
    corners_px: NDArray[np.float64]
    camera_matrix: NDArray[np.float64]
    rotation: NDArray[np.float64]
    translation: NDArray[np.float64]


def seen_from_outside(board_frame: Picture, side: Side) -> Picture:
    """Turn a picture in the board frame into what stands before the eye: the back and the head are mirrored."""
    if side == "back":
        return np.ascontiguousarray(board_frame[::-1])
    if side == "head":
        return np.ascontiguousarray(board_frame[:, ::-1])
    return board_frame


def measure_side(solid: Solid, side: Side) -> tuple[float, float, float]:
    """Width, height, and what lies behind the seen side, mm."""
    if side in ("face", "back"):
        return solid.length_mm, solid.width_mm, solid.thickness_mm
    return solid.width_mm, solid.thickness_mm, 160.0


def list_corners(solid: Solid, side: Side) -> NDArray[np.float64]:
    """The board's corners on the seen plane (u, v) in the order of the job format."""
    wide, high, _ = measure_side(solid, side)
    corners = np.array([[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]])
    if side == "back":
        corners[:, 1] = high - corners[:, 1]
    if side == "head":
        corners[:, 0] = wide - corners[:, 0]
    return corners


def stand_camera(camera: Camera, wide_mm: float, high_mm: float) -> tuple[NDArray[np.float64], ...]:
    """Camera matrix, rotation and translation for a side of this size."""
    focal = FOCAL_PER_WIDTH * camera.width_px * camera.focal_ratio
    matrix = np.array([[focal, 0.0, camera.width_px / 2.0], [0.0, focal, camera.height_px / 2.0], [0.0, 0.0, 1.0]])
    matrix[:2, 2] -= 0.5  # OpenCV counts from the centre of the first pixel
    rotation = np.eye(3)
    for axis, angle in ((0, camera.tilt_deg), (1, camera.yaw_deg), (2, camera.roll_deg)):
        turn = np.zeros(3)
        turn[axis] = np.radians(angle)
        rotation = cv2.Rodrigues(turn)[0] @ rotation
    distance = focal * wide_mm / (camera.fill * camera.width_px)
    aim = np.array([camera.off_centre[0] * camera.width_px, camera.off_centre[1] * camera.height_px]) / focal
    centre = np.array([aim[0] * distance, aim[1] * distance, distance])
    translation = centre - rotation @ np.array([wide_mm / 2, high_mm / 2, 0.0])
    return matrix, rotation, translation


def take_photo(solid: Solid, side: Side, camera: Camera, scene: Scene) -> Photo:
    """Photograph one side of a drawn board."""
    wide, high, deep = measure_side(solid, side)
    matrix, rotation, translation = stand_camera(camera, wide, high)
    lens = np.array([camera.k1, 0.0, 0.0, 0.0])
    rays = _cast_rays(camera, matrix, lens, rotation)
    eye = -rotation.T @ translation
    density = 1.15 * camera.fill * camera.width_px / wide
    side_picture = seen_from_outside(draw_side(solid, side, density), side)
    lit = _lay_floor(scene, rays, eye, deep, (wide, high))
    _lay_walls(solid, side, rays, eye, lit)
    u, v = _meet_plane(rays, eye, 0.0)
    drawn = _sample(side_picture, u * density, v * density)
    inside = ((u >= 0) & (u <= wide) & (v >= 0) & (v <= high)).astype(np.float32)[..., None]
    seen = lit * (1 - inside) + drawn * inside
    if scene.card_mm is not None:
        u0, v0, u1, v1 = scene.card_mm
        seen[(u >= u0) & (u <= u1) & (v >= v0) & (v <= v1)] = GREY_CARD
    picture = _expose(seen, scene)
    flat = np.column_stack([list_corners(solid, side), np.zeros(4)])
    corners = cv2.projectPoints(flat, cv2.Rodrigues(rotation)[0], translation, matrix, lens)[0].reshape(4, 2)
    return Photo(picture, corners + 0.5, matrix, rotation, translation)


def _cast_rays(
    camera: Camera, matrix: NDArray[np.float64], lens: NDArray[np.float64], rotation: NDArray[np.float64]
) -> tuple[Field, Field, Field]:
    """World direction of each pixel's ray, as three pictures."""
    columns, rows = np.meshgrid(np.arange(camera.width_px), np.arange(camera.height_px))
    x = ((columns - matrix[0, 2]) / matrix[0, 0]).astype(np.float32)
    y = ((rows - matrix[1, 2]) / matrix[1, 1]).astype(np.float32)
    bent = np.sqrt(x * x + y * y)
    straight = bent.copy()
    for _ in range(8):
        straight = bent / (1 + np.float32(lens[0]) * straight * straight)
    scale = straight / np.maximum(bent, np.float32(1e-9))
    x, y = x * scale, y * scale
    turn = rotation.T.astype(np.float32)
    return (
        turn[0, 0] * x + turn[0, 1] * y + turn[0, 2],
        turn[1, 0] * x + turn[1, 1] * y + turn[1, 2],
        turn[2, 0] * x + turn[2, 1] * y + turn[2, 2],
    )


def _meet_plane(rays: tuple[Field, Field, Field], eye: NDArray[np.float64], depth_mm: float) -> tuple[Field, Field]:
    reach = np.float32(depth_mm - eye[2]) / np.maximum(rays[2], np.float32(1e-3))
    return np.float32(eye[0]) + reach * rays[0], np.float32(eye[1]) + reach * rays[1]


def _sample(picture: Picture, columns: Field, rows: Field) -> Field:
    """Colours at places given in pixels whose first centre is at 0.5."""
    return cv2.remap(
        picture,
        (columns - 0.5).astype(np.float32),
        (rows - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)


def _pick(picture: Picture, columns: Field, rows: Field) -> Field:
    """Colours of the pixels that hold the places of a list."""
    column = np.clip(columns.astype(np.int64), 0, picture.shape[1] - 1)
    row = np.clip(rows.astype(np.int64), 0, picture.shape[0] - 1)
    return picture[row, column].astype(np.float32)


def _lay_floor(
    scene: Scene, rays: tuple[Field, Field, Field], eye: NDArray[np.float64], deep_mm: float, size: tuple[float, float]
) -> Field:
    """The floor with the board's shadow on it."""
    u, v = _meet_plane(rays, eye, deep_mm)
    left, top = float(u.min()), float(v.min())
    wide, high = float(u.max()) - left, float(v.max()) - top
    density = min(u.shape[1] / wide * 1.1, 4000.0 / max(wide, high))
    shape = (int(high * density) + 2, int(wide * density) + 2)
    floor = soften(draw_floor(scene.floor, scene.seed, shape=shape, px_per_mm=density), scene.floor_blur_px)
    picture = _sample(floor, (u - left) * density, (v - top) * density)
    away = np.radians(scene.light_from_deg)
    shift = 0.8 * min(deep_mm, 40.0)
    du, dv = shift * np.cos(away), shift * np.sin(away)
    soft = max(6.0, 0.3 * min(deep_mm, 60.0))
    outside = np.maximum(np.maximum(du - u, u - size[0] - du), np.maximum(dv - v, v - size[1] - dv))
    shade = 1 - scene.shadow / (1 + np.exp(np.clip(outside / (0.5 * soft), -30, 30)))
    return np.asarray(picture * shade[..., None], dtype=np.float32)


def _lay_walls(
    solid: Solid, side: Side, rays: tuple[Field, Field, Field], eye: NDArray[np.float64], picture: Field
) -> None:
    """The board's other sides, where the camera looks past the rim of the seen one."""
    wide, high, deep = measure_side(solid, side)
    names = {
        "face": ("face edge", "back edge", "foot", "head"),
        "back": ("back edge", "face edge", "foot", "head"),
        "foot": ("face", "back", "face edge", "back edge"),
        "head": ("face", "back", "back edge", "face edge"),
    }[side]
    shown = eye[1] < 0, eye[1] > high, eye[0] < 0, eye[0] > wide
    places = ((1, 0.0), (1, high), (0, 0.0), (0, wide))
    for name, seen, (axis, at) in zip(names, shown, places, strict=True):
        if not seen:
            continue
        step = rays[axis]
        safe = np.where(np.abs(step) < 1e-6, 1e-6, step)
        reach = (at - eye[axis]) / safe
        depth = np.float32(eye[2]) + reach * rays[2]
        run = np.float32(eye[1 - axis]) + reach * rays[1 - axis]
        inside = (reach > 0) & (depth >= 0) & (depth <= deep) & (run >= 0) & (run <= (wide, high)[axis == 0])
        if not inside.any():
            continue
        tone = 0.72 if axis == 1 else 0.6
        picture[inside] = _colour_wall(solid, (side, name), run[inside], depth[inside]) * tone


def _colour_wall(solid: Solid, names: tuple[Side, str], run: Field, depth: Field) -> Field:
    side, name = names
    density = 2.0
    wall = draw_side(solid, name, density)
    if side in ("face", "back"):
        if side == "back":
            depth = solid.thickness_mm - depth
        if name in ("foot", "head"):  # columns y, rows z; run is v
            run = solid.width_mm - run if side == "back" else run
        return _pick(wall, run * density, depth * density)
    x = depth if side == "foot" else solid.length_mm - depth
    if name in ("face", "back"):
        y = run if side == "foot" else solid.width_mm - run
        return _pick(wall, x * density, y * density)
    return _pick(wall, x * density, run * density)


def _expose(picture: Field, scene: Scene) -> Picture:
    """Uneven light, colour cast, blur and noise of the sensor."""
    random = np.random.default_rng(scene.seed + 77)
    rows, columns = picture.shape[:2]
    away = np.radians(scene.light_from_deg)
    u = np.linspace(-0.5, 0.5, columns, dtype=np.float32)[None, :]
    v = np.linspace(-0.5, 0.5, rows, dtype=np.float32)[:, None] * (rows / columns)
    light = (
        1 - scene.light_fall * (u * np.cos(away) + v * np.sin(away)) * 1.4 - 0.5 * scene.light_fall * (u * u + v * v)
    )
    light += 0.12 * scene.light_fall * draw_cloud(random, (rows, columns), cell_px=(columns / 4, columns / 4))
    picture = picture * light[..., None] * np.float32(scene.white)
    if scene.cast != (1.0, 1.0, 1.0):
        picture = _cast_light(picture, scene.cast)
    if scene.blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), scene.blur_px)
    if scene.noise > 0:
        picture = picture + random.standard_normal(picture.shape, dtype=np.float32) * np.float32(scene.noise)
    return np.clip(picture + 0.5, 0, 255).astype(np.uint8)


def _cast_light(picture: Field, cast: tuple[float, float, float]) -> Field:
    """Another white balance and exposure, multiplied in linear light (IEC 61966-2-1)."""
    tone = np.clip(picture / 255, 0, 1)
    light = np.where(tone <= 0.04045, tone / 12.92, ((tone + 0.055) / 1.055) ** 2.4) * np.float32(cast)
    light = np.clip(light, 0, 1)
    return np.asarray(255 * np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055), np.float32)
