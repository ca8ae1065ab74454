"""The choice: the piece in its own wood, front and back, and for each panel its leaves and why."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from html import escape

import streamlit as st

from grainplan import changes, looks, steps
from grainplan.boards import MeasuredBoard
from grainplan.choice import Outcome
from grainplan.cli import count_workers
from grainplan.frame import Bay
from grainplan.job import Job
from grainplan.plan import Plan, PlannedBay
from grainplan.progress import Progress, ShouldStop, part_of
from grainplan.screens.closer import open_closer, show_closer
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import tell_fault, tell_quiet
from grainplan.screens.work import HandOver, Work
from grainplan.show.panel_picture import PieceSide

CHOICE: Place = ("choice",)
SEEN_FROM: dict[str, PieceSide] = {"from the front": "front", "from behind": "back"}
STATUS = {
    "proven best": "No other choice is better under these weights; that is proven.",
    "best found": "The best that was found before it was stopped.",
    "nothing fits": "No bay can be filled from these boards.",
}


def show_choice(desk: Desk) -> None:
    """The whole place: begin, watch, look, keep and leave out."""
    if desk.job is None:
        return
    outcome = desk.find_plan()
    if desk.work is not None:
        _watch(desk)
    else:
        tell_fault(desk, CHOICE)
        _offer(desk)
    left, right = st.columns([2.1, 1], gap="large")
    with left, st.container(key="standing"):
        _show_piece(desk, desk.job, outcome)
    if outcome is not None:
        with right:
            _show_sum(outcome.plan)
            _show_bays(desk, desk.job, outcome)


def begin_choice(desk: Desk, *, known: Outcome | None = None) -> None:
    """Choose the leaves, draw the pictures, write the sheets; beside the page.

    Parameters
    ----------
    desk : Desk
    known : Outcome or None
        The last choice, where only what is kept or left out has changed since: the boards are known then.
    """
    job, measured = desk.job, desk.boards
    if job is None:
        return

    def step(hand_over: HandOver, progress: Progress, should_stop: ShouldStop) -> None:
        if known is not None:
            outcome = steps.plan_again(known, job, progress=part_of(progress, 0.0, 0.8), should_stop=should_stop)
        else:
            outcome = _choose_anew(job, measured, part_of(progress, 0.0, 0.8), should_stop)
        hand_over(outcome)
        pictures = steps.draw(outcome, progress=part_of(progress, 0.8, 0.95))
        sheets = steps.print_sheets(outcome, progress=part_of(progress, 0.95, 1.0))
        hand_over(replace(outcome, files=(*outcome.files, *pictures, *sheets)))

    desk.work = Work()
    desk.work.begin(step)


def _choose_anew(
    job: Job, measured: Mapping[str, MeasuredBoard], progress: Progress, should_stop: ShouldStop
) -> Outcome:
    boards = tuple(measured[board.name] for board in job.boards if board.name in measured)
    if len(boards) < len(job.boards):
        boards = steps.measure(job, progress=part_of(progress, 0.0, 0.25), should_stop=should_stop)
    choosing = part_of(progress, 0.25, 1.0)
    return steps.plan_measured(job, boards, workers=count_workers(), progress=choosing, should_stop=should_stop)


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
        begin_choice(desk)
        st.rerun()


@st.fragment(run_every=0.4)
def _watch(desk: Desk) -> None:
    work = desk.work
    if work is None:
        return
    done, news = work.is_done, work.result
    if done:
        desk.work = None
        desk.told.pop(CHOICE, None)
        if work.fault:
            desk.told[CHOICE] = work.fault
    if news is not None and news is not desk.outcome:
        desk.outcome = news
        st.rerun()
    if done:
        st.rerun()
    words, button = st.columns([3, 1], vertical_alignment="center")
    words.progress(work.share, text=work.doing or "beginning")
    if button.button("Stop with the best so far", key="stop", width="stretch"):
        work.ask_to_stop()


def _show_piece(desk: Desk, job: Job, outcome: Outcome | None) -> None:
    """The piece in its own wood; before anything is chosen, its open frames."""
    words = st.segmented_control(
        "Seen", list(SEEN_FROM), default="from the front", key="seen_from", label_visibility="collapsed"
    )
    side = SEEN_FROM[words or "from the front"]
    shown = outcome.job if outcome else job
    key = ("choice", shown.sha256, outcome.plan.cost if outcome else None, looks.mark_measured(shown), side)
    st.image(desk.show(key, lambda: looks.draw_side_of(shown, outcome, side)), width="stretch")


def _show_sum(plan: Plan) -> None:
    st.write(STATUS[plan.status])
    if plan.status == "best found":
        st.write(f"It costs {plan.cost:.2f}; no choice can cost less than {plan.bound:.2f}.")
    for unfilled in plan.unfilled:
        st.warning(f"{unfilled.name} is not filled: {unfilled.reason}")
    if plan.others:
        with st.expander("Other choices that truly differ"):
            for other in plan.others:
                st.write(f"At {other.cost:.2f} instead of {plan.cost:.2f}: {other.says}")
    if plan.caveats:
        with st.expander("What to know about it"):
            for caveat in plan.caveats:
                st.write(caveat)


def _show_bays(desk: Desk, job: Job, outcome: Outcome) -> None:
    planned = {bay.name: bay for bay in outcome.plan.bays}
    for bay in job.bays:
        kept = ' <span class="quiet">kept</span>' if any(keep.bay == bay.name for keep in job.keeps) else ""
        st.html(f'<hr class="thin"><span class="board-name">{escape(bay.name)}</span>{kept}')
        if bay.name in planned:
            _tell_bay(job, planned[bay.name])
        else:
            tell_quiet("Nothing is chosen for it.")
        with st.container(horizontal=True, gap="medium"):
            if bay.name in planned and st.button("Look closer", key=f"close:{bay.name}", type="tertiary"):
                open_closer(bay.name)
            _offer_keeping(desk, job, bay, planned.get(bay.name))
    show_closer(desk, outcome, keep=partial(_keep_moved, desk))


def _tell_bay(job: Job, bay: PlannedBay) -> None:
    if bay.why:
        st.write(bay.why)
    rows = "".join(
        f"<tr><td>{escape(part)}</td>"
        f"<td>{f'<b>{escape(leaves)}</b><br>' if leaves else ''}<span class='quiet'>{escape(place)}</span></td></tr>"
        for part, leaves, place in looks.tell_strips(job, bay)
    )
    st.html(f'<table class="leaves">{rows}</table>')
    for caveat in bay.caveats:
        st.caption(caveat)


def _offer_keeping(desk: Desk, job: Job, bay: Bay, planned: PlannedBay | None) -> None:
    """Words to press: keep these leaves, not from this board, and the way back from both."""
    busy = desk.work is not None
    kept = any(keep.bay == bay.name for keep in job.keeps)
    if kept:
        if st.button("Let go again", key=f"let_go:{bay.name}", type="tertiary", disabled=busy):
            _change(desk, lambda job: changes.let_go(job, bay.name))
    elif planned is not None:
        if st.button("Keep these leaves", key=f"keep:{bay.name}", type="tertiary", disabled=busy):
            _change(desk, lambda job: changes.keep_leaves(job, planned))
        for board in sorted({s.leaf.board for panel in planned.panels.values() for s in panel.strips}):
            if st.button(f"Not from {board}", key=f"leave:{bay.name}:{board}", type="tertiary", disabled=busy):
                _change(desk, partial(changes.leave_out, board=board, bay=bay.name))
    for entry in job.leave_outs:
        if entry.bay == bay.name and st.button(
            f"Allow {entry.board} again", key=f"allow:{bay.name}:{entry.board}", type="tertiary", disabled=busy
        ):
            _change(desk, partial(changes.allow_again, board=entry.board, bay=bay.name))


def _keep_moved(desk: Desk, moved: tuple[PlannedBay, ...]) -> None:
    _change(desk, lambda job: changes.keep_leaves(job, *moved))


def _change(desk: Desk, change: Callable[[Job], Job]) -> None:
    """Change what is kept or left out, and choose again; at once, where nothing else has changed since."""
    known = desk.outcome if desk.is_current else None
    if desk.make(change, place=CHOICE):
        begin_choice(desk, known=known)
    st.rerun()
