"""No job is open yet: look at the sample, open a job folder, or start one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

from grainplan import steps
from grainplan.errors import GrainplanError
from grainplan.screens.desk import open_desk

HOME = "grainplan"


def show_start() -> None:
    """Three ways to begin, and what the program is for."""
    st.html('<div class="masthead"><span class="title">grainplan</span></div>')
    left, right = st.columns([1.6, 1], gap="large")
    with left:
        picture = steps.find_sample().parent / "hall-cupboard-front.jpg"
        if picture.is_file():
            st.image(str(picture), width="stretch")
        st.write(
            "Before the first cut: photograph the rough boards, say what is to be made, and see the doors in their own "
            "wood. Then saw."
        )
    with right:
        st.subheader("The sample")
        st.write("A hall cupboard in ash, six boards. A copy is yours to change.")
        sample = st.text_input("Copy it to", str(Path.home() / HOME / "hall-cupboard"), key="sample_folder")
        if st.button("Open the sample", type="primary", key="open_sample", width="stretch"):
            _try(lambda: open_desk(steps.copy_sample(Path(sample).expanduser())))
        st.subheader("A job of yours")
        folder = st.text_input("Job folder", placeholder=str(Path.home() / HOME / "my-cupboard"), key="job_folder")
        opens, starts = st.columns(2)
        if opens.button("Open", key="open_job", width="stretch", disabled=not folder):
            _try(lambda: open_desk(Path(folder)))
        if starts.button("Start a new one", key="start_job", width="stretch", disabled=not folder):
            _try(lambda: _start(Path(folder).expanduser()))
        st.caption("Everything stays on this machine.")


def _start(folder: Path) -> None:
    steps.start_job(folder)
    open_desk(folder)


def _try(begin: Callable[[], None]) -> None:
    try:
        begin()
    except GrainplanError as error:
        st.error(str(error))
        return
    st.rerun()
