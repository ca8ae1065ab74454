"""One board on the bench: its sizes, its end with the cuts, its photos, its flaws, and what lies inside it."""

from __future__ import annotations

from functools import partial
from html import escape

import streamlit as st

from grainplan import changes, looks, says
from grainplan.boards import RoughBoard
from grainplan.job import Job
from grainplan.screens.desk import Desk, Place
from grainplan.screens.fields import pick_one, tell_fault, tell_quiet, text_field
from grainplan.screens.flaws import show_flaws
from grainplan.screens.sides import show_sides

SIZES: tuple[tuple[str, str, str], ...] = (
    ("Length", "length", ""),
    ("Width", "width", "At its narrowest; at the foot where the board is tapered."),
    ("Thickness", "thickness", "At its thinnest, by caliper. A quarter name like 4/4 is no measure."),
)
SHAPE: tuple[tuple[str, str, str], ...] = (
    ("Cup", "cup", "Hollow across the width."),
    ("Bow", "bow", "Hollow along the length, flatwise."),
    ("Crook", "crook", "Hollow along the length, on edge."),
    ("Twist", "twist", "How far the fourth corner lifts when three lie flat."),
    ("Width at the head", "width_head", "Where the board is tapered."),
    ("Wood", "species", "Where it is another than the job's."),
    ("Moisture %", "moisture", "Where it is another than the job's."),
    ("Price", "price", "A board foot in inch jobs, a cubic metre in metric ones."),
    ("Name", "name", "Chalked on it; it ends in no digit, for its leaves are numbered."),
)
PIECE = (("From the foot", "x", 0), ("To", "x", 1), ("From the face edge", "y", 0), ("To ", "y", 1))


def show_bench(desk: Desk, job: Job, board: RoughBoard) -> None:
    """Numbers at the left; at the right the board's end, then its photos or its flaws."""
    row = desk.find_row(board.name)
    head, back = st.columns([5, 1.4], vertical_alignment="bottom")
    head.html(f'<span class="board-name">Board {escape(board.name)}</span>')
    if back.button("Back to the rack", key="to_rack", width="stretch"):
        put_back()
        st.rerun()
    left, right = st.columns([1, 2.8], gap="large")
    with left:
        _show_numbers(desk, job, board, row)
    with right:
        VIEWS[pick_one("On the bench", list(VIEWS), key="bench_view")](desk, board, row)


def _show_numbers(desk: Desk, job: Job, board: RoughBoard, row: int) -> None:
    for label, key, hint in SIZES:
        text_field(desk, label, ("board", row, key), hint=hint)
    with st.expander("Shape, wood, price, name"):
        for label, key, hint in SHAPE:
            text_field(desk, label, ("board", row, key), hint=hint)
    _offer_leaving(desk, job, board)
    if st.button("Take it out of the job", key="remove_board", width="stretch") and desk.make(
        lambda job: changes.remove_board(job, board.name), place=("board", row)
    ):
        put_back()
        st.rerun()
    tell_fault(desk, ("board", row))


def _show_cuts(desk: Desk, board: RoughBoard, row: int) -> None:
    """The board's end with its leaves and cuts, and what other numbers of leaves would give."""
    job = desk.job
    if job is None:
        return
    first, *others = says.tell_resaw(job, board.name)
    st.write(first)
    measured = desk.boards.get(board.name)
    st.image(looks.draw_end(job, board.name, boards=(measured,) if measured else ()), width="stretch")
    for line in (*others, *says.tell_other_counts(job, board.name)):
        tell_quiet(line)
    if measured is not None:
        with st.expander("What its photos tell"):
            for line in says.tell_measured(measured, job):
                st.write(line)
    _show_pieces(desk, board, row)


def _show_pieces(desk: Desk, board: RoughBoard, row: int) -> None:
    """What is cut free of the board before it is resawn."""
    place: Place = ("board", row, "pieces")
    with st.expander(f"Cut into {len(board.pieces)} pieces first" if board.pieces else "Cut it into pieces first"):
        for line in says.tell_pieces(desk.job, board) if desk.job and not board.pieces else ():
            st.write(line)
        for at in range(len(board.pieces)):
            name, *edges = st.columns([1.4, 1, 1, 1, 1])
            with name:
                text_field(desk, "Piece", (*place, at, "name"))
            for column, (label, key, part) in zip(edges, PIECE, strict=True):
                with column:
                    text_field(desk, label, (*place, at, key, part))
        words = "Cut the last one in two" if board.pieces else "Crosscut it in the middle"
        if st.button(words, key=f"piece:{board.name}"):
            desk.make(lambda job: changes.add_piece(job, board.name), place=place)
            st.rerun()
        if board.pieces and st.button("Leave it whole", key=f"whole:{board.name}"):
            desk.make(lambda job: changes.leave_whole(job, board.name), place=place)
            st.rerun()
        tell_fault(desk, place)


def _show_inside(desk: Desk, board: RoughBoard, row: int) -> None:
    """Every surface that the saw will lay bare, as it is foretold or as a photo shows it."""
    outcome = desk.find_plan()
    shown = looks.list_surfaces(outcome, board.name)
    if not shown or outcome is None:
        tell_quiet("Surfaces inside are foretold when the leaves are chosen.")
        return
    misty = st.toggle("Mist where it is guessed", key="misty_inside")
    for name, words in shown.items():
        st.caption(words)
        key = ("inside", name, id(outcome.surfaces), misty)
        st.image(desk.show(key, partial(looks.draw_surface, outcome, name, misty=misty)), width="stretch")


VIEWS = {"Photos": show_sides, "Flaws": show_flaws, "Cuts": _show_cuts, "Inside": _show_inside}


def take_to_bench(row: int) -> None:
    """Lay a board on the bench, by its place in the job file: its name may change there."""
    st.session_state["on_bench"] = row


def put_back() -> None:
    """Put the board on the bench back into the rack."""
    st.session_state.pop("on_bench", None)


def _offer_leaving(desk: Desk, job: Job, board: RoughBoard) -> None:
    """Leave a board in the rack, whatever is chosen, or allow it again."""
    left = is_left(job, board.name)
    words, change = ("Allow it again", changes.allow_again) if left else ("Leave it in the rack", changes.leave_out)
    if st.button(words, key=f"leave:{board.name}", width="stretch"):
        desk.make(lambda job: change(job, board=board.name), place=("leave_out", board.name))
        st.rerun()
    tell_fault(desk, ("leave_out", board.name))


def is_left(job: Job, board: str) -> bool:
    """Whether the maker wants a board used nowhere."""
    return any(entry.board == board and entry.bay is None for entry in job.leave_outs)
