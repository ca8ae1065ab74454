"""What lies open in front of the maker: the job folder, what is wrong with it, and the plan that was made of it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import streamlit as st

from grainplan import changes, looks, steps
from grainplan.boards import MeasuredBoard
from grainplan.choice import Outcome
from grainplan.errors import GrainplanError, JobFileError
from grainplan.job import Job
from grainplan.jobfolder import mending
from grainplan.picture import Pixels
from grainplan.screens.work import Work

Place = tuple[str | int, ...]
_OPEN = "open_desk"
_MOST_SHOWN = 80


@dataclass(slots=True)
class Desk:
    """One open job.

    Parameters
    ----------
    folder : Path
    written : dict
        The job file word for word, as it was last read; also where it cannot be used as it stands.
    job : Job or None
        Checked; None while something is wrong.
    faults : tuple of str
        A sentence each.
    fault_lines : tuple of int or None
        The line of each, where the file cannot be used.
    outcome : Outcome or None
        Boards, plan and pictures, perhaps of an earlier state of the job.
    work : Work or None
        What runs beside the page.
    told : dict
        Why a value that was typed could not be written, by its place in the file.
    likened_sha : str
        Of the job, where it differs from that of the plan only in what is kept and left out.
    busy : Lock
        Held while leaves are chosen or moved: seam comparisons are shared, and made one at a time.
    """

    folder: Path
    written: dict[str, Any] = field(default_factory=dict)
    job: Job | None = None
    faults: tuple[str, ...] = ()
    fault_lines: tuple[int | None, ...] = ()
    outcome: Outcome | None = None
    work: Work | None = None
    told: dict[Place, str] = field(default_factory=dict)
    likened_sha: str = ""
    busy: threading.Lock = field(default_factory=threading.Lock)
    _mark: tuple[int, int] | None = None
    _measured: tuple[Hashable, Mapping[str, MeasuredBoard]] | None = None
    _shown: dict[Hashable, bytes] = field(default_factory=dict)

    @property
    def is_current(self) -> bool:
        """Whether the plan belongs to the job as it stands."""
        return bool(self.outcome and self.job and self.outcome.plan.job_sha256 == self.job.sha256)

    @property
    def known(self) -> Outcome | None:
        """The last choice, where its boards and the insides of its boards still hold."""
        likened = bool(self.job and self.job.sha256 == self.likened_sha)
        return self.outcome if self.is_current or likened else None

    def read_again(self) -> None:
        """Read the job file where it has changed, by the app or in an editor."""
        mark = changes.mark_file(self.folder)
        if mark == self._mark:
            return
        self.written = changes.read_written(self.folder)
        try:
            self.job = steps.open_job(self.folder, missing_photos="told")
            self.faults, self.fault_lines = self.job.missing_photos, ()
            mending.remember_good(self.job)
        except JobFileError as error:
            self.job, self.faults = None, error.faults
            self.fault_lines = mending.find_fault_lines(self.folder, error)
        self._mark = mark

    @property
    def boards(self) -> Mapping[str, MeasuredBoard]:
        """Those boards whose measurements still hold, by name; read from the disk only when something has changed."""
        if self.job is None:
            return {}
        mark = (self.job.boards, looks.mark_measured(self.job))
        if self._measured is None or self._measured[0] != mark:
            self._measured = (mark, looks.find_measured(self.job))
        return self._measured[1]

    def find_row(self, board: str) -> int:
        """The place of a board in the job file, from 0."""
        rows = self.written.get("board", [])
        return next((at for at, row in enumerate(rows) if row.get("name") == board), 0)

    def find_plan(self) -> Outcome | None:
        """The plan that was made here, or the one that lies in the job folder."""
        if self.outcome is None and self.job is not None:
            self.outcome = looks.find_outcome(self.job, self.boards)
        return self.outcome

    def forget_made(self) -> None:
        """Read again what lies in `out/` when it is next asked for."""
        self.outcome, self._measured = None, None
        self._shown.clear()

    def show(self, key: Hashable, draw: Callable[[], Pixels]) -> bytes:
        """A picture for the page; drawn once for each `key`, which must name all that it depends on."""
        if key not in self._shown:
            if len(self._shown) >= _MOST_SHOWN:
                self._shown.clear()
            self._shown[key] = looks.encode_jpeg(draw(), quality=88)
        return self._shown[key]

    def make(self, change: Callable[[Job], Job], *, place: Place = ()) -> bool:
        """Make a change to the job file, or remember for `place` what stands against it; the file is as it was then."""
        if self.job is None:
            self.told[place] = "Mend the job file first; nothing was written."
            return False
        try:
            change(self.job)
        except GrainplanError as error:
            self.told[place] = str(error)
            self.read_again()
            return False
        self.told.pop(place, None)
        self.read_again()
        return True

    def write(self, place: Place, value: Any) -> bool:
        """Write one value; None takes it out of the file."""
        known = self.known if place[0] == "weights" else None
        done = self.make(lambda job: changes.write_values(job, {place: value}), place=place)
        if done and known is not None and self.job is not None:
            self.likened_sha = self.job.sha256
        return done


def open_desk(folder: Path) -> None:
    """Lay a job open; :class:`GrainplanError` where there is none."""
    desk = Desk(folder.expanduser().absolute())
    desk.read_again()
    st.session_state[_OPEN] = desk
    st.query_params["job"] = str(desk.folder)


def find_desk() -> Desk | None:
    """The job that lies open in this window, read again where its file has changed."""
    desk: Desk | None = st.session_state.get(_OPEN)
    if desk is not None:
        desk.read_again()
    return desk


def close_desk() -> None:
    """Put the job away; nothing of it is lost."""
    st.session_state.pop(_OPEN, None)
    st.query_params.pop("job", None)
