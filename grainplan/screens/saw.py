"""What goes along to the shop: sheets, labels, pictures, the job itself, and what to mind before the first cut."""

from __future__ import annotations

from html import escape

import streamlit as st

from grainplan import looks
from grainplan.job import Job
from grainplan.screens.desk import Desk
from grainplan.show import cautions

CAUTIONS = (
    cautions.MANUAL,
    *cautions.RESAW,
    cautions.RIP,
    cautions.CROSSCUT,
    cautions.PLANE,
    cautions.JOINT,
    cautions.DUST,
)
KINDS = {".pdf": "application/pdf", ".png": "image/png", ".json": "application/json", ".csv": "text/csv"}


def show_saw(desk: Desk) -> None:
    """Downloads at the left, cautions at the right."""
    left, right = st.columns([1, 1.3], gap="large")
    with left:
        st.subheader("Take along")
        if desk.find_plan() is None or desk.job is None:
            st.write("Nothing yet: choose the leaves first.")
        else:
            if not desk.is_current:
                st.warning("The job has changed since these were made. Choose again before you saw.")
            _offer_files(desk.job)
    with right:
        st.subheader("Before you cut")
        for words in CAUTIONS:
            st.html(f'<div class="caution">{escape(words)}</div>')


def _offer_files(job: Job) -> None:
    for words, path in looks.list_results(job.folder).items():
        st.download_button(
            words,
            path.read_bytes(),
            file_name=path.name,
            mime=KINDS[path.suffix],
            key=f"get:{path.name}",
            width="stretch",
        )
    st.download_button(
        "Everything in one file",
        looks.pack_results(job.folder),
        file_name=f"{job.folder.name}.zip",
        mime="application/zip",
        key="get:all",
        width="stretch",
    )
    st.caption(f"They also lie in {job.folder / 'out'}.")
