"""Pictures of the piece in its own wood: the views side by side from the front and from behind, and a picture a bay."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from grainplan.frame import Bay, FrameLook, Part, View
from grainplan.job import Job
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.match.surfaces import Surfaces
from grainplan.picture import Pixels
from grainplan.plan import Plan, PlannedBay
from grainplan.progress import Progress, keep_quiet
from grainplan.show.marks import (
    INK,
    LIGHT_AND_DARK,
    MEANINGS,
    MIST,
    PREDICTED,
    QUIET_INK,
    Note,
    Sign,
    Words,
    find_sign,
    measure_notes,
    write_marks,
    write_notes,
)
from grainplan.show.mist import cover_with_mist
from grainplan.show.panel_picture import PieceSide, draw_panel, find_surface
from grainplan.show.strips import StripPlace, place_strips
from grainplan.show.wood_frame import BayLayout, Colour, draw_bay_frame, lay_out_bay

VIEWS: tuple[View, ...] = ("left side", "front", "right side", "back")
"""Left to right, as if the piece were unfolded round its front."""
_WALL = (236, 232, 225)
_FINE = 2  # drawn so much finer than shown, then averaged: no stairs along arches and joints
_DOOR_GAP_MM, _VIEW_GAP_MM = 3.0, 130.0


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """What is drawn: the bays, what the plan puts into them, and the picture of each surface.

    Parameters
    ----------
    joint_mm : float
        Taken off each edge that is glued, mm.
    planned : mapping of bay name to PlannedBay
        A bay that is missing here stands open.
    surfaces : mapping of (leaf, surface) to LeafSurface
        Of each leaf, what its two surfaces look like and what that picture is worth.
    misty : bool
        Whether these pictures lie under a mist where the program guesses.
    signed, noted : bool
        Whether strips that nobody has seen bear a sign, and whether notes stand below; False where words beside the
        picture say the same.
    """

    title: str
    frame: FrameLook
    joint_mm: float
    bays: tuple[Bay, ...]
    planned: Mapping[str, PlannedBay]
    surfaces: Surfaces = field(default_factory=dict)
    misty: bool = False
    signed: bool = True
    noted: bool = True

    def bay(self, name: str) -> Bay:
        """The bay of that name; :class:`ValueError` where there is none."""
        for bay in self.bays:
            if bay.name == name:
                return bay
        raise ValueError(f"the piece has no bay {name}")


@dataclass(frozen=True, slots=True, eq=False)
class _DrawnBay:
    """A bay's picture with the places, px from its upper left, where signs and leaf names go."""

    bay: Bay
    pixels: Pixels
    signs: tuple[Sign, ...]
    leaves: tuple[Words, ...]
    expected: tuple[float, ...] = ()


def gather_piece(job: Job, plan: Plan, surfaces: Surfaces) -> Piece:
    """Put together what is drawn for a job and its plan."""
    planned = {bay.name: bay for bay in plan.bays}
    return Piece(job.title, job.frame, job.shop.joint_mm, job.bays, planned, surfaces)


def show_guesses(piece: Piece) -> Piece:
    """The same piece with mist over whatever the program guesses, the thicker the less is known."""
    return replace(piece, misty=True)


def has_guesses(piece: Piece) -> bool:
    """Whether any strip that shows at the front has not been seen itself."""
    return any(s.seen in ("inside", "stand-in") for bay in piece.planned.values() for s in bay.strips)


def draw_piece(piece: Piece, side: PieceSide, *, width_px: int = 2000) -> Pixels:
    """Draw all views side by side, standing on one floor, seen from the front or from behind.

    Parameters
    ----------
    piece : Piece
    side : {"front", "back"}
        From behind, the whole row is mirrored, as if one had walked round it.
    width_px : int
        Width of the picture; its height follows, up to about 1500 px.

    Returns
    -------
    ndarray of uint8, shape (rows, width_px or less, 3)
    """
    views = [v for v in VIEWS if any(b.view == v for b in piece.bays)]
    rows = [[b for b in piece.bays if b.view == view] for view in views]
    captions: list[str] = list(views)
    heading = f"{piece.title}, seen from the front"
    if side == "back":
        rows = [row[::-1] for row in rows[::-1]]
        captions = [f"{v}, from behind" if len(views) == 1 else v for v in captions[::-1]]
        heading = f"{piece.title}, seen from behind"
    layouts = [[lay_out_bay(b, piece.frame) for b in row] for row in rows]
    wide = sum(_row_width(row) for row in layouts) + _VIEW_GAP_MM * (len(rows) + 1)
    high = max((layout.height_mm for row in layouts for layout in row), default=600.0)
    scale = _fit(wide, high, (width_px, 1250))
    drawn = [[_draw_one_bay(piece, bay, side, scale) for bay in row] for row in rows]
    return _hang(drawn, captions, piece=piece, scale=scale, heading=heading)


def draw_bay(piece: Piece, name: str, *, height_px: int = 1500) -> Pixels:
    """Draw one bay large, its leaves named under it; from behind beside it, where the back is seen too."""
    bay = piece.bay(name)
    layout = lay_out_bay(bay, piece.frame)
    scale = _fit(layout.width_mm, layout.height_mm, (height_px, height_px))
    sides: list[PieceSide] = ["front", "back"] if bay.seen == "both" else ["front"]
    drawn = [_draw_one_bay(piece, bay, side, scale) for side in sides]
    captions = [bay.name, f"{bay.name}, from behind"]
    return _hang([[d] for d in drawn], captions[: len(sides)], piece=piece, scale=scale, heading="")


def save_previews(piece: Piece, folder: Path, *, progress: Progress = keep_quiet) -> list[Path]:
    """Draw everything and write it: front.png, back.png and bays/NAME.png in `folder`, each in one step.

    Where surfaces are predicted, front-guesses.png shows the front under a mist where little is known.

    Returns
    -------
    list of Path
        What was written, in that order.

    Raises
    ------
    SaveError
        When the disk is full or the folder cannot be written.
    """
    make_folder(folder / "bays")
    drawings: dict[Path, Callable[[], Pixels]] = {
        folder / "front.png": lambda: draw_piece(piece, "front"),
        folder / "back.png": lambda: draw_piece(piece, "back"),
    }
    if has_guesses(piece):
        drawings[folder / "front-guesses.png"] = lambda: draw_piece(show_guesses(piece), "front")
    for bay, stem in zip(piece.bays, name_files(b.name for b in piece.bays), strict=True):
        drawings[folder / "bays" / f"{stem}.png"] = partial(draw_bay, piece, bay.name)
    for place, (path, draw) in enumerate(drawings.items()):
        progress(place / len(drawings), f"drawing {path.stem}")
        sheet = io.BytesIO()
        Image.fromarray(draw()).save(sheet, "PNG", compress_level=2)
        replace_file(path, sheet.getvalue())
    progress(1.0, "drawn")
    return list(drawings)


def name_files(names: Iterable[str]) -> list[str]:
    """File names for bays: signs that a file system may refuse become "-", and no two are alike."""
    stems: list[str] = []
    for name in names:
        stem = re.sub(r'[\x00-\x1f<>:"/\\|?*]+', "-", name).strip(" .") or "bay"
        alike = sum(s.casefold() == stem.casefold() or s.casefold().startswith(f"{stem} (".casefold()) for s in stems)
        stems.append(f"{stem} ({alike + 1})" if alike else stem)
    return stems


def measure_wood_tone(piece: Piece) -> Colour:
    """Mean colour of the panels' wood, a little calmer: the tone that stiles and rails are drawn in, sRGB."""
    seen = {id(s.picture): s.picture.pixels[::8, ::8] for s in piece.surfaces.values() if s.picture is not None}
    if not seen:
        return (203.0, 180.0, 148.0)
    mean = np.mean([pixels.mean(axis=(0, 1)) for pixels in seen.values()], axis=0)
    lab = cv2.cvtColor(np.asarray(mean / 255, np.float32).reshape(1, 1, 3), cv2.COLOR_RGB2Lab)[0, 0]
    warm = max(lab[1], 0.22 * lab[2])  # a photo with a green cast must not make green stiles
    calm = np.array([[[lab[0] - 2.5, warm * 0.95, lab[2] * 0.9]]], np.float32)
    red, green, blue = (cv2.cvtColor(calm, cv2.COLOR_Lab2RGB)[0, 0] * 255).tolist()
    return red, green, blue


def _row_width(row: Sequence[BayLayout]) -> float:
    return sum(layout.width_mm for layout in row) + _DOOR_GAP_MM * max(0, len(row) - 1)


def _fit(wide_mm: float, high_mm: float, room_px: tuple[int, int]) -> float:
    """Pixels a millimetre, so that it fits; never larger than three times life at 96 dpi."""
    return min(room_px[0] / max(wide_mm, 1.0), room_px[1] / max(high_mm, 1.0), 4.0)


def _draw_one_bay(piece: Piece, bay: Bay, side: PieceSide, scale: float) -> _DrawnBay:
    layout = lay_out_bay(bay, piece.frame)
    fine = scale * _FINE
    planned = piece.planned.get(bay.name)
    surfaces = _find_shown(piece, planned)
    panels: dict[Part, Pixels] = {}
    signs: list[Sign] = []
    leaves: list[Words] = []
    expected: list[float] = []
    for opening in layout.openings:
        made = planned.panels.get(opening.part) if planned else None
        if made is None:
            continue
        sight = (opening.width_mm, opening.height_mm)
        places = place_strips(made, sight_width_mm=sight[0], sight_height_mm=sight[1], joint_mm=piece.joint_mm)
        panels[opening.part] = draw_panel(places, sight, surfaces=surfaces, side=side, px_per_mm=fine)
        for place in places:
            left, right = _across(place, opening.width_mm, side)
            x = (opening.left_mm + (left + right) / 2) * scale
            surface = find_surface(place, piece.surfaces, side)
            if sign := find_sign(surface):
                y = (layout.height_mm - opening.sill_mm) * scale - 20
                signs.append(Sign(sign, x, y, (right - left) * scale))
            if sign == PREDICTED:
                expected.append(surface.confidence)
            if opening is layout.openings[0]:
                leaves.append(Words(_name_leaf(place, side), x, 0, 17, QUIET_INK, room=(right - left) * scale))
            elif planned is not None and planned.is_end_matched:
                at = next(i for i, words in enumerate(leaves) if abs(words.x - x) < 1)
                leaves[at] = replace(leaves[at], text=f"{leaves[at].text}, above it {_name_leaf(place, side)}")
    seed = piece.bays.index(bay)
    pixels = draw_bay_frame(layout, panels, wood=measure_wood_tone(piece), px_per_mm=fine, seed=seed)
    size = (max(1, round(layout.width_mm * scale)), max(1, round(layout.height_mm * scale)))
    shown_px = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    return _DrawnBay(bay, shown_px, tuple(signs), tuple(leaves), tuple(expected))


def _name_leaf(place: StripPlace, side: PieceSide) -> str:
    """A leaf with the surface of it that shows on this side."""
    shown = place.strip.surface if side == "front" else {"near": "far", "far": "near"}[place.strip.surface]
    return f"{place.strip.leaf.name} {shown}"


def _find_shown(piece: Piece, planned: PlannedBay | None) -> Surfaces:
    """The surfaces of a bay's leaves as they are to be drawn."""
    if planned is None or not piece.misty:
        return piece.surfaces
    return {key: cover_with_mist(surface) for key, surface in piece.surfaces.items() if key[0] in planned.leaves}


def _across(place: StripPlace, width_mm: float, side: PieceSide) -> tuple[float, float]:
    """Where a strip stands across its opening as seen from this side, mm."""
    left, right = max(0.0, place.left_mm), min(width_mm, place.right_mm)
    return (left, right) if side == "front" else (width_mm - right, width_mm - left)


def _hang(
    rows: Sequence[Sequence[_DrawnBay]], captions: Sequence[str], *, piece: Piece, scale: float, heading: str
) -> Pixels:
    """Stand the drawn bays on one floor, with title, captions and notes."""
    margin, gap = 56, max(40, round(_VIEW_GAP_MM * scale))
    door_gap = max(2, round(_DOOR_GAP_MM * scale))
    above = 112 if heading else 40
    one_bay_each = all(len(row) == 1 for row in rows)
    high = max((d.pixels.shape[0] for row in rows for d in row), default=300)
    widths = [sum(d.pixels.shape[1] for d in row) + door_gap * max(0, len(row) - 1) for row in rows]
    wide = max(sum(widths) + gap * max(0, len(rows) - 1) + 2 * margin, 640)
    notes = list_notes(piece, [d for row in rows for d in row]) if piece.noted else []
    below = 96 + measure_notes(notes, wide - 2 * margin, 17) + 24
    canvas = _paint_wall(wide, above + high + below, floor=above + high)
    words = [Words(heading, margin, 40, 32, INK, centred=False)] if heading else []
    signs: list[Sign] = []
    left = (wide - sum(widths) - gap * max(0, len(rows) - 1)) // 2
    for row, width, caption in zip(rows, widths, captions, strict=True):
        _cast_shadow(canvas, (left, above + high - max(d.pixels.shape[0] for d in row)), width, floor=above + high)
        words.append(Words(caption, left + width / 2, above + high + 50, 21))
        x = left
        for drawn in row:
            y = above + high - drawn.pixels.shape[0]
            if x > left:
                canvas[y : above + high, x - door_gap : x] = (58, 50, 42)
            canvas[y : y + drawn.pixels.shape[0], x : x + drawn.pixels.shape[1]] = drawn.pixels
            signs += [replace(s, x=s.x + x, y=s.y + y) for s in drawn.signs if piece.signed]
            names = drawn.leaves if one_bay_each and not heading else _name_bay(drawn, caption)
            words += [replace(w, x=w.x + x, y=above + high + 20) for w in names]
            x += drawn.pixels.shape[1] + door_gap
        left += width + gap
    canvas = write_marks(canvas, words=words, signs=signs)
    return write_notes(canvas, notes, corner=(margin, above + high + 96), width=wide - 2 * margin, size=17)


def _name_bay(drawn: _DrawnBay, caption: str) -> tuple[Words, ...]:
    if drawn.bay.name.casefold() == caption.casefold():
        return ()
    width = drawn.pixels.shape[1]
    return (Words(drawn.bay.name, width / 2, 0, 17, QUIET_INK, room=width),)


def list_notes(piece: Piece, drawn: Sequence[_DrawnBay]) -> list[Note]:
    """What stands under a picture: what each sign on it means, and the caution that belongs to opened halves."""
    shown = {s.text for d in drawn for s in d.signs}
    notes = [Note(_tell_meaning(sign, drawn), sign) for sign in MEANINGS if sign in shown]
    if piece.misty:
        notes.append(Note(MIST))
    planned = [piece.planned[d.bay.name] for d in drawn if d.bay.name in piece.planned]
    if any(seam.match == "book" for bay in planned for seam in bay.seams):
        notes.append(Note(LIGHT_AND_DARK))
    return notes


def _tell_meaning(sign: str, drawn: Sequence[_DrawnBay]) -> str:
    expected = [value for d in drawn for value in d.expected]
    if sign != PREDICTED or not expected:
        return MEANINGS[sign]
    return (
        f"{MEANINGS[sign]} Expected likeness to the true surface: {min(expected):.2f} to {max(expected):.2f}, where 1 "
        "is the same and 0 no more than chance."
    )


def _paint_wall(wide: int, high: int, *, floor: int) -> Pixels:
    """A plain light wall, a shade darker toward the floor."""
    rows = np.arange(high, dtype=np.float32)
    tone = 1.0 + 0.02 * (1 - rows / max(floor, 1))
    tone[floor:] = 1.0
    line = np.clip(np.array(_WALL, np.float32) * tone[:, None, None], 0, 255).astype(np.uint8)
    return np.repeat(line, wide, axis=1)


def _cast_shadow(canvas: Pixels, corner: tuple[int, int], width: int, *, floor: int) -> None:
    """The soft shadow of a view on the wall behind it and on the floor at its foot."""
    left, top = corner
    around = 44
    x0, x1 = max(0, left - around), min(canvas.shape[1], left + width + around)
    y0, y1 = max(0, top - around), min(canvas.shape[0], floor + around)
    shade = np.zeros((y1 - y0, x1 - x0), np.float32)
    shade[top + 14 - y0 : floor - y0, left + 8 - x0 : left + width + 10 - x0] = 0.30
    shade[floor - 4 - y0 : floor + 7 - y0, left - 2 - x0 : left + width + 6 - x0] = 0.55
    small = cv2.resize(shade, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    soft = cv2.resize(cv2.GaussianBlur(small, (0, 0), 2.6), (x1 - x0, y1 - y0), interpolation=cv2.INTER_LINEAR)
    part = canvas[y0:y1, x0:x1]
    part[:] = (part * (1 - soft[:, :, None])).astype(np.uint8)
