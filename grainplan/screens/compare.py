"""The best choices that truly differ, side by side, with what one gives up with each."""

from __future__ import annotations

import streamlit as st

from grainplan import changes, looks, says
from grainplan.choice import Outcome
from grainplan.screens.begin import change_choice
from grainplan.screens.desk import Desk

_OPEN = "compare_open"


def open_compare() -> None:
    """Ask for the choices side by side."""
    st.session_state[_OPEN] = True


def _close() -> None:
    st.session_state.pop(_OPEN, None)


def show_compare(desk: Desk, outcome: Outcome) -> None:
    """Show them, if they were asked for."""
    if st.session_state.get(_OPEN) and outcome.plan.others:
        _compare(desk, outcome)


@st.dialog("Choices side by side", width="large", on_dismiss=_close)
def _compare(desk: Desk, outcome: Outcome) -> None:
    columns = st.columns(len(outcome.plan.others) + 1, gap="medium")
    with columns[0]:
        _show_one(desk, outcome)
        st.markdown(f"**The best: it costs {outcome.plan.cost:.2f}**")
        for sentence in says.tell_cost(outcome.plan):
            st.caption(sentence)
    for place, other in enumerate(outcome.plan.others):
        instead = looks.take_other(outcome, other)
        with columns[place + 1]:
            _show_one(desk, instead)
            st.markdown(f"**It costs {other.cost:.2f}, {other.cost - outcome.plan.cost:.2f} more**")
            st.write(other.says)
            if st.button("Take this one", key=f"other:{place}", width="stretch"):
                _close()
                bays = instead.plan.bays
                change_choice(desk, lambda job: changes.keep_leaves(job, *bays), shown=instead)  # noqa: B023


def _show_one(desk: Desk, shown: Outcome) -> None:
    key = ("compare", looks.mark_choice(shown.job, shown))
    st.image(desk.show(key, lambda: looks.draw_side_of(shown.job, shown, "front", width_px=760)), width="stretch")
