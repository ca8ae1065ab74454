"""The piece: its frame and its bays, drawn as the sizes stand."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from grainplan import changes, looks, says
from grainplan.errors import GrainplanError
from grainplan.frame import Bay, View
from grainplan.job import Job
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import choice_field, read_place, tell_fault, tell_quiet, text_field

ADD: Place = ("bay", "new")
FRAME: tuple[tuple[str, Place, str], ...] = (
    ("Stile", ("frame", "stile"), "Stiles and rails are only drawn."),
    ("Top rail", ("frame", "top_rail"), ""),
    ("Bottom rail", ("frame", "bottom_rail"), ""),
    ("Groove, depth", ("panel", "groove"), ""),
    ("Room along the grain, each end", ("panel", "end_gap"), ""),
    ("Room across the grain", ("panel", "float"), 'A length, or "auto": worked out from the rooms it will live in.'),
)
MATCHES = {
    "book": "opened like a book",
    "slip": "slid side by side",
    "running": "running on, unequal if need be",
}
RAIL = {"skip": "grain runs on as if behind the rail", "save": "no wood lost behind the rail, grain jumps"}
SEEN = {"front": "front only", "both": "both sides"}
Field = tuple[str, str, str]
TWO: tuple[Field, ...] = (
    ("Lower panel", "lower", "Height that is seen."),
    ("Rail between", "rail", "What the middle rail hides."),
    ("Upper panel", "upper", "Height that is seen, to the crown where the top is arched."),
)
ONE: tuple[Field, ...] = (("Panel", "panel", "Height that is seen, to the crown where the top is arched."),)
BAY: tuple[Field, ...] = (
    ("Name", "name", ""),
    ("Width", "width", "Between the stiles: what is seen."),
    ("Arch", "arch", "Rise of the arched top."),
    ("Counts", "matters", "1 as any other; 2 where it is looked at first."),
    ("Looks like", "alike", "Bays with one word here are to look alike."),
    ("Mirror of", "mirror", "The bay that is to be its mirror image."),
)


def show_piece(desk: Desk) -> None:
    """Sizes at the left, the piece at the right."""
    left, right = st.columns([1, 2.4], gap="large")
    with left:
        text_field(desk, "Title", ("title",))
        st.subheader("Panels")
        choice_field(desk, "Neighbours are", ("panel", "match"), words=list(MATCHES), says=MATCHES.__getitem__)
        choice_field(desk, "Strips in a panel", ("panel", "strips"), words=["auto", "1", "2", "3", "4"])
        choice_field(desk, "At the middle rail", ("panel", "rail_grain"), words=list(RAIL), says=RAIL.__getitem__)
        choice_field(desk, "The best match goes to the", ("panel", "true_side"), words=["front", "back"])
        with st.expander("Frame and grooves"):
            for label, place, hint in FRAME:
                text_field(desk, label, place, hint=hint)
    with right:
        if desk.job is not None:
            _show_drawing(desk, desk.job)
    if desk.job is not None:
        _show_bays(desk, desk.job)


def _show_drawing(desk: Desk, job: Job) -> None:
    outcome = desk.find_plan() if desk.is_current else None
    try:
        picture = desk.show(("piece", job.sha256, bool(outcome)), lambda: looks.draw_side_of(job, outcome, "front"))
        st.image(picture, width="stretch")
    except (GrainplanError, ValueError) as error:
        st.error(str(error))


def _show_bays(desk: Desk, job: Job) -> None:
    st.subheader("Bays")
    for row, bay in enumerate(job.bays):
        with st.expander(f"{bay.name} — {bay.view}"):
            columns = st.columns(5)
            fields = (*BAY[:2], *(TWO if bay.panel_mm is None else ONE), *BAY[2:])
            for place, (label, key, hint) in enumerate(fields):
                with columns[place % 5]:
                    text_field(desk, label, ("bay", row, key), hint=hint)
            with columns[0]:
                choice_field(desk, "View", ("bay", row, "view"), words=list(get_args(View)))
            with columns[1]:
                choice_field(desk, "Seen from", ("bay", row, "seen"), words=list(SEEN), says=SEEN.__getitem__)
            _tell_panels(job, row)
            with st.container(horizontal=True, gap="medium"):
                _offer_changes(desk, bay, row)
            tell_fault(desk, ("bay", row))
    _offer_another(desk, job)


def _offer_changes(desk: Desk, bay: Bay, row: int) -> None:
    """One panel or two, and the way out."""
    words, change = (
        ("One panel instead of two", changes.make_single)
        if bay.panel_mm is None
        else ("Two panels and a rail", changes.make_double)
    )
    if st.button(words, key=f"divide:{row}", type="tertiary"):
        desk.make(lambda job: change(job, bay.name), place=("bay", row))
        st.rerun()
    if st.button("Take this bay out", key=f"remove_bay:{row}", type="tertiary"):
        desk.make(lambda job: changes.remove_bay(job, bay.name), place=("bay", row))
        st.rerun()


def _tell_panels(job: Job, row: int) -> None:
    try:
        for line in says.tell_panels(job, job.bays[row]):
            tell_quiet(line)
    except GrainplanError as error:
        st.warning(str(error))


def _offer_another(desk: Desk, job: Job) -> None:
    if not job.bays:
        return
    like, _ = st.columns([1, 3])
    if like.button("Another bay like the last", key="another_bay", width="stretch"):
        last = (read_place(desk, ("bay",)) or [{}])[-1]
        desk.make(lambda job: changes.add_bay_like(job, last), place=ADD)
        st.rerun()
    tell_fault(desk, ADD)
