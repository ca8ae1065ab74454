"""The app: one job on the desk, six places to go with it."""

from __future__ import annotations

import sys
from html import escape
from importlib.resources import files
from pathlib import Path

import streamlit as st

from grainplan.errors import GrainplanError, PlanError
from grainplan.screens import boards, choice, leaves, piece, saw, shop
from grainplan.screens.bench import put_back
from grainplan.screens.desk import Desk, close_desk, find_desk, open_desk
from grainplan.screens.fields import pick_one, tell_faults
from grainplan.screens.mend import show_mend
from grainplan.screens.start import show_start

PLACES = {
    "Boards": boards.show_boards,
    "Piece": piece.show_piece,
    "Shop": shop.show_shop,
    "Choice": choice.show_choice,
    "To the saw": saw.show_saw,
    "After the saw": leaves.show_leaves,
}


def show_app() -> None:
    """Draw the page. A job folder may be named behind ``--`` when the app is started."""
    st.set_page_config(page_title="grainplan", layout="wide")
    st.html(f"<style>{(files('grainplan.screens') / 'parts' / 'look.css').read_text(encoding='utf-8')}</style>")
    desk = _find_or_open()
    if desk is None:
        show_start()
        return
    _show_masthead(desk)
    if desk.job is None:
        show_mend(desk)
        return
    place = pick_one("Places", list(PLACES), key="places")
    tell_faults(desk)
    try:
        PLACES[place](desk)
    except PlanError as error:  # what lies in out/ was taken away or damaged while the page was open
        desk.forget_made()
        st.error(f"{error}. The job file and the photos are as they were.")


def _find_or_open() -> Desk | None:
    try:
        desk = find_desk()
        if desk is not None:
            return desk
        named = st.query_params.get("job") or (sys.argv[1] if len(sys.argv) > 1 else "")
        if named and not st.session_state.get("put_away"):
            open_desk(Path(named))
            return find_desk()
    except GrainplanError as error:
        close_desk()
        st.error(str(error))
    return None


def _show_masthead(desk: Desk) -> None:
    title = desk.job.title if desk.job else str(desk.written.get("title", desk.folder.name))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.html(f'<div class="masthead"><span class="title">{escape(title)}</span></div>')
        if st.button("Put away", key="put_away_button", help=f"The job stays in {desk.folder}"):
            st.session_state["put_away"] = True
            put_back()
            close_desk()
            st.rerun()
