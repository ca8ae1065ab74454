"""Words and small signs on a picture: titles, what a strip's picture is worth, the legend, the cautions."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import as_file, files

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from grainplan.match.surfaces import LeafSurface
from grainplan.picture import Pixels

INK, QUIET_INK, PAPER = (52, 46, 40), (112, 104, 95), (250, 247, 241)
STAND_IN, PREDICTED, GUESSED, NOT_SEEN = "stand-in", "predicted", "a guess", "not seen"
MEANINGS: dict[str, str] = {
    STAND_IN: "This surface lies inside the board and nobody has seen it yet. The nearest outside of the board is "
    "shown in its place, to give an idea.",
    PREDICTED: "This surface lies inside the board. Its rings are predicted from what the outside shows; its fine "
    "fibres are only like the true ones.",
    GUESSED: "This surface lies inside the board, and the outside tells too little of it: an idea, and no more.",
    NOT_SEEN: "There is no photo that could show this surface.",
}
LIGHT_AND_DARK = (
    "Halves that open like a book lean opposite ways: where fibres run out of the surface one half looks darker than "
    "the other, and they change places as one walks by. No flat picture can show it. Slip matching avoids it."
)

MIST = "Mist lies over what the program guesses: the thicker it is, the less is known of the wood there."

Font = ImageFont.FreeTypeFont


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text on a picture: its middle (or its left end), the top of its letters, and its room, px."""

    text: str
    x: float
    y: float
    size: int = 20
    ink: tuple[int, int, int] = INK
    centred: bool = True
    room: float = float("inf")


@dataclass(frozen=True, slots=True)
class Sign:
    """A small paper tag on a strip: its middle, px, and how wide the strip is there."""

    text: str
    x: float
    y: float
    room: float
    size: int = 15


@dataclass(frozen=True, slots=True)
class Note:
    """A sentence under a picture, with the sign that it explains before it, if there is one."""

    text: str
    sign: str = ""


def find_sign(surface: LeafSurface) -> str:
    """What stands on a strip that does not show a surface as it was photographed; empty where it does."""
    if surface.seen == "inside":
        return PREDICTED if surface.is_real else GUESSED
    return {"stand-in": STAND_IN, "none": NOT_SEEN}.get(surface.seen, "")


def load_font(size: int) -> Font:
    """The program's own font, so that pictures look the same everywhere."""
    with as_file(files("grainplan.show") / "fonts" / "DejaVuSans.ttf") as path:
        return ImageFont.truetype(str(path), size)


def write_marks(pixels: Pixels, *, words: list[Words], signs: list[Sign]) -> Pixels:
    """Write on a copy of a picture."""
    image = Image.fromarray(pixels)
    draw = ImageDraw.Draw(image, "RGBA")
    for word in words:
        anchor = "ma" if word.centred else "la"
        text, font = _fit_words(word)
        draw.text((word.x, word.y), text, font=font, fill=word.ink, anchor=anchor)
    for sign in signs:
        _tag(draw, image, sign)
    return np.array(image)


def measure_notes(notes: list[Note], width: int, size: int) -> int:
    """Height that the notes take under a picture of this width, px."""
    return sum(_note_height(note, width, size) for note in notes)


def write_notes(pixels: Pixels, notes: list[Note], *, corner: tuple[int, int], width: int, size: int) -> Pixels:
    """Write the notes below each other from `corner` (x, y), wrapped to `width`, on a copy of the picture."""
    image = Image.fromarray(pixels)
    draw = ImageDraw.Draw(image, "RGBA")
    font = load_font(size)
    x, y = corner
    indent = _indent(notes, size)
    for note in notes:
        if note.sign:
            room = font.getlength(note.sign)
            _tag(draw, image, Sign(note.sign, x + room / 2 + 0.5 * size, y + 0.62 * size, 9999, size - 2))
        for line in _wrap(note.text, font, width - indent):
            draw.text((x + indent, y), line, font=font, fill=QUIET_INK)
            y += round(size * 1.4)
        y += round(size * 0.5)
    return np.array(image)


def _fit_words(word: Words) -> tuple[str, Font]:
    """Smaller letters where the room is narrow, and a cut end where even those do not fit."""
    size = word.size
    while size > 11 and load_font(size).getlength(word.text) > word.room:
        size -= 1
    font, text = load_font(size), word.text
    while len(text) > 2 and font.getlength(text) > word.room:
        text = text[:-2].rstrip() + "…"
    return text, font


def _indent(notes: list[Note], size: int) -> int:
    font = load_font(size)
    return max((round(font.getlength(n.sign) + 1.8 * size) for n in notes if n.sign), default=0)


def _note_height(note: Note, width: int, size: int) -> int:
    longest = round(load_font(size).getlength("not seen_") + 1.8 * size)
    lines = len(_wrap(note.text, load_font(size), width - longest))
    return lines * round(size * 1.4) + round(size * 0.5)


def _wrap(text: str, font: Font, width: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and font.getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _tag(draw: ImageDraw.ImageDraw, image: Image.Image, sign: Sign) -> None:
    """A paper tag; on a narrow strip its letters are smaller, and on a very narrow one it stands upright."""
    size = sign.size
    while size > 11 and load_font(size).getlength(sign.text) + 0.9 * size > 0.94 * sign.room:
        size -= 1
    font = load_font(size)
    wide, high = font.getlength(sign.text) + 0.9 * size, 1.45 * size
    if wide <= sign.room:
        box = (sign.x - wide / 2, sign.y - high / 2, sign.x + wide / 2, sign.y + high / 2)
        draw.rounded_rectangle(box, radius=high / 4, fill=(*PAPER, 214))
        draw.text((sign.x, sign.y), sign.text, font=font, fill=INK, anchor="mm")
        return
    tag = Image.new("RGBA", (round(wide), round(high)))
    on_tag = ImageDraw.Draw(tag)
    on_tag.rounded_rectangle((0, 0, wide - 1, high - 1), radius=high / 4, fill=(*PAPER, 214))
    on_tag.text((wide / 2, high / 2), sign.text, font=font, fill=INK, anchor="mm")
    upright = tag.rotate(90, expand=True)
    image.paste(upright, (round(sign.x - high / 2), round(sign.y - wide + high / 2)), upright)
