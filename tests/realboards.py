"""A job over real sawn boards: photos and labelled flaws of an open data set.

Kodytek, Bodzas, Bilik: "Supporting data for deep learning and machine vision based approaches for automatic wood
inspection", 2021, doi 10.5281/zenodo.4694695, CC BY 4.0 (frames joined, straightened, halved). The data state no scale
and their pixels are not square; 3100 mm by 150 mm is nominal.
"""

import json
import shutil
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from grainplan.geometry import apply_homography, solve_homography

LENGTH_MM, WIDTH_MM = 3100.0, 150.0
BACKGROUND = 40  # the boards lie on black; wood is lighter than this grey
KINDS = {
    "Live_Knot": "knot",
    "Dead_Knot": "knot",
    "knot_with_crack": "knot",
    "Knot_missing": "knot",
    "Crack": "check",
    "resin": "pitch",
    "Marrow": "pith",
    "Quartzity": "other",
}

HEAD = """grainplan = 1
title = "Three small cupboards in pine"
units = "mm"

[wood]
species = "eastern white pine"
moisture = 9

[climate]
driest = { temperature = "20 C", humidity = 35 }
dampest = { temperature = "22 C", humidity = 60 }

[shop]
kerf = "1.6 mm"
planing = "0.8 mm"
outer_planing = "0.8 mm"
joint = "1 mm"
end_waste = "20 mm"
over_length = "3 mm"
over_width = "3 mm"
crosscut = "3 mm"

[panel]
thickness = "6 mm"
groove = "8 mm"
end_gap = "1 mm"
float = "6 mm"
strips = 2
match = "book"
rail_grain = "skip"
"""

# Rough width 132 + 2·8 − 6 + 2·3 = 148; two strips with a joint of 1 mm off each glued edge: (148 + 2) / 2 = 75 mm.
BAY = """
[[bay]]
name = "{name}"
width = "132 mm"
lower = "120 mm"
rail = "30 mm"
upper = "60 mm"
"""


def make_real_job(data: Path, folder: Path) -> Path:
    """Write a job folder over boards A, C and F, every labelled flaw entered, and return it."""
    (folder / "photos").mkdir(parents=True)
    listed = json.loads((data / "sawn-boards" / "boards.json").read_text())
    text = HEAD + "".join(BAY.format(name=name) for name in ("upper left", "upper middle", "upper right"))
    for name in ("A", "C", "F"):
        shutil.copy(data / "sawn-boards" / listed[name]["file"], folder / "photos")
        edges = find_edges(data / "sawn-boards" / listed[name]["file"])
        corners = find_corners(edges, listed[name]["wood_rows"])
        text += (
            f'\n[[board]]\nname = "{name}"\nlength = "{LENGTH_MM} mm"\nwidth = "{WIDTH_MM} mm"\nthickness = "32 mm"\n'
            f'crook = "{measure_crook(edges, corners):.1f} mm"\n'
            f'face = {{ photo = "photos/{listed[name]["file"]}", corners = {corners} }}\n'
        )
        to_board = solve_homography(corners, [(0, 0), (LENGTH_MM, 0), (LENGTH_MM, WIDTH_MM), (0, WIDTH_MM)])
        for flaw in listed[name]["defects"]:
            x, y, w, h = (flaw[k] for k in "xywh")
            points = apply_homography(to_board, [(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
            low, high = (p.clip(0, (LENGTH_MM, WIDTH_MM)) for p in (points.min(axis=0), points.max(axis=0)))
            if not (high > low).all():
                continue  # the edge wanders a little; a label on it may lie wholly beside the straight one
            text += (
                f'\n[[board.flaw]]\nkind = "{KINDS[flaw["cls"]]}"\non = "through"\n'
                f"from = [{low[0]:.2f}, {low[1]:.2f}]\nto = [{high[0]:.2f}, {high[1]:.2f}]\n"
            )
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def find_edges(photo: Path) -> np.ndarray:
    """First and last column of wood in every row, smoothed over 60 rows; the boards lie on black."""
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"), np.float32)
    wood = cv2.blur(grey, (1, 121), borderType=cv2.BORDER_REPLICATE) > BACKGROUND
    return np.column_stack([wood.argmax(axis=1), grey.shape[1] - 1 - wood[:, ::-1].argmax(axis=1)]).astype(float)


def find_corners(edges: np.ndarray, wood_rows: tuple[int, int]) -> list[list[float]]:
    """Corners of a board whose foot is at the top of its picture: along the face edge, back along the other."""
    foot, head = wood_rows
    inside = {foot: foot + 150, head: head - 150}  # a corner may be broken off; the edge a little further in is whole
    return [[float(edges[inside[row], edge]), float(row)] for row, edge in ((foot, 1), (head, 1), (head, 0), (foot, 0))]


def measure_crook(edges: np.ndarray, corners: list[list[float]]) -> float:
    """How far the long edges wander off the straight line between their corners, mm."""
    (right_foot, row0), (right_head, row1), (left_head, _), (left_foot, _) = corners
    rows = np.arange(int(row0) + 150, int(row1) - 150)
    share = (rows - row0) / (row1 - row0)
    straight = np.column_stack(
        [left_foot + share * (left_head - left_foot), right_foot + share * (right_head - right_foot)]
    )
    return float(np.abs(edges[rows] - straight).max() * WIDTH_MM / (right_foot - left_foot))
