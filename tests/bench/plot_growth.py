"""How a choice grows with the job, as a picture: seconds, the share not proven, and memory against bays × boards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from PIL import Image, ImageDraw

from grainplan.show.marks import load_font

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 1100, 330, 120, 40, 50, 70
INK, GREY, POINT, LINE = (30, 30, 30), (222, 222, 222), (40, 90, 180), (190, 90, 20)

Row = dict[str, float]


@dataclass(frozen=True, slots=True)
class _Panel:
    """One measure: its name in a row, what is written beside it, and the values of its grid lines."""

    name: str
    title: str
    scale: float
    ticks: tuple[float, ...]
    logarithmic: bool


PANELS = (
    _Panel("cpu s", "processor time, s (logarithmic)", 1.0, (0.1, 1, 10, 100), logarithmic=True),
    _Panel("gap", "not proven, % of the cost", 100.0, (0, 5, 10, 15, 20), logarithmic=False),
    _Panel("GB", "memory, GB", 1.0, (0, 0.25, 0.5, 0.75, 1.0), logarithmic=False),
)


def plot_growth(rows: Sequence[Row]) -> Image.Image:
    """Draw one panel a measure; a dot is a job, the line runs through the median of each size.

    Parameters
    ----------
    rows : sequence of dict
        For each job "bays", "boards" and the measures of `PANELS`.
    """
    picture = Image.new("RGB", (WIDE, HIGH * len(PANELS)), (255, 255, 255))
    draw = ImageDraw.Draw(picture)
    for place, panel in enumerate(PANELS):
        _draw_panel(draw, rows, panel, top=place * HIGH)
    return picture


def _draw_panel(draw: ImageDraw.ImageDraw, rows: Sequence[Row], panel: _Panel, *, top: int) -> None:
    sizes = sorted({(row["bays"], row["boards"]) for row in rows})
    font = load_font(18)
    highest = max([panel.ticks[-1], *(row[panel.name] * panel.scale for row in rows)])
    across = {size: _place_across(size, (sizes[0], sizes[-1])) for size in sizes}

    def up(value: float) -> float:
        low, high = _bend(panel.ticks[0], panel), _bend(highest, panel)
        share = (_bend(max(value, panel.ticks[0]), panel) - low) / (high - low)
        return top + HIGH - BOTTOM - share * (HIGH - TOP - BOTTOM)

    draw.text((LEFT, top + 14), panel.title, fill=INK, font=load_font(20))
    for tick in panel.ticks:
        draw.line([(LEFT, up(tick)), (WIDE - RIGHT, up(tick))], fill=GREY, width=1)
        draw.text((LEFT - 10, up(tick)), f"{tick:g}", fill=INK, font=font, anchor="rm")
    for size, x in across.items():
        draw.line([(x, top + HIGH - BOTTOM), (x, top + HIGH - BOTTOM + 6)], fill=INK, width=1)
        draw.text((x, top + HIGH - BOTTOM + 9), f"{size[0]:g} × {size[1]:g}", fill=INK, font=font, anchor="ma")
    middle = (LEFT + WIDE - RIGHT) / 2
    draw.text((middle, top + HIGH - 36), "bays × boards (logarithmic)", fill=INK, font=font, anchor="ma")
    draw.rectangle((LEFT, top + TOP, WIDE - RIGHT, top + HIGH - BOTTOM), outline=INK, width=1)
    values = {
        size: [row[panel.name] * panel.scale for row in rows if (row["bays"], row["boards"]) == size] for size in sizes
    }
    draw.line([(across[size], up(median(values[size]))) for size in sizes], fill=LINE, width=3)
    for size in sizes:
        for value in values[size]:
            x, y = across[size], up(value)
            draw.ellipse((x - 5, y - 5, x + 5, y + 5), fill=POINT)


def _place_across(size: tuple[float, float], ends: tuple[tuple[float, float], tuple[float, float]]) -> float:
    """Where a size stands across, with room for the outermost words."""
    low, at, high = (math.log(bays * boards) for bays, boards in (ends[0], size, ends[1]))
    share = (at - low) / (high - low) if high > low else 0.5
    return LEFT + 45 + share * (WIDE - RIGHT - LEFT - 90)


def _bend(value: float, panel: _Panel) -> float:
    return math.log10(value) if panel.logarithmic else value
