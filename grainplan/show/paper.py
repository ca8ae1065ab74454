"""Sheets of paper to draw on, in millimetres from the top left corner of each page.

Shop paper: black on white, no picture of wood, letters that can be read at arm's length.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from importlib.resources import as_file, files
from typing import Literal, get_args

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from grainplan.geometry import Box
from grainplan.units import Units

PaperName = Literal["A4", "Letter"]
PAPER_NAMES: tuple[PaperName, ...] = get_args(PaperName)
Point = tuple[float, float]

MARGIN_MM = 10.0
CHECK_SQUARE_MM = 50.0
POINT_MM = 25.4 / 72
_FONT = "grainplan"
_STAND_IN = "□"
_UPRIGHT_MM: dict[PaperName, Point] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


@dataclass(frozen=True, slots=True)
class Ink:
    """How words are set: size in points, weight, and which end of the line stands at the given point."""

    size_pt: float = 9.5
    bold: bool = False
    align: Literal["left", "middle", "right"] = "left"

    @property
    def line_mm(self) -> float:
        """From one line of words to the next, mm."""
        return self.size_pt * 1.28 * POINT_MM


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn: its width, its dashes (on, off, …) and how grey it is, 0 black to 1 white."""

    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()
    grey: float = 0.0


BODY = Ink()
SMALL = Ink(8.0)
HEAD = Ink(12.0, bold=True)
THIN = Pen(0.18)
BROAD = Pen(0.6)
HIDDEN = Pen(0.2, (1.6, 1.0))


def choose_paper(units: Units) -> PaperName:
    """Letter for a shop that measures in inches, A4 for one that measures in millimetres."""
    return "Letter" if units == "in" else "A4"


@dataclass(slots=True)
class Paper:
    """A pile of pages being drawn, one after another.

    Parameters
    ----------
    name : {"A4", "Letter"}
    title : str
        Written into the file's own description.
    upright : bool
        Portrait; otherwise landscape.
    """

    name: PaperName
    title: str
    upright: bool = False
    width_mm: float = field(init=False)
    height_mm: float = field(init=False)
    _canvas: Canvas = field(init=False, repr=False)
    _file: io.BytesIO = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if self.name not in PAPER_NAMES:
            raise ValueError(f"paper is {' or '.join(PAPER_NAMES)}, got {self.name}")
        _load_font()
        short, long = _UPRIGHT_MM[self.name]
        self.width_mm, self.height_mm = (short, long) if self.upright else (long, short)
        self._file = io.BytesIO()
        size = (self.width_mm / POINT_MM, self.height_mm / POINT_MM)
        # invariant: the same job gives the same file, byte by byte
        self._canvas = Canvas(self._file, pagesize=size, invariant=1, pageCompression=1, lang="en")
        self._canvas.setViewerPreference("PrintScaling", "None")
        self._canvas.setTitle(self.title)
        self._canvas.setCreator("grainplan")

    def turn_page(self) -> None:
        """Finish this page and begin the next."""
        self._canvas.showPage()

    def finish(self) -> bytes:
        """The file, after the last page was turned."""
        self._canvas.save()
        return self._file.getvalue()

    def draw_line(
        self, points: Sequence[Point], pen: Pen = THIN, *, close: bool = False, fill: float | None = None
    ) -> None:
        """A line through these points; `close` makes a polygon of it, `fill` (grey, 0 to 1) fills it."""
        self._set(pen)
        path = self._canvas.beginPath()
        path.moveTo(*self._at(points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(point))
        if close:
            path.close()
        if fill is not None:
            self._canvas.setFillGray(fill)
        self._canvas.drawPath(path, stroke=1 if pen.width_mm else 0, fill=0 if fill is None else 1)
        self._canvas.setFillGray(0)

    def draw_box(self, box: Box, pen: Pen = THIN, *, fill: float | None = None) -> None:
        """A rectangle."""
        corners = [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)]
        self.draw_line(corners, pen, close=True, fill=fill)

    def draw_arrow(self, start: Point, end: Point, pen: Pen = THIN, *, head_mm: float = 2.2) -> None:
        """A line with a full head at `end`."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = (dx**2 + dy**2) ** 0.5
        if length == 0:
            raise ValueError("an arrow needs two points")
        ux, uy = dx / length, dy / length
        neck = (end[0] - ux * head_mm, end[1] - uy * head_mm)
        self.draw_line([start, neck], pen)
        side = head_mm * 0.4
        wings = [(neck[0] - uy * side, neck[1] + ux * side), (neck[0] + uy * side, neck[1] - ux * side)]
        self.draw_line([end, *wings], Pen(0.1), close=True, fill=0.0)

    def write(self, at: Point, words: str, ink: Ink = BODY, *, turned: bool = False, paper_under: bool = False) -> None:
        """One line of words; `at` is on its base line. `turned` reads upward, `paper_under` hides what is below."""
        words = spell(words)
        width, size = measure_words(words, ink), ink.size_pt
        offset = {"left": 0.0, "middle": width / 2, "right": width}[ink.align]
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(*self._at(at))
        if turned:
            canvas.rotate(90)
        canvas.translate(-offset / POINT_MM, 0)
        if paper_under:
            canvas.setFillGray(1)
            canvas.rect(-1.5, -size * 0.25, width / POINT_MM + 3, size * 1.1, stroke=0, fill=1)
            canvas.setFillGray(0)
        text = canvas.beginText(0, 0)
        text.setFont(_FONT, size)
        if ink.bold:
            text.setTextRenderMode(2)  # filled and stroked: one font file serves both weights
            canvas.setLineWidth(size * 0.035)
            canvas.setDash([])
            canvas.setStrokeGray(0)
        text.textOut(words)
        canvas.drawText(text)
        canvas.restoreState()

    def write_block(self, at: Point, words: str, ink: Ink = BODY, *, width_mm: float) -> float:
        """Words broken into lines of at most `width_mm`; `at` is the top left corner. Returns the height used, mm."""
        lines = break_lines(words, ink, width_mm=width_mm)
        for number, line in enumerate(lines):
            self.write((at[0], at[1] + ink.line_mm * (number + 0.8)), line, ink)
        return len(lines) * ink.line_mm

    def write_points(self, at: Point, points: Iterable[str], ink: Ink = BODY, *, width_mm: float) -> float:
        """A list, a dash before each point. Returns the height used, mm."""
        used = 0.0
        indent = ink.size_pt * 0.42
        for point in points:
            self.write((at[0], at[1] + used + ink.line_mm * 0.8), "–", ink)
            used += self.write_block((at[0] + indent, at[1] + used), point, ink, width_mm=width_mm - indent)
            used += ink.line_mm * 0.15
        return used

    def draw_check_square(self, at: Point) -> None:
        """A square that must measure 50 mm on the print, its upper left corner at `at`; printers like to scale."""
        x, y = at
        side = CHECK_SQUARE_MM
        self.draw_box(Box(x, y, x + side, y + side), Pen(0.3))
        self.write((x + side / 2, y + side / 2 - 3), "50 mm", Ink(14, bold=True, align="middle"))
        for line, words in enumerate(
            ("Measure it. If it is not 50 mm,", "print again at 100 per cent,", "without fitting to the page.")
        ):
            self.write((x + side / 2, y + side / 2 + 3 + 3.6 * line), words, Ink(7.5, align="middle"))

    def _at(self, point: Point) -> Point:
        return point[0] / POINT_MM, (self.height_mm - point[1]) / POINT_MM

    def _set(self, pen: Pen) -> None:
        self._canvas.setLineWidth(pen.width_mm / POINT_MM)
        self._canvas.setDash([d / POINT_MM for d in pen.dash_mm])
        self._canvas.setStrokeGray(pen.grey)


def measure_words(words: str, ink: Ink = BODY) -> float:
    """Width of one line of words, mm."""
    _load_font()
    return float(pdfmetrics.stringWidth(spell(words), _FONT, ink.size_pt)) * POINT_MM


def break_lines(words: str, ink: Ink = BODY, *, width_mm: float) -> list[str]:
    """Words broken into lines that are at most so wide; a single longer word is broken where the line ends."""
    lines: list[str] = []
    line = ""
    for word in words.split():
        longer = f"{line} {word}".strip()
        if measure_words(longer, ink) <= width_mm:
            line = longer
            continue
        if line:
            lines.append(line)
        while measure_words(word, ink) > width_mm and len(word) > 1:
            fits = max(
                1, next(n for n in range(len(word), 0, -1) if n == 1 or measure_words(word[:n], ink) <= width_mm)
            )
            lines.append(word[:fits])
            word = word[fits:]
        line = word
    return [*lines, line] if line else lines


def shorten_words(words: str, ink: Ink = BODY, *, width_mm: float) -> str:
    """Words cut to one line of at most `width_mm`, with "…" where something was left out."""
    if measure_words(words, ink) <= width_mm:
        return words
    while words and measure_words(words + "…", ink) > width_mm:
        words = words[:-1]
    return words.rstrip() + "…"


def find_missing(words: str) -> str:
    """The characters of `words` that the print font does not have, each once, in order."""
    _load_font()
    known = pdfmetrics.getFont(_FONT).face.charToGlyph
    return "".join(dict.fromkeys(c for c in words if ord(c) not in known))


def spell(words: str) -> str:
    """`words` as they are printed: a box stands for a character that the font does not have."""
    missing = find_missing(words)
    return words.translate({ord(c): _STAND_IN for c in missing}) if missing else words


def spread_apart(places_mm: Sequence[float], *, least_mm: float) -> list[float]:
    """Places moved as little as seems right so that neighbours are `least_mm` apart, in the order given.

    Parameters
    ----------
    places_mm : sequence of float
        Rising.
    least_mm : float
    """
    spread: list[list[float]] = []  # clusters: [sum of wished first places, members]
    for place in places_mm:
        spread.append([place, 1])
        while len(spread) > 1 and _start(spread[-1], least_mm) < _end(spread[-2], least_mm) + least_mm:
            wished, members = spread.pop()
            spread[-1][0] += wished
            spread[-1][1] += members
    return [_start(cluster, least_mm) + least_mm * n for cluster in spread for n in range(int(cluster[1]))]


def _start(cluster: list[float], least_mm: float) -> float:
    total, members = cluster
    return total / members - least_mm * (members - 1) / 2


def _end(cluster: list[float], least_mm: float) -> float:
    return _start(cluster, least_mm) + least_mm * (cluster[1] - 1)


def _load_font() -> None:
    """Give the PDF library the font of the package, once."""
    if _FONT not in pdfmetrics.getRegisteredFontNames():
        with as_file(files("grainplan") / "show" / "fonts" / "DejaVuSans.ttf") as path:
            pdfmetrics.registerFont(TTFont(_FONT, str(path)))
