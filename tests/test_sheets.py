"""The shop sheets: what stands on them, where it stands, and that it fits the paper."""

import csv
import io
import itertools
import random
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from grainplan.boards import Leaf, Piece, RoughBoard
from grainplan.errors import PlanError
from grainplan.frame import Bay
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.plan import BoardUse, Offcut, Plan, PlannedBay, PlannedPanel, Seam, Strip, Unfilled
from grainplan.resaw import Resaw, Stock, cut_pieces, plan_resaw
from grainplan.shop import Shop
from grainplan.show.cutting import LeafArea, order_cuts
from grainplan.show.labels import draw_labels, write_labels
from grainplan.show.paper import (
    Ink,
    Paper,
    PaperName,
    break_lines,
    find_missing,
    measure_words,
    shorten_words,
    spread_apart,
)
from grainplan.show.sheets import draw_sheets
from grainplan.show.tables import tabulate_plan
from grainplan.species import load_species
from grainplan.units import MM_PER_INCH as INCH

A = RoughBoard("A", 72 * INCH, 7.25 * INCH, 15 / 16 * INCH, "white ash", 8.0, cup_mm=INCH / 32)
B = RoughBoard("B", 72 * INCH, 7.75 * INCH, 46.0, "white ash", 8.0, width_head_mm=7.5 * INCH)
LOWER, UPPER, ACROSS = (25.4, 815.975), (850.9, 1285.875), (2.38125, 181.76875)


def _use(board: RoughBoard, shop: Shop) -> BoardUse:
    cut = plan_resaw(Stock.of(board), shop, finished_mm=INCH / 4)
    assert isinstance(cut, Resaw)
    return BoardUse(
        board.name,
        cut.leaves,
        cut.flat_thickness_mm,
        cut.sawn_leaf_mm,
        cut.finished_leaf_mm,
        cut.spare_mm,
        cut.tight,
        cut.mate_gap_mm,
        cut.cuts_mm,
        0.33,
        cut.caveats,
    )


def _filled(name: str, board: str, first: int = 1) -> PlannedBay:
    def strips(x: tuple[float, float]) -> tuple[Strip, Strip]:
        return (
            Strip(Leaf(board, first), "far", "down", "stand-in", x, ACROSS),
            Strip(Leaf(board, first + 1), "near", "down", "stand-in", x, ACROSS),
        )

    seam = Seam("lower", "front", (0, 1), "book", 2.38, 3.175, step_mm=8.7, caveats=("from the ring angle alone",))
    panels = {
        "lower": PlannedPanel(342.9, 777.875, strips(LOWER)),
        "upper": PlannedPanel(342.9, 422.275, strips(UPPER)),
    }
    return PlannedBay(name, panels, (seam,))  # type: ignore[arg-type]


def _bay(name: str, *, arch_mm: float = 0.0) -> Bay:
    return Bay(name, 13 * INCH, lower_mm=30 * INCH, upper_mm=16 * INCH, rail_mm=2.5 * INCH, arch_mm=arch_mm)


@pytest.fixture
def job() -> Job:
    bays = (_bay("left door", arch_mm=1.25 * INCH), _bay("right door"), _bay("left side"), _bay("back"))
    return Job(
        Path("/job"), "0" * 64, "Hall cupboard in ash", "in", (A, B), bays, {"white ash": load_species()["white ash"]}
    )


@pytest.fixture
def plan(job: Job) -> Plan:
    return Plan(
        "Hall cupboard in ash",
        "0" * 64,
        "proven best",
        12.4,
        12.4,
        {},
        boards=(_use(A, job.shop), _use(B, job.shop)),
        bays=(_filled("left door", "A"), _filled("right door", "B"), _filled("left side", "B", 3)),
        unfilled=(Unfilled("back", "a board of 72 in more is missing"),),
        offcuts=(Offcut(Leaf("A", 1), (1289.05, 1803.4), (0.0, 184.15)),),
    )


def _pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def _page_with(pdf: bytes, head: str) -> str:
    found = [text for text in _pages(pdf) if text.startswith(head)]
    assert len(found) == 1, f"{head}: {len(found)} pages"
    return found[0]


def _render(pdf: bytes, folder: Path, *, page: int, dpi: int) -> np.ndarray:
    if not shutil.which("pdftoppm"):
        pytest.skip("pdftoppm is not there")
    (folder / "sheets.pdf").write_bytes(pdf)
    base = folder / "page"
    subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-f", str(page), "-l", str(page), "-gray", "-singlefile", "sheets.pdf", str(base)],
        cwd=folder,
        check=True,
    )
    return np.asarray(Image.open(base.with_suffix(".pgm")))


def test_a_page_a_board_and_a_page_a_bay(job: Job, plan: Plan) -> None:
    heads = [text.splitlines()[0] for text in _pages(draw_sheets(job, plan))]
    assert heads[0] == "Hall cupboard in ash shop sheets"
    first = [h.removesuffix(" Hall cupboard in ash") for h in heads[1:] if "continued" not in h]
    assert first == ["Board A", "Board B", "Left door", "Right door", "Left side"]


def test_fences_stand_in_the_order_of_sawing(job: Job, plan: Plan) -> None:
    text = _page_with(draw_sheets(job, plan), "Board B Hall")
    table = text[text.index("comes off") :].split("\n")[1:4]
    assert table == ["1st 1 1/4 in (1.249) B4", "2nd 7/8 in (0.874) B3", "3rd 1/2 in (0.499) B2"]
    one_cut = _page_with(draw_sheets(job, plan), "Board A Hall")
    assert "27/64 in (0.422)" in one_cut  # 10.72 mm, the job format's example


def test_lines_are_dimensioned_from_foot_and_face_edge(job: Job, plan: Plan) -> None:
    text = _page_with(draw_sheets(job, plan), "Board A Hall")
    # 25.4, 815.98, 850.9, 1285.88 and 2.38, 181.77 mm, to the nearest 1/32 in
    words = " ".join(text.split())
    assert "1 rip the leaf at 3/32, 7 5/32 from the face edge." in words
    assert "2 crosscut what is left at 1, 32 1/8, 33 1/2, 50 5/8 from the foot" in words
    # The offcut of A1 is as wide as the board: it is crosscut free before anything is ripped.
    assert "1 crosscut the leaf at 1, 32 1/8, 33 1/2, 50 5/8 from the foot. 2 rip each piece at 3/32" in words
    assert "keep" in text


def test_a_bay_tells_sizes_room_and_arch(job: Job, plan: Plan) -> None:
    text = _page_with(draw_sheets(job, plan), "Left door Hall")
    assert "30 5/8 × 13 1/2" in text
    assert "31 1/8 × 14" in text
    assert "Float 1/4 in in all" in text
    # Machinery's Handbook, W²/8H + H/2: 13 in over 1 1/4 in is 17.525 in; the panel's edge lies 5/16 in further out.
    assert "17 17/32 in" in text
    assert "17 27/32 in" in text
    assert "Never glue the long edges" in text


def test_the_checklist_lets_the_leaves_rest_and_defers_to_the_manual(job: Job, plan: Plan) -> None:
    first = " ".join(_pages(draw_sheets(job, plan))[0].split())
    assert "LET THE LEAVES REST" in first
    assert "your machine's manual" in first
    assert "back is not filled" in first


def test_cautions_stand_at_their_step(job: Job, plan: Plan) -> None:
    board = " ".join(_page_with(draw_sheets(job, plan), "Board A Hall").split())
    for words in ("flattened face against the tall fence", "Riving knife", "ahead of the blade", "on stickers"):
        assert words in board


def test_the_same_job_gives_the_same_file(job: Job, plan: Plan) -> None:
    assert draw_sheets(job, plan) == draw_sheets(job, plan)
    assert draw_labels(job, plan) == draw_labels(job, plan)


@pytest.mark.parametrize(("paper", "size_mm"), [("A4", (297.0, 210.0)), ("Letter", (279.4, 215.9))])
def test_both_papers(job: Job, plan: Plan, paper: PaperName, size_mm: tuple[float, float]) -> None:
    reader = PdfReader(io.BytesIO(draw_sheets(job, plan, paper=paper)))
    box = reader.pages[0].mediabox
    assert (float(box.width) * INCH / 72, float(box.height) * INCH / 72) == pytest.approx(size_mm, abs=0.01)
    assert reader.viewer_preferences is not None
    assert reader.viewer_preferences.print_scaling == "/None"


def test_a_shop_in_millimetres_gets_a4_and_no_inches(job: Job, plan: Plan) -> None:
    metric = replace(job, units="mm")
    pages = _pages(draw_sheets(metric, plan))
    assert float(PdfReader(io.BytesIO(draw_sheets(metric, plan))).pages[0].mediabox.width) == pytest.approx(
        841.9, abs=0.1
    )
    assert "10.7 mm" in pages[1]
    assert not [page for page in pages if " in (" in page]


def test_the_check_square_is_50_mm_on_paper(job: Job, plan: Plan, tmp_path: Path) -> None:
    dpi = 300
    page = _render(draw_sheets(job, plan), tmp_path, page=1, dpi=dpi) < 128
    # The square stands at the right: its sides are the only upright lines there that are so long.
    right = page[: page.shape[0] // 2, int(page.shape[1] * 0.75) :]
    tall = np.flatnonzero(right.sum(axis=0) > 45 / INCH * dpi)
    assert (tall[-1] - tall[0]) / dpi * INCH == pytest.approx(50.0, abs=0.45)  # a line is 0.3 mm wide
    centre = (tall[tall < tall.mean()].mean(), tall[tall > tall.mean()].mean())
    assert (centre[1] - centre[0]) / dpi * INCH == pytest.approx(50.0, abs=0.1)


def test_the_end_is_drawn_to_size_with_its_kerf(job: Job, plan: Plan, tmp_path: Path) -> None:
    dpi = 300
    flat = replace(A, cup_mm=0.0)  # so that the rough outline is the flat one
    jobs = replace(job, boards=(flat, B))
    page = _render(draw_sheets(jobs, replace(plan, boards=(_use(flat, job.shop),))), tmp_path, page=2, dpi=dpi) < 128
    mm = dpi / INCH
    # A column near the right end of the board's end (16 mm from the left of the paper, 184 mm long), clear of words.
    column = page[int(25 * mm) : int(60 * mm), int((16 + 165) * mm)]
    edges = np.flatnonzero(np.diff(column.astype(int)))
    runs = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=False) if b - a > 4]
    face, kerf, back = sorted(sorted(runs, key=lambda r: r[0] - r[1])[:3])
    assert (kerf[1] - kerf[0]) / mm == pytest.approx(1.5875, abs=0.12)
    # a + spare / 2 + t + p with 15/16 in flat: 0.79375 + 3.175 + 6.35 + 0.79375
    assert (kerf[0] - sum(face) / 2) / mm == pytest.approx(11.1125, abs=0.12)
    assert (sum(back) - sum(face)) / 2 / mm == pytest.approx(23.8125, abs=0.12)


def _text_boxes(pdf: bytes) -> list[tuple[int, float, float, str]]:
    """Page, start and base line in mm from the top left, and the words of every piece of text."""
    found: list[tuple[int, float, float, str]] = []
    for number, page in enumerate(PdfReader(io.BytesIO(pdf)).pages):
        height = float(page.mediabox.height)

        def note(
            text: str, cm: list[float], tm: list[float], _font: object, _size: float, n: int = number, h: float = height
        ) -> None:
            if text.strip():
                x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
                y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
                found.append((n, x * INCH / 72, (h - y) * INCH / 72, text.strip()))

        page.extract_text(visitor_text=note)
    return found


def _crowded(job: Job, plan: Plan) -> tuple[Job, Plan]:
    """Long names, four strips a panel, many doubts."""
    name = "a very long name for the left door of the cupboard in the passage upstairs"
    strips = tuple(
        Strip(Leaf("B", n), "far" if n % 2 else "near", "up" if n > 2 else "down", "none", LOWER, (2.4, 94.0))
        for n in range(1, 5)
    )
    doubts = tuple(f"doubt number {n}, which goes on for long enough to need more than a line" for n in range(30))
    panels = {"lower": PlannedPanel(342.9, 777.875, strips), "upper": PlannedPanel(342.9, 422.275, strips)}
    crowded = PlannedBay(name, panels, caveats=doubts)  # type: ignore[arg-type]
    return (
        replace(job, title=f"{job.title}, {name}", bays=(*job.bays, _bay(name))),
        replace(plan, bays=(*plan.bays, crowded), caveats=doubts),
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_all_words_stay_on_the_paper(job: Job, plan: Plan, paper: PaperName, tmp_path: Path) -> None:
    crowded_job, crowded_plan = _crowded(job, plan)
    for pdf in (
        draw_sheets(crowded_job, crowded_plan, paper=paper),
        draw_labels(crowded_job, crowded_plan, paper=paper),
    ):
        pages = PdfReader(io.BytesIO(pdf)).pages
        for number, x, y, words in _text_boxes(pdf):
            box = pages[number].mediabox
            assert 8 <= x <= float(box.width) * INCH / 72 - 8, (number, words)
            assert 8 <= y <= float(box.height) * INCH / 72 - 9, (number, words)
        for number in range(1, len(pages) + 1):
            ink = _render(pdf, tmp_path, page=number, dpi=50) < 200
            rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
            margin = 8.5 / INCH * 50
            assert rows[0] > margin, number
            assert columns[0] > margin, number
            assert rows[-1] < ink.shape[0] - margin, number
            assert columns[-1] < ink.shape[1] - margin, number


def test_no_character_is_missing_in_the_font(job: Job, plan: Plan) -> None:
    for pdf in (draw_sheets(job, plan), draw_labels(job, plan)):
        assert "□" not in "".join(_pages(pdf))
    assert find_missing("⅛ ⅜ ⅝ ⅞ ¼ ″ ′ × → ⌀ ° – ☐ ⚠ · … ≤ ä ø ß ł") == ""


def test_a_name_that_cannot_be_printed_is_told(job: Job, plan: Plan) -> None:
    assert find_missing("柜 A 柜") == "柜"
    first = " ".join(_pages(draw_sheets(replace(job, title="柜"), plan))[0].split())
    assert first.startswith("□")
    assert "U+67DC" in first


def test_a_piece_below_a_machines_limit_is_flagged(job: Job, plan: Plan) -> None:
    short = Strip(Leaf("A", 1), "far", "down", "stand-in", (25.4, 25.4 + 5 * INCH), ACROSS)
    bay = replace(plan.bays[0], panels={**plan.bays[0].panels, "lower": PlannedPanel(342.9, 110.0, (short, short))})
    thin = replace(plan.boards[0], finished_leaf_mm=INCH / 4 - 0.1)
    text = " ".join(" ".join(_pages(draw_sheets(job, replace(plan, bays=(bay,), boards=(thin,))))).split())
    assert "A1, left door, lower panel, strip 1 of 2: 5 in long, nothing under 6 in is crosscut at the saw" in text
    assert "5 in long, the planer takes 12 in at the least" in text
    assert "Leaves of board A: 1/4 in thick, the planer takes 1/4 in at the least" in text
    assert "⚠ " not in _page_with(draw_sheets(job, plan), "Board A Hall")


def test_a_board_higher_than_the_saw_and_a_tight_cut_are_flagged(job: Job, plan: Plan) -> None:
    tight = replace(plan, boards=(replace(plan.boards[0], tight=True),), bays=plan.bays[:1])
    low = replace(job, shop=Shop(saw_height_mm=6 * INCH))
    text = " ".join(" ".join(_pages(draw_sheets(low, tight))).split())
    assert "7 1/4 in wide and the resaw takes 6 in" in text
    assert "TIGHT" in text


def test_an_outer_side_that_shows_is_told_what_it_loses(job: Job, plan: Plan) -> None:
    # a + spare / 2 of the job format's example: 0.79375 + 2.778 mm, 9/64 in.
    words = "The face of board A is seen in the piece: 9/64 in is planed off"
    assert words not in " ".join(_page_with(draw_sheets(job, plan), "Board A Hall").split())
    both = replace(job, bays=(replace(job.bays[0], seen="both"), *job.bays[1:]))
    seen = " ".join(" ".join(_pages(draw_sheets(both, plan))).split())
    assert words in seen
    assert words.replace("face", "back") in seen


@pytest.mark.parametrize("is_cut", [False, True])
def test_a_piece_of_a_board_says_where_it_is_cut_out(job: Job, plan: Plan, *, is_cut: bool) -> None:
    board = replace(A, pieces=(Piece("A-foot", Box(0.0, 0.0, 36 * INCH, 7.25 * INCH)),))
    use = replace(plan.boards[0], name="A-foot")
    bay = _filled("left door", "A-foot")
    boards = cut_pieces(board) if is_cut else (board,)
    sheets = draw_sheets(replace(job, boards=boards), replace(plan, boards=(use,), bays=(bay,)))
    text = _page_with(sheets, "Board A-foot")
    assert "First cut it out of board A: 0 to 36 from the foot, 0 to 7 1/4 from" in " ".join(text.split())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_label_a_leaf_and_a_label_a_strip(job: Job, plan: Plan, paper: PaperName) -> None:
    labels = write_labels(job, plan)
    assert [label.name for label in labels[:6]] == ["A1", "A2", "B1", "B2", "B3", "B4"]
    assert len(labels) == 6 + 12
    text = "\n".join(_pages(draw_labels(job, plan, paper=paper)))
    assert text.count("FOOT") == 18
    assert text.count("FAR side shows") == 3 + 6
    assert "left door, lower panel" in text


def test_a_strip_that_stands_on_its_head_points_up(job: Job, plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    up = replace(plan.bays[0].panels["lower"].strips[0], foot="up")
    bay = replace(plan.bays[0], panels={"lower": PlannedPanel(342.9, 777.875, (up,))}, seams=())
    labels = write_labels(job, replace(plan, bays=(bay,)))
    assert [label.foot_down for label in labels if label.kind.startswith("strip")] == [False]
    arrows: list[tuple[tuple[float, float], tuple[float, float]]] = []
    monkeypatch.setattr(Paper, "draw_arrow", lambda _self, start, end, *_a, **_k: arrows.append((start, end)))
    draw_labels(job, replace(plan, bays=(bay,)))
    monkeypatch.undo()
    assert [end[1] > start[1] for start, end in arrows] == [label.foot_down for label in labels]
    # Its word stands above the arrow: FOOT is higher on the label than the leaf's name.
    boxes = [b for b in _text_boxes(draw_labels(job, replace(plan, bays=(bay,)))) if b[3] in ("FOOT", "A1")]
    last_foot, last_name = ([b for b in boxes if b[3] == w][-1] for w in ("FOOT", "A1"))
    assert last_foot[2] < last_name[2]


def test_tables_hold_the_numbers_of_the_plan(job: Job, plan: Plan) -> None:
    tables = {name: list(csv.DictReader(io.StringIO(text))) for name, text in tabulate_plan(job, plan).items()}
    assert set(tables) == {"resaw.csv", "strips.csv", "panels.csv"}
    second = tables["resaw.csv"][1]
    assert (second["leaf"], second["saw_turn"], second["fence"], second["fence_mm"]) == ("A2", "1", "27/64 in", "10.72")
    assert [row["saw_turn"] for row in tables["resaw.csv"]] == ["", "1", "", "3", "2", "1"]
    strip = tables["strips.csv"][0]
    assert (float(strip["length_mm"]), float(strip["width_mm"])) == pytest.approx((790.575, 179.3875), abs=0.006)
    assert len(tables["strips.csv"]) == 12
    assert float(tables["panels.csv"][0]["rough_width_mm"]) == pytest.approx(355.6)


def test_a_plan_of_another_job_is_refused(job: Job, plan: Plan) -> None:
    with pytest.raises(PlanError, match="board B"):
        draw_sheets(replace(job, boards=(A,)), plan)
    with pytest.raises(PlanError, match="has panel"):
        draw_sheets(replace(job, bays=(Bay("left door", 330.2, panel_mm=762.0), *job.bays[1:])), plan)
    with pytest.raises(PlanError, match="left side"):
        draw_sheets(replace(job, bays=job.bays[:2]), plan)


def _area(x: tuple[float, float], y: tuple[float, float], name: str = "a strip") -> LeafArea:
    return LeafArea(name, x, y)


THIN_KERFS = Shop(rip_mm=2.0, crosscut_mm=2.0)


def test_areas_in_rows_are_ripped_first() -> None:
    areas = [_area((0, 300), (0, 50)), _area((310, 900), (0, 50)), _area((0, 900), (55, 120), "wide")]
    steps = order_cuts(areas, Box(0, 0, 1000, 120), shop=THIN_KERFS)
    assert steps[0].kind == "rip"
    assert steps[0].lines_mm == (50.0, 55.0)
    assert [s.kind for s in steps] == ["rip", "crosscut", "crosscut"]
    assert steps[1].lines_mm == (300.0, 310.0, 900.0)


def test_two_areas_a_kerf_apart_are_parted_by_one_cut() -> None:
    areas = [_area((25, 300), (0, 120)), _area((302, 900), (0, 120))]
    steps = order_cuts(areas, Box(0, 0, 1000, 120), shop=THIN_KERFS)
    assert [s.lines_mm for s in steps] == [(25.0, 300.0, 900.0)]


def test_areas_of_unlike_widths_are_crosscut_first() -> None:
    areas = [_area((0, 300), (0, 50)), _area((310, 900), (20, 120))]
    steps = order_cuts(areas, Box(0, 0, 1000, 120), shop=THIN_KERFS)
    assert [s.kind for s in steps] == ["crosscut", "rip", "rip"]


def test_no_cut_runs_through_a_piece_that_is_kept() -> None:
    kept = LeafArea("the piece to keep", (602, 980), (0, 120), kept=True)
    areas = [_area((25, 600), (30, 120)), kept]
    steps = order_cuts(areas, Box(0, 0, 1000, 120), shop=THIN_KERFS)
    assert [(s.kind, s.lines_mm, s.on) for s in steps] == [
        ("crosscut", (25.0, 600.0), "the leaf"),
        ("rip", (30.0,), "a strip"),
    ]
    assert order_cuts([kept], Box(0, 0, 1000, 120), shop=THIN_KERFS) == ()


def test_a_pinwheel_cannot_be_freed_by_straight_cuts() -> None:
    areas = [
        _area((0, 60), (0, 40)),
        _area((60, 100), (0, 60)),
        _area((40, 100), (60, 100)),
        _area((0, 40), (40, 100)),
    ]
    assert "by hand" in [s.kind for s in order_cuts(areas, Box(0, 0, 100, 100), shop=THIN_KERFS)]


@pytest.mark.parametrize("seed", range(40))
def test_what_straight_cuts_have_made_straight_cuts_can_free(seed: int) -> None:
    """Leaves cut up at random, crosscut and rip in turn, are always freed without sawing by hand."""
    chance = random.Random(seed)

    def split(box: tuple[float, float, float, float], depth: int, *, along: bool) -> list[LeafArea]:
        x0, x1, y0, y1 = box
        if depth == 0 or chance.random() < 0.2:
            return [_area((x0 + 1, x1 - 1), (y0 + 1, y1 - 1), f"strip at {x0:.0f} {y0:.0f}")]
        share = chance.uniform(0.3, 0.7)
        if along:
            middle = x0 + (x1 - x0) * share
            halves = [(x0, middle, y0, y1), (middle, x1, y0, y1)]
        else:
            middle = y0 + (y1 - y0) * share
            halves = [(x0, x1, y0, middle), (x0, x1, middle, y1)]
        return [area for half in halves for area in split(half, depth - 1, along=not along)]

    areas = split((0.0, 2000.0, 0.0, 300.0), 3, along=bool(seed % 2))
    steps = order_cuts(areas, Box(0, 0, 2000, 300), shop=Shop(rip_mm=2.0, crosscut_mm=2.0))
    assert "by hand" not in [s.kind for s in steps]
    first = steps[0]
    for area in areas:
        low, high = area.x_mm if first.kind == "crosscut" else area.y_mm
        assert not [line for line in first.lines_mm if low + 0.1 < line < high - 0.1], "a line runs through a strip"


def test_a_board_that_no_bay_uses_is_not_sawn(job: Job, plan: Plan) -> None:
    idle = replace(plan, bays=plan.bays[:1])
    pages = _pages(draw_sheets(job, idle))
    assert not [page for page in pages if page.startswith("Board B")]
    assert "B – not used: do not saw it" in pages[0]
    assert {label.name for label in write_labels(job, idle)} == {"A1", "A2"}
    assert "B1" not in tabulate_plan(job, idle)["resaw.csv"]


def test_words_are_broken_and_cut_to_the_column() -> None:
    words = "a bandsaw blade that wanders spoils the leaf " * 4 + "x" * 300
    lines = break_lines(words, Ink(), width_mm=60.0)
    assert all(measure_words(line) <= 60.0 for line in lines)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "")
    cut = shorten_words(words, width_mm=40.0)
    assert cut.endswith("…")
    assert measure_words(cut) <= 40.0


def test_words_are_pushed_apart_as_little_as_needed() -> None:
    assert spread_apart([0.0, 10.0], least_mm=5.0) == [0.0, 10.0]
    assert spread_apart([10.0, 10.0], least_mm=4.0) == [8.0, 12.0]
    chance = random.Random(7)
    for _ in range(50):
        places = sorted(chance.uniform(0, 100) for _ in range(12))
        spread = spread_apart(places, least_mm=5.0)
        assert all(b - a >= 5.0 - 1e-9 for a, b in itertools.pairwise(spread))
        assert sum(spread) == pytest.approx(sum(places))
