"""One photo on the bench: its corners found, moved, looked at square-on, and written down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from pathlib import Path

import streamlit as st

from grainplan import looks
from grainplan.boards import BROAD_SIDES, Point, RoughBoard, Side, SidePhoto
from grainplan.errors import GrainplanError, NotFound
from grainplan.job import Job
from grainplan.looks import ShownPhoto
from grainplan.screens.corners import guess_corners, pick_corners
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import tell_fault, tell_quiet

Corners = tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo and what it shows.

    Parameters
    ----------
    name : str
        One for each photo of the job, like "A:face" or "A1:near".
    side : {"face", "back", "foot", "head"}
        Of which kind the four corners are.
    board : RoughBoard
        The board, or the leaf or the stretch of it that the photo shows, by its sizes.
    photo : SidePhoto
    place : tuple
        Of the photo in the job file, for what is told of it.
    write : callable
        Writes corners into the job.
    """

    name: str
    side: Side
    board: RoughBoard
    photo: SidePhoto
    place: Place
    write: Callable[[Job, Corners], Job]


def show_shot(desk: Desk, shot: Shot) -> None:
    """The photo with its corners, close-ups of them, and what they make of it."""
    try:
        shown = read_photo(shot.photo.path)
    except GrainplanError as error:
        st.error(str(error))
        return
    written = shot.photo.corners
    start = written or _find_start(shot, shown)
    counted = f"put_back:{shot.name}"
    key = f"corners:{shot.name}:{shown.identity}:{start}:{st.session_state.get(counted, 0)}"
    moved = pick_corners(shown, shot.side, points=start, key=key)
    if written is None or moved != start:
        words, back, write = st.columns([2.4, 1, 1], vertical_alignment="center")
        words.write("Not written into the job yet." if written is None else "Moved, and not written down yet.")
        if back.button("Put them back", key=f"back:{shot.name}", width="stretch", disabled=moved == start):
            st.session_state[counted] = st.session_state.get(counted, 0) + 1
            st.rerun()
        if write.button("Write them down", type="primary", key=f"write:{shot.name}", width="stretch"):
            desk.make(lambda job: shot.write(job, moved), place=shot.place)
            st.rerun()
    tell_fault(desk, shot.place)
    _show_square_on(shot, moved)


def _find_start(shot: Shot, shown: ShownPhoto) -> tuple[Point, Point, Point, Point]:
    """Where the board is found in a photo without typed corners, or a guess; each photo is searched once."""
    key = f"found:{shot.name}:{shown.identity}:{shot.photo.foot}:{shot.board.length_mm}:{shot.board.width_mm}"
    if key not in st.session_state:
        with st.spinner("Looking for the board in the photo …"):
            try:
                st.session_state[key] = looks.find_corners(shot.board, shot.side, shot.photo)
            except GrainplanError as error:
                st.session_state[key] = NotFound(str(error))
    found = st.session_state[key]
    if isinstance(found, NotFound):
        st.warning(found.reason)
        return guess_corners(shown.size_px, shot.side)
    tell_quiet(found.says)
    a, b, c, d = found.corners
    return a, b, c, d


def _show_square_on(shot: Shot, corners: Corners) -> None:
    """What these corners make of the photo: the check by eye before they are written down."""
    try:
        found = looks.square_on(shot.board, shot.side, shot.photo.path, corners=corners)
    except GrainplanError as error:
        st.html(f'<div class="fault">{escape(str(error))}</div>')
        return
    if isinstance(found, NotFound):
        tell_quiet(found.reason)
        return
    through = ", seen through the board" if shot.side in ("back", "head") else ""
    st.caption(f"Square-on, as these corners make it{through}")
    picture = looks.mark_flaws(found.picture, shot.board, shot.side)
    st.image(picture, width="stretch" if shot.side in BROAD_SIDES else "content")
    for caveat in found.caveats:
        st.caption(caveat)


def read_photo(path: Path) -> ShownPhoto:
    """A photo for the page; :class:`PhotoError` where it cannot be read."""
    return _cached_photo(str(path), path.stat().st_mtime_ns if path.is_file() else 0)


@st.cache_data(max_entries=24, show_spinner=False)
def _cached_photo(path: str, changed_ns: int) -> ShownPhoto:
    """`changed_ns` is there so that a photo that changed is read again."""
    return looks.show_photo(Path(path))
