"""The boards: all of them lying in the rack, or one on the bench with its photos, sizes and corners."""

from __future__ import annotations

from functools import partial
from html import escape

import streamlit as st

from grainplan import changes, looks, says
from grainplan.boards import BROAD_SIDES, MeasuredBoard, RoughBoard
from grainplan.errors import GrainplanError
from grainplan.job import Job
from grainplan.screens.bench import SIZES, is_left, show_bench, take_to_bench
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import tell_fault, tell_quiet
from grainplan.screens.shots import read_photo

ADD: Place = ("board", "new")
FOUND: Place = ("board", "corners")
SHOOTING = (
    "Lay the board flat, face side up, foot to the left. Stand over its middle, or put the camera on a pole; the whole "
    "board in the picture, nothing across it. Daylight from one side, no flash.",
    "Then roll it over along its length for the back, foot still to the left; then both ends, face side up, close and "
    "sharp: the rings at the ends tell what lies inside.",
    "Scale sheets laid on the board at both ends give the photo its size; without them the length and width that you "
    "type do. Print them at 100 %, and check the 50 mm square.",
)


def show_boards(desk: Desk) -> None:
    """The rack, or the board that was taken from it."""
    if desk.job is None:
        return
    row = st.session_state.get("on_bench")
    if row is not None and row < len(desk.job.boards):
        show_bench(desk, desk.job, desk.job.boards[row])
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
            f"{escape(says.tell_size(job, board))}<br>{escape(says.tell_resaw(job, board.name)[0])}</span>"
        )
        with picture:
            _lay_down(desk, board, measured.get(board.name), share=board.length_mm / longest)
        if button.button("To the bench", key=f"take:{board.name}", width="stretch"):
            take_to_bench(desk.find_row(board.name))
            st.rerun()
    _offer_another(desk)
    _offer_photographing(desk, job)


def _offer_photographing(desk: Desk, job: Job) -> None:
    """How to photograph, the sheets that give a photo its scale, and the search for all corners at once."""
    with st.expander("Photographing the boards"):
        for line in SHOOTING:
            st.write(line)
        with st.container(horizontal=True):
            for words, letter in (("Scale sheets, A4", False), ("Scale sheets, Letter", True)):
                st.download_button(
                    words,
                    partial(looks.print_scale_sheets, letter=letter),
                    file_name="scale-sheets.pdf",
                    mime="application/pdf",
                    key=f"sheets:{letter}",
                    on_click="ignore",
                )
    bare = [
        f"{b.name} {side}"
        for b in job.boards
        for side, shots in b.photos.items()
        if any(s.corners is None for s in shots)
    ]
    if bare:
        tell_quiet(f"No corners are written yet for {', '.join(bare)}.")
        if st.button("Find them and write them down", key="find_all"):
            with st.spinner("Looking for the boards in their photos …"):
                desk.make(_find_all, place=FOUND)
            st.rerun()
    for line in st.session_state.get("found_all", ()):
        tell_quiet(line)
    tell_fault(desk, FOUND)


def _find_all(job: Job) -> Job:
    changed, told = changes.write_found_corners(job)
    st.session_state["found_all"] = told
    return changed


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
            st.image(read_photo(photos[0].path).jpeg, width="stretch")
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
                take_to_bench(len(desk.job.boards) - 1)
                st.rerun()
    tell_fault(desk, ADD)
