"""Setting the corners of a board on its photo: by mouse, finger or keyboard."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from importlib.resources import files

import streamlit as st

from grainplan.boards import Point, Side
from grainplan.looks import ShownPhoto

_PARTS = files("grainplan.screens") / "parts"
_pick = st.components.v2.component(
    "grainplan_corners",
    css=(_PARTS / "corners.css").read_text(encoding="utf-8"),
    js=(_PARTS / "corners.js").read_text(encoding="utf-8"),
)

BROAD_CORNERS = ("foot, face edge", "head, face edge", "head, other edge", "foot, other edge")
END_CORNERS = ("face edge, face side", "other edge, face side", "other edge, back", "face edge, back")


def pick_corners(photo: ShownPhoto, side: Side, *, points: Sequence[Point], key: str) -> tuple[Point, ...]:
    """Show the photo with its four corners and return where they are now, px of the whole upright photo.

    Parameters
    ----------
    photo : ShownPhoto
    side : {"face", "back", "foot", "head"}
        Which names the corners get, in the order of the job file.
    points : four (x, y) pairs
        Where they stand before anybody has moved them.
    key : str
        One for each photo.
    """
    broad = side in ("face", "back")
    start = [[float(x), float(y)] for x, y in points]
    held = (st.session_state.get(key) or {}).get("points") or start
    result = _pick(
        key=key,
        data={
            "photo": "data:image/jpeg;base64," + base64.b64encode(photo.jpeg).decode("ascii"),
            "photo_id": photo.identity,
            "size": list(photo.size_px),
            "points": held,
            "close_px": max(60, round(max(photo.size_px) * 0.05)),
            "words": {
                "picture": f"Photo of the {side}",
                "corners": list(BROAD_CORNERS if broad else END_CORNERS),
                "edges": ["face edge", "head", "foot"] if broad else ["face side"],
                "edge_from": [0, 1, 3] if broad else [0],
                "told": "Drag a corner, or pull the close-up under its cross. Keyboard: Tab to a corner, arrow keys "
                "one pixel, with Shift ten.",
            },
        },
        default={"points": start},
        on_points_change=lambda: None,
    )
    found = result.points if result.points else start
    return tuple((float(x), float(y)) for x, y in found)


def guess_corners(size_px: tuple[int, int], side: Side) -> tuple[Point, Point, Point, Point]:
    """Where the corners may stand to begin with: a board lying along the photo, foot to the left."""
    wide, high = size_px
    left, right, top, bottom = wide * 0.06, wide * 0.94, high * 0.25, high * 0.75
    if side == "back":
        return (left, bottom), (right, bottom), (right, top), (left, top)
    if side == "head":
        return (right, top), (left, top), (left, bottom), (right, bottom)
    return (left, top), (right, top), (right, bottom), (left, bottom)
