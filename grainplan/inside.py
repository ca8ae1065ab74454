"""What the sawn surfaces will show, predicted before the saw, and kept so that it need not be worked out twice."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import re
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from grainplan.boards import MeasuredBoard
from grainplan.errors import NotFound, PlanError
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.picture import KeptPicture, Picture, encode_picture
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop
from grainplan.wood.foretold import lay_upon
from grainplan.wood.solid import BoardSolid, InsideView, draw_level, fit_solid
from grainplan.wood.solid_grid import Layer
from grainplan.wood.solid_knot import KnotPlace
from grainplan.wood.solid_slice import Level, fit_slices

_KEPT_FORM = 7
"""Raised whenever the prediction changes, so that what an older program kept is not taken for its own."""
STATES_KEPT = 3
"""Of each board: as a rough board alone, with the leaf photos there are, and as it was before the last change."""


@dataclass(frozen=True, slots=True)
class InsideQuestion:
    """Which surfaces of one board are asked for.

    Parameters
    ----------
    board : MeasuredBoard
    depths_mm : tuple of float
        From the face side as photographed.
    levels : tuple of Level
        Real surfaces of its leaves, where some were photographed: what lies between is foretold from them too.
    """

    board: MeasuredBoard
    depths_mm: tuple[float, ...]
    levels: tuple[Level, ...] = ()

    @property
    def names(self) -> list[str]:
        """What each surface is kept as; changes with any pixel of the pictures that it is foretold from."""
        digest = hashlib.blake2b(digest_size=8)
        known = [(str(side), seen.picture) for side, seen in sorted(self.board.sides.items())]
        for name, picture in known + [(f"{level.depth_mm:.2f}", level.picture) for level in self.levels]:
            digest.update(f"{name} {picture.mark}".encode())
        digest.update(repr((list_knots(self.board), self.board.board.thickness_mm)).encode())
        return [f"{self.board.name}-{depth:.2f}-{digest.hexdigest()}-{_KEPT_FORM}" for depth in self.depths_mm]


Foreseen = tuple[InsideView, ...] | NotFound


def foresee_all(
    questions: Sequence[InsideQuestion],
    folder: Path,
    *,
    workers: int = 1,
    progress: Progress = keep_quiet,
    should_stop: ShouldStop = never_stop,
) -> dict[str, Foreseen]:
    """Predict surfaces inside several boards; what lies in `folder` already is not worked out again.

    Parameters
    ----------
    questions : sequence of InsideQuestion
    folder : Path
        Where predictions are kept.
    workers : int
        Boards that are worked on at once, each in a process of its own; 1 stays in this one.
    progress, should_stop : callable
        Asked between boards; what is finished by then is kept.

    Returns
    -------
    dict
        By board name: a view for each depth, in order, or why there is none.

    Raises
    ------
    KeyboardInterrupt
        When it was stopped.
    """
    make_folder(folder)
    found = {q.board.name: kept for q in questions if (kept := read_kept(q, folder)) is not None}
    for question in questions:
        _touch(question, folder)
    missing = [q for q in questions if q.board.name not in found]
    with _open_pool(min(workers, len(missing))) as pool:
        running = [(q, pool.submit(foresee, q) if pool else None) for q in missing]
        for place, (question, future) in enumerate(running):
            progress(place / len(missing), f"board {question.board.name}: looking inside")
            found[question.board.name] = _await(future, question, should_stop) if future else foresee(question)
            write_kept(question, found[question.board.name], folder)
            found[question.board.name] = read_kept(question, folder) or found[question.board.name]
            _sweep(question, folder)
            if should_stop():
                raise KeyboardInterrupt
    progress(1.0, "looked inside the boards")
    return {q.board.name: found[q.board.name] for q in questions}


def foresee(question: InsideQuestion) -> Foreseen:
    """Predict the surfaces of one board."""
    solid = fit_board(question.board)
    if isinstance(solid, NotFound):
        return solid
    if not question.levels:
        return tuple(draw_level(solid, depth) for depth in question.depths_mm)
    sides: dict[Layer, Picture] = {side: seen.picture for side, seen in question.board.sides.items()}
    levels = [
        replace(level, picture=lay_upon(draw_level(solid, level.depth_mm).rings_alone, level.picture))
        for level in question.levels
    ]
    slices = fit_slices(solid, sides, levels, depths_mm=question.depths_mm)
    return tuple(part.draw(depth) for part, depth in zip(slices, question.depths_mm, strict=True))


def fit_board(board: MeasuredBoard) -> BoardSolid | NotFound:
    """Place the rings of a measured board all through, bent round the knots that are known on its broad sides."""
    sides: dict[Layer, Picture] = {side: seen.picture for side, seen in board.sides.items()}
    return fit_solid(sides, knots=list_knots(board), thickness_mm=board.board.thickness_mm)


def list_knots(board: MeasuredBoard) -> list[KnotPlace]:
    """The knots of a board as they show on its face and back; one that goes through shows on both."""
    sides: tuple[Literal["face", "back"], ...] = ("face", "back")
    knots = [flaw for flaw in board.flaws if flaw.kind == "knot"]
    return [KnotPlace(side, knot.box) for knot in knots for side in sides if knot.on in (side, "through")]


def read_kept(question: InsideQuestion, folder: Path) -> Foreseen | None:
    """What is kept of these surfaces; None where any of it is missing or damaged."""
    views = []
    for name in question.names:
        try:
            told = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
            if "not_found" in told:
                return NotFound(str(told["not_found"]))
            picture, rings = (
                KeptPicture(folder / f"{name}{what}.png", float(told["px_per_mm"]), mark=f"{name}{what}")
                for what in ("", "-rings")
            )
            sure = np.array(told["sure"], np.float32)
            views.append(InsideView(picture, rings, sure, float(told["confidence"]), tuple(told["caveats"])))
        except (OSError, ValueError, KeyError, TypeError, PlanError):
            return None
    return tuple(views)


def write_kept(question: InsideQuestion, found: Foreseen, folder: Path) -> None:
    """Keep what was predicted, or why nothing could be."""
    if isinstance(found, NotFound):
        for name in question.names:
            replace_file(folder / f"{name}.json", json.dumps({"not_found": found.reason}).encode())
        return
    for name, view in zip(question.names, found, strict=True):
        replace_file(folder / f"{name}.png", encode_picture(view.picture))
        replace_file(folder / f"{name}-rings.png", encode_picture(view.rings_alone))
        told = {
            "px_per_mm": view.picture.px_per_mm,
            "confidence": round(view.confidence, 4),
            "caveats": list(view.caveats),
            "sure": np.round(view.sure.astype(float), 3).tolist(),
        }
        replace_file(folder / f"{name}.json", json.dumps(told).encode())


def _touch(question: InsideQuestion, folder: Path) -> None:
    """Note that what is kept of these surfaces was asked for now."""
    for name in question.names:
        with suppress(OSError):  # it is not there yet, or the folder can only be read
            os.utime(folder / f"{name}.json")


def _sweep(question: InsideQuestion, folder: Path) -> None:
    """Let go what is kept of older states of a board: its photos, those of its leaves or the program have changed."""
    states: dict[str, list[Path]] = {}
    name = re.compile(rf"{re.escape(question.board.name)}-\d+\.\d\d-([0-9a-f]+-\d+)(-rings)?\.(png|json)")
    for path in folder.iterdir():
        if found := name.fullmatch(path.name):
            states.setdefault(found[1], []).append(path)
    with suppress(OSError):
        newest = sorted(states.values(), key=lambda paths: -max(path.stat().st_mtime for path in paths))
        for path in (path for paths in newest[STATES_KEPT:] for path in paths):
            path.unlink(missing_ok=True)


@contextmanager
def _open_pool(workers: int) -> Iterator[ProcessPoolExecutor | None]:
    if workers < 2:
        yield None
        return
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_ignore_interrupts)
    try:
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _ignore_interrupts() -> None:
    """Ctrl-C reaches every process of the terminal; only the first one is to answer it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)


def _await(future: Future[Foreseen], question: InsideQuestion, should_stop: ShouldStop) -> Foreseen:
    """The answer of another process; should that one die, for want of memory or otherwise, this one does the work."""
    while True:
        try:
            return future.result(timeout=0.2)
        except TimeoutError:
            if should_stop():
                raise KeyboardInterrupt from None
        except BrokenProcessPool:
            return foresee(question)
