"""One bay looked at closely: its picture, its seams, and the maker's hand on its leaves, each move with its cost."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape

import streamlit as st

from grainplan import changes, hand, looks, says
from grainplan.choice import Outcome
from grainplan.errors import GrainplanError
from grainplan.plan import PlannedBay
from grainplan.screens.begin import change_choice
from grainplan.screens.desk import Desk
from grainplan.screens.fields import pick_one, tell_quiet
from grainplan.units import parse_length

STEPS = {"in": ("1/8 in", "1/2 in", "2 in"), "mm": ("2 mm", "10 mm", "50 mm")}
Move = Callable[[], Outcome]
_OPEN, _TRIED, _TOLD = "closer", "tried", "move_told"


def open_closer(name: str) -> None:
    """Ask for a close look at a bay."""
    close_closer()
    st.session_state[_OPEN] = name


def close_closer() -> None:
    """Put the close look away; what was only tried is forgotten."""
    for key in (_OPEN, _TRIED, _TOLD):
        st.session_state.pop(key, None)


def show_closer(desk: Desk, outcome: Outcome) -> None:
    """Show the close look, if it was asked for."""
    name = st.session_state.get(_OPEN)
    if name in {bay.name for bay in outcome.plan.bays}:
        _look_closer(desk, outcome, str(name))


@st.dialog("Look closer", width="large", on_dismiss=close_closer)
def _look_closer(desk: Desk, outcome: Outcome, name: str) -> None:
    shown: Outcome = st.session_state.get(_TRIED) or outcome
    bay = _find(shown, name)
    picture, words = st.columns([1.6, 1], gap="large")
    with words:
        st.html(f'<span class="board-name">{escape(name)}</span>')
        _offer_decision(desk, outcome, shown)
        _offer_moves(desk, shown, name)
        _tell_bay(shown, bay)
    with picture, st.container(key="near_bay"):
        misty = st.toggle("Mist where it is guessed", key="misty_near")
        key = ("closer", name, looks.mark_choice(shown.job, shown), misty)
        st.image(desk.show(key, lambda: looks.draw_bay_of(shown.job, shown, name, misty=misty)), width="stretch")


def _tell_bay(shown: Outcome, bay: PlannedBay) -> None:
    for part, leaves, place in says.tell_strips(shown.job, bay):
        tell_quiet(" ".join(word for word in (part, leaves, place) if word))
    for seam in bay.seams:
        st.write(says.tell_seam(shown.job, seam))
    for caveat in dict.fromkeys(caveat for seam in bay.seams for caveat in seam.caveats):
        st.caption(caveat)


def _offer_moves(desk: Desk, shown: Outcome, name: str) -> None:
    """Slide, turn, other surface, change places."""
    sizes = STEPS[shown.job.units]
    step = parse_length(pick_one("Step", sizes, key="slide_step", at=1), shown.job.units)
    pairs = (
        ("Toward the foot", lambda: hand.slide_bay(shown, name, along_mm=-step)),
        ("Toward the head", lambda: hand.slide_bay(shown, name, along_mm=step)),
        ("Toward the face edge", lambda: hand.slide_bay(shown, name, across_mm=-step)),
        ("Away from it", lambda: hand.slide_bay(shown, name, across_mm=step)),
        ("Turn end for end", lambda: hand.turn_bay(shown, name)),
        ("Its back to the front", lambda: hand.show_other_surface(shown, name)),
    )
    with st.container(horizontal=True, gap="small"):
        for words, move in pairs:
            st.button(words, key=f"move:{words}", on_click=_try, args=(desk, move))
    others = [bay.name for bay in shown.plan.bays if bay.name != name]
    if others:
        with st.container(horizontal=True, gap="small"):
            other = st.selectbox(
                "Change places with", others, key="change_with", label_visibility="collapsed", width=180
            )
            places = partial(hand.change_places, shown, name, str(other))
            st.button("Change places", key="move:places", on_click=_try, args=(desk, places))
    if _TOLD in st.session_state:
        st.html(f'<div class="fault">{escape(st.session_state[_TOLD])}</div>')


def _try(desk: Desk, move: Move) -> None:
    st.session_state.pop(_TOLD, None)
    try:
        with desk.busy:
            st.session_state[_TRIED] = move()
    except GrainplanError as error:
        st.session_state[_TOLD] = str(error)


def _forget() -> None:
    st.session_state.pop(_TRIED, None)
    st.session_state.pop(_TOLD, None)


def _offer_decision(desk: Desk, before: Outcome, shown: Outcome) -> None:
    """What the moves cost so far, and whether they are to stay."""
    if shown is before:
        tell_quiet("Move it by hand; all other bays stay where they are.")
        return
    st.write(says.tell_difference(before, shown))
    back, stay = st.columns(2)
    back.button("As it was", key="move:back", width="stretch", on_click=_forget)
    if stay.button("Keep it so", key="move:keep", type="primary", width="stretch"):
        close_closer()
        moved = looks.list_moved(before, shown)
        change_choice(desk, lambda job: changes.keep_leaves(job, *moved), shown=shown)


def _find(outcome: Outcome, name: str) -> PlannedBay:
    return next(bay for bay in outcome.plan.bays if bay.name == name)
