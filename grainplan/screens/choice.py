"""The choice: the piece in its own wood, front and back, and for each panel its leaves and why."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path

import streamlit as st

from grainplan import changes, looks, steps
from grainplan.frame import Bay
from grainplan.job import Job
from grainplan.plan import Plan, PlannedBay
from grainplan.progress import Progress, ShouldStop
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import tell_fault, tell_faults, tell_quiet
from grainplan.screens.work import Work
from grainplan.show.marks import LIGHT_AND_DARK

CHOICE: Place = ("choice",)
STATUS = {
    "proven best": "Under these weights no other choice is better; that is proven.",
    "best found": "The best that was found before it was stopped.",
    "nothing fits": "No bay can be filled from these boards.",
}


def show_choice(desk: Desk) -> None:
    """The whole place: start, watch, look, keep and leave out."""
    if desk.job is None:
        tell_faults(desk)
        return
    if desk.work is not None:
        _watch(desk)
        return
    tell_fault(desk, CHOICE)
    _offer(desk)
    if desk.outcome is not None:
        _show_piece(desk.job, desk.outcome)
        _show_bays(desk, desk.job, desk.outcome)


def begin_choice(desk: Desk) -> None:
    """Measure what is not measured yet, choose the leaves, draw the pictures; beside the page."""
    folder = desk.folder

    def step(progress: Progress, should_stop: ShouldStop) -> steps.Outcome:
        return steps.run_all(folder, progress=progress, should_stop=should_stop)

    desk.work = Work()
    desk.work.begin(step)


def _offer(desk: Desk) -> None:
    if desk.outcome is None:
        st.write(
            "The photos are measured, every way to lay the panels on the boards is weighed, and the best set is taken."
        )
        if st.button("Choose the leaves", type="primary", key="choose"):
            begin_choice(desk)
            st.rerun()
        return
    if not desk.is_current:
        left, right = st.columns([3, 1], vertical_alignment="center")
        left.warning("The job has changed since these leaves were chosen.")
        if right.button("Choose again", type="primary", key="choose", width="stretch"):
            begin_choice(desk)
            st.rerun()


@st.fragment(run_every=0.4)
def _watch(desk: Desk) -> None:
    work = desk.work
    if work is None:
        return
    if work.is_done:
        desk.work = None
        if work.fault:
            desk.told[CHOICE] = work.fault
        else:
            desk.outcome = work.result
            desk.told.pop(CHOICE, None)
        st.rerun()
    st.progress(work.share, text=work.doing or "beginning")
    if st.button("Stop with the best so far", key="stop"):
        work.ask_to_stop()


def _show_piece(job: Job, outcome: steps.Outcome) -> None:
    side = st.segmented_control(
        "Seen",
        ["from the front", "from behind"],
        default="from the front",
        key="seen_from",
        label_visibility="collapsed",
    )
    name = "back.png" if side == "from behind" else "front.png"
    picture = job.folder / "out" / name
    if picture.is_file():
        st.image(picture.read_bytes(), width="stretch")
    _show_sum(outcome.plan)


def _show_sum(plan: Plan) -> None:
    st.write(STATUS[plan.status])
    if plan.status == "best found":
        st.write(f"It costs {plan.cost:.2f}; no choice can cost less than {plan.bound:.2f}.")
    for unfilled in plan.unfilled:
        st.warning(f"{unfilled.name} is not filled: {unfilled.reason}")
    if plan.caveats or plan.others:
        with st.expander("Cautions, and other choices that truly differ"):
            for caveat in plan.caveats:
                st.write(caveat)
            for other in plan.others:
                st.write(f"At {other.cost:.2f} instead of {plan.cost:.2f}: {other.says}")


def _show_bays(desk: Desk, job: Job, outcome: steps.Outcome) -> None:
    st.subheader("Panel by panel")
    planned = {bay.name: bay for bay in outcome.plan.bays}
    pictures = dict(zip((b.name for b in job.bays), outcome.pictures[2:], strict=False))
    for bay in job.bays:
        with st.container(border=True):
            left, right = st.columns([1, 2.2], gap="large")
            with left:
                _show_picture(pictures.get(bay.name))
            with right:
                st.markdown(f'<span class="board-name">{escape(bay.name)}</span>', unsafe_allow_html=True)
                if bay.name in planned:
                    _tell_bay(job, planned[bay.name])
                else:
                    tell_quiet("Nothing is chosen for it.")
                _offer_keeping(desk, job, bay, planned.get(bay.name))


def _show_picture(path: Path | None) -> None:
    if path is not None and path.is_file():
        st.image(path.read_bytes(), width="stretch")


def _tell_bay(job: Job, bay: PlannedBay) -> None:
    if bay.why:
        st.write(bay.why)
    rows = "".join(
        f"<tr><td>{escape(part)}</td>"
        f"<td><b>{escape(leaves)}</b><br><span class='quiet'>{escape(place)}</span></td></tr>"
        for part, leaves, place in looks.tell_strips(job, bay)
    )
    st.html(f'<table class="leaves">{rows}</table>')
    for caveat in bay.caveats:
        st.caption(caveat)
    if bay.seams:
        with st.expander("Seams"):
            for seam in bay.seams:
                st.write(looks.tell_seam(job, seam))
            if any(seam.match == "book" for seam in bay.seams):
                st.html(f'<div class="caution">{escape(LIGHT_AND_DARK)}</div>')


def _offer_keeping(desk: Desk, job: Job, bay: Bay, planned: PlannedBay | None) -> None:
    kept = any(keep.bay == bay.name for keep in job.keeps)
    out = [entry.board for entry in job.leave_outs if entry.bay in (None, bay.name)]
    keep, leave, take = st.columns(3)
    if kept:
        if keep.button("Let it go again", key=f"let_go:{bay.name}", width="stretch"):
            _change(desk, lambda job: changes.let_go(job, bay.name))
    elif planned is not None and keep.button("Keep these leaves", key=f"keep:{bay.name}", width="stretch"):
        _change(desk, lambda job: changes.keep_leaves(job, planned))
    used = sorted({s.leaf.board for panel in planned.panels.values() for s in panel.strips}) if planned else []
    for board in used:
        if leave.button(f"Not from board {board}", key=f"leave:{bay.name}:{board}", width="stretch", disabled=kept):
            _change(desk, partial(changes.leave_out, board=board, bay=bay.name))
    for board in out:
        if take.button(f"Allow board {board} again", key=f"allow:{bay.name}:{board}", width="stretch"):
            _change(desk, partial(changes.allow_again, board=board, bay=bay.name))
    if kept:
        tell_quiet("Kept: the next choice leaves it as it is.")


def _change(desk: Desk, change: Callable[[Job], Job]) -> None:
    if desk.make(change, place=CHOICE):
        begin_choice(desk)
    st.rerun()
