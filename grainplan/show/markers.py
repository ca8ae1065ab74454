"""The scale sheets to print: three strips to lay along a board, and a square that checks the printer."""

from __future__ import annotations

from grainplan.geometry import Box
from grainplan.photos.sheets import (
    CELLS,
    MARK_LEFT_MM,
    MARK_MM,
    MARK_TOP_MM,
    SHEET_HEIGHT_MM,
    SHEET_NAMES,
    SHEET_WIDTH_MM,
    SheetName,
    draw_mark,
)
from grainplan.show.paper import CHECK_SQUARE_MM, HEAD, SMALL, Ink, Paper, PaperName, Pen

_LEFT_MM, _TOP_MM, _APART_MM = 30.0, 12.0, 4.0
_WHERE: dict[SheetName, str] = {"foot": "at the foot", "middle": "in the middle", "head": "at the head"}
_ADVICE = (
    "Print at 100 per cent on plain paper and measure the square with a rule. If it is not 50 mm, "
    "do not use the strips.",
    "Cut the three strips out along the thin lines and keep them flat; glue them to card if they curl.",
    "Lay them along the board at the height of its face, the foot strip at the foot and the head strip at the head, "
    "all reading the same way: beside the board, on offcuts of its own thickness, so that no wood is hidden.",
    "A strip that lies lower than the face makes the board look larger: by its depth over the camera's distance; 25 mm "
    "at 1.5 m is 1.7 per cent.",
)


def draw_markers(name: PaperName) -> bytes:
    """The page of scale sheets, in true scale.

    Parameters
    ----------
    name : {"A4", "Letter"}

    Returns
    -------
    bytes
        A PDF file of one page.
    """
    paper = Paper(name, "Scale sheets", upright=True)
    for place, sheet in enumerate(SHEET_NAMES):
        _draw_sheet(paper, (_LEFT_MM, _TOP_MM + place * (SHEET_HEIGHT_MM + _APART_MM)), sheet)
    bottom = _TOP_MM + len(SHEET_NAMES) * (SHEET_HEIGHT_MM + _APART_MM) + 3.0
    paper.draw_check_square((_LEFT_MM, bottom))
    at = (_LEFT_MM + CHECK_SQUARE_MM + 8.0, bottom)
    paper.write((at[0], at[1] + 4.0), "Scale sheets", HEAD)
    paper.write_points((at[0], at[1] + 7.0), _ADVICE, SMALL, width_mm=paper.width_mm - at[0] - 14.0)
    paper.turn_page()
    return paper.finish()


def _draw_sheet(paper: Paper, at: tuple[float, float], sheet: SheetName) -> None:
    x, y = at
    paper.draw_box(Box(x, y, x + SHEET_WIDTH_MM, y + SHEET_HEIGHT_MM), Pen(0.1, grey=0.6))
    cell = MARK_MM / CELLS
    for place, left in enumerate(MARK_LEFT_MM):
        white = set(draw_mark(2 * SHEET_NAMES.index(sheet) + place))
        for row in range(CELLS):
            for first, last in _list_runs([(c, row) not in white for c in range(CELLS)]):
                x0, y0 = x + left + first * cell, y + MARK_TOP_MM + row * cell
                # Rows overlap by a hair, so that no printer leaves a white line between them.
                lower = y0 + cell + (0.05 if row < CELLS - 1 and _covered(white, first, last, row + 1) else 0.0)
                paper.draw_box(Box(x0, y0, x0 + (last - first) * cell, lower), Pen(0.0), fill=0.0)
    middle = x + (MARK_LEFT_MM[0] + MARK_MM + MARK_LEFT_MM[1]) / 2
    paper.write((middle, y + 25), sheet, Ink(20, bold=True, align="middle"))
    paper.write((middle, y + 32), f"lay me {_WHERE[sheet]}", Ink(8.0, align="middle"))
    paper.draw_arrow((middle + 16, y + 40), (middle - 16, y + 40), Pen(0.5))
    paper.write((middle, y + 46), "foot of the board", Ink(8.0, align="middle"))


def _list_runs(black: list[bool]) -> list[tuple[int, int]]:
    """First and last-but-one column of every run of black cells."""
    runs: list[tuple[int, int]] = []
    for column, is_black in enumerate(black):
        if is_black and runs and runs[-1][1] == column:
            runs[-1] = (runs[-1][0], column + 1)
        elif is_black:
            runs.append((column, column + 1))
    return runs


def _covered(white: set[tuple[int, int]], first: int, last: int, row: int) -> bool:
    return not any((column, row) in white for column in range(first, last))
