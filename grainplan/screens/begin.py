"""The choice as it runs beside the page: begun, watched, stopped, and begun anew when something changes meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import streamlit as st

from grainplan import looks, steps
from grainplan.boards import MeasuredBoard
from grainplan.choice import Outcome
from grainplan.cli import count_workers
from grainplan.job import Job
from grainplan.progress import Progress, ShouldStop, part_of
from grainplan.screens.desk import Desk, Place
from grainplan.screens.work import HandOver, Work
from grainplan.sight import Looking

CHOICE: Place = ("choice",)


def begin_choice(desk: Desk, *, known: Outcome | None = None) -> None:
    """Choose the leaves, draw the pictures, write the sheets; beside the page.

    A choice that is under way is dropped, and the new one begins as soon as it has ended.

    Parameters
    ----------
    desk : Desk
    known : Outcome or None
        The last choice, where only what is kept or left out has changed since: the boards are known then.
    """
    job, measured, before = desk.job, desk.boards, desk.outcome
    if job is None:
        return
    work = Work()

    def step(hand_over: HandOver, progress: Progress, should_stop: ShouldStop) -> None:
        choosing = part_of(progress, 0.0, 0.8)
        with desk.busy:
            if known is not None:
                outcome = steps.plan_again(known, job, progress=choosing, should_stop=should_stop)
            else:
                looking = Looking(count_workers(), choosing, should_stop)
                outcome = _choose_anew(job, measured, before, looking)
        if work.is_dropped:
            return
        hand_over(outcome)
        pictures = steps.draw(outcome, progress=part_of(progress, 0.8, 0.95))
        if work.is_dropped:
            return
        sheets = steps.print_sheets(outcome, progress=part_of(progress, 0.95, 1.0))
        hand_over(replace(outcome, files=(*outcome.files, *pictures, *sheets)))

    work.begin(step, after=desk.work)
    desk.work = work


def change_choice(desk: Desk, change: Callable[[Job], Job], *, shown: Outcome | None = None) -> None:
    """Change what is kept or left out: the page goes on at once, a better choice is looked for beside it.

    Parameters
    ----------
    desk : Desk
    change : callable
    shown : Outcome or None
        The choice that the maker has just made by hand, to be looked at until a better one is found around it.
    """
    known = desk.known
    if desk.make(change, place=CHOICE) and desk.job is not None:
        if known is not None:
            desk.likened_sha = desk.job.sha256
            desk.outcome = shown or known
        begin_choice(desk, known=desk.outcome if known is not None else None)
    st.rerun()


def warm_up(desk: Desk) -> None:
    """Compare the seams of a plan that was read from the disk, so that the first move by hand answers at once."""
    outcome = desk.outcome
    if outcome is None or outcome.books or desk.work is not None or not desk.is_current:
        return
    work = Work()

    def step(_hand_over: HandOver, _progress: Progress, should_stop: ShouldStop) -> None:
        with desk.busy:
            looks.compare_seams(outcome, should_stop=should_stop)

    work.begin(step, after=None)


def _choose_anew(job: Job, measured: Mapping[str, MeasuredBoard], before: Outcome | None, looking: Looking) -> Outcome:
    boards = tuple(measured[board.name] for board in job.boards if board.name in measured)
    if len(boards) < len(job.boards):
        measuring = part_of(looking.progress, 0.0, 0.25)
        boards = steps.measure(job, progress=measuring, should_stop=looking.should_stop)
    choosing = replace(looking, progress=part_of(looking.progress, 0.25, 1.0))
    return steps.plan_measured(job, boards, before=before, looking=choosing)


@st.fragment(run_every=0.4)
def watch_choice(desk: Desk) -> None:
    """How far the choice is; the page is drawn again when there is something new to see."""
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
