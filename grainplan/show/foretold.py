"""What was foretold of a leaf's surface, above its photo: how far the program can be trusted with this wood."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.picture import Picture, Pixels, encode_picture
from grainplan.show.marks import Note, Words, measure_notes, write_marks, write_notes
from grainplan.sight import Foretold
from grainplan.units import Units

FORETOLD_FOLDER = "foretold"
_WIDTH_PX = 1800
_RIM_PX = 24
_SIZE_PX = 20
_LINE_PX = 34
_PAPER = (247, 245, 240)


def draw_foretold(one: Foretold, *, units: Units) -> Pixels:
    """The surface as it was foretold, below it as it is, both from the foot at the left, and what the figures say."""
    wide = _WIDTH_PX - 2 * _RIM_PX
    shown = [_fit(one.view.picture, wide), _fit(one.real, wide)]
    titles = [f"{one.leaf.name} {one.surface}, foretold before the saw", f"{one.leaf.name} {one.surface}, as it is"]
    said = one.tell(units)
    notes = [Note(f"{said[0].upper()}{said[1:]}.")]
    high = sum(_LINE_PX + picture.shape[0] + _RIM_PX // 2 for picture in shown)
    sheet = np.empty((_RIM_PX * 2 + high + measure_notes(notes, wide, _SIZE_PX), _WIDTH_PX, 3), np.uint8)
    sheet[:] = _PAPER
    words, y = [], _RIM_PX
    for title, picture in zip(titles, shown, strict=True):
        words.append(Words(title, _RIM_PX, y, _SIZE_PX, centred=False))
        y += _LINE_PX
        sheet[y : y + picture.shape[0], _RIM_PX : _RIM_PX + wide] = picture
        y += picture.shape[0] + _RIM_PX // 2
    written = write_marks(sheet, words=words, signs=[])
    return write_notes(written, notes, corner=(_RIM_PX, y), width=wide, size=_SIZE_PX)


def save_foretold(foretold: Sequence[Foretold], out: Path, *, units: Units) -> list[Path]:
    """Write one picture for each surface that was foretold and photographed since; answers with the files.

    Pictures of leaf photos that the maker has taken out since go.
    """
    folder = out / FORETOLD_FOLDER
    names = {f"{one.leaf.name}-{one.surface}.png" for one in foretold}
    for old in folder.glob("*-*.png"):
        if old.name not in names:
            old.unlink(missing_ok=True)
    if not foretold:
        return []
    make_folder(folder)
    written = []
    for one in foretold:
        path = folder / f"{one.leaf.name}-{one.surface}.png"
        replace_file(path, encode_picture(Picture(draw_foretold(one, units=units), 1.0)))
        written.append(path)
    return written


def _fit(picture: Picture, width_px: int) -> Pixels:
    rows, columns = picture.pixels.shape[:2]
    size = (width_px, max(1, round(rows * width_px / columns)))
    return np.asarray(cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
