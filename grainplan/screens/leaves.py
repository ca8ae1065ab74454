"""After the saw: what became of every leaf, and the choice made again with what is really there."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from html import escape
from typing import get_args

import streamlit as st

from grainplan import changes, looks, says
from grainplan.boards import Leaf, RoughBoard, Side, SidePhoto, Surface
from grainplan.choice import Outcome
from grainplan.job import Job
from grainplan.screens.begin import begin_choice, watch_choice
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import pick_one, tell_fault, tell_quiet, text_field
from grainplan.screens.shots import Corners, Shot, show_shot

SHOT_LIKE: dict[Surface, Side] = {"near": "face", "far": "back"}
SURFACES = {"near": "Near surface, toward the board's face", "far": "Far surface, toward its back"}
REST = (
    "Sticker the leaves and let them rest until they stop moving, in the room they will live in if that can be, before "
    "the last planing (common practice). Then measure thickness and cup, and photograph both surfaces."
)


def show_leaves(desk: Desk) -> None:
    """Boards at the left with how their leaves stand; at the right what is told of the leaf that was picked."""
    job = desk.job
    if job is None:
        return
    outcome = desk.find_plan()
    st.html(f'<div class="caution">{escape(REST)}</div>')
    _offer_choice(desk, outcome)
    leaves = says.list_leaves(job, outcome)
    left, right = st.columns([1, 2.4], gap="large")
    with left:
        picked = _pick_leaf(job, leaves, outcome)
    with right:
        if picked is not None:
            _show_leaf(desk, job, outcome, picked)


def _offer_choice(desk: Desk, outcome: Outcome | None) -> None:
    """The repair: choose again with the leaves as they are."""
    if desk.work is not None:
        watch_choice(desk)
    elif outcome is not None and not desk.is_current:
        words, button = st.columns([3, 1], vertical_alignment="center")
        words.warning("The leaves have changed since the choice was made.")
        if button.button("Choose again with them", type="primary", key="choose_leaves", width="stretch"):
            begin_choice(desk)
            st.rerun()


def _pick_leaf(job: Job, leaves: Mapping[str, tuple[Leaf, ...]], outcome: Outcome | None) -> Leaf | None:
    every = {leaf.name: leaf for of_board in leaves.values() for leaf in of_board}
    if not every:
        tell_quiet("No board gives a leaf yet.")
        return None
    names = list(every)

    def say(name: str) -> str:
        places = ", ".join(says.find_places(outcome, every[name])) or "goes into no panel"
        return f"**{name}** — {says.tell_leaf(job, every[name])}  \n:small[{places}]"

    picked = st.radio("Leaf", names, key="leaf", format_func=say, label_visibility="collapsed")
    return every.get(str(picked))


def _show_leaf(desk: Desk, job: Job, outcome: Outcome | None, leaf: Leaf) -> None:
    st.html(f'<span class="board-name">Leaf {escape(leaf.name)}</span>')
    place: Place = ("leaf", leaf.name)
    report = says.find_report(job, leaf)
    if report is None:
        st.write("Nothing is told of it yet.")
        if st.button("It is sawn", key=f"report:{leaf.name}", type="primary"):
            desk.make(lambda job: changes.report_leaf(job, leaf.name), place=place)
            st.rerun()
        tell_fault(desk, place)
        return
    row = job.leaf_reports.index(report)
    thickness, cup, lost = st.columns([1, 1, 2])
    with thickness:
        text_field(desk, "Thickness now", ("leaf", row, "thickness"), hint="At its thinnest, by caliper.")
    with cup:
        text_field(desk, "Cup", ("leaf", row, "cup"), hint="Hollow across its width, after it has rested.")
    with lost:
        text_field(
            desk, "Lost, because", ("leaf", row, "lost"), hint="It split, planed too thin, … Empty while it is good."
        )
    for doubt in says.tell_doubts(outcome, leaf):
        st.html(f'<div class="caution">{escape(doubt[0].upper())}{escape(doubt[1:])}.</div>')
    for path in looks.list_likenesses(job.folder, leaf):
        st.image(str(path), width="stretch")
    if not report.lost and (stock := says.find_stock(job, outcome, leaf)) is not None:
        _show_surfaces(desk, leaf, row, stock)
    if st.button("Take back all that is told of this leaf", key=f"forget:{leaf.name}", type="tertiary"):
        desk.make(lambda job: changes.forget_leaf(job, leaf.name), place=place)
        st.rerun()
    tell_fault(desk, place)


def _show_surfaces(desk: Desk, leaf: Leaf, row: int, stock: RoughBoard) -> None:
    surface = pick_one("Surface", get_args(Surface), key=f"surface:{leaf.name}", says=SURFACES.__getitem__)
    place: Place = ("leaf", row, surface)
    report = says.find_report(desk.job, leaf) if desk.job else None
    photo: SidePhoto | None = getattr(report, surface) if report else None
    tell_quiet(
        "Lay the leaf as its board lay, foot to the left, and photograph it from above"
        + ("." if surface == "near" else "; for the far surface roll it over along its length, the foot stays.")
    )
    if photo is not None:
        write = partial(_write_corners, leaf=leaf.name, surface=surface)
        show_shot(desk, Shot(f"{leaf.name}:{surface}", SHOT_LIKE[surface], stock, photo, place, write))
    with st.expander("Another photo of this surface") if photo else st.container():
        sent = st.file_uploader(
            f"Photo of {leaf.name} {surface}", key=f"leaf_photo:{leaf.name}:{surface}:{bool(photo)}"
        )
        if sent is not None and st.button("Take this photo", key=f"take_leaf:{leaf.name}:{surface}", type="primary"):
            content = sent.getvalue()
            desk.make(lambda job: changes.add_leaf_photo(job, leaf.name, surface, content=content), place=place)
            st.rerun()
    tell_fault(desk, place)


def _write_corners(job: Job, corners: Corners, *, leaf: str, surface: Surface) -> Job:
    return changes.set_leaf_corners(job, leaf, surface, corners=corners)
