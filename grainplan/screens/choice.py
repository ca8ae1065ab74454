"""The choice: the piece in its own wood, front and back, and for each panel its leaves and why."""

from __future__ import annotations

from functools import partial
from html import escape

import streamlit as st

from grainplan import changes, looks, says
from grainplan.choice import Outcome
from grainplan.frame import Bay
from grainplan.job import Job
from grainplan.plan import Plan, PlannedBay
from grainplan.screens.begin import CHOICE, begin_choice, change_choice, warm_up, watch_choice
from grainplan.screens.closer import open_closer, show_closer
from grainplan.screens.compare import open_compare, show_compare
from grainplan.screens.desk import Desk
from grainplan.screens.fields import pick_one, tell_fault, tell_quiet
from grainplan.show.panel_picture import PieceSide

SEEN_FROM: dict[str, PieceSide] = {"from the front": "front", "from behind": "back"}
STATUS = {
    "proven best": "No other choice is better by these weights; that is proven.",
    "best found": "The best that was found before it was stopped.",
    "nothing fits": "No bay can be filled from these boards.",
}


def show_choice(desk: Desk) -> None:
    """The whole place: begin, watch, look, keep and leave out."""
    if desk.job is None:
        return
    outcome = desk.find_plan()
    if desk.work is not None:
        watch_choice(desk)
    else:
        tell_fault(desk, CHOICE)
        _offer(desk)
        warm_up(desk)
    left, right = st.columns([2.1, 1], gap="large")
    with left, st.container(key="standing"):
        _show_piece(desk, desk.job, outcome)
    if outcome is not None:
        with right:
            _show_sum(desk, outcome.plan)
            _show_bays(desk, desk.job, outcome)


def _offer(desk: Desk) -> None:
    words, button = st.columns([3, 1], vertical_alignment="center")
    if desk.outcome is None:
        words.write("Measures the photos, tries every way to lay the panels on the leaves, and takes the best set.")
        label = "Choose the leaves"
    elif not desk.is_current:
        words.warning("The job has changed since these leaves were chosen.")
        label = "Choose again"
    else:
        return
    if button.button(label, type="primary", key="choose", width="stretch"):
        begin_choice(desk, known=desk.known)
        st.rerun()


def _show_piece(desk: Desk, job: Job, outcome: Outcome | None) -> None:
    """The piece in its own wood; before anything is chosen, its open frames."""
    with st.container(horizontal=True, gap="medium", vertical_alignment="center"):
        words = pick_one("Seen", list(SEEN_FROM), key="seen_from")
        misty = bool(outcome) and st.toggle("Mist where it is guessed", key="misty")
    side = SEEN_FROM[words]
    shown = outcome.job if outcome else job
    key = ("choice", looks.mark_choice(shown, outcome), side, misty)
    st.image(desk.show(key, lambda: looks.draw_side_of(shown, outcome, side, misty=misty)), width="stretch")
    for caution in says.list_cautions(outcome):
        st.html(f'<div class="caution">{escape(caution)}</div>')


def _show_sum(desk: Desk, plan: Plan) -> None:
    st.write(STATUS[plan.status])
    if plan.status == "best found":
        st.write(f"It costs {plan.cost:.2f}; no choice can cost less than {plan.bound:.2f}.")
    for unfilled in plan.unfilled:
        st.warning(f"{unfilled.name} is not filled: {unfilled.reason}")
    if plan.others and st.button(
        f"{len(plan.others) + 1} choices side by side", key="compare", width="stretch", disabled=desk.known is None
    ):
        open_compare()
    if plan.caveats:
        with st.expander("What to know about it"):
            for caveat in plan.caveats:
                st.write(caveat)


def _show_bays(desk: Desk, job: Job, outcome: Outcome) -> None:
    planned = {bay.name: bay for bay in outcome.plan.bays}
    for bay in job.bays:
        held = "made" if bay.done else "kept" if any(keep.bay == bay.name for keep in job.keeps) else ""
        kept = f' <span class="quiet">{held}</span>' if held else ""
        st.html(f'<hr class="thin"><span class="board-name">{escape(bay.name)}</span>{kept}')
        if bay.name in planned:
            _tell_bay(job, planned[bay.name])
        else:
            tell_quiet("Nothing is chosen for it.")
        with st.container(horizontal=True, gap="medium"):
            if bay.name in planned and st.button("Look closer", key=f"close:{bay.name}", type="tertiary"):
                open_closer(bay.name)
            _offer_keeping(desk, job, bay, planned.get(bay.name))
    show_closer(desk, outcome)
    show_compare(desk, outcome)


def _tell_bay(job: Job, bay: PlannedBay) -> None:
    if bay.why:
        st.write(bay.why)
    rows = "".join(
        f"<tr><td>{escape(part)}</td>"
        f"<td>{f'<b>{escape(leaves)}</b><br>' if leaves else ''}<span class='quiet'>{escape(place)}</span></td></tr>"
        for part, leaves, place in says.tell_strips(job, bay)
    )
    st.html(f'<table class="leaves">{rows}</table>')
    for caveat in bay.caveats:
        st.caption(caveat)


def _offer_keeping(desk: Desk, job: Job, bay: Bay, planned: PlannedBay | None) -> None:
    """Words to press: keep these leaves, not from this board, and the way back from both."""
    kept = any(keep.bay == bay.name for keep in job.keeps)
    if bay.done:
        if st.button("Not made yet", key=f"unmade:{bay.name}", type="tertiary"):
            change_choice(desk, lambda job: changes.call_unmade(job, bay.name))
        return
    if planned is not None and st.button("It is made", key=f"made:{bay.name}", type="tertiary"):
        change_choice(desk, lambda job: changes.call_made(job, planned))
    if kept:
        if st.button("Let go again", key=f"let_go:{bay.name}", type="tertiary"):
            change_choice(desk, lambda job: changes.let_go(job, bay.name))
    elif planned is not None:
        if st.button("Keep these leaves", key=f"keep:{bay.name}", type="tertiary"):
            change_choice(desk, lambda job: changes.keep_leaves(job, planned))
        for board in sorted({s.leaf.board for panel in planned.panels.values() for s in panel.strips}):
            if st.button(f"Not from {board}", key=f"leave:{bay.name}:{board}", type="tertiary"):
                change_choice(desk, partial(changes.leave_out, board=board, bay=bay.name))
    for entry in job.leave_outs:
        if entry.bay == bay.name and st.button(
            f"Allow {entry.board} again", key=f"allow:{bay.name}:{entry.board}", type="tertiary"
        ):
            change_choice(desk, partial(changes.allow_again, board=entry.board, bay=bay.name))
