"""Lengths and temperatures as makers write them, both ways."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grainplan.units import format_length, parse_length, parse_temperature, spell_length

INCH = 25.4  # exact: the international inch, 1959


@pytest.mark.parametrize(
    ("written", "units", "mm"),
    [
        ("13/16 in", "mm", 13 / 16 * INCH),
        ("2 1/2 in", "mm", 2.5 * INCH),
        ("2-1/2 in", "mm", 2.5 * INCH),
        ('1 3/4"', "mm", 1.75 * INCH),
        ("1 3/4″", "mm", 1.75 * INCH),
        ("2½ in", "mm", 2.5 * INCH),
        ("½ in", "mm", 0.5 * INCH),
        ("2 ½ inches", "mm", 2.5 * INCH),
        ("6 ft 2 in", "mm", 74 * INCH),
        ("6' 2\"", "mm", 74 * INCH),
        ("6'2 1/2\"", "mm", 74.5 * INCH),
        ("20.5 mm", "in", 20.5),
        ("20,5 mm", "in", 20.5),
        ("20.5mm", "in", 20.5),
        ("2 cm", "in", 20.0),
        ("1.2 m", "in", 1200.0),
        (" 3 IN ", "mm", 3 * INCH),
        (".5 in", "mm", 0.5 * INCH),
        ("5/4 in", "mm", 1.25 * INCH),
        ("0 in", "mm", 0.0),
        (3, "in", 3 * INCH),
        (3, "mm", 3.0),
        (0.5, "in", 0.5 * INCH),
    ],
)
def test_a_length_in_every_spelling(written, units, mm):
    assert parse_length(written, units) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("4/4", "sold by"),
        ("5/4", "sold by"),
        ("8/4", "caliper"),
        ("16/4", "sold by"),
        ("3/4", 'no unit; write "3/4 in"'),
        ("7 1/4", 'no unit; write "7 1/4 in"'),
        ("-1 in", "negative"),
        ("−1 in", "negative"),
        (-1, "not a length"),
        ("1/0 in", "divides by zero"),
        ("", "empty"),
        ("  ", "empty"),
        ("in", "not a length"),
        ("1 parsec", "not a length"),
        ("1 inn", "not a length"),
        ("5-7 in", "not a length"),
        ("1.2.3 mm", "not a length"),
        ("1,234 mm", "not a length"),
        ("about 3 in", "not a length"),
        ("9999999999 in", "not a length that wood can have"),
        ("9" * 60 + " in", "not a length that wood can have"),
        (float("nan"), "not a length"),
        (float("inf"), "not a length"),
        (1e9, "not a length"),
        (True, "true is not a length"),
    ],
)
def test_what_is_no_length_is_told(written, says):
    with pytest.raises(ValueError, match=says):
        parse_length(written, "in")


@pytest.mark.parametrize(
    ("mm", "units", "text"),
    [
        (20.6375, "in", "13/16 in"),
        (63.5, "in", "2 1/2 in"),
        (0.0, "in", "0 in"),
        (25.4, "in", "1 in"),
        (25.3999, "in", "1 in"),
        (-25.4, "in", "-1 in"),
        (-0.01, "in", "0 in"),
        (0.396875, "in", "1/64 in"),
        (20.64, "mm", "20.6 mm"),
        (20.0, "mm", "20 mm"),
        (-0.01, "mm", "0 mm"),
    ],
)
def test_a_length_as_it_is_printed(mm, units, text):
    assert format_length(mm, units) == text


def test_a_rougher_rule_shows_rougher_fractions():
    assert format_length(21.0, "in", smallest=8) == "7/8 in"


@given(st.integers(0, 64 * 400))
def test_every_sixty_fourth_goes_both_ways(sixty_fourths):
    mm = sixty_fourths / 64 * INCH
    assert parse_length(format_length(mm, "in"), "mm") == pytest.approx(mm, abs=1e-9)


@given(st.floats(0, 20_000), st.sampled_from(["in", "mm"]))
def test_a_length_written_for_the_file_reads_back(mm, units):
    assert parse_length(spell_length(mm, units), units) == pytest.approx(mm, abs=0.00501)


@given(st.one_of(st.text(), st.text("0123456789 ./-,'\"½¼inmftc⁄²٣", max_size=20)))
def test_any_text_is_a_length_or_a_sentence(text):
    try:
        length = parse_length(text, "in")
    except ValueError as error:
        said = str(error)
    else:
        said = ""
        assert 0 <= length < 1e9
    assert said or length >= 0


@pytest.mark.parametrize(
    ("written", "celsius"), [("68 F", 20.0), ("77 F", 25.0), ("20 C", 20.0), ("-4 F", -20.0), ("20,5 °C", 20.5)]
)
def test_a_temperature_with_its_scale(written, celsius):
    assert parse_temperature(written) == pytest.approx(celsius)


@pytest.mark.parametrize(
    ("written", "says"), [("68", "scale"), ("200 F", "no room"), ("warm", "scale"), ("20 K", "scale")]
)
def test_what_is_no_temperature_is_told(written, says):
    with pytest.raises(ValueError, match=says):
        parse_temperature(written)
