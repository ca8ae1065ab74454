"""A job file that cannot be used: each fault with its line, the whole file to be mended, or the way back."""

from __future__ import annotations

from html import escape

import streamlit as st

from grainplan.errors import GrainplanError
from grainplan.jobfolder import mending
from grainplan.jobfolder.mending import WrittenFile
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import tell_fault, tell_quiet

MEND: Place = ("mend",)


def show_mend(desk: Desk) -> None:
    """Everything that is wrong, a line to mend for each, and the file as a whole."""
    try:
        file = mending.read_file(desk.folder)
    except (GrainplanError, OSError) as error:
        st.error(f"The job file cannot be read: {error}")
        return
    count = len(desk.faults)
    st.subheader(f"{count} {'thing' if count == 1 else 'things'} to mend in the job file")
    tell_quiet("Nothing is lost: the file stays as it is until you save. What is mended here can be used at once.")
    if file.remark:
        st.warning(file.remark)
    _show_faults(desk, file)
    tell_fault(desk, MEND)
    with st.expander("The whole file", expanded=not any(desk.fault_lines)):
        _show_whole(desk, file)
    if mending.has_good(desk.folder):
        st.write("Or go back to the file as it was when it could last be used. What stands in it now is set aside.")
        if st.button("Go back to the last good state", key="go_back"):
            _try_going_back(desk)
            st.rerun()


def _show_faults(desk: Desk, file: WrittenFile) -> None:
    lines = file.text.split("\n")
    offered: set[int] = set()
    for fault, line in zip(desk.faults, desk.fault_lines, strict=True):
        where = f'<span class="quiet">line {line}</span> ' if line else ""
        st.html(f'<div class="fault">{where}{escape(fault)}</div>')
        if line and line <= len(lines) and line not in offered:
            offered.add(line)
            _offer_line(desk, file, line, lines[line - 1])


def _offer_line(desk: Desk, file: WrittenFile, line: int, words: str) -> None:
    """One line of the file as a field; what is typed there is saved."""
    key = f"line:{line}:{file.sha256}"

    def write() -> None:
        typed = str(st.session_state[key])
        if typed != words:
            _save(desk, file, mending.replace_line(file, line, typed))

    with st.container(key=f"file_line_{line}"):
        st.text_input(f"Line {line}", words, key=key, on_change=write, label_visibility="collapsed")


def _show_whole(desk: Desk, file: WrittenFile) -> None:
    with st.container(key="file_whole"):
        typed = st.text_area(
            "Job file", file.text, height=460, key=f"whole:{file.sha256}", label_visibility="collapsed"
        )
    if st.button("Save the file", key="save_whole", type="primary"):
        _save(desk, file, typed)
        st.rerun()


def _save(desk: Desk, file: WrittenFile, text: str) -> None:
    try:
        mending.save_file(desk.folder, text, before=file)
        desk.told.pop(MEND, None)
    except (GrainplanError, OSError) as error:
        desk.told[MEND] = str(error)
    desk.read_again()


def _try_going_back(desk: Desk) -> None:
    try:
        aside = mending.go_back_to_good(desk.folder)
        st.toast(f"What stood in the job file is set aside as {aside.name}.")
        desk.told.pop(MEND, None)
    except (GrainplanError, OSError) as error:
        desk.told[MEND] = str(error)
    desk.read_again()
