"""Fields that stand for one value of the job file: what is typed is checked and written, or told to be wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any, TypeVar

import streamlit as st

from grainplan.screens.desk import Desk, Place

Option = TypeVar("Option")

NUMBERS = frozenset(
    (
        "moisture",
        "humidity",
        "matters",
        "price",
        "radial",
        "tangential",
        "plain_to",
        "rift_to",
        "seams",
        "tone",
        "continuity",
        "flaws",
        "wood",
    )
)
"""Keys whose values are plain numbers, not lengths or words."""


def read_place(desk: Desk, place: Place) -> Any:
    """What the job file says at a place, word for word; None where it says nothing."""
    here: Any = desk.written
    for step in place:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            return None
    return here


def pick_one(
    label: str, options: Sequence[Option], *, key: str, at: int = 0, says: Callable[[Option], str] = str
) -> Option:
    """One of a few that lie side by side, that at `at` to begin with; a second press does not let it go."""
    picked = st.segmented_control(
        label,
        options,
        default=options[at],
        required=True,
        key=key,
        format_func=says,
        label_visibility="collapsed",
    )
    return options[at] if picked is None else picked


def text_field(desk: Desk, label: str, place: Place, *, hint: str = "") -> None:
    """A length, a name or another text. Emptied, the value leaves the file and the program's own holds.

    Parameters
    ----------
    desk : Desk
    label : str
    place : tuple
        Keys and places of the value in the job file.
    hint : str
        A few words of help, shown on a question mark.
    """
    written = read_place(desk, place)
    shown = "" if written is None else str(written)
    key = _key(place, shown)

    def write() -> None:
        typed = str(st.session_state[key]).strip()
        if typed != shown:
            desk.write(place, as_written(typed, written, place[-1]) if typed else None)
        else:
            desk.told.pop(place, None)

    st.text_input(label, shown, key=key, help=hint or None, on_change=write)
    tell_fault(desk, place)


def choice_field(
    desk: Desk, label: str, place: Place, *, words: Sequence[str], says: Callable[[str], str] = str
) -> None:
    """One of a few words; the first is what holds where the file says nothing."""
    written = read_place(desk, place)
    shown = str(written) if written is not None and str(written) in words else words[0]
    key = _key(place, shown)

    def write() -> None:
        picked = st.session_state[key]
        if picked != shown:
            desk.write(place, int(picked) if str(picked).isdigit() else picked)
        else:
            desk.told.pop(place, None)

    st.selectbox(label, words, index=list(words).index(shown), key=key, format_func=says, on_change=write)
    tell_fault(desk, place)


def switch_field(desk: Desk, label: str, place: Place, *, default: bool, hint: str = "") -> None:
    """Yes or no; `default` is what holds where the file says nothing."""
    written = read_place(desk, place)
    shown = default if not isinstance(written, bool) else written
    key = _key(place, str(shown))

    def write() -> None:
        desk.write(place, bool(st.session_state[key]))

    st.toggle(label, shown, key=key, help=hint or None, on_change=write)
    tell_fault(desk, place)


def tell_fault(desk: Desk, place: Place) -> None:
    """Under a field: why what was typed there could not be written."""
    if place in desk.told:
        st.html(f'<div class="fault">{escape(desk.told[place])}</div>')


def tell_faults(desk: Desk) -> None:
    """Everything that is wrong with the job file as it stands."""
    if desk.faults:
        count = len(desk.faults)
        st.error(
            f"**{count} {'thing' if count == 1 else 'things'} to mend before leaves can be chosen**\n\n"
            + "\n".join(f"- {_plain(fault)}" for fault in desk.faults)
        )


def tell_quiet(text: str) -> None:
    """A remark in small, pale letters."""
    st.html(f'<div class="quiet">{escape(text)}</div>')


def _plain(text: str) -> str:
    """Text that Markdown leaves alone."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+!|<>~$:" else c for c in text)


def as_written(typed: str, before: Any, key: str | int) -> Any:
    """A number where one belongs or stood before; all else is text."""
    if key in NUMBERS or (isinstance(before, int | float) and not isinstance(before, bool)):
        try:
            return float(typed) if "." in typed else int(typed)
        except ValueError:
            return typed
    return typed


def _key(place: Place, shown: str) -> str:
    """The name of the field in the session: a value that changed in the file makes a new field."""
    return "field:" + "/".join(map(str, place)) + "=" + shown
