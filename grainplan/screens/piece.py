"""The piece: its frame and its bays, drawn as the sizes stand."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from grainplan import changes, looks, says
from grainplan.errors import GrainplanError
from grainplan.frame import Bay, View
from grainplan.job import Job
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import (
    as_written,
    choice_field,
    read_place,
    switch_field,
    tell_fault,
    tell_quiet,
    text_field,
)

ADD: Place = ("bay", "new")
FRAME: tuple[tuple[str, Place, str], ...] = (
    ("Stile", ("frame", "stile"), "Stiles and rails are only drawn."),
    ("Top rail", ("frame", "top_rail"), ""),
    ("Bottom rail", ("frame", "bottom_rail"), ""),
    ("Groove, depth", ("panel", "groove"), ""),
    ("Groove, width", ("panel", "groove_width"), "It is told where the panel's edge does not go in, or would rattle."),
    ("Room along the grain, each end", ("panel", "end_gap"), ""),
    ("Room across the grain", ("panel", "float"), 'A length, or "auto": worked out from the rooms it will live in.'),
)
WEIGHTS: tuple[tuple[str, Place, str], ...] = (
    ("How lines meet counts", ("weights", "seams"), "1 as the program ships; 2 counts double, 0 not at all."),
    ("Differences of tone count", ("weights", "tone"), ""),
    ("Grain across the rail counts", ("weights", "continuity"), ""),
    ("Flaws that show count", ("weights", "flaws"), ""),
    ("Wood used counts", ("weights", "wood"), ""),
)
SPARE = "A matching pair left over, for the day when a leaf is lost."
UNITS = {"in": "inches", "mm": "millimetres"}
ROUNDING = {"exact": "exactly", "trade": "as the trade rounds", "up": "rounded up"}
MATCHES = {
    "book": "opened like a book",
    "slip": "slid side by side",
    "running": "running on, unequal if need be",
}
RAIL = {"skip": "grain runs on as if behind the rail", "save": "no wood lost behind the rail, grain jumps"}
EDGES = {"flat": "flat", "rebated": "rebated, with a tongue", "raised": "raised, with a tongue"}
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
        switch_field(
            desk,
            "Upper panels mirror the lower ones",
            ("panel", "end_match"),
            default=False,
            hint="An end match: upper panels stand on their head, on leaves of their own, twice as many of a board.",
        )
        with st.expander("Wood"):
            choice_field(desk, "All boards are", ("wood", "species"), words=_list_woods(desk))
            text_field(desk, "Moisture %", ("wood", "moisture"), hint="As the boards are now, by the meter.")
            choice_field(desk, "Board feet", ("wood", "rounding"), words=list(ROUNDING), says=ROUNDING.__getitem__)
            _offer_own_figures(desk)
        with st.expander("Frame and grooves"):
            for label, place, hint in FRAME:
                text_field(desk, label, place, hint=hint)
            _offer_edge(desk)
        with st.expander("What counts, and wishes"):
            for label, place, hint in WEIGHTS:
                text_field(desk, label, place, hint=hint)
            switch_field(desk, "A spare pair of leaves", ("wish", "spare_pair"), default=False, hint=SPARE)
            choice_field(desk, "Units of the job", ("units",), words=["in", "mm"], says=UNITS.__getitem__)
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
            with columns[2]:
                switch_field(
                    desk, "Upper mirrors lower", ("bay", row, "end_match"), default=bay.is_end_matched(job.panel)
                )
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
    _offer_swap(desk, row, "Further to the left", other=row - 1)
    _offer_swap(desk, row, "Further to the right", other=row + 1)
    if st.button("Take this bay out", key=f"remove_bay:{row}", type="tertiary"):
        desk.make(lambda job: changes.remove_bay(job, bay.name), place=("bay", row))
        st.rerun()


def _offer_swap(desk: Desk, row: int, words: str, *, other: int) -> None:
    """Change places with the bay before or after it in the same view."""
    bays = desk.job.bays if desk.job else ()
    if not 0 <= other < len(bays) or bays[other].view != bays[row].view:
        return
    if st.button(words, key=f"swap:{row}:{other}", type="tertiary"):
        desk.make(lambda job: changes.swap_bays(job, row, other), place=("bay", row))
        st.rerun()


def _list_woods(desk: Desk) -> list[str]:
    """The woods of the table, that of the job first."""
    written = read_place(desk, ("wood", "species"))
    return list(dict.fromkeys([*([str(written)] if written else []), *says.list_woods()]))


def _offer_own_figures(desk: Desk) -> None:
    """A wood that is not in the table, by its two shrinkages; both or none."""
    place: Place = ("wood", "shrinkage")
    written = read_place(desk, place) or {}
    with st.form("own_figures", border=False):
        tell_quiet("Another wood, by how it shrinks from green to oven-dry:")
        typed = {
            key: st.text_input(f"{words} %", str(written.get(key, ""))).strip()
            for key, words in (("radial", "Radial"), ("tangential", "Tangential"))
        }
        if st.form_submit_button("Take these"):
            numbers = {key: as_written(text, None, key) for key, text in typed.items() if text}
            desk.write(place, numbers or None)
            st.rerun()
    tell_fault(desk, place)


def _offer_edge(desk: Desk) -> None:
    """What enters the groove: an edge other than a flat one and the thickness of its tongue, written together."""
    edges: list[str] = list(EDGES)
    tongue: Place = ("panel", "tongue")
    written = read_place(desk, ("panel", "edge"))
    with st.form("edge", border=False):
        edge = st.selectbox(
            "What enters the groove is",
            edges,
            index=edges.index(written) if written in edges else 0,
            format_func=EDGES.__getitem__,
        )
        typed = st.text_input("Thickness of the tongue", str(read_place(desk, tongue) or "")).strip()
        if st.form_submit_button("Make it so"):
            values: dict[Place, str | None] = {
                ("panel", "edge"): edge,
                tongue: typed if typed and edge != "flat" else None,
            }
            desk.make(lambda job: changes.write_values(job, values), place=tongue)
            st.rerun()
    tell_fault(desk, tongue)


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
