"""The boards: all of them lying in the rack, or one on the bench with its photos, sizes and corners."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import get_args

import streamlit as st

from grainplan import changes, looks
from grainplan.boards import BROAD_SIDES, SIDES, FlawKind, MeasuredBoard, Point, RoughBoard, Side
from grainplan.errors import GrainplanError, NotFound
from grainplan.job import Job
from grainplan.looks import ShownPhoto
from grainplan.screens.corners import guess_corners, pick_corners
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import choice_field, read_place, tell_fault, tell_quiet, text_field

ADD: Place = ("board", "new")
SHOWS = {"through": "every leaf", "face": "the face only", "back": "the back only"}
SIDE_WORDS = {"face": "Face", "back": "Back", "foot": "Foot end", "head": "Head end"}
SIZES: tuple[tuple[str, str, str], ...] = (
    ("Length", "length", ""),
    ("Width", "width", "At its narrowest; at the foot where the board is tapered."),
    ("Thickness", "thickness", "At its thinnest, by caliper. A quarter name like 4/4 is no measure."),
)
SHAPE: tuple[tuple[str, str, str], ...] = (
    ("Cup", "cup", "Hollow across the width."),
    ("Bow", "bow", "Hollow along the length, flatwise."),
    ("Crook", "crook", "Hollow along the length, on edge."),
    ("Twist", "twist", "How far the fourth corner lifts when three lie flat."),
    ("Width at the head", "width_head", "Where the board is tapered."),
    ("Wood", "species", "Where it is another than the job's."),
    ("Moisture %", "moisture", "Where it is another than the job's."),
    ("Price", "price", "A board foot in inch jobs, a cubic metre in metric ones."),
)


def show_boards(desk: Desk) -> None:
    """The rack, or the board that was taken from it."""
    if desk.job is None:
        return
    name = st.session_state.get("on_bench")
    if name in {board.name for board in desk.job.boards}:
        _show_bench(desk, desk.job, desk.job.board(str(name)))
    else:
        _show_rack(desk, desk.job)


def _show_rack(desk: Desk, job: Job) -> None:
    measured = desk.boards
    longest = max((board.length_mm for board in job.boards), default=1.0)
    for board in job.boards:
        words, picture, button = st.columns([1.5, 6, 1], vertical_alignment="center")
        words.html(
            f'<span class="board-name">{escape(board.name)}</span>'
            f"{' <span class=quiet>stays in the rack</span>' if is_left(job, board.name) else ''}<br>"
            '<span class="quiet">'
            f"{escape(looks.tell_size(job, board))}<br>{escape(looks.tell_resaw(job, board.name)[0])}</span>"
        )
        with picture:
            _lay_down(desk, board, measured.get(board.name), share=board.length_mm / longest)
        if button.button("To the bench", key=f"take:{board.name}", width="stretch"):
            st.session_state["on_bench"] = board.name
            st.rerun()
    _offer_another(desk)


def _lay_down(desk: Desk, board: RoughBoard, measured: MeasuredBoard | None, *, share: float) -> None:
    """A board as long as it is beside the others: square-on where it is measured, else its photo as it was taken."""
    room, _ = st.columns([max(0.05, share), max(1e-3, 1 - share)]) if share < 0.995 else (st.container(), None)
    with room:
        if measured is not None and not measured.sides.keys().isdisjoint(BROAD_SIDES):
            key = ("rack", board.name, looks.mark_measured(desk.job) if desk.job else 0)
            st.image(desk.show(key, lambda: looks.draw_face(measured)), width="stretch")
            return
        photos = board.photos.get("face") or board.photos.get("back")
        if not photos:
            tell_quiet("No photo yet.")
            return
        try:
            st.image(_read_photo(photos[0].path).jpeg, width="stretch")
        except GrainplanError as error:
            st.caption(str(error))


def _offer_another(desk: Desk) -> None:
    with st.expander("Another board"), st.form("new_board", border=False):
        fields = st.columns(len(SIZES))
        typed = {
            key: where.text_input(label, help=hint or None)
            for where, (label, key, hint) in zip(fields, SIZES, strict=True)
        }
        if st.form_submit_button("Put it in the rack"):
            sizes = {key: text.strip() for key, text in typed.items()}
            if desk.make(lambda job: changes.add_board(job, sizes), place=ADD) and desk.job:
                st.session_state["on_bench"] = desk.job.boards[-1].name
                st.rerun()
    tell_fault(desk, ADD)


def _show_bench(desk: Desk, job: Job, board: RoughBoard) -> None:
    row = next(i for i, b in enumerate(desk.written["board"]) if b.get("name") == board.name)
    head, back = st.columns([6, 1], vertical_alignment="bottom")
    head.html(f'<span class="board-name">Board {escape(board.name)}</span>')
    if back.button("Back to the rack", key="to_rack", width="stretch"):
        st.session_state.pop("on_bench", None)
        st.rerun()
    left, right = st.columns([1, 2.8], gap="large")
    with left:
        for label, key, hint in SIZES:
            text_field(desk, label, ("board", row, key), hint=hint)
        with st.expander("Shape, wood, price"):
            for label, key, hint in SHAPE:
                text_field(desk, label, ("board", row, key), hint=hint)
        with st.expander(f"Flaws ({len(board.flaws)})" if board.flaws else "Flaws"):
            _show_flaws(desk, board, row)
        _offer_leaving(desk, job, board)
        if st.button("Take it out of the job", key="remove_board", width="stretch") and desk.make(
            lambda job: changes.remove_board(job, board.name), place=("board", row)
        ):
            st.session_state.pop("on_bench", None)
            st.rerun()
        tell_fault(desk, ("board", row))
    with right:
        for line in looks.tell_resaw(job, board.name):
            st.write(line)
        measured = desk.boards.get(board.name)
        st.image(looks.draw_end(job, board.name, boards=(measured,) if measured else ()), width="stretch")
        _show_photos(desk, board, row)


def _offer_leaving(desk: Desk, job: Job, board: RoughBoard) -> None:
    """Leave a board in the rack, whatever is chosen, or allow it again."""
    left = is_left(job, board.name)
    words, change = ("Allow it again", changes.allow_again) if left else ("Leave it in the rack", changes.leave_out)
    if st.button(words, key=f"leave:{board.name}", width="stretch"):
        desk.make(lambda job: change(job, board=board.name), place=("leave_out", board.name))
        st.rerun()
    tell_fault(desk, ("leave_out", board.name))


def is_left(job: Job, board: str) -> bool:
    """Whether the maker wants a board used nowhere."""
    return any(entry.board == board and entry.bay is None for entry in job.leave_outs)


def _show_flaws(desk: Desk, board: RoughBoard, row: int) -> None:
    """What the maker does not want to see: kind, where it shows, and its two corners along and across."""
    for at in range(len(board.flaws)):
        place: Place = ("board", row, "flaw", at)
        kind, on = st.columns(2)
        with kind:
            choice_field(desk, "What", (*place, "kind"), words=get_args(FlawKind))
        with on:
            choice_field(desk, "Shows on", (*place, "on"), words=["through", "face", "back"], says=SHOWS.__getitem__)
        for word, key in (("From", "from"), ("To", "to")):
            along, across = st.columns(2)
            with along:
                text_field(desk, f"{word}, along", (*place, key, 0))
            with across:
                text_field(desk, f"{word}, across", (*place, key, 1))
        if st.button("Not a flaw", key=f"no_flaw:{board.name}:{at}", type="tertiary"):
            desk.make(lambda job, at=at: changes.remove_flaw(job, board.name, at), place=place)  # type: ignore[misc]
            st.rerun()
        tell_fault(desk, place)
    if st.button("Another flaw", key=f"flaw:{board.name}", width="stretch"):
        desk.make(lambda job: changes.add_flaw(job, board.name), place=("board", row, "flaw"))
        st.rerun()
    tell_fault(desk, ("board", row, "flaw"))


def _show_photos(desk: Desk, board: RoughBoard, row: int) -> None:
    side: Side = (
        st.segmented_control(
            "Side",
            SIDES,
            default="face",
            key=f"side:{board.name}",
            format_func=SIDE_WORDS.__getitem__,
            label_visibility="collapsed",
        )
        or "face"
    )
    place: Place = ("board", row, side)
    photos = board.photos.get(side, ())
    if len(photos) > 1:
        st.write("This side is pieced together from several photos; their corners are set in the job file.")
        return
    if photos:
        _set_corners(desk, board, side, path=photos[0].path)
    with st.expander("Another photo of this side") if photos else st.container():
        sent = st.file_uploader(
            f"Photo of the {SIDE_WORDS[side].lower()}", key=f"photo:{board.name}:{side}:{len(photos)}"
        )
        if sent is not None and st.button("Take this photo", key=f"take_photo:{board.name}:{side}"):
            content = sent.getvalue()
            desk.make(lambda job: changes.add_photo(job, board.name, side, content=content), place=place)
            st.rerun()
    tell_fault(desk, place)


def _set_corners(desk: Desk, board: RoughBoard, side: Side, *, path: Path) -> None:
    place: Place = ("board", read_row(desk, board.name), side, "corners")
    try:
        shown = _read_photo(path)
    except GrainplanError as error:
        st.error(str(error))
        return
    written = board.photos[side][0].corners
    start = written or guess_corners(shown.size_px, side)
    counted = f"put_back:{board.name}:{side}"
    key = f"corners:{board.name}:{side}:{shown.identity}:{start}:{st.session_state.get(counted, 0)}"
    moved = pick_corners(shown, side, points=start, key=key)
    if written is None or moved != start:
        words, back, write = st.columns([2.4, 1, 1], vertical_alignment="center")
        words.write("Not written into the job yet." if written is None else "Moved, and not written down yet.")
        if back.button("Put them back", key=f"back:{board.name}:{side}", width="stretch", disabled=moved == start):
            st.session_state[counted] = st.session_state.get(counted, 0) + 1
            st.rerun()
        if write.button("Write them down", type="primary", key=f"write:{board.name}:{side}", width="stretch"):
            desk.make(lambda job: changes.set_corners(job, board.name, side, corners=moved), place=place)
            st.rerun()
    tell_fault(desk, place)
    _show_square_on(board, side, path, moved)


def _show_square_on(board: RoughBoard, side: Side, path: Path, corners: tuple[Point, ...]) -> None:
    """What these corners make of the photo: the check by eye before they are written down."""
    try:
        found = looks.square_on(board, side, path, corners=corners)
    except GrainplanError as error:
        st.html(f'<div class="fault">{escape(str(error))}</div>')
        return
    if isinstance(found, NotFound):
        tell_quiet(found.reason)
        return
    st.caption("Square-on, as these corners make it" + (", seen through the board" if side in ("back", "head") else ""))
    st.image(looks.mark_flaws(found.picture, board, side), width="stretch" if side in BROAD_SIDES else "content")
    for caveat in found.caveats:
        st.caption(caveat)


def read_row(desk: Desk, name: str) -> int:
    """The place of a board in the job file."""
    rows = read_place(desk, ("board",)) or []
    return next((i for i, row in enumerate(rows) if row.get("name") == name), 0)


def _read_photo(path: Path) -> ShownPhoto:
    return _cached_photo(str(path), path.stat().st_mtime_ns if path.is_file() else 0)


@st.cache_data(max_entries=24, show_spinner=False)
def _cached_photo(path: str, changed_ns: int) -> ShownPhoto:
    """`changed_ns` is there so that a photo that changed is read again."""
    return looks.show_photo(Path(path))
