"""How well two edges meet: known moves, a plain correlation by hand, drawn boards, and a real book-matched panel."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from grainplan.boards import Pith
from grainplan.errors import NotFound
from grainplan.match.bands import (
    EdgeBand,
    EvenSurface,
    RingMove,
    clip_band,
    cut_edge,
    even_surface,
    follow_rings,
    make_ring_move,
)
from grainplan.match.edges import (
    REPEAT_SHARE,
    EdgeScore,
    EdgeSearch,
    Strangers,
    blend_slip,
    compare_edges,
    measure_strangers,
    reach_across,
    reach_after_rings,
    take_better,
)
from grainplan.match.rails import RailCut, score_end_match, score_run_on
from grainplan.picture import Picture
from tests.drawn.forest import Growth, grow_board
from tests.drawn.paint import draw_cut
from tests.drawn.seams import SeamTrials, list_orders, saw_board, share_right
from tests.drawn.solid import PithLine, Plane

BOARDS = 12


def draw_figure(seed: int, *, rows: int = 240, columns: int = 1000) -> np.ndarray:
    """A figure drawn out along x, mean 128, as wood has it."""
    noise = np.random.default_rng(seed).standard_normal((rows, columns)).astype(np.float32)
    smooth = cv2.GaussianBlur(noise, (0, 0), sigmaX=15, sigmaY=3)
    return 128 + 30 * smooth / smooth.std()


def as_surface(grey: np.ndarray) -> EvenSurface:
    pixels = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)
    return even_surface(Picture(pixels, 2.0))


def score_pair(first: EdgeBand, second: EdgeBand, search: EdgeSearch) -> EdgeScore:
    run = compare_edges(first, second, search)
    scored = run.score(0.0, 1e6)
    assert isinstance(scored, EdgeScore)
    return scored


def test_an_edge_meets_its_own_mirror_image_perfectly() -> None:
    surface = as_surface(draw_figure(1))
    band = cut_edge(surface, 10.0, toward=1)
    score = score_pair(band, band, EdgeSearch())
    assert score.fit == pytest.approx(1.0, abs=0.02)
    assert (score.step_mm, score.step_along_mm, score.tone_de) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(("across_mm", "along_mm"), [(4.0, 0.0), (-5.5, 2.0), (0.5, -3.0)])
def test_a_known_move_is_found(across_mm: float, along_mm: float) -> None:
    figure = draw_figure(2)
    moved = np.roll(figure, (round(across_mm * 2), round(along_mm * 2)), axis=(0, 1))
    first, second = (cut_edge(as_surface(f), 30.0, toward=1) for f in (figure, moved))
    score = score_pair(clip_band(first, 10, 490), clip_band(second, 10, 490), EdgeSearch())
    assert score.fit > 0.97
    assert score.step_mm == pytest.approx(abs(across_mm), abs=0.26)
    assert score.step_along_mm == pytest.approx(along_mm, abs=0.51)


def test_the_step_is_measured_square_to_the_grain() -> None:
    """A move of 4 mm across and 3 mm along, grain at 30° to the seam: 4 cos 30° − 3 sin 30° = 1.964 mm."""
    figure = draw_figure(3)
    moved = np.roll(figure, (8, 6), axis=(0, 1))
    first, second = (clip_band(cut_edge(as_surface(f), 30.0, toward=1), 10, 490) for f in (figure, moved))
    assert score_pair(first, second, EdgeSearch(grain_deg=30.0)).step_mm == pytest.approx(1.964, abs=0.3)


def test_the_agreement_is_the_correlation_coefficient() -> None:
    """At the move that was found, every window's fit is numpy's corrcoef of the same pixels."""
    a, b = as_surface(draw_figure(4) + 0.4 * draw_figure(5)), as_surface(draw_figure(4) + 0.4 * draw_figure(6))
    first, second = cut_edge(a, 20.0, toward=1), cut_edge(b, 22.0, toward=1)
    run = compare_edges(first, second, EdgeSearch())
    for window in (0, 5, 12):
        dy, dx = round(run.across_mm[window] * 2), round(run.along_mm[window] * 2)
        start = 40 * window
        rows = np.arange(max(0, -dy), min(90, 90 - dy))
        mine = first.figure[rows, start : start + 120]
        other = second.figure[rows + dy, start + dx : start + dx + 120]
        assert run.fit[window] == pytest.approx(np.corrcoef(mine.ravel(), other.ravel())[0, 1], abs=0.01)


def test_an_inward_band_lies_on_an_outward_one_as_they_stand_side_by_side() -> None:
    """Strips of one leaf put side by side repeat its figure when the figure itself repeats across the seam."""
    strip = draw_figure(7, rows=90)
    surface = as_surface(np.vstack([strip, strip, strip]))
    inward = cut_edge(surface, 45.0, toward=-1, outward=False)
    outward = cut_edge(surface, 45.0, toward=1)
    mirrored = cut_edge(surface, 45.0, toward=-1)
    assert score_pair(inward, outward, EdgeSearch(0.0)).fit > 0.95
    assert score_pair(mirrored, outward, EdgeSearch(0.0)).fit < 0.5


def test_many_places_at_once_give_the_same_figures_as_one_by_one() -> None:
    first, second = (cut_edge(as_surface(draw_figure(s)), 20.0, toward=1) for s in (8, 9))
    run = compare_edges(first, second, EdgeSearch(8.0))
    low, high = np.array([0.0, 100.0, 230.0]), np.array([200.0, 350.0, 470.0])
    fit, step, tone = run.average(low, high)
    for i in range(3):
        one = run.score(low[i], high[i])
        assert isinstance(one, EdgeScore)
        assert (one.fit, one.step_mm, one.tone_de) == pytest.approx((fit[i], step[i], tone[i]), abs=1e-6)
    assert np.isnan(run.average([5.0], [6.0])[0]).all()
    assert isinstance(run.score(5.0, 6.0), NotFound)


def test_the_tone_is_the_difference_of_the_colours_that_were_painted() -> None:
    """sRGB (200, 170, 130) and (190, 160, 120): CIEDE2000 of their Lab values by scikit-image."""
    colours = np.array([[200, 170, 130], [190, 160, 120]], np.uint8)
    bands = [cut_edge(even_surface(Picture(np.full((120, 400, 3), c, np.uint8), 2.0)), 5.0, toward=1) for c in colours]
    score = score_pair(*bands, EdgeSearch())
    assert score.tone_de == pytest.approx(float(deltaE_ciede2000(*rgb2lab(colours[None] / 255.0)[0])), abs=0.02)
    assert any("plain wood" in caveat for caveat in score.caveats)


def test_the_search_is_as_wide_as_rings_move() -> None:
    """1.5 · 3.2 / tan 20° = 13.19 mm; trade tables give 7.69 mm a 2.8 mm gap at 20°, half as much again is 11.5."""
    assert reach_across(3.2, 20.0) == pytest.approx(13.188, abs=0.01)
    assert reach_across(2.8, 20.0) == pytest.approx(1.5 * 7.69, abs=0.01)
    assert reach_across(3.2, 90.0) == 6.0
    assert reach_across(3.2, 0.0) == reach_across(15.9, 10.0) == 30.0  # what two bands of 45 mm still share: 15 mm


def test_bad_calls_are_refused_and_doubts_are_told() -> None:
    surface = as_surface(draw_figure(10))
    band = cut_edge(surface, 20.0, toward=1)
    with pytest.raises(ValueError, match="only 5 mm of wood"):
        cut_edge(surface, 115.0, toward=1)
    with pytest.raises(ValueError, match="toward is 1 or -1"):
        cut_edge(surface, 20.0, toward=0)
    with pytest.raises(ValueError, match="outward"):
        compare_edges(band, cut_edge(surface, 20.0, toward=1, outward=False), EdgeSearch())
    with pytest.raises(ValueError, match="0 mm or more"):
        EdgeSearch(-1.0)
    assert isinstance(measure_strangers([band], [band], EdgeSearch()), NotFound)
    others = [cut_edge(as_surface(draw_figure(seed)), 20.0, toward=1) for seed in (11, 12)]
    strangers = measure_strangers([band, others[0]], [band] * 2, EdgeSearch())
    assert isinstance(strangers, Strangers)
    other = compare_edges(band, others[1], EdgeSearch(4.0))
    score = other.score(0, 100, strangers=Strangers(0.6, 0.1, 12))
    assert isinstance(score, EdgeScore)
    assert score.above_strangers == pytest.approx((score.fit - 0.6) / 0.4)
    assert {"a short seam: the fit rests on few lines", "no better than edges that do not belong together"} <= set(
        score.caveats
    )
    assert score.fit_doubt > other.score(0, 500).fit_doubt  # a longer seam is surer


def test_a_slip_match_is_judged_by_its_joint_and_by_its_repeat() -> None:
    surface, other = as_surface(draw_figure(13)), as_surface(draw_figure(14))
    start, joint = cut_edge(surface, 10.0, toward=1), cut_edge(surface, 110.0, toward=-1, outward=False)
    meeting = compare_edges(joint, start, EdgeSearch())
    blended = blend_slip(meeting, compare_edges(start, start, EdgeSearch()))
    assert np.allclose(blended.fit, (1 - REPEAT_SHARE) * meeting.fit + REPEAT_SHARE, atol=0.02)
    unlike = compare_edges(start, cut_edge(other, 10.0, toward=1), EdgeSearch())
    assert blended.fit.mean() > blend_slip(meeting, unlike).fit.mean() + 0.2


def test_of_two_searches_the_one_that_found_the_lines_is_kept() -> None:
    surface = as_surface(draw_figure(15))
    start, moved = cut_edge(surface, 10.0, toward=1), cut_edge(surface, 22.0, toward=1)  # 12 mm off
    near, wide = compare_edges(start, moved, EdgeSearch(6.0)), compare_edges(start, moved, EdgeSearch(15.0))
    assert take_better(near, wide) is wide
    assert take_better(wide, near) is wide
    assert wide.fit.mean() > near.fit.mean() + 0.3


@pytest.fixture(scope="module")
def trials() -> SeamTrials:
    return SeamTrials([saw_board(seed, length_mm=420.0) for seed in range(BOARDS)])


def test_drawn_seams_come_out_in_the_order_of_the_eye(trials: SeamTrials) -> None:
    """A dozen short boards, so the bounds are wide; the table of 200 is `tests/bench/bench_edges.py`.

    Not every order can come out: under flat rings the lines of a seam between two pairs are off by more than any band
    is wide (15.9 / tan 20° is 44 mm), and in quarter wood it is as good as a seam of mates.
    """
    above = np.array([trials.stand_above(place) for place in range(BOARDS)])
    right = list_orders(above)
    assert right["mates above strangers"].mean() >= 0.9
    assert right["slip above another board"].mean() >= 0.8
    assert right["all in order"].mean() >= 0.6
    assert share_right(above) >= 0.85
    assert above[:, 4].mean() == pytest.approx(0.0, abs=0.12)


def test_a_known_pith_takes_the_rings_move_out_of_the_search(trials: SeamTrials) -> None:
    """Lines are looked for where the pith leads too; that may not cost what was right without it."""
    known = SeamTrials(trials.boards, pith_known=True)
    above = np.array([known.stand_above(place) for place in range(BOARDS)])
    right = list_orders(above)
    assert right["mates above strangers"].mean() >= 0.9
    assert right["mates above further apart"].mean() >= 0.7  # in quarter wood both are nearly perfect
    assert right["further apart above strangers"].mean() >= 0.9
    assert share_right(above) >= 0.85


def test_a_band_follows_circles_round_the_pith() -> None:
    """Radius 100, the pith 60 mm above one surface and 57 above the other: 80 mm beside it there is 82.158 mm here."""
    pith = PithLine(20.0, 60.0, 20.0, 60.0)
    plain = Growth(length_mm=300.0, width_mm=200.0, pith=pith, ring_mm=3.0, ring_variation=0, wave_mm=0.0)
    solid = grow_board(1, plain)
    shown = [even_surface(Picture(draw_cut(solid, Plane("z", z, 2.0)), 2.0)) for z in (0.0, 3.0)]
    known = Pith((20.0, 60.0), (20.0, 60.0), 4.0)
    move = make_ring_move(known, 300.0, from_mm=0.0, to_mm=3.0)
    assert isinstance(move, RingMove)
    first, second = (
        cut_edge(shown[0], 99.5, toward=1, band_mm=10.0),
        follow_rings(shown[1], 99.5, move, toward=1, band_mm=10.0),
    )
    y = 99.75 + 0.5 * np.arange(20)
    truth = 20.0 + np.sqrt((y - 20.0) ** 2 + 60.0**2 - 57.0**2) - y
    assert second.moved_mm == pytest.approx(np.full(600, truth.mean()), abs=1e-6)
    assert truth[0] == pytest.approx(2.158, abs=0.02)
    score = score_pair(first, second, EdgeSearch(0.0))
    unmoved = score_pair(first, cut_edge(shown[1], 99.5, toward=1, band_mm=10.0), EdgeSearch(0.0))
    assert score.fit > unmoved.fit + 0.3
    assert score.step_mm == pytest.approx(truth.mean(), abs=0.01)
    for unsure in (Pith((20.0, 60.0), None, 4.0), Pith((20.0, 60.0), (20.0, 60.0), 30.0)):
        assert isinstance(make_ring_move(unsure, 300.0, from_mm=0.0, to_mm=3.0), NotFound)


def test_the_search_left_over_is_what_a_wrong_pith_moves() -> None:
    """Against differences: the pith moved by 0.01 mm in y and in z moves the ring by so much, per mm of doubt."""

    def moved(pith_y: float, pith_z: float) -> float:
        return pith_y + np.sqrt((100.0 - pith_y) ** 2 + (2.0 - pith_z) ** 2 - (18.0 - pith_z) ** 2) - 100.0

    pith = (30.0, 90.0)
    slope = [(moved(30.01, 90.0) - moved(*pith)) / 0.01, (moved(30.0, 90.01) - moved(*pith)) / 0.01]
    move = RingMove(pith, pith, 1000.0, 2.0, 18.0)
    truth = 1.5 * 20.0 * np.hypot(*slope)
    assert truth <= reach_after_rings(move, 100.0, 20.0) <= 1.5 * truth  # rings taken as straight between the depths
    assert reach_after_rings(move, 180.0, 6.0) == 6.0
    assert reach_after_rings(move, 31.0, 6.0) == 30.0


def test_grain_that_runs_on_behind_the_rail_is_told_from_grain_that_does_not(trials: SeamTrials) -> None:
    fits: dict[str, list[float]] = {"on": [], "stranger": []}
    for place, board in enumerate(trials.boards):
        here, other = board.surfaces["A1 far"], trials.boards[(place + 3) % BOARDS].surfaces["A1 far"]
        cut = RailCut(210.0, 273.5, 63.5)
        for name, upper in (("on", here), ("stranger", other)):
            score = score_run_on(here, upper, cut, y_mm=(10.0, 130.0))
            assert isinstance(score, EdgeScore)
            fits[name].append(score.fit)
    on, strange = np.array(fits["on"]), np.array(fits["stranger"])
    assert (on > strange).mean() >= 0.9
    assert on.mean() > strange.mean() + 0.2


def test_the_jump_behind_a_rail_is_what_the_leaf_lost_too_little() -> None:
    """Straight rings at 4° to the length, 63.5 mm hidden and only 3.2 mm lost: (63.5 − 3.2) · tan 4° = 4.22 mm."""
    rise = 1000.0 * np.tan(np.radians(4.0))
    pith = PithLine(-400.0, 12.0, -400.0 + rise, 12.0)
    solid = grow_board(
        4, Growth(length_mm=1000.0, width_mm=170.0, pith=pith, ring_mm=4.0, wave_mm=0.0, look="pine", heart_mm=500.0)
    )
    surface = even_surface(Picture(draw_cut(solid, Plane("z", 12.0, 2.0)), 2.0))
    for lost, step in ((3.2, 4.22), (63.5, 0.0)):
        score = score_run_on(surface, surface, RailCut(500.0, 500.0 + lost, 63.5, 4.0), y_mm=(20.0, 150.0))
        assert isinstance(score, EdgeScore)
        assert score.step_mm == pytest.approx(step, abs=0.5)
        assert score.fit > 0.8


def test_an_end_match_mirrors_across_the_end(trials: SeamTrials) -> None:
    """Lines of an end match lie as far apart as those of a book match of the same gap; strangers are searched alike."""
    mirrored, strange = [], []
    for place, board in enumerate(trials.boards):
        lower, other = board.surfaces["A1 far"], trials.boards[(place + 3) % BOARDS]
        reach = reach_across(3.2, max(5.0, board.ring_angle(70.0)))
        for found, upper in ((mirrored, board), (strange, other)):
            score = score_end_match(
                (lower, upper.surfaces["A2 near"]), (300.0, 300.0), y_mm=(10.0, 130.0), reach_mm=reach
            )
            assert isinstance(score, EdgeScore)
            found.append(score.fit)
    assert np.mean(np.array(mirrored) > np.array(strange)) >= 0.85
    assert isinstance(score_end_match((lower, lower), (2.0, 300.0), y_mm=(10.0, 130.0)), NotFound)


def test_the_score_peaks_on_the_mirror_lines_of_a_real_book_matched_panel(photo_data: Path) -> None:
    """The panel of the photo data (CC0), 2.373 mm a pixel, so bands of 60 mm; its eight mirror lines are listed there.

    Two places that are not listed, 190 mm from the nearest listed line, are mirror lines as well, as one sees on the
    picture (the leaves are 190 mm wide); they count as places away from a line all the same.
    """
    listed = json.loads((photo_data / "veneer-panels" / "mirror_axes.json").read_text())["rosewood_veneer1"]
    mm = listed["mm_per_px_at_that_width"]
    lines = np.array([axis["x_mm"] for axis in listed["mirror_axes"]])
    with Image.open(photo_data / "veneer-panels" / "rosewood_veneer1_diff_1k.jpg") as image:
        pixels = np.ascontiguousarray(np.asarray(image.convert("RGB")).transpose(1, 0, 2))
    surface = even_surface(Picture(pixels, 1 / mm))
    places = np.arange(26, 1024 - 26) * mm
    fits = np.array([score_line(surface, place) for place in places])
    away = np.abs(places[:, None] - lines).min(axis=1) >= 40.0
    peaks = []
    for line in lines:
        near = np.abs(places - line) <= 30.0
        peaks.append((places[near][fits[near].argmax()] - line, fits[near].max()))
    good = [peak for off, peak in peaks if abs(off) <= 6.0]
    assert len(good) >= 7
    assert min(good) > fits[away].max() + 0.03


def score_line(surface: EvenSurface, place_mm: float) -> float:
    left, right = (cut_edge(surface, place_mm, toward=toward, band_mm=60.0) for toward in (-1, 1))
    return score_pair(left, right, EdgeSearch()).fit
