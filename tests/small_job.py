"""The sample job cut down to what the app's tests need: four boards, no photos of their ends, nothing foreseen."""

from __future__ import annotations

from pathlib import Path

from grainplan import steps
from grainplan.jobfolder import editing
from grainplan.jobfolder.reading import read_job


def make_small_job(folder: Path) -> Path:
    """Copy the sample job to `folder` and cut it down; its comments and order stay."""
    steps.copy_sample(folder)
    edits = [editing.remove_board(name) for name in ("E", "F")]
    edits += [editing.set_photo(name, side, photo=None) for name in "ABCD" for side in ("foot", "head")]
    editing.save_job(read_job(folder), edits)
    return folder
