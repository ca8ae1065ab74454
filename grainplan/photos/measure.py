"""All sides of a board, flattened, evenly lit and brought to one light."""

from __future__ import annotations

from dataclasses import replace

from grainplan.boards import SIDES, BoardSide, Flaw, MeasuredBoard, RoughBoard, Side
from grainplan.errors import NotFound
from grainplan.measured import Measured
from grainplan.photos.flatten import PX_PER_MM, read_side
from grainplan.photos.light import agree_colours
from grainplan.picture import Picture
from grainplan.progress import Progress, keep_quiet, part_of

TAPE_DOUBT_MM = 0.8  # 1/32 in, how well a tape is read over a rough end (common practice)
_APART_TOLD = 0.12


def measure_board(board: RoughBoard, *, px_per_mm: float = PX_PER_MM, progress: Progress = keep_quiet) -> MeasuredBoard:
    """Flatten every side of a board that has a photo.

    A side that cannot be placed is left out and told among the caveats. Where a photo shows that wood is missing along
    an edge, it stands among the flaws; grain, pith and other flaws are read from the sides by later rooms.

    Parameters
    ----------
    board : RoughBoard
    px_per_mm : float
        Of the flattened pictures.
    progress : callable

    Raises
    ------
    PhotoError
        When a photo cannot be read or its corners cannot be right.
    """
    sides: dict[Side, BoardSide] = {}
    true_colours: set[Side] = set()
    caveats: list[str] = []
    missing: list[Flaw] = []
    wanted = [side for side in SIDES if board.photos.get(side)]
    for place, side in enumerate(wanted):
        share = part_of(progress, place / len(wanted), (place + 1) / len(wanted))
        found = read_side(board, side, px_per_mm=px_per_mm, follow_edges=True, progress=share)
        if isinstance(found, NotFound):
            caveats.append(found.reason)
        else:
            sides[side] = found.side
            missing += found.missing
            true_colours |= {side} if found.true_colour else set()
    if "face" in sides and "back" in sides:
        sides["face"], sides["back"], told = _agree(sides["face"], sides["back"], true_colours)
        caveats += told
    if not wanted:
        caveats.append(f"board {board.name} has no photos: its wood is not known")
    return MeasuredBoard(
        board=board,
        length_mm=Measured(board.length_mm, TAPE_DOUBT_MM, ("as typed",)),
        width_mm=Measured(board.width_mm, TAPE_DOUBT_MM, ("as typed",)),
        sides=sides,
        flaws=(*board.flaws, *board.list_open(missing)),
        caveats=tuple(caveats),
    )


def _agree(face: BoardSide, back: BoardSide, true_colours: set[Side]) -> tuple[BoardSide, BoardSide, list[str]]:
    """Face and back in one light; a side whose colours a grey card made true stays as it is."""
    sure = ("face" in true_colours, "back" in true_colours)
    share = {(True, False): 0.0, (False, True): 1.0}.get(sure, 0.5)
    over, under, apart = agree_colours(face.picture.pixels, back.picture.pixels, face_share=share)
    differ = f"the photos of face and back differ by {apart:.0%} in brightness or colour along the edges they share"
    if all(sure):
        doubt = f"{differ}, although both have a grey card: see that each card lies in the board's own light"
        return face, back, [doubt] if apart > _APART_TOLD else []
    told = []
    if apart > _APART_TOLD:
        evened = {
            0.5: "they were evened to the middle between them. Take both in the same light, or with a grey card, for "
            "true colours",
            0.0: "the back was brought to the face, which has a grey card",
            1.0: "the face was brought to the back, which has a grey card",
        }
        told.append(f"{differ}; {evened[share]}")
    density = face.picture.px_per_mm
    return replace(face, picture=Picture(over, density)), replace(back, picture=Picture(under, density)), told
