"""The shop's numbers, and what they do to every board: its end drawn to scale with its cuts."""

from __future__ import annotations

import streamlit as st

from grainplan import looks, says
from grainplan.job import Job
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import text_field

SAWING: tuple[tuple[str, Place, str], ...] = (
    ("Kerf of the resaw blade", ("shop", "kerf"), "Measured on a test cut, three times."),
    ("Planing, each sawn surface", ("shop", "planing"), "Flattening a leaf that moved included."),
    ("Planing, face and back", ("shop", "outer_planing"), "0 where the board is clean already."),
    ("How far a cut may wander", ("shop", "saw_tolerance"), ""),
    ("Finished leaf", ("panel", "thickness"), ""),
    ("Widest board on edge", ("shop", "saw_height"), "What goes under the resaw's guide."),
)
TRIMMING: tuple[tuple[str, Place, str], ...] = (
    ("Edge waste", ("shop", "edge_waste"), "To true each rough edge of a board."),
    ("End waste", ("shop", "end_waste"), "Checks and snipe, from each end."),
    ("Rip", ("shop", "rip"), "Kerf of a rip."),
    ("Crosscut", ("shop", "crosscut"), "Kerf of a crosscut."),
    ("Glue joint", ("shop", "joint"), "Taken off each edge that is glued."),
    ("Over length", ("shop", "over_length"), "Left on a glued panel at each end until it is trimmed."),
    ("Over width", ("shop", "over_width"), "And at each side."),
    ("Narrowest strip ripped", ("shop", "narrowest_ripped"), "From the table saw's manual, which governs."),
    ("Shortest piece ripped", ("shop", "shortest_ripped"), "From the table saw's manual, which governs."),
    ("Shortest piece crosscut", ("shop", "shortest_crosscut"), "From the saw's manual, which governs."),
    ("Shortest piece planed", ("shop", "shortest_planed"), "From the planer's manual, which governs."),
    ("Thinnest piece planed", ("shop", "thinnest_planed"), "From the planer's manual, which governs."),
)
RINGS: tuple[tuple[str, Place, str], ...] = (
    ("Plain sawn up to, degrees", ("ring_bands", "plain_to"), "Between ring and face."),
    ("Rift up to, degrees", ("ring_bands", "rift_to"), "Above it the wood counts as quarter sawn."),
)
AIR: tuple[tuple[str, Place, str], ...] = (
    ("Driest, temperature", ("climate", "driest", "temperature"), 'Like "68 F" or "20 C".'),
    ("Driest, humidity %", ("climate", "driest", "humidity"), ""),
    ("Dampest, temperature", ("climate", "dampest", "temperature"), ""),
    ("Dampest, humidity %", ("climate", "dampest", "humidity"), ""),
)


def show_shop(desk: Desk) -> None:
    """Numbers at the left, every board's end at the right."""
    left, right = st.columns([1, 2.4], gap="large")
    with left:
        st.subheader("At the resaw")
        for label, place, hint in SAWING:
            text_field(desk, label, place, hint=hint)
        with st.expander("Trimming, jointing, planing"):
            for label, place, hint in TRIMMING:
                text_field(desk, label, place, hint=hint)
        with st.expander("The rooms it will live in"):
            for label, place, hint in AIR:
                text_field(desk, label, place, hint=hint)
        with st.expander("Names for ring angles"):
            for label, place, hint in RINGS:
                text_field(desk, label, place, hint=hint)
    with right:
        if desk.job is None:
            st.write("The ends are drawn once the job can be read.")
            return
        st.subheader("What the boards give")
        for board in desk.job.boards:
            show_end(desk.job, board.name, desk)


def show_end(job: Job, name: str, desk: Desk) -> None:
    """One board's end with its cuts, the sum of it, and what fewer or more leaves would give."""
    first, *others = says.tell_resaw(job, name)
    st.markdown(f"**{name}** — {first}")
    measured = desk.boards.get(name)
    st.image(looks.draw_end(job, name, boards=(measured,) if measured else ()), width="stretch")
    for other in others:
        st.caption(other)
    st.caption(" · ".join(says.tell_other_counts(job, name)))
