"""A side of a board made square-on, in the board frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from grainplan.boards import BROAD_SIDES, BoardSide, BroadSide, Flaw, RoughBoard, Side, SidePhoto
from grainplan.errors import NotFound
from grainplan.geometry import apply_homography
from grainplan.photos.align import MARK_MM, Part
from grainplan.photos.check import check_photo
from grainplan.photos.corners import (
    CORNER_DOUBT_PX,
    USUAL_K1,
    View,
    doubt_lens_mm,
    doubt_scale,
    know_lens,
    outline_side,
    place_view,
    size_side,
)
from grainplan.photos.frame_line import fit_frame, tell_missing
from grainplan.photos.greycard import apply_tones, read_card
from grainplan.photos.join import join_parts
from grainplan.photos.lens import weigh_bows
from grainplan.photos.light import light_side
from grainplan.photos.load import Photo, PhotoHeader, load_photo, read_header
from grainplan.photos.locate import FoundCorners, choose_search_reduction, find_corners
from grainplan.photos.resample import Area, choose_reduction, flatten_photo
from grainplan.photos.scale import find_scale
from grainplan.photos.settle import meet_well, settle_parts
from grainplan.photos.sheets import find_sheets
from grainplan.picture import Picture, Pixels
from grainplan.progress import Progress, keep_quiet

PX_PER_MM = 2.0
_LENS_TOLD_MM = 1.0
_TAPE_MM = 0.8  # 1/32 in, how well a tape is read
_K1_WORTH = 0.8  # of the usual doubt: a lens that edges leave more of is not used
_CROOK_TOLD_MM = 1.0
_OPEN_DOUBT = 0.004  # of a part's length, by its typed width: standard deviation where one end of the board is seen
_FLOATING_DOUBT = 0.007  # and where none is, for a tilt about the length does not show then


def flatten_side(
    board: RoughBoard, side: Side, *, px_per_mm: float = PX_PER_MM, progress: Progress = keep_quiet
) -> BoardSide | NotFound:
    """One side of a board from its photo, square-on and evenly lit, in the board frame.

    Columns run along x and rows along y on the face and the back, along y and z on the ends; the back and the head are
    seen through the board, so that all four agree along the edges they share.

    Parameters
    ----------
    board : RoughBoard
    side : {"face", "back", "foot", "head"}
    px_per_mm : float
        Of the picture that is made. Where the photo itself has fewer, a caveat says so.
    progress : callable

    Returns
    -------
    BoardSide, or NotFound where the side has no photo or the photo cannot be placed on the board.

    Raises
    ------
    PhotoError
        When a photo cannot be read or its corners cannot be right.
    """
    found = read_side(board, side, px_per_mm=px_per_mm, progress=progress)
    return found if isinstance(found, NotFound) else found.side


@dataclass(frozen=True, slots=True)
class ReadSide:
    """A flattened side, whether a grey card made its colours true, and where its photos show that wood is missing."""

    side: BoardSide
    true_colour: bool
    missing: tuple[Flaw, ...] = ()


def read_side(
    board: RoughBoard,
    side: Side,
    *,
    px_per_mm: float = PX_PER_MM,
    follow_edges: bool = False,
    progress: Progress = keep_quiet,
) -> ReadSide | NotFound:
    """As :func:`flatten_side`, with what is known of its colours.

    With `follow_edges` the edges of a broad side are held against its straight frame too: they tell of wood that is
    missing, of a crook, and of the lens.
    """
    photos = board.photos.get(side, ())
    if not photos:
        return NotFound(f"board {board.name} has no photo of its {side}")
    seen: list[_Seen] = []
    for i, shot in enumerate(photos):
        progress(0.7 * i / len(photos), f"reading board {board.name}, {side} ({shot.path.name})")
        one = _see(board, side, shot, px_per_mm)
        if follow_edges and not isinstance(one, NotFound) and (side == "face" or side == "back"):
            one = _follow_edges(board, side, one)
        if isinstance(one, NotFound):
            return one
        seen.append(one)
    progress(0.7, f"flattening board {board.name}, {side}")
    made = _make_flat(board, side, seen, px_per_mm)
    if isinstance(made, NotFound):
        return made
    pixels, told = made
    lens = _tell_lens(seen[0].view, side) if len(seen) == 1 else ()  # the join tells of it for all together
    progress(1.0, f"flattened board {board.name}, {side}")
    flat = BoardSide(
        picture=Picture(pixels, px_per_mm),
        photo_px_per_mm=round(min(float(s.view.densities()[4].min()) for s in seen), 3),
        scale_doubt_percent=round(max(doubt_scale(s.view, corner_px=s.corner_px) for s in seen), 3),
        caveats=tuple(dict.fromkeys([*told, *(c for s in seen for c in s.caveats), *lens])),
    )
    return ReadSide(flat, any(s.card_mm is not None for s in seen), tuple(f for s in seen for f in s.missing))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A photo, how it sees the side, how well its corners are known, and what is to be told of it.

    `card_mm`: where along the board a grey card lies that made the photo's colours true. `missing`: where its edges
    show that wood is missing. `x_mm`: the part of the length that it shows; `floats` where its edges do not tell which.
    `mark_mm`: how well the place of its corners along the board is known, where they are not at the board's ends.
    """

    photo: Photo
    view: View
    corner_px: float
    caveats: tuple[str, ...]
    card_mm: float | None = None
    missing: tuple[Flaw, ...] = ()
    x_mm: tuple[float, float] | None = None
    floats: bool = False
    mark_mm: float = MARK_MM

    def as_part(self, length_mm: float) -> Part:
        """As one of several photos of a side."""
        start, end = self.x_mm or (0.0, length_mm)
        return Part(self.photo, self.view, start, end, self.card_mm is not None, self.mark_mm)


def _make_flat(
    board: RoughBoard, side: Side, seen: list[_Seen], px_per_mm: float
) -> tuple[Pixels, tuple[str, ...]] | NotFound:
    """The side's pixels, from one photo or from several."""
    area = Area.of((0.0, 0.0), size_side(board, side), px_per_mm)
    told: tuple[str, ...] = ()
    if len(seen) == 1:
        pixels = flatten_photo(seen[0].photo, seen[0].view, area)
    else:
        parts = settle_parts([s.as_part(board.length_mm) for s in seen], [s.floats for s in seen], area)
        if isinstance(parts, NotFound):
            return replace(parts, reason=f"board {board.name}, {side}: {parts.reason}")
        joined = join_parts(parts, area)
        apart = meet_well(joined, [shot.corners is None for shot in board.photos[side]])
        if apart is not None:
            return replace(apart, reason=f"board {board.name}, {side}: {apart.reason}")
        pixels, told = joined.pixels, joined.caveats
    if side not in BROAD_SIDES:
        return pixels, told
    if board.width_head_mm is not None:
        pixels = _cover_beyond_edge(pixels, board, px_per_mm)
    card_mm = next((s.card_mm for s in seen if s.card_mm is not None), None)
    pixels, shade = light_side(pixels, px_per_mm, true_at_mm=card_mm)
    return pixels, (*told, *shade)


def _see(board: RoughBoard, side: Side, shot: SidePhoto, px_per_mm: float) -> _Seen | NotFound:
    """Read a photo, place it on the board, and look at what it is good for."""
    if len(board.photos[side]) > 1 and shot.x_mm is None:
        return NotFound(
            f"board {board.name}, {side} ({shot.path.name}): one of several photos of a side needs its x, the part of "
            "the length that it shows; mark both ends of each stretch on the board with chalk"
        )
    header = read_header(shot.path)
    placed = _place_photo(board, side, shot, (header, px_per_mm))
    if isinstance(placed, NotFound):
        return placed
    photo, view, corner_px = placed.photo, placed.view, placed.corner_px
    told: tuple[str, ...] = ()
    if side in BROAD_SIDES:
        view, told = _use_sheets(photo, view, corner_px)
    told = (*view.caveats, *told, *check_photo(photo, view, side), *_tell_density(view, px_per_mm))
    placed = replace(placed, view=view, caveats=told)
    if shot.grey_card is None:
        return placed
    tones = read_card(photo, shot.grey_card, called=f"board {board.name}, {side} ({shot.path.name})")
    if isinstance(tones, NotFound):
        return replace(placed, caveats=(*told, f"{tones.reason}. The photo's colours are left as they are"))
    lies = apply_homography(np.linalg.inv(view.to_photo), tones.middle_px[None])
    card_mm = float(np.clip(lies[0, 0], 0.0, board.length_mm))
    return replace(placed, photo=apply_tones(photo, tones), card_mm=card_mm)


def _follow_edges(board: RoughBoard, side: BroadSide, seen: _Seen) -> _Seen:
    """Take the lens from the board's long edges where sheets do not tell it better, and see where wood is missing."""
    frame = fit_frame(seen.photo, seen.view, side)
    told, missing = tell_missing(seen.photo, frame, side, length_mm=board.length_mm)
    seen = replace(seen, caveats=(*seen.caveats, *told), missing=missing)
    if len(board.photos[side]) > 1:  # the join finds the lens for all photos together
        return seen
    bows = weigh_bows(seen.photo, seen.view, frame, crook_mm=board.crook_mm)
    if isinstance(bows, NotFound):
        return seen
    caveats, off = seen.caveats, bows.crook_mm
    if abs(off.value) - board.crook_mm > off.doubt + _CROOK_TOLD_MM:
        way = "toward the other edge" if off.value > 0 else "toward the face edge"
        caveats += (
            f"its long edges bow {way}, by {abs(off.value):.1f} ± {off.doubt:.1f} mm at mid-length: a crook of "
            f"{board.crook_mm:.1f} mm was typed; the frame runs straight from corner to corner",
        )
    view = seen.view
    if bows.k1.doubt < min(view.k1_doubt, _K1_WORTH * USUAL_K1):
        view = know_lens(view, k1=bows.k1.value, doubt=bows.k1.doubt)
    return replace(seen, view=view, caveats=caveats)


def _place_photo(board: RoughBoard, side: Side, shot: SidePhoto, wanted: tuple[PhotoHeader, float]) -> _Seen | NotFound:
    """Decode a photo as finely as is wanted and say how it sees the side, by typed corners or by its outline."""
    header, px_per_mm = wanted
    called = f"board {board.name}, {side} ({shot.path.name})"
    size = (header.width_px, header.height_px)
    if shot.corners is not None:
        outline = outline_side(board, side, x_mm=shot.x_mm)
        view = place_view(outline, np.array(shot.corners), size_px=size, side=side, called=called)
        photo = load_photo(header, reduction=choose_reduction(view, px_per_mm))
        return _Seen(photo, view, CORNER_DOUBT_PX, (), x_mm=shot.x_mm)
    photo = load_photo(header, reduction=choose_search_reduction(header))
    found = find_corners(photo, board, side, shot)
    if isinstance(found, NotFound):
        return found
    outline = outline_side(board, side, x_mm=found.x_mm)
    view = place_view(outline, found.corners_px, size_px=size, side=side, called=called)
    finer = choose_reduction(view, px_per_mm)
    if finer < photo.reduction:
        photo = load_photo(header, reduction=finer)
    view = replace(view, caveats=(*found.caveats, *view.caveats))
    return _Seen(photo, view, found.doubt_px, (), x_mm=found.x_mm, floats=found.floats, mark_mm=_doubt_mark(found))


def _doubt_mark(found: FoundCorners) -> float:
    """How well the open ends of a part are placed along the board by its width, mm, standard deviation."""
    if found.x_mm is None:
        return MARK_MM
    share = _FLOATING_DOUBT if found.floats else _OPEN_DOUBT
    return max(MARK_MM, share * (found.x_mm[1] - found.x_mm[0]))


def _use_sheets(photo: Photo, view: View, corner_px: float) -> tuple[View, tuple[str, ...]]:
    """Take the lens from scale sheets in the photo, and hold the typed sizes against them."""
    sheets = find_sheets(photo, around_px=view.corners_px)
    if not sheets:
        return view, ()
    scale = find_scale(sheets, view.size_px)
    if isinstance(scale, NotFound):
        return view, (scale.reason,)
    told = []
    typed = np.linalg.norm(np.roll(view.outline_mm, -1, axis=0) - view.outline_mm, axis=1)
    found = scale.measure_sides(view.corners_px, corner_px=corner_px)
    for what, size, by_hand in zip(("long", "wide"), found, (typed[[0, 2]].mean(), typed[[1, 3]].mean()), strict=True):
        if abs(size.value - by_hand) > size.doubt + _TAPE_MM:
            told.append(
                f"by the scale sheets it is {size.value:.0f} mm {what}, ± {size.doubt:.1f}, but {by_hand:.0f} "
                "as typed: measure again, and see that the sheets lie as high as the face; sheets lying lower by the "
                "board's thickness make it look larger by thickness over camera distance"
            )
    foot, head, taper = scale.measure_widths(view.corners_px, corner_px=corner_px)
    if abs(taper.value - (typed[3] - typed[1])) > taper.doubt + _TAPE_MM:
        told.append(
            f"by the scale sheets it is {foot.value:.0f} ± {foot.doubt:.1f} mm wide at the foot and {head.value:.0f} ± "
            f"{head.doubt:.1f} at the head, but {typed[3]:.0f} and {typed[1]:.0f} as typed: measure both ends, and "
            "write width and width_head"
        )
    to_board = np.linalg.inv(view.to_photo)
    for sheet in sheets:
        x, y = apply_homography(to_board, sheet.corners_px).mean(axis=0)
        low, high = view.outline_mm.min(axis=0), view.outline_mm.max(axis=0)
        if low[0] < x < high[0] and low[1] < y < high[1]:
            told.append(f"the {sheet.name} scale sheet hides the wood about {x:.0f} mm from the foot")
    if scale.k1.doubt < view.k1_doubt:
        view = know_lens(view, k1=scale.k1.value, doubt=scale.k1.doubt)
    return view, tuple(told)


def _tell_density(view: View, px_per_mm: float) -> tuple[str, ...]:
    own = float(view.densities()[4].min())
    if own >= 0.98 * px_per_mm:
        return ()
    return (
        f"the photo has only {own:.2g} px/mm, fewer than the {px_per_mm:g} px/mm of its flattened picture; closer "
        "photos show more",
    )


def _tell_lens(view: View, side: Side) -> tuple[str, ...]:
    off = doubt_lens_mm(view)
    if side not in BROAD_SIDES or off < _LENS_TOLD_MM:
        return ()
    return (
        f"the lens is {'not' if view.k1_doubt == USUAL_K1 else 'only roughly'} known: with the distortion that it may "
        f"leave, places between the corners may be up to {off:.1f} mm off",
    )


def _cover_beyond_edge(pixels: Pixels, board: RoughBoard, px_per_mm: float) -> Pixels:
    """Below the edge of a tapered board lies floor: repeat the last wood there, so that no floor counts as wood."""
    x = (np.arange(pixels.shape[1]) + 0.5) / px_per_mm
    edge = np.interp(x, [0.0, board.length_mm], [board.width_at(0.0), board.width_at(board.length_mm)])
    last = np.clip(np.floor(edge * px_per_mm - 0.5).astype(int) - 1, 0, pixels.shape[0] - 1)
    rows = np.minimum(np.arange(pixels.shape[0])[:, None], last[None, :])
    return np.ascontiguousarray(np.take_along_axis(pixels, rows[:, :, None], axis=0))
