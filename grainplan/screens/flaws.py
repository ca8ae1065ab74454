"""The flaws of a board: marked on its picture, the program's proposals beside the maker's own."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import streamlit as st

from grainplan import changes, looks, says
from grainplan.boards import BROAD_SIDES, BroadSide, Flaw, FlawKind, MeasuredBoard, RoughBoard
from grainplan.geometry import Box
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import choice_field, pick_one, switch_field, tell_fault, tell_quiet, text_field
from grainplan.screens.marks import Mark, Marked, MarkedSide, show_marks, take_mark
from grainplan.wood.kinds import tell_use

SIDE_WORDS: dict[BroadSide, str] = {"face": "Face", "back": "Back, seen through the board"}
SHOWS = {"through": "every leaf", "face": "the face only", "back": "the back only"}
KINDS: tuple[FlawKind, ...] = get_args(FlawKind)


def show_flaws(desk: Desk, board: RoughBoard, row: int) -> None:
    """Which side, its picture with the boxes, and what is said of the one that was picked."""
    side = pick_one("Side", BROAD_SIDES, key=f"flaw_side:{board.name}", says=SIDE_WORDS.__getitem__)
    key, place = f"marks:{board.name}:{side}", ("board", row, "flaw")
    held = f"picked:{board.name}"
    done = take_mark(key)
    if done is not None:
        _do(desk, board, side, done)
        board = desk.job.board(board.name) if desk.job else board
    job, measured = desk.job, desk.boards.get(board.name)
    if job is None:
        return
    mine, proposed = _list_mine(board, side), _list_proposed(measured, side)
    picked = st.session_state.get(held)
    marks = [Mark(f"m{at}", flaw.box, "maker", flaw.kind, says.tell_flaw(job, flaw)) for at, flaw in mine]
    marks += [
        Mark(f"p{at}", flaw.box, "program", f"{flaw.kind}? {flaw.confidence:.0%}", says.tell_flaw(job, flaw))
        for at, flaw in proposed
    ]
    marks.sort(key=lambda mark: -mark.box.area)  # small ones last, so that they lie on top and can be picked
    shown = MarkedSide(f"The {side} of board {board.name}", *_see_side(desk, board, measured, side))
    show_marks(shown, marks, picked=picked, step_mm=25.4 / 16 if job.units == "in" else 1.0, key=key)
    tell_fault(desk, place)
    _show_picked(desk, board, row, picked if picked in {mark.id for mark in marks} else None)
    if measured is None:
        tell_quiet(
            "Once the photos are measured the program looks for knots, checks, pith, pitch pockets, sapwood, stains "
            "and wane."
        )
    elif proposed:
        tell_quiet(
            f"{len(proposed)} found by the program, dashed, with how sure it is. They rule no place out; where one "
            "shows it costs by its size and by how sure it is, until you say that it is one or none."
        )
    _offer_clear_again(desk, board, side)


def _list_mine(board: RoughBoard, side: BroadSide) -> list[tuple[int, Flaw]]:
    return [(at, flaw) for at, flaw in enumerate(board.flaws) if flaw.on in ("through", side)]


def _list_proposed(measured: MeasuredBoard | None, side: BroadSide) -> list[tuple[int, Flaw]]:
    found = measured.flaws if measured else ()
    return [(at, f) for at, f in enumerate(says.list_proposed(found)) if f.on == side]


def _see_side(
    desk: Desk, board: RoughBoard, measured: MeasuredBoard | None, side: BroadSide
) -> tuple[tuple[float, float], bytes | None, str]:
    size = (board.length_mm, board.largest_width_mm)
    if measured is None or side not in measured.sides:
        return size, None, f"bare:{board.name}:{side}"
    mark = looks.mark_measured(desk.job) if desk.job else 0
    jpeg = desk.show(("marks", board.name, side, mark), lambda: looks.draw_broad_side(measured, side))
    return size, jpeg, f"{board.name}:{side}:{mark}"


def _do(desk: Desk, board: RoughBoard, side: BroadSide, done: Marked) -> None:
    """What was done on the picture, written down."""
    held, place = f"picked:{board.name}", _place(desk, board)
    if done.do == "pick":
        st.session_state[held] = done.id
    elif done.do == "draw" and done.box is not None:
        kind: FlawKind = st.session_state.get("last_kind", "knot")
        flaw = Flaw(kind, "through", done.box)
        if desk.make(lambda job: changes.add_flaw(job, board.name, flaw), place=place) and desk.job:
            st.session_state[held] = f"m{len(desk.job.board(board.name).flaws) - 1}"
    elif done.do == "move" and done.id and done.box is not None:
        st.session_state[held] = _move(desk, board, done.id, done)
    elif done.do == "drop" and done.id:
        _drop(desk, board, done.id)


def _move(desk: Desk, board: RoughBoard, mark: str, done: Marked) -> str:
    """A flaw of the maker's goes where it was put; one of the program's becomes the maker's there."""
    box, at = done.box, int(mark[1:])
    assert box is not None
    if mark.startswith("m"):
        desk.make(lambda job: changes.move_flaw(job, board.name, at, box=box), place=_place(desk, board))
        return mark
    return _accept(desk, board, at, done)


def _accept(desk: Desk, board: RoughBoard, at: int, done: Marked | None = None) -> str:
    """Take a proposal over as the maker's own, moved or as it is; answers with the box that is picked then."""
    flaw = _find_proposed(desk, board, at)
    if flaw is not None:
        box = done.box if done and done.box else flaw.box
        desk.make(lambda job: changes.accept_flaw(job, board.name, flaw, box=box), place=_place(desk, board))
    return f"m{len(desk.job.board(board.name).flaws) - 1}" if desk.job else ""


def _accept_through(desk: Desk, board: RoughBoard, flaw: Flaw) -> str:
    """Take a proposal over for every leaf, and with it what is proposed of its kind at that place on the other side."""
    measured = desk.boards.get(board.name)
    met = [f.box for f in says.list_proposed(measured.flaws if measured else ()) if f.kind == flaw.kind]
    boxes = [flaw.box, *(box for box in met if box.overlaps(flaw.box))]
    whole = Box(min(b.x0 for b in boxes), min(b.y0 for b in boxes), max(b.x1 for b in boxes), max(b.y1 for b in boxes))
    every = replace(flaw, on="through")
    desk.make(lambda job: changes.accept_flaw(job, board.name, every, box=whole), place=_place(desk, board))
    return f"m{len(desk.job.board(board.name).flaws) - 1}" if desk.job else ""


def _drop(desk: Desk, board: RoughBoard, mark: str) -> None:
    at, place = int(mark[1:]), _place(desk, board)
    st.session_state.pop(f"picked:{board.name}", None)
    if mark.startswith("m"):
        desk.make(lambda job: changes.remove_flaw(job, board.name, at), place=place)
    elif (flaw := _find_proposed(desk, board, at)) is not None:
        desk.make(lambda job: changes.call_clear(job, board.name, flaw), place=place)


def _find_proposed(desk: Desk, board: RoughBoard, at: int) -> Flaw | None:
    measured = desk.boards.get(board.name)
    found = says.list_proposed(measured.flaws) if measured else ()
    return found[at] if at < len(found) else None


def _place(desk: Desk, board: RoughBoard) -> Place:
    return ("board", desk.find_row(board.name), "flaw")


def _show_picked(desk: Desk, board: RoughBoard, row: int, picked: str | None) -> None:
    if not picked or desk.job is None:
        return
    at = int(picked[1:])
    if picked.startswith("m") and at < len(board.flaws):
        _show_mine(desk, board, row, at)
    elif picked.startswith("p") and (flaw := _find_proposed(desk, board, at)) is not None:
        _show_proposal(desk, board, at, flaw)


def _show_proposal(desk: Desk, board: RoughBoard, at: int, flaw: Flaw) -> None:
    if desk.job is not None:
        st.write(says.tell_flaw(desk.job, flaw))
    tell_quiet(tell_use(flaw))
    yes, through, no = st.columns(3)
    if yes.button("It is one", key=f"accept:{board.name}", type="primary", width="stretch"):
        st.session_state[f"picked:{board.name}"] = _accept(desk, board, at)
        st.rerun()
    if through.button("It is one, in every leaf", key=f"through:{board.name}", width="stretch"):
        st.session_state[f"picked:{board.name}"] = _accept_through(desk, board, flaw)
        st.rerun()
    if no.button("It is none", key=f"clear:{board.name}", width="stretch"):
        _drop(desk, board, f"p{at}")
        st.rerun()


def _show_mine(desk: Desk, board: RoughBoard, row: int, at: int) -> None:
    """What the maker does not want to see: kind, where it shows, whether panels keep clear of it, and its corners."""
    place: Place = ("board", row, "flaw", at)
    kind, on, avoid = st.columns([1, 1, 1.3])
    with kind:
        choice_field(desk, "What", (*place, "kind"), words=list(KINDS))
    with on:
        choice_field(desk, "Shows on", (*place, "on"), words=list(SHOWS), says=SHOWS.__getitem__)
    with avoid:
        switch_field(desk, "No panel may show it", (*place, "avoid"), default=True)
    st.session_state["last_kind"] = board.flaws[at].kind
    tell_quiet(tell_use(board.flaws[at]))
    fields = st.columns(4)
    for column, (label, key, part) in zip(
        fields,
        (("From, along", "from", 0), ("From, across", "from", 1), ("To, along", "to", 0), ("To, across", "to", 1)),
        strict=True,
    ):
        with column:
            text_field(desk, label, (*place, key, part))
    if st.button("Take this flaw off", key=f"no_flaw:{board.name}:{at}"):
        _drop(desk, board, f"m{at}")
        st.rerun()
    tell_fault(desk, place)


def _offer_clear_again(desk: Desk, board: RoughBoard, side: BroadSide) -> None:
    count = sum(spot.on == side for spot in board.clear)
    if count and st.button(
        f"Show again what you called clear ({count})", key=f"unclear:{board.name}:{side}", type="tertiary"
    ):
        desk.make(lambda job: changes.forget_clear(job, board.name, side), place=_place(desk, board))
        st.rerun()
