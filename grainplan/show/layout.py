"""The parts that the shop sheets share: the head of a page, a place that runs down it, tables, dimension lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grainplan.geometry import Box
from grainplan.show.paper import (
    BODY,
    HEAD,
    MARGIN_MM,
    SMALL,
    THIN,
    Ink,
    Paper,
    Pen,
    Point,
    measure_words,
    shorten_words,
    spread_apart,
)
from grainplan.units import MM_PER_INCH, Units, format_length

HEAD_MM = 13.5
_PLAN_FILE_MM = 0.006


@dataclass(slots=True)
class Page:
    """A page that is being filled from the top.

    Parameters
    ----------
    paper : Paper
    name : str
        In large letters at the head: "Board A".
    title : str
        The job's title, at the right.
    y_mm : float
        How far down it is filled.
    """

    paper: Paper
    name: str
    title: str
    y_mm: float = 0.0

    @property
    def left_mm(self) -> float:
        """Left edge of what may be drawn on, mm."""
        return MARGIN_MM

    @property
    def right_mm(self) -> float:
        """Right edge, mm."""
        return self.paper.width_mm - MARGIN_MM

    @property
    def bottom_mm(self) -> float:
        """Lower edge, mm."""
        return self.paper.height_mm - MARGIN_MM

    @property
    def inner_mm(self) -> float:
        """Width between the margins, mm."""
        return self.right_mm - self.left_mm

    @property
    def top_mm(self) -> float:
        """How far down the head of a page reaches, mm."""
        return MARGIN_MM + HEAD_MM

    def begin(self, *, continued: bool = False) -> None:
        """Write the head of the page."""
        name = f"{self.name}, continued" if continued else self.name
        most = self.inner_mm * 0.8
        size = next((n for n in range(24, 12, -2) if measure_words(name, Ink(n, bold=True)) <= most), 12)
        large = Ink(size, bold=True)
        name = shorten_words(name, large, width_mm=most)
        self.paper.write((self.left_mm, MARGIN_MM + 8), name, large)
        room = self.inner_mm - measure_words(name, large) - 8
        title = shorten_words(self.title, Ink(10), width_mm=room)
        self.paper.write((self.right_mm, MARGIN_MM + 8), title, Ink(10, align="right"))
        self.paper.draw_line([(self.left_mm, MARGIN_MM + 11), (self.right_mm, MARGIN_MM + 11)], Pen(0.5))
        self.y_mm = self.top_mm

    def make_room(self, height_mm: float) -> None:
        """Go on to a further page where so much height is not left on this one."""
        if self.y_mm + height_mm > self.bottom_mm:
            self.paper.turn_page()
            self.begin(continued=True)

    def head(self, words: str, *, at_mm: float | None = None) -> None:
        """A heading at the place where the page is filled to."""
        self.paper.write((self.left_mm if at_mm is None else at_mm, self.y_mm + 4), words, HEAD)


def write_size(length_mm: float, units: Units, *, smallest: int = 32) -> str:
    """A length without its unit, for drawings that say the unit once: "32 1/8" or "816"."""
    return format_length(length_mm, units, smallest=smallest).removesuffix(" in").removesuffix(" mm")


def write_finely(length_mm: float, units: Units) -> str:
    """A thickness as a machine is set: "27/64 in (0.422)" or "10.7 mm"."""
    if units == "mm":
        return format_length(length_mm, "mm")
    inches = length_mm / MM_PER_INCH
    on_the_rule = round(inches * 64) / 64
    if abs(inches - on_the_rule) * MM_PER_INCH < _PLAN_FILE_MM:
        inches = on_the_rule  # a plan read back from its file is rounded to hundredths of a millimetre
    return f"{format_length(length_mm, 'in')} ({inches + 1e-9:.3f})"


def draw_table(
    page: Page, at: Point, columns: Sequence[tuple[str, float]], *, rows: Sequence[Sequence[str]], ink: Ink = BODY
) -> float:
    """A plain table with a line under its head.

    Parameters
    ----------
    page : Page
    at : (x, y)
        Top left corner, mm.
    columns : sequence of (head, width in mm)
    rows : sequence of rows of words

    Returns
    -------
    float
        Height used, mm.
    """
    x, y = at
    paper, step = page.paper, ink.line_mm * 1.2
    starts = [x + sum(w for _, w in columns[:n]) for n in range(len(columns))]
    for start, (head, _) in zip(starts, columns, strict=True):
        paper.write((start, y + 3.2), head, SMALL)
    paper.draw_line([(x, y + 4.6), (x + sum(w for _, w in columns), y + 4.6)], Pen(0.3))
    for number, row in enumerate(rows):
        for start, (_, width), words in zip(starts, columns, row, strict=True):
            paper.write((start, y + 4.8 + step * (number + 0.8)), shorten_words(words, ink, width_mm=width - 1), ink)
    return 4.8 + step * len(rows) + 1.5


def draw_dimensions_below(page: Page, at_y_mm: float, places: Sequence[tuple[float, str]]) -> float:
    """Dimension words under a drawing, pushed apart where they would overlap; `places` are (x, words), rising.

    Returns
    -------
    float
        Height used, mm.
    """
    if not places:
        return 0.0
    paper, ink = page.paper, Ink(8.5, align="middle")
    widest = max(measure_words(words, ink) for _, words in places)
    spread = spread_apart([x for x, _ in places], least_mm=widest + 1.5)
    for (x, words), word_x in zip(places, spread, strict=True):
        paper.draw_line([(x, at_y_mm), (x, at_y_mm + 0.9), (word_x, at_y_mm + 2.4)], THIN)
        paper.write((word_x, at_y_mm + 5.3), words, ink)
    return 5.6


def draw_dimensions_left(page: Page, at_x_mm: float, places: Sequence[tuple[float, str]]) -> None:
    """Dimension words at the left of a drawing, pushed apart where they would overlap; `places` are (y, words)."""
    paper, ink = page.paper, Ink(8.5, align="right")
    spread = spread_apart([y for y, _ in places], least_mm=3.5)
    for (y, words), word_y in zip(places, spread, strict=True):
        paper.draw_line([(at_x_mm, y), (at_x_mm - 1.2, y), (at_x_mm - 3.0, word_y)], THIN)
        paper.write((at_x_mm - 3.6, word_y + 1.1), words, ink)


def draw_face_mark(page: Page, box: Box) -> None:
    """The loop that a bench worker pencils on a face side, its tails running to the face edge (the top of `box`)."""
    places = [n / 20 - 0.85 for n in range(38)]
    curve = [(box.x0 + box.width * (0.5 + 1.1 * (t**3 - 0.5 * t)), box.y0 + box.height * (1 - t * t)) for t in places]
    page.paper.draw_line(curve, Pen(0.35))
