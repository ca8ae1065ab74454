"""What the previews show is what the plan says: pixels are compared with a formula, never with a stored picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grainplan.boards import Leaf
from grainplan.frame import Bay, FrameLook
from grainplan.match.surfaces import LeafSurface
from grainplan.picture import Picture
from grainplan.plan import PlannedBay, PlannedPanel, Seam, Strip
from grainplan.show.marks import LIGHT_AND_DARK, MEANINGS, find_sign, load_font
from grainplan.show.mist import cover_with_mist
from grainplan.show.panel_picture import draw_panel
from grainplan.show.preview import Piece, draw_bay, draw_piece, measure_wood_tone, name_files, save_previews
from grainplan.show.strips import place_strips
from grainplan.show.wood_frame import Opening, draw_bay_frame, lay_out_bay, measure_arch_drops

# One bay, worked by hand. Sight 200 wide; groove 10, end gap 2, float 6, over-width and over-length 5, joint 2:
# finished width 200 + 20 - 6 = 214, glued 224, so each of two strips is (224 + 4) / 2 = 114 wide as sawn and the sight
# lines stand (224 - 200) / 2 = 12 inside the glued panel. Along: sight + 20 - 4 finished, + 10 rough, so the sight
# lines stand 13 inside the rough ends. Rail 50, skipped: lower 300 high from x = 40.
SIGHT_W, LOWER, UPPER, RAIL, JOINT = 200.0, 300.0, 150.0, 50.0, 2.0
LOWER_X = (40.0, 40.0 + 300.0 + 26.0)
UPPER_X = (LOWER_X[1] - 13.0 + RAIL - 13.0, LOWER_X[1] - 13.0 + RAIL + 150.0 + 13.0)
LENGTH, WIDTH, DENSITY = 620.0, 140.0, 2.0
Y = (9.0, 123.0)
A1, A2 = Leaf("A", 1), Leaf("A", 2)


def blank(colour: tuple[int, int, int] = (200, 170, 130)) -> np.ndarray:
    return np.full((round(WIDTH * DENSITY), round(LENGTH * DENSITY), 3), colour, np.uint8)


def dotted(x_mm: float, y_mm: float) -> Picture:
    """A plain board with one red dot of 4 mm."""
    pixels = blank()
    rows, columns = np.indices(pixels.shape[:2])
    near = np.hypot((columns + 0.5) / DENSITY - x_mm, (rows + 0.5) / DENSITY - y_mm) < 2.0
    pixels[near] = (255, 0, 0)
    return Picture(pixels, DENSITY)


def find_dot(panel: np.ndarray, px_per_mm: float) -> tuple[float, float]:
    """Where the red dot stands: across from the left, up from the lower edge, mm."""
    red = np.clip(panel[..., 0].astype(float) - panel[..., 1] - 60.0, 0, None)
    assert red.sum() > 0, "the dot does not show"
    rows, columns = np.indices(red.shape)
    across = ((columns + 0.5) * red).sum() / red.sum() / px_per_mm
    return across, panel.shape[0] / px_per_mm - ((rows + 0.5) * red).sum() / red.sum() / px_per_mm


def strips(x_mm, *, foot="down", surfaces=("far", "near"), y_mm=Y):
    return tuple(
        Strip(leaf, surface, foot, "stand-in", x_mm, y_mm) for leaf, surface in zip((A1, A2), surfaces, strict=True)
    )


def draw(x_mm, height, shown, *, side="front", px_per_mm=2.0, **named):
    panel = PlannedPanel(SIGHT_W + 14, height + 16, strips(x_mm, **named))
    places = place_strips(panel, sight_width_mm=SIGHT_W, sight_height_mm=height, joint_mm=JOINT)
    return draw_panel(places, (SIGHT_W, height), surfaces=shown, side=side, px_per_mm=px_per_mm)


def worked_by_hand(x: float, y: float, *, part: str, place: int, foot: str, flipped: bool) -> tuple[float, float]:
    """Where a board point shows in its opening, from the numbers above and nothing else."""
    low, high, height = (*LOWER_X, LOWER) if part == "lower" else (*UPPER_X, UPPER)
    up = x - (low + 13.0) if foot == "down" else (high - 13.0) - x
    assert 0 < up < height
    if place == 0:  # its left edge is rough, 12 mm behind the stile; its right one was planed by the joint
        across = (y - Y[0]) - 12.0 if not flipped else (Y[1] - y) - 12.0
    else:  # its left edge lost 2 mm to the joint and stands on the middle
        across = 100.0 + ((y - (Y[0] + 2.0)) if not flipped else ((Y[1] - 2.0) - y))
    return across, up


@pytest.mark.parametrize("part", ["lower", "upper"])
@pytest.mark.parametrize("foot", ["down", "up"])
@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("surface", ["near", "far"])
@pytest.mark.parametrize("px_per_mm", [2.0, 1.1, 3.3])
def test_a_marked_pixel_lands_where_the_formula_says(part, foot, place, surface, px_per_mm) -> None:
    x_mm, height = (LOWER_X, LOWER) if part == "lower" else (UPPER_X, UPPER)
    x, y = (150.0, 61.0) if part == "lower" else (470.0, 61.0)
    flipped = (surface == "far") != (foot == "up")
    leaf = (A1, A2)[place]
    shown = {(lf, s): LeafSurface(Picture(blank(), DENSITY), "own side") for lf in (A1, A2) for s in ("near", "far")}
    shown[leaf, surface] = LeafSurface(dotted(x, y), "own side")
    panel = draw(x_mm, height, shown, foot=foot, surfaces=(surface, surface), px_per_mm=px_per_mm)
    expected = worked_by_hand(x, y, part=part, place=place, foot=foot, flipped=flipped)
    assert find_dot(panel, px_per_mm) == pytest.approx(expected, abs=0.3)


def test_from_behind_the_other_surface_shows_mirrored() -> None:
    shown = {(lf, "far"): LeafSurface(Picture(blank((90, 90, 200)), DENSITY), "own side") for lf in (A1, A2)}
    shown |= {(lf, "near"): LeafSurface(Picture(blank((90, 200, 90)), DENSITY), "own side") for lf in (A1, A2)}
    front, back = (draw(LOWER_X, LOWER, shown, side=side) for side in ("front", "back"))
    left, right = front[:, :200], front[:, 200:]
    assert (left == (90, 90, 200)).all()  # A1 far
    assert (right == (90, 200, 90)).all()  # A2 near
    assert (back[:, :200] == (90, 90, 200)).all()  # from behind A2 stands left, and shows its far surface
    assert (back[:, 200:] == (90, 200, 90)).all()
    shown[A1, "near"] = LeafSurface(dotted(150.0, 61.0), "own side")
    across, up = find_dot(draw(LOWER_X, LOWER, shown, side="back"), 2.0)
    as_from_the_front = worked_by_hand(150.0, 61.0, part="lower", place=0, foot="down", flipped=True)
    assert (SIGHT_W - across, up) == pytest.approx(as_from_the_front, abs=0.3)


def test_a_book_seam_is_a_mirror_line() -> None:
    """Two mates with one picture between them open like a book: the panel is its own mirror image."""
    wood = Picture(np.random.default_rng(5).integers(0, 255, blank().shape, dtype=np.uint8), DENSITY)
    shown = {(A1, "far"): LeafSurface(wood, "inside"), (A2, "near"): LeafSurface(wood, "inside")}
    panel = draw(LOWER_X, LOWER, shown)
    assert np.array_equal(panel, panel[:, ::-1])
    slipped = draw(LOWER_X, LOWER, shown | {(A1, "near"): LeafSurface(wood, "inside")}, surfaces=("near", "near"))
    assert not np.array_equal(slipped, slipped[:, ::-1])


@pytest.mark.parametrize("foot", ["down", "up"])
def test_a_slanted_line_runs_on_behind_the_rail(foot) -> None:
    pixels = blank()
    rows, columns = np.indices(pixels.shape[:2])
    slope = 0.12
    pixels[np.abs((rows + 0.5) / DENSITY - 30.0 - slope * (columns + 0.5) / DENSITY) < 1.2] = (60, 30, 10)
    shown = {(A2, "near"): LeafSurface(Picture(pixels, DENSITY), "own side")}
    lower_x, upper_x = (LOWER_X, UPPER_X) if foot == "down" else (mirrored(LOWER_X), mirrored(UPPER_X))
    heights = []
    for x_mm, height, sill in ((lower_x, LOWER, 0.0), (upper_x, UPPER, LOWER + RAIL)):
        panel = draw(x_mm, height, shown, foot=foot, surfaces=("near", "near"))[:, 200:, 0].astype(float)
        dark = np.clip(150.0 - panel, 0, None)
        found = dark.sum(axis=1) > 300
        middles = (dark * np.arange(dark.shape[1])).sum(axis=1)[found] / dark.sum(axis=1)[found]
        ups = sill + height - (np.nonzero(found)[0] + 0.5) / 2.0
        heights.append(np.polyfit(ups, middles / 2.0, 1))
    at_middle_of_rail = [np.polyval(line, LOWER + RAIL / 2) for line in heights]
    assert abs(heights[0][0]) == pytest.approx(slope, abs=0.003)
    assert at_middle_of_rail[0] == pytest.approx(at_middle_of_rail[1], abs=0.3)


def mirrored(x_mm: tuple[float, float]) -> tuple[float, float]:
    return LENGTH - x_mm[1], LENGTH - x_mm[0]


def shows(panel: np.ndarray, board: np.ndarray) -> bool:
    """Whether the right half of the lower panel (A2 near, foot down) shows this board where it should."""
    first = round((Y[0] + 2.0) * DENSITY)
    left = round((LOWER_X[0] + 13.0) * DENSITY)
    expected = board[first : first + 200, left : left + 600].transpose(1, 0, 2)[::-1]
    return float(np.abs(panel[:, 200:].astype(float) - expected).mean()) < 1.0


def test_a_wrong_picture_is_told_from_the_right_one() -> None:
    random = np.random.default_rng(7)
    board = random.integers(0, 255, blank().shape, dtype=np.uint8)
    shown = {(A2, "near"): LeafSurface(Picture(board.copy(), DENSITY), "own side")}
    assert shows(draw(LOWER_X, LOWER, shown), board)
    for wrong in (board[::-1], board[:, ::-1], np.roll(board, 2, axis=1), np.roll(board, 2, axis=0)):
        bad = {(A2, "near"): LeafSurface(Picture(np.ascontiguousarray(wrong), DENSITY), "own side")}
        assert not shows(draw(LOWER_X, LOWER, bad), board)
    assert not shows(draw(LOWER_X, LOWER, shown, surfaces=("near", "near"), foot="up"), board)


def test_three_strips_lose_their_joints_and_stay_in_the_middle() -> None:
    """Rough 224 of three strips of (224 + 8) / 3 each: the outer ones lose one joint, the middle one two."""
    wide = (224.0 + 8.0) / 3
    made = tuple(Strip(Leaf("A", n), "near", "down", "none", LOWER_X, (0.0, wide)) for n in (1, 2, 3))
    places = place_strips(
        PlannedPanel(214.0, 316.0, made), sight_width_mm=SIGHT_W, sight_height_mm=LOWER, joint_mm=JOINT
    )
    assert [p.left_mm for p in places] == pytest.approx([-12.0, wide - 2 - 12, 2 * wide - 6 - 12])
    assert places[-1].right_mm == pytest.approx(212.0)
    assert places[1].board_point(places[1].left_mm, 0.0) == pytest.approx((53.0, 2.0))


def test_strips_that_do_not_fill_the_opening_are_refused() -> None:
    panel = PlannedPanel(214.0, 316.0, strips(LOWER_X)[:1])
    with pytest.raises(ValueError, match="does not fill"):
        place_strips(panel, sight_width_mm=SIGHT_W, sight_height_mm=LOWER, joint_mm=JOINT)


def test_the_arch_is_the_published_circle() -> None:
    """W 300, H 40: y(75) = 30.515, y(100) = 22.918, y(150) = 0 (Machinery's Handbook, segments of circles)."""
    opening = Opening("upper", 50.0, 60.0, 300.0, 200.0, 40.0)
    drops = measure_arch_drops(opening, 3000, 10.0)
    for x, y in ((0.0, 40.0), (75.0, 30.515), (100.0, 22.918)):
        assert 40.0 - np.interp(x, (np.arange(3000) + 0.5) / 10 - 150.0, drops) == pytest.approx(y, abs=0.01)
    assert 40.0 - drops[0] == pytest.approx(0.0, abs=0.05)


def test_the_panel_is_cut_by_its_arch() -> None:
    bay = Bay("door", 300.0, panel_mm=400.0, arch_mm=40.0)
    layout = lay_out_bay(bay, FrameLook(50.0, 60.0, 70.0))
    assert (layout.width_mm, layout.height_mm) == (400.0, 530.0)
    red = np.full((800, 600, 3), (255, 0, 0), np.uint8)
    drawn = draw_bay_frame(layout, {"panel": red}, wood=(200.0, 180.0, 150.0), px_per_mm=2.0, seed=0)
    is_panel = drawn[..., 0].astype(int) > 4 * drawn[..., 2].astype(int) + 40
    for x, y in ((0.0, 40.0), (75.0, 30.515), (-100.0, 22.918)):
        column = round((50.0 + 150.0 + x) * 2)
        top = 530.0 - np.argmax(is_panel[:, column]) / 2.0
        assert top - (70.0 + 360.0) == pytest.approx(y, abs=1.0)
    assert not is_panel[:, : 50 * 2].any()
    assert not is_panel[-70 * 2 :].any()


def example_piece(seen_as="stand-in") -> Piece:
    panels = {
        "lower": PlannedPanel(214.0, 316.0, strips(LOWER_X)),
        "upper": PlannedPanel(214.0, 166.0, strips(UPPER_X)),
    }
    seams = (Seam("lower", "front", (0, 1), "book", Y[0], 3.2),)
    bays = (
        Bay("left door", SIGHT_W, LOWER, UPPER, RAIL, seen="both", arch_mm=20.0),
        Bay("right door", SIGHT_W, LOWER, UPPER, RAIL, arch_mm=20.0),
        Bay("left side", 150.0, panel_mm=500.0, view="left side"),
    )
    planned = {"left door": PlannedBay("left door", panels, seams), "right door": PlannedBay("right door", panels)}
    wood = Picture(blank(), DENSITY)
    shown = {(A1, "far"): LeafSurface(wood, seen_as), (A2, "near"): LeafSurface(wood, "own side")}
    return Piece("Cupboard", FrameLook(), JOINT, bays, planned, shown)


def test_a_stand_in_is_marked_and_a_real_surface_is_not() -> None:
    """The two pictures differ only where the tags stand: on strips of A1, near their lower ends."""
    marked = draw_bay(example_piece(), "right door")
    plain = draw_bay(example_piece("own side"), "right door")
    high = min(marked.shape[0], plain.shape[0])
    rows, columns = np.nonzero((marked[:high] != plain[:high]).any(axis=2))
    inside = rows < plain.shape[0] - 150
    assert inside.any()
    assert columns[inside].max() < plain.shape[1] / 2
    signs = [find_sign(LeafSurface(None, seen)) for seen in ("stand-in", "none", "own side", "leaf photo")]
    assert signs == ["stand-in", "not seen", "", ""]
    predicted = [find_sign(LeafSurface(Picture(blank(), DENSITY), "inside", sure)) for sure in (0.8, 0.1)]
    assert predicted == ["predicted", "a guess"]
    assert {s for s in (*signs, *predicted) if s} == set(MEANINGS)


def test_the_caution_stands_only_beside_a_book_match() -> None:
    piece = example_piece("own side")
    with_seams = draw_bay(replace(piece, bays=(replace(piece.bays[0], seen="front"),)), "left door")
    without = draw_bay(replace(piece, bays=(piece.bays[1],)), "right door")
    assert with_seams.shape[0] > without.shape[0]
    assert "walks by" in LIGHT_AND_DARK


def test_all_pictures_are_written(tmp_path: Path) -> None:
    told: list[float] = []
    paths = save_previews(example_piece(), tmp_path / "out", progress=lambda share, _: told.append(share))
    names = [str(p.relative_to(tmp_path / "out")) for p in paths]
    assert names[:3] == ["front.png", "back.png", "front-guesses.png"]  # the example shows stand-ins
    assert names[3:] == ["bays/left door.png", "bays/right door.png", "bays/left side.png"]
    assert told == sorted(told)
    assert told[-1] == 1.0
    sizes = {p.name: Image.open(p).size for p in paths}
    assert sizes["front.png"] == sizes["back.png"]
    assert sizes["left door.png"][0] > 1.7 * sizes["right door.png"][0]  # from behind beside it


def test_from_behind_the_row_is_mirrored() -> None:
    """The open bay (dark, a view of its own) stands left from the front and right from behind."""
    front, back = (draw_piece(example_piece(), side) for side in ("front", "back"))
    middle = front.shape[0] // 3
    dark_front, dark_back = (np.nonzero(p[middle].mean(axis=1) < 75)[0].mean() / p.shape[1] for p in (front, back))
    assert dark_front < 0.4
    assert dark_back > 0.6


def test_a_green_cast_makes_no_green_stiles() -> None:
    greenish = {(A1, "near"): LeafSurface(Picture(blank((150, 155, 110)), DENSITY), "own side")}
    red, green, blue = measure_wood_tone(replace(example_piece(), surfaces=greenish))
    assert red > green > blue


def test_file_names_hold_what_a_disk_may_refuse() -> None:
    assert name_files(["a/b", "a:b", "Tür", "..", "A-B"]) == ["a-b", "a-b (2)", "Tür", "bay", "A-B (3)"]


def test_the_font_has_every_letter_that_is_written() -> None:
    """A missing letter is drawn as the box of an unassigned one."""
    font = load_font(20)
    box = bytes(font.getmask("\uffff"))
    text = "".join(MEANINGS.values()) + LIGHT_AND_DARK + "äöüßéøœČł½⅛⅜⅝⅞×·–—…″′→"
    assert not [c for c in set(text) - {" "} if bytes(font.getmask(c)) == box]


def test_mist_is_as_thick_as_the_doubt_and_spares_what_was_seen() -> None:
    sure = np.array([[0.9, 0.9, 0.2, 0.2]], np.float32)
    plain = Picture(blank((100, 60, 20)), DENSITY)
    misty = cover_with_mist(LeafSurface(plain, "inside", 0.55, sure)).picture
    assert misty is not None
    assert (misty.pixels[:, :200] == (100, 60, 20)).all()  # surer than all that a prediction reaches
    assert (misty.pixels[:, -200:].astype(int) - (100, 60, 20) > 80).all()
    for seen in ("leaf photo", "own side"):
        assert cover_with_mist(LeafSurface(plain, seen)).picture is plain
    idea = cover_with_mist(LeafSurface(plain, "stand-in")).picture
    assert idea is not None
    assert (idea.pixels == misty.pixels[0, -1]).all()  # another surface in its place tells no more than a poor guess
