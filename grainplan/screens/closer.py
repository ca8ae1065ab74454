"""One bay looked at closely: its picture, its seams, and the maker's hand on its leaves, each move with its cost."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape

import streamlit as st

from grainplan import hand, looks
from grainplan.choice import Outcome
from grainplan.errors import GrainplanError
from grainplan.plan import PlannedBay
from grainplan.screens.desk import Desk
from grainplan.screens.fields import tell_quiet
from grainplan.units import parse_length

STEPS = {"in": ("1/8 in", "1/2 in", "2 in"), "mm": ("2 mm", "10 mm", "50 mm")}
Move = Callable[[], Outcome]
Keeping = Callable[[tuple[PlannedBay, ...]], None]
_OPEN, _TRIED, _TOLD = "closer", "tried", "move_told"


def open_closer(name: str) -> None:
    """Ask for a close look at a bay."""
    close_closer()
    st.session_state[_OPEN] = name


def close_closer() -> None:
    """Put the close look away; what was only tried is forgotten."""
    for key in (_OPEN, _TRIED, _TOLD):
        st.session_state.pop(key, None)


def show_closer(desk: Desk, outcome: Outcome, *, keep: Keeping) -> None:
    """Show the close look, if it was asked for; `keep` gets the bays that are to stay as they were moved."""
    name = st.session_state.get(_OPEN)
    if name in {bay.name for bay in outcome.plan.bays}:
        _look_closer(desk, outcome, str(name), keep)


@st.dialog("Look closer", width="large", on_dismiss=close_closer)
def _look_closer(desk: Desk, outcome: Outcome, name: str, keep: Keeping) -> None:
    shown: Outcome = st.session_state.get(_TRIED) or outcome
    bay = _find(shown, name)
    picture, words = st.columns([1.6, 1], gap="large")
    with words:
        st.html(f'<span class="board-name">{escape(name)}</span>')
        _tell_bay(shown, bay)
        _offer_moves(shown, name)
        _offer_decision(outcome, shown, keep)
    with picture:
        mark = tuple((s.leaf, s.surface, s.foot, s.x_mm, s.y_mm) for p in bay.panels.values() for s in p.strips)
        key = ("closer", name, shown.job.sha256, looks.mark_measured(shown.job), mark)
        st.image(desk.show(key, lambda: looks.draw_bay_of(shown.job, shown, name)), width="stretch")


def _tell_bay(shown: Outcome, bay: PlannedBay) -> None:
    for part, leaves, place in looks.tell_strips(shown.job, bay):
        tell_quiet(" ".join(word for word in (part, leaves, place) if word))
    for seam in bay.seams:
        st.write(looks.tell_seam(shown.job, seam))
    for caveat in dict.fromkeys(caveat for seam in bay.seams for caveat in seam.caveats):
        st.caption(caveat)


def _offer_moves(shown: Outcome, name: str) -> None:
    """Slide, turn, other surface, change places; all other bays stay where they are."""
    st.markdown("**Move it by hand**")
    sizes = STEPS[shown.job.units]
    written = st.segmented_control("Step", sizes, default=sizes[1], key="slide_step", label_visibility="collapsed")
    step = parse_length(written or sizes[1], shown.job.units)
    pairs = (
        ("Toward the foot", lambda: hand.slide_bay(shown, name, along_mm=-step)),
        ("Toward the head", lambda: hand.slide_bay(shown, name, along_mm=step)),
        ("Toward the face edge", lambda: hand.slide_bay(shown, name, across_mm=-step)),
        ("Away from it", lambda: hand.slide_bay(shown, name, across_mm=step)),
        ("Turn end for end", lambda: hand.turn_bay(shown, name)),
        ("Its back to the front", lambda: hand.show_other_surface(shown, name)),
    )
    columns = st.columns(2)
    for place, (words, move) in enumerate(pairs):
        columns[place % 2].button(words, key=f"move:{words}", width="stretch", on_click=_try, args=(move,))
    others = [bay.name for bay in shown.plan.bays if bay.name != name]
    if others:
        other = columns[0].selectbox("Change places with", others, key="change_with", label_visibility="collapsed")
        places = partial(hand.change_places, shown, name, str(other))
        columns[1].button("Change places", key="move:places", width="stretch", on_click=_try, args=(places,))
    if _TOLD in st.session_state:
        st.html(f'<div class="fault">{escape(st.session_state[_TOLD])}</div>')


def _try(move: Move) -> None:
    st.session_state.pop(_TOLD, None)
    try:
        st.session_state[_TRIED] = move()
    except GrainplanError as error:
        st.session_state[_TOLD] = str(error)


def _forget() -> None:
    st.session_state.pop(_TRIED, None)
    st.session_state.pop(_TOLD, None)


def _offer_decision(before: Outcome, shown: Outcome, keep: Keeping) -> None:
    if shown is before:
        return
    st.write(looks.tell_difference(before, shown))
    back, stay = st.columns(2)
    back.button("As it was", key="move:back", width="stretch", on_click=_forget)
    if stay.button("Keep it so", key="move:keep", type="primary", width="stretch"):
        close_closer()
        keep(looks.list_moved(before, shown))


def _find(outcome: Outcome, name: str) -> PlannedBay:
    return next(bay for bay in outcome.plan.bays if bay.name == name)
