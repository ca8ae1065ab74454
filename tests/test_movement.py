"""Moisture, movement and panel sizes against the Wood Handbook, and the sizes of the job format's own example."""

import csv
import itertools
import math
from pathlib import Path

import pytest

from grainplan.arch import Arch
from grainplan.errors import GrainplanError
from grainplan.frame import Bay, PanelMaking
from grainplan.movement import (
    Wood,
    coefficient_at,
    find_moisture_in_air,
    find_room_moistures,
    follow_year,
    read_cut,
    size_panels,
    size_strip,
    work_out_movement,
)
from grainplan.shop import Climate, Room, Shop
from grainplan.species import Species, load_species
from grainplan.units import MM_PER_INCH as INCH

with (Path(__file__).parent / "published" / "wood_handbook_4_2.csv").open(encoding="utf-8") as _file:
    _rows = list(csv.DictReader(line for line in _file if not line.startswith("#")))
CELLS = [
    (float(row["temperature_f"]), float(humidity), float(percent))
    for row in _rows
    for humidity, percent in row.items()
    if humidity != "temperature_f"
]
HUNDREDTH = 0.00501  # the example is printed in hundredths
WHITE_FIR = Species("white fir", 3.3, 7.0, 0.00112, 0.00245, "Wood Handbook (2010), chapter 13, worked example")
ASH = load_species()["white ash"]
CHERRY = load_species()["black cherry"]
ROOMS = Climate(driest=Room(20.0, 25.0), dampest=Room(25.0, 65.0))


@pytest.mark.parametrize(("fahrenheit", "humidity", "percent"), CELLS)
def test_moisture_in_air_is_the_tables(fahrenheit: float, humidity: float, percent: float) -> None:
    # Wood Handbook (2010), Table 4-2, p. 4-4. The formula misses its own table by up to 0.06.
    assert find_moisture_in_air((fahrenheit - 32) / 1.8, humidity) == pytest.approx(percent, abs=0.07)


def test_celsius_and_fahrenheit_forms_agree() -> None:
    # Wood Handbook (2010), eq. 4-5, p. 4-3, in its own degrees Fahrenheit.
    def by_fahrenheit(t: float, h: float) -> float:
        w = 330 + 0.452 * t + 0.00415 * t**2
        k = 0.791 + 0.000463 * t - 0.000000844 * t**2
        k1 = 6.34 + 0.000775 * t - 0.0000935 * t**2
        k2 = 1.09 + 0.0284 * t - 0.0000904 * t**2
        kh = k * h
        return 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))

    for fahrenheit, humidity in itertools.product(range(30, 121, 10), range(5, 96, 5)):
        assert find_moisture_in_air((fahrenheit - 32) / 1.8, humidity) == pytest.approx(
            by_fahrenheit(fahrenheit, humidity / 100), abs=0.015
        )


@pytest.mark.parametrize("humidity", [0.0, 96.0, 100.0, -5.0, math.nan])
def test_air_that_the_formula_does_not_know_is_refused(humidity: float) -> None:
    with pytest.raises(ValueError, match="humidity"):
        find_moisture_in_air(20.0, humidity)


def test_the_handbooks_worked_example() -> None:
    # Wood Handbook (2010), chapter 13, after eq. 13-2: 232 mm (9.15 in) flat-sawn, +1.7 mm (+0.067 in). The start at 8
    # per cent and the species are from memory; coefficient and change are printed.
    move = work_out_movement(232.0, Wood(WHITE_FIR, 8.0), moisture_to=11.0)
    assert round(move.change_mm, 1) == 1.7
    assert round(move.change_mm / INCH, 3) == 0.067


def test_the_worked_example_outside_six_to_fourteen() -> None:
    # Eq. 13-3 worked by hand for black cherry, S = 7.1: 300 mm, 12 → 4 per cent, −5.93 mm (13-2 would give −5.95).
    move = work_out_movement(300.0, Wood(CHERRY, 12.0), moisture_to=4.0)
    assert move.change_mm == pytest.approx(-5.93, abs=0.005)
    assert move.change_mm == pytest.approx(300 * (4 - 12) / (3000 / 7.1 - 30 + 12))
    inside = work_out_movement(300.0, Wood(CHERRY, 14.0), moisture_to=6.0)
    assert inside.change_mm == pytest.approx(-300 * 0.00248 * 8)


@pytest.mark.parametrize(
    ("wood", "angle", "change_mm"),
    [("black cherry", 0.0, 3.80), ("black cherry", 90.0, 1.93), ("sugar maple", 0.0, 5.40)],
)
def test_a_305_mm_panel_from_a_dry_to_a_damp_room(wood: str, angle: float, change_mm: float) -> None:
    # Worked by hand from eq. 4-5 and 13-2: 21 °C, 35 → 65 per cent humidity, 6.94 → 11.96 per cent moisture.
    low, high = find_moisture_in_air(21.0, 35.0), find_moisture_in_air(21.0, 65.0)
    assert (low, high) == (pytest.approx(6.94, abs=0.01), pytest.approx(11.96, abs=0.01))
    move = work_out_movement(305.0, Wood(load_species()[wood], low, angle), moisture_to=high)
    assert move.change_mm == pytest.approx(change_mm, abs=0.006)


def test_above_where_shrinkage_starts_nothing_moves() -> None:
    cedar = load_species()["western redcedar"]
    assert work_out_movement(200.0, Wood(cedar, 28.0), moisture_to=23.0).change_mm == 0.0
    assert work_out_movement(200.0, Wood(cedar, 28.0), moisture_to=12.0).change_mm < 0


def test_green_to_oven_dry_is_the_tables_shrinkage() -> None:
    # Wood Handbook (2010), Table 4-3: white ash shrinks 7.8 (tangential) and 4.9 (radial) per cent.
    for angle, percent in ((0.0, 7.8), (90.0, 4.9)):
        move = work_out_movement(100.0, Wood(ASH, 30.0, angle), moisture_to=0.0)
        assert move.change_mm == pytest.approx(-percent)


def test_ring_angle_mixes_the_two_coefficients() -> None:
    # C(θ) = CT cos² θ + CR sin² θ: common practice.
    assert coefficient_at(ASH, None) == coefficient_at(ASH, 0.0) == ASH.tangential_coefficient
    assert coefficient_at(ASH, 90.0) == pytest.approx(ASH.radial_coefficient)
    assert coefficient_at(ASH, 45.0) == pytest.approx((0.00169 + 0.00274) / 2)
    move = work_out_movement(100.0, Wood(ASH, 8.0, 30.0), moisture_to=10.0)
    assert any("common practice" in caveat for caveat in move.caveats)


@pytest.mark.parametrize(
    ("written", "angle"), [("plain", 0), ("Quarter", 90), ("rift", 45), ("30", 30), ("12.5°", 12.5)]
)
def test_ways_to_cut_are_read(written: str, angle: float) -> None:
    assert read_cut(written) == angle


@pytest.mark.parametrize("written", ["flat", "91", "-1", "nan", ""])
def test_no_way_to_cut_is_told(written: str) -> None:
    with pytest.raises(ValueError, match="plain"):
        read_cut(written)


def _example_bay(width_mm: float = 13 * INCH) -> Bay:
    return Bay("left door", width_mm, lower_mm=30 * INCH, upper_mm=16 * INCH, rail_mm=2.5 * INCH)


def test_panel_sizes_of_the_job_formats_example() -> None:
    size = size_panels(_example_bay(), PanelMaking(), shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0))
    lower, upper = size.panels["lower"], size.panels["upper"]
    assert list(size.panels) == ["lower", "upper"]
    assert size.float_mm == pytest.approx(INCH / 4)
    assert (lower.width_mm, lower.height_mm) == pytest.approx((342.9, 777.88), abs=HUNDREDTH)
    assert (upper.width_mm, upper.height_mm) == pytest.approx((342.9, 422.28), abs=HUNDREDTH)
    strip = size_strip(lower.rough_width_mm, 2, joint_mm=Shop().joint_mm)
    assert strip == pytest.approx(179.39, abs=HUNDREDTH)
    assert 25.4 + lower.rough_height_mm == pytest.approx(815.98, abs=HUNDREDTH)
    assert 850.9 + upper.rough_height_mm == pytest.approx(1285.88, abs=HUNDREDTH)


@pytest.mark.parametrize("strips", [1, 2, 3, 4])
def test_strips_glue_up_to_the_rough_panel(strips: int) -> None:
    # Each glued edge loses a joint; the two outer edges keep theirs.
    width = size_strip(300.0, strips, joint_mm=1.5)
    assert strips * width - 1.5 * 2 * (strips - 1) == pytest.approx(300.0)


def test_auto_float_is_a_tenth_more_than_the_growth() -> None:
    making = PanelMaking(groove_mm=20.0)
    size = size_panels(_example_bay(600.0), making, shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0))
    dampest = find_room_moistures(ROOMS)[1]
    grows = size.panels["lower"].width_mm * 0.00274 * (dampest - 8.0)
    assert size.float_mm > INCH / 4
    assert size.float_mm == pytest.approx(1.1 * grows)


def test_quartered_wood_needs_less_room() -> None:
    making = PanelMaking(groove_mm=20.0)
    plain, quarter = (
        size_panels(_example_bay(600.0), making, shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0, angle)).float_mm
        for angle in (0.0, 90.0)
    )
    assert quarter < plain


def test_a_panel_that_would_fall_out_is_refused_with_numbers() -> None:
    with pytest.raises(GrainplanError, match=r"bay left door: .*27 9/16 in.*groove") as caught:
        size_panels(_example_bay(700.0), PanelMaking(), shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0))
    deeper = float(str(caught.value).rsplit("make the groove ", 1)[1].split("(")[1].split(" mm")[0])
    making = PanelMaking(groove_mm=deeper)
    assert size_panels(_example_bay(700.0), making, shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0))


def test_a_float_as_wide_as_both_grooves_is_refused() -> None:
    making = PanelMaking(float_mm=20.0)
    with pytest.raises(GrainplanError, match="groove"):
        size_panels(_example_bay(), making, shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0))


def test_a_float_too_small_for_the_damp_is_told() -> None:
    size = size_panels(_example_bay(), PanelMaking(float_mm=1.0), shop=Shop(), climate=ROOMS, wood=Wood(ASH, 8.0, 0.0))
    assert any("push the stiles apart" in caveat for caveat in size.caveats)


def test_a_year_of_a_cherry_panel() -> None:
    # Worked by hand: 305 mm of black cherry built at 8 per cent; to 11.96: +3.00 mm; to 6.0: −1.51 mm; groove 9.5, gap
    # 3 a side: 5.7 mm stay engaged.
    year = follow_year(
        305.0,
        Wood(CHERRY, 8.0, 0.0),
        climate=Climate(driest=Room(20.0, 28.8), dampest=Room(21.0, 65.0)),
        float_mm=6.0,
        groove_mm=9.5,
    )
    assert year.grows_mm == pytest.approx(3.00, abs=0.01)
    assert year.shrinks_mm == pytest.approx(1.51, abs=0.03)
    assert year.engagement_driest_mm == pytest.approx(5.74, abs=0.02)
    assert year.room_dampest_mm == pytest.approx(3.0, abs=0.01)


def test_an_arch_by_the_machinists_formula() -> None:
    # Machinery's Handbook, segments of circles: W 300, H 40.
    arch = Arch(300.0, 40.0)
    assert arch.radius_mm == pytest.approx(301.25)
    assert arch.centre_below_chord_mm == pytest.approx(261.25)
    for x, y in ((0.0, 40.0), (75.0, 30.515), (100.0, 22.918), (150.0, 0.0)):
        assert arch.height_at(x) == pytest.approx(y, abs=5e-4)
        assert arch.height_at(-x) == pytest.approx(y, abs=5e-4)
        assert arch.drop_from_crown(x) == pytest.approx(40.0 - y, abs=5e-4)
    assert arch.length_mm == pytest.approx(314.026, abs=5e-4)


def test_half_a_circle_is_the_highest_arch() -> None:
    assert Arch(300.0, 150.0).length_mm == pytest.approx(math.pi * 150)
    for rise in (0.0, -1.0, 151.0, math.nan):
        with pytest.raises(ValueError, match="arch"):
            Arch(300.0, rise)


def test_a_panels_edge_runs_along_its_arched_groove() -> None:
    arch, outward = Arch(330.2, 31.75), 7.9375
    wider = arch.radius_mm + outward
    for x in (0.0, 60.0, 171.45):
        drop = arch.drop_from_crown(x, outward_mm=outward)
        above_centre = arch.centre_below_chord_mm + arch.rise_mm + outward - drop
        assert math.hypot(x, above_centre) == pytest.approx(wider)
