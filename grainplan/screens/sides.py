"""The photos of a board's four sides; a long side may take several, from foot to head."""

from __future__ import annotations

from functools import partial
from typing import get_args

import streamlit as st

from grainplan import changes, looks
from grainplan.boards import BROAD_SIDES, SIDES, Direction, RoughBoard, Side, SidePhoto
from grainplan.errors import GrainplanError
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import choice_field, pick_one, tell_fault, tell_quiet, text_field
from grainplan.screens.marks import Mark, MarkedSide, show_marks, take_mark
from grainplan.screens.shots import Shot, read_photo, show_shot

SIDE_WORDS = {"face": "Face", "back": "Back", "foot": "Foot end", "head": "Head end"}
LIES = {"left": "at the left", "right": "at the right", "up": "at the top", "down": "at the bottom"}


def show_sides(desk: Desk, board: RoughBoard, row: int) -> None:
    """Pick a side, then its photos."""
    side = pick_one("Side", SIDES, key=f"side:{board.name}", says=SIDE_WORDS.__getitem__)
    place: Place = ("board", row, side)
    photos = board.photos.get(side, ())
    at = _pick_photo(board, side) if len(photos) > 1 else 0
    if photos:
        here = (*place, at) if isinstance(_written(desk, place), list) else place
        _show_photo(desk, board, side, at, here)
    _offer_photos(desk, board, side, place)


def _pick_photo(board: RoughBoard, side: Side) -> int:
    count = len(board.photos[side])
    return pick_one("Photo", range(count), key=f"which:{board.name}:{side}:{count}", says=lambda at: f"Photo {at + 1}")


def _written(desk: Desk, place: Place) -> object:
    return desk.written["board"][place[1]].get(place[2])


def _show_photo(desk: Desk, board: RoughBoard, side: Side, at: int, here: Place) -> None:
    photo = board.photos[side][at]
    name, shown = f"{board.name}:{side}", board
    if photo.x_mm is not None:
        name, shown = f"{name}:{at}", looks.take_stretch(board, photo.x_mm)
        tell_quiet("This photo shows the board from here to there; each photo overlaps the next by about a third.")
        fields = st.columns(2)
        for part, label in enumerate(("From the foot, begins at", "From the foot, ends at")):
            with fields[part]:
                text_field(desk, label, (*here, "x", part))
        tell_fault(desk, (*here, "x"))
    if side in BROAD_SIDES and photo.corners is None:
        choice_field(
            desk, "In the photo the foot lies", (*here, "foot"), words=list(get_args(Direction)), says=LIES.__getitem__
        )
    _offer_grey_card(desk, name, photo, here)
    write = partial(_write_corners, board=board.name, side=side, at=at)
    show_shot(desk, Shot(name, side, shown, photo, here, write))


def _offer_grey_card(desk: Desk, name: str, photo: SidePhoto, here: Place) -> None:
    """A box on a grey card that lies in the photo: it makes the colours true."""
    key, place = f"card:{name}", (*here, "grey_card")
    done = take_mark(key)
    if done is not None and done.do in ("draw", "move", "drop"):
        desk.make(lambda job: changes.set_grey_card(job, here, box=done.box), place=place)
        st.rerun()
    words = "A grey card lies in it" if photo.grey_card is None else "Grey card: marked"
    if not st.toggle(words, key=f"open:{key}", help="Mark it with a box over most of the card; colours become true."):
        return
    try:
        shown = read_photo(photo.path)
    except GrainplanError as error:
        st.error(str(error))
        return
    marks = []
    if photo.grey_card is not None:
        (xa, ya), (xb, yb) = photo.grey_card
        box = Box(min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb))
        marks.append(Mark("card", box, "maker", "grey card", "The grey card"))
    size = (float(shown.size_px[0]), float(shown.size_px[1]))
    side = MarkedSide("The photo", size, shown.jpeg, shown.identity, ("←", "→"))
    show_marks(side, marks, picked="card" if marks else None, step_mm=2.0, key=key)
    tell_fault(desk, place)


def _write_corners(job: Job, corners: changes.Corners, *, board: str, side: Side, at: int) -> Job:
    return changes.set_corners(job, board, side, corners=corners, photo=at)


def _offer_photos(desk: Desk, board: RoughBoard, side: Side, place: Place) -> None:
    """Upload a photo: in the place of the one that is there, or as the next stretch of a long side."""
    photos = board.photos.get(side, ())
    what = SIDE_WORDS[side].lower()
    with st.expander("Other photos of this side") if photos else st.container():
        sent = st.file_uploader(f"Photo of the {what}", key=f"photo:{board.name}:{side}:{len(photos)}")
        with st.container(horizontal=True):
            if sent is not None:
                _offer_taking(desk, board, side, content=sent.getvalue())
            for at in range(len(photos)):
                words = "Take this photo out" if len(photos) == 1 else f"Take photo {at + 1} out"
                if st.button(words, key=f"no_photo:{board.name}:{side}:{at}"):
                    remove = partial(changes.remove_photo, board=board.name, side=side, at=at)
                    desk.make(remove, place=place)
                    st.rerun()
        if photos and side in BROAD_SIDES:
            tell_quiet("A board that is too long for one photo takes several, from the foot to the head.")
    tell_fault(desk, place)


def _offer_taking(desk: Desk, board: RoughBoard, side: Side, *, content: bytes) -> None:
    place: Place = ("board", desk.find_row(board.name), side)
    photos = board.photos.get(side, ())
    words = (
        "Take this photo" if not photos else "Take this photo instead" if len(photos) == 1 else "Take this one alone"
    )
    if st.button(words, key=f"take_photo:{board.name}:{side}", type="primary"):
        desk.make(lambda job: changes.add_photo(job, board.name, side, content=content), place=place)
        st.rerun()
    if (
        photos
        and side in BROAD_SIDES
        and st.button("It shows the next stretch toward the head", key=f"next_photo:{board.name}:{side}")
    ):
        desk.make(lambda job: changes.add_stretch(job, board.name, side, content=content), place=place)
        st.rerun()
