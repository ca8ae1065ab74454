"""A plot of how well the inside is foretold against how wavy a board is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

SIZE = (1100, 720)
BOX = (90, 70, 1060, 620)
MOST = 1.0
COLOURS = {"ash": (30, 90, 200), "elm": (190, 90, 20), "pine": (30, 140, 70)}
RUNNING = 7
GREY, DARK, LINE = (225, 225, 225), (40, 40, 40), (150, 20, 60)

Point = tuple[float, float, float]


def plot_waves(points: Sequence[Point], names: Sequence[tuple[str, str]]) -> NDArray[np.uint8]:
    """Draw the plot.

    Parameters
    ----------
    points : sequence of three floats
        For each board: amplitude of the waves over ring width, agreement reached, agreement of an all-knowing reader.
    names : sequence of two texts
        Seed and look of each board.
    """
    picture = Image.new("RGB", SIZE, (255, 255, 255))
    draw = ImageDraw.Draw(picture)
    _draw_frame(draw)
    order = sorted(range(len(points)), key=lambda index: points[index][0])
    ranked = [points[index] for index in order]
    half = RUNNING // 2
    middles = [
        (one[0], float(np.median([p[1] for p in ranked[max(0, at - half) : at + half + 1]])))
        for at, one in enumerate(ranked)
    ]
    draw.line([_place(*middle) for middle in middles], fill=LINE, width=3)
    small = ImageFont.load_default(13)
    for (wave, reached, best), (seed, look) in zip(points, names, strict=True):
        x, y = _place(wave, reached)
        top = _place(wave, best)[1]
        draw.line([(x, y), (x, top)], fill=(150, 150, 150), width=1)
        draw.ellipse((x - 5, top - 5, x + 5, top + 5), outline=(120, 120, 120), width=1)
        draw.ellipse((x - 5, y - 5, x + 5, y + 5), fill=COLOURS[look])
        draw.text((x + 8, y - 2), seed[-2:], fill=DARK, font=small)
    return np.asarray(picture, dtype=np.uint8)


def _place(wave: float, agreement: float) -> tuple[int, int]:
    left, top, right, bottom = BOX
    return (
        round(left + (right - left) * min(max(wave, 0.0), MOST) / MOST),
        round(bottom - (bottom - top) * min(max(agreement, 0.0), 1.0)),
    )


def _draw_frame(draw: ImageDraw.ImageDraw) -> None:
    left, top, right, bottom = BOX
    font, large = ImageFont.load_default(15), ImageFont.load_default(18)
    for mark in range(11):
        x, y = _place(mark / 10 * MOST, mark / 10)
        draw.line([(x, top), (x, bottom)], fill=GREY)
        draw.line([(left, y), (right, y)], fill=GREY)
        draw.text((x, bottom + 8), f"{mark / 10 * MOST:.1f}", fill=DARK, font=font, anchor="mt")
        draw.text((left - 8, y), f"{mark / 10:.1f}", fill=DARK, font=font, anchor="rm")
    draw.rectangle(BOX, outline=DARK)
    draw.text((left, 14), "Rings foretold inside unseen drawn boards", fill=DARK, font=large)
    draw.text((left, 44), "correlation with the true lightness, mean of three depths", fill=DARK, font=font)
    below = "waviness: amplitude of the ring waves (mm) / mean ring width (mm); at the points the board's seed, 90.."
    draw.text(((left + right) // 2, bottom + 34), below, fill=DARK, font=font, anchor="mt")
    at = left
    for name, colour in COLOURS.items():
        draw.ellipse((at, bottom + 64, at + 10, bottom + 74), fill=colour)
        draw.text((at + 16, bottom + 69), name, fill=DARK, font=font, anchor="lm")
        at += 90
    draw.ellipse((at, bottom + 64, at + 10, bottom + 74), outline=(120, 120, 120))
    draw.text((at + 16, bottom + 69), "all-knowing reader of the sides", fill=DARK, font=font, anchor="lm")
    draw.line([(at + 290, bottom + 69), (at + 320, bottom + 69)], fill=LINE, width=3)
    draw.text((at + 328, bottom + 69), f"running median of {RUNNING} boards", fill=DARK, font=font, anchor="lm")
