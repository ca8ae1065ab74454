"""Fits of predicted surfaces, pulled to what real ones reach: by rule, and on drawn boards whose inside is known."""

from __future__ import annotations

import numpy as np
import pytest

from grainplan.match.bands import EvenSurface, cut_edge, even_surface
from grainplan.match.edges import EdgeRun, EdgeSearch, compare_edges, reach_across
from grainplan.match.ends import Ends
from grainplan.match.surfaces import LeafSurface
from grainplan.match.trust import expect_end_fit, expect_fit, expect_unseen_fit, temper_run, trust_along
from grainplan.picture import Picture
from grainplan.wood.solid import BoardSolid, draw_level, fit_solid
from tests.drawn.flat import grow_any, photograph_flat, show_depth

BOARDS = (21107, 21108, 21109)
CUTS_MM = (9.4, 12.6)
GAP_MM = 3.2
EDGES_MM = (15.0, 70.0)


def expect_one(fit: float, trust: float, *, gap_mm: float = GAP_MM, reach_mm: float = 9.0) -> float:
    return float(expect_fit(np.array(fit), np.array(trust), gap_mm=gap_mm, reach_mm=reach_mm))


def test_what_is_expected_grows_with_the_fit_and_with_the_trust_and_falls_with_the_gap() -> None:
    fits, trusts, gaps = np.linspace(-0.2, 1.0, 25), np.linspace(0.0, 1.0, 21), (1.0, 3.2, 9.6, 16.0, 40.0)
    table = np.array([[expect_one(fit, trust) for fit in fits] for trust in trusts])
    assert np.all(np.diff(table[:, fits >= 0], axis=0) >= 0)
    assert np.all(np.diff(table, axis=1) >= 0)
    assert np.all(np.diff([expect_one(0.9, 0.7, gap_mm=gap) for gap in gaps]) <= 0)
    assert np.all((table >= 0.15) & (table <= 1.0))


def test_a_prediction_that_is_nearly_a_guess_promises_no_more_than_any_seam_of_its_gap() -> None:
    for gap in (3.2, 15.9):
        assert expect_one(0.95, 0.3, gap_mm=gap) < expect_unseen_fit(gap)


def test_ends_that_mirror_or_run_on_are_expected_to_do_worse_on_wood_than_on_predictions() -> None:
    fit = np.array([0.95])
    for ends in (Ends(40.0, hidden_mm=40.0), Ends(0.0, mirrored=True)):
        assert 0.3 < float(expect_end_fit(fit, 0.6, ends)[0]) < 0.8
    near, far = (float(expect_end_fit(fit, 0.6, Ends(apart))[0]) for apart in (5.0, 80.0))
    assert near > far


def show_grey(rows: int = 100, columns: int = 400) -> Picture:
    return Picture(np.full((rows, columns, 3), 128, np.uint8), 1.0)


def test_trust_is_read_beside_the_edge_and_along_it() -> None:
    sure = np.repeat(np.linspace(0.0, 1.0, 11)[:, None], 5, axis=1) * np.linspace(0.5, 1.0, 5)
    inside = LeafSurface(show_grey(), "inside", 0.5, sure)
    x = np.array([0.0, 200.0, 400.0])
    low, high = (trust_along(inside, edge, x, toward=toward) for edge, toward in ((0.0, 1), (100.0, -1)))
    assert np.all(low < high)
    assert high == pytest.approx(high[-1] * np.array([0.5, 0.75, 1.0]))
    assert high[-1] == pytest.approx(0.775, abs=0.05)  # the mean of what lies within 45 mm of that edge
    assert trust_along(LeafSurface(show_grey(), "leaf photo"), 0.0, x, toward=1) == pytest.approx(1.0)


def compare_pair(pair: list[EvenSurface], edge_mm: float, reach_mm: float) -> EdgeRun:
    first, second = (cut_edge(surface, edge_mm, toward=1) for surface in pair)
    return compare_edges(first, second, EdgeSearch(reach_mm))


def test_on_drawn_boards_the_told_fit_is_the_reached_one() -> None:
    """Three boards that the numbers were not fitted on; the whole table is `tests/bench/bench_seams.py`."""
    found, told, reached = [], [], []
    for seed in BOARDS:
        solid = grow_any(seed, length_mm=420.0)
        fitted = fit_solid({side: photograph_flat(solid, side, seed=seed) for side in ("face", "back", "foot", "head")})
        assert isinstance(fitted, BoardSolid)
        views = [draw_level(fitted, depth) for depth in CUTS_MM]
        surfaces = [LeafSurface(v.picture, "inside", v.confidence, v.sure, v.rings_alone) for v in views]
        foretold = [even_surface(view.rings_alone, px_per_mm=1.0) for view in views]
        real = [even_surface(show_depth(solid, depth), px_per_mm=1.0) for depth in CUTS_MM]
        for edge in EDGES_MM:
            reach = reach_across(GAP_MM, 30.0)
            run = compare_pair(foretold, edge, reach)
            first, second = (trust_along(surface, edge, run.x_mm, toward=1) for surface in surfaces)
            found.append(run.fit.mean())
            told.append(temper_run(run, (first, second), gap_mm=GAP_MM, reach_mm=reach).fit.mean())
            reached.append(compare_pair(real, edge, reach).fit.mean())
    assert np.mean(found) - np.mean(reached) > 0.15  # predictions flatter
    assert np.mean(told) == pytest.approx(np.mean(reached), abs=0.08)
    assert np.abs(np.subtract(told, reached)).mean() < 0.5 * np.abs(np.subtract(found, reached)).mean()


def test_photos_are_taken_at_their_word() -> None:
    rows = np.random.default_rng(1).integers(0, 255, (120, 300, 3)).astype(np.uint8)
    surface = even_surface(Picture(rows, 1.0))
    run = compare_pair([surface, surface], 10.0, 6.0)
    ones = np.ones(len(run.x_mm))
    assert temper_run(run, (ones, ones), gap_mm=GAP_MM, reach_mm=6.0) is run
