"""Boxes on a board that lies square-on: drawn, moved and stretched by mouse, finger or keyboard."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import streamlit as st

from grainplan.geometry import Box

_PARTS = files("grainplan.screens") / "parts"
_mark = st.components.v2.component(
    "grainplan_marks",
    css=(_PARTS / "marks.css").read_text(encoding="utf-8"),
    js=(_PARTS / "marks.js").read_text(encoding="utf-8"),
)
WORDS = {
    "draw": "Draw with the finger",
    "closer": "Closer",
    "wider": "Wider",
    "told": "Mouse: drag over a flaw to mark it, drag a box or its corners to change it. Finger: press “Draw with the "
    "finger” first. Keyboard: Enter marks the middle, Tab goes to a box, arrows move it (Shift: ten times as far), "
    "Alt and arrows stretch it, Delete drops it.",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """One box on the board.

    Parameters
    ----------
    id : str
    box : Box
        Board frame, mm.
    by : {"maker", "program"}
    word : str
        What stands beside it.
    says : str
        The same in full, for who cannot see it.
    """

    id: str
    box: Box
    by: str
    word: str
    says: str


@dataclass(frozen=True, slots=True)
class Marked:
    """What has just been done on the picture: "draw", "move", "drop" or "pick"; `box` is mm of the board frame."""

    do: str
    id: str | None = None
    box: Box | None = None


@dataclass(frozen=True, slots=True)
class MarkedSide:
    """What is marked on: its size in mm, its picture as JPEG (None where there is no photo), and what its ends are."""

    name: str
    size_mm: tuple[float, float]
    jpeg: bytes | None
    identity: str
    ends: tuple[str, str] = ("← Foot", "Head →")


def take_mark(key: str) -> Marked | None:
    """What was done since the last time it was asked; each deed is handed out once."""
    last: Mapping[str, Any] | None = (st.session_state.get(key) or {}).get("last")
    taken = f"taken:{key}"
    if not last or st.session_state.get(taken) == last.get("stamp"):
        return None
    st.session_state[taken] = last.get("stamp")
    box = last.get("box")
    return Marked(str(last["do"]), last.get("id"), Box(*(float(v) for v in box)) if box else None)


def show_marks(side: MarkedSide, marks: Sequence[Mark], *, picked: str | None, step_mm: float, key: str) -> None:
    """Show the side with its boxes; what is done on it is had by :func:`take_mark` at the next run of the page."""
    last = (st.session_state.get(key) or {}).get("last")
    _mark(
        key=key,
        data={
            "picture": None
            if side.jpeg is None
            else "data:image/jpeg;base64," + base64.b64encode(side.jpeg).decode("ascii"),
            "picture_id": side.identity,
            "size_mm": list(side.size_mm),
            "boxes": [
                {
                    "id": mark.id,
                    "box": [mark.box.x0, mark.box.y0, mark.box.x1, mark.box.y1],
                    "by": mark.by,
                    "word": mark.word,
                    "says": mark.says,
                }
                for mark in marks
            ],
            "picked": picked,
            "go_there": not (last and last.get("id") == picked),
            "step_mm": step_mm,
            "words": WORDS | {"picture": f"{side.name}, to mark on", "left": side.ends[0], "right": side.ends[1]},
        },
        default={"last": last},
        on_last_change=lambda: None,
    )
