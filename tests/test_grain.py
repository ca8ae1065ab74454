"""Direction, pith, ring angle and ring spacing against formulas, a reference library and drawn boards."""

from __future__ import annotations

import numpy as np
import pytest

from grainplan.errors import NotFound
from grainplan.job import RingBands
from grainplan.measured import Measured
from grainplan.picture import Picture
from grainplan.wood.figure import measure_ring_spacing
from grainplan.wood.grain import find_pith_line, measure_grain, measure_ring_angle, name_cut
from grainplan.wood.orient import measure_direction, measure_tensor
from grainplan.wood.pith import PithPlace, find_pith
from tests.drawn.flat import grow_any, photograph_flat
from tests.drawn.forest import Growth, grow_board
from tests.drawn.solid import PithLine, Plane, locate, measure_line_direction
from tests.drawn.solid import measure_ring_angle as tell_ring_angle

UNSEEN = range(1000, 1024)


def draw_stripes(angle_deg: float, *, pitch_mm: float = 3.0, shape: tuple[int, int] = (160, 300)) -> Picture:
    rows, columns = np.mgrid[: shape[0], : shape[1]] / 2.0
    across = -columns * np.sin(np.radians(angle_deg)) + rows * np.cos(np.radians(angle_deg))
    grey = (150 + 60 * np.cos(2 * np.pi * across / pitch_mm)).astype(np.uint8)
    return Picture(np.repeat(grey[..., None], 3, axis=2), 2.0)


@pytest.mark.parametrize("angle", [-70.0, -10.0, 0.0, 7.5, 33.0, 60.0])
def test_direction_of_stripes(angle: float) -> None:
    field = measure_direction(draw_stripes(angle))
    assert np.median(field.angle_deg[20:-20, 20:-20]) == pytest.approx(angle, abs=0.3)  # what a 3 × 3 kernel leaves
    assert np.median(field.sure) > 0.9


def test_tensor_agrees_with_scikit_image() -> None:
    feature = pytest.importorskip("skimage.feature")
    picture = photograph_flat(grow_any(3, length_mm=200.0), "face")
    values = picture.lightness()
    mine = measure_tensor(values, 2.0, gradient_mm=0.02, smooth_mm=2.0)  # next to no smoothing before the gradient
    rr, rc, cc = feature.structure_tensor(values, sigma=4.0, order="rc")
    inner = np.s_[20:-20, 20:-20]
    ours = 0.5 * np.arctan2(2 * mine.mixed, mine.columns - mine.rows)[inner]
    theirs = 0.5 * np.arctan2(2 * rc, cc - rr)[inner]
    apart = np.degrees(np.abs((ours - theirs + np.pi / 2) % np.pi - np.pi / 2))
    assert np.median(apart) < 0.5  # their gradient kernel differs (Sobel, ours is Scharr)


def test_pith_of_true_circles() -> None:
    board = grow_board(1, Growth(length_mm=100.0, width_mm=180.0, pith=PithLine(70.0, 90.0, 70.0, 90.0), wave_mm=0.0))
    place = find_pith(photograph_flat(board, "foot"))
    assert isinstance(place, PithPlace)
    assert (place.y_mm, place.z_mm) == pytest.approx((70.0, 90.0), abs=2.0)


def test_straight_rings_tell_no_pith_but_an_angle() -> None:
    end = draw_stripes(40.0, shape=(44, 360))
    assert isinstance(find_pith(end), NotFound)
    angle = measure_ring_angle(end)
    assert isinstance(angle, Measured)
    assert angle.value == pytest.approx(40.0, abs=2.0)


def test_a_blank_end_tells_nothing() -> None:
    blank = Picture(np.full((44, 360, 3), 180, np.uint8), 2.0)
    assert isinstance(find_pith(blank), NotFound)
    assert isinstance(measure_ring_angle(blank), NotFound)
    assert isinstance(measure_ring_spacing(blank), NotFound)
    assert isinstance(find_pith_line({}), NotFound)


def test_cuts_are_named_by_the_published_bands() -> None:
    """Architectural Woodwork Standards, 1st edition (2009), appendix B, p. 449: 0-30, 30-60, 60-90 degrees."""
    bands = RingBands()
    assert [name_cut(angle, bands) for angle in (10.0, 30.0, 45.0, 61.0, 88.0)] == [
        "plain", "plain", "rift", "quarter", "quarter",
    ]  # fmt: skip


def test_ends_of_unseen_boards() -> None:
    """Pith where it can be told, ring angle and ring spacing on 24 boards of all kinds."""
    pith_misses, doubts_kept, angle_misses, spacing_ratios = [], [], [], []
    for seed in UNSEEN:
        board = grow_any(seed, length_mm=200.0)
        end = photograph_flat(board, "foot", seed=seed)
        place = find_pith(end)
        if isinstance(place, PithPlace):
            miss = np.hypot(place.y_mm - board.pith.y_foot_mm, place.z_mm - board.pith.z_foot_mm)
            away = np.hypot(board.pith.y_foot_mm - board.width_mm / 2, board.pith.z_foot_mm - 11.0)
            pith_misses.append(miss / away)
            doubts_kept.append(miss <= place.doubt_mm)
        angle = measure_ring_angle(end)
        assert isinstance(angle, Measured)
        truth = tell_ring_angle(board, 0.0, np.arange(0.5, board.width_mm), 11.0).mean()
        angle_misses.append(abs(angle.value - truth))
        spacing = measure_ring_spacing(end)
        rho = locate(board, Plane("x", 0.0, 1.0)).rho_mm
        borders = board.ring_borders_mm[(board.ring_borders_mm > rho.min()) & (board.ring_borders_mm < rho.max())]
        if isinstance(spacing, Measured):
            spacing_ratios.append(spacing.value / np.diff(borders).mean())
    assert len(pith_misses) >= 6  # the others are far off, or bent too much, and say so
    assert np.median(pith_misses) < 0.10
    assert np.mean(doubts_kept) >= 0.8
    assert np.median(angle_misses) < 2.0
    assert np.max(angle_misses) < 10.0
    assert np.median(spacing_ratios) == pytest.approx(1.0, abs=0.05)


def test_line_direction_on_visible_sides_of_unseen_boards() -> None:
    misses = []
    for seed in list(UNSEEN)[:8]:
        board = grow_any(seed, length_mm=400.0)
        field = measure_direction(photograph_flat(board, "face", seed=seed))
        truth, _ = measure_line_direction(board, Plane("z", 0.0, 2.0))
        rows = min(truth.shape[0], field.angle_deg.shape[0])
        misses.append(np.median(np.abs((field.angle_deg[:rows] - truth[:rows] + 90) % 180 - 90)))
    assert np.median(misses) < 1.5


def test_all_figures_of_a_board_and_the_reasons_for_those_missing() -> None:
    board = grow_board(5, Growth(length_mm=300.0, pith=PithLine(80.0, 100.0, 80.0, 100.0)))
    sides = {side: photograph_flat(board, side) for side in ("face", "back", "foot", "head")}
    grain = measure_grain(sides, RingBands())  # type: ignore[arg-type]
    assert grain.sawn == "plain"
    assert grain.angle_deg == pytest.approx(0.0, abs=2.0)
    assert grain.straightness is not None
    assert grain.straightness > 0.8
    assert grain.colour_lab is not None
    assert grain.caveats == ()
    without = measure_grain({"face": sides["face"]}, RingBands())
    assert without.ring_angle_deg is None
    assert any("photo of an end" in caveat for caveat in without.caveats)
