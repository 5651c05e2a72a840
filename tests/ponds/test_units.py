"""Units: exact factors, one rounding half to even, and a round trip that changes nothing."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ponds import units
from ponds.units import UnitRefused, from_stored, measure, read_number, shortest, shown, to_stored


@pytest.mark.parametrize(
    ("typed", "unit", "stored", "source"),
    [
        ("1", "INCH", 25, "NIST SP 811, B.8: inch = 25.4 mm exactly; 25.4 rounds to 25"),
        ("10", "INCH", 254, "NIST SP 811, B.8: inch = 25.4 mm exactly"),
        ("1", "FOOT", 305, "NIST SP 811, B.8: foot = 304.8 mm exactly"),
        ("10", "FOOT", 3048, "NIST SP 811, B.8: foot = 304.8 mm exactly"),
        ("1", "LB", 454, "NIST SP 811, B.8: pound (avoirdupois) = 453.59237 g exactly"),
        ("10000", "OZ", 283_495, "NIST SP 811, B.8: ounce (avoirdupois) = 28.349523125 g exactly"),
        ("100000", "LB", 45_359_237, "NIST SP 811, B.8: pound = 0.45359237 kg exactly"),
        ("1", "ACRE", 40_468_564, "43,560 square feet of 0.3048 m: 4046.8564224 m2"),
        ("1000", "ACRE", 40_468_564_224, "43,560 square feet of 0.3048 m: 4046.8564224 m2"),
        ("1", "HECTARE", 100_000_000, "NIST SP 811, table 6: hectare = 10,000 m2"),
        ("1", "SQUARE_METER", 10_000, "1 m2 = 10,000 cm2"),
        ("0", "C", 273_150, "NIST SP 811, 4.2.1.1: 0 °C = 273.15 K"),
        ("32", "F", 273_150, "NIST SP 811, B.8: T/K = (t/°F + 459.67)/1.8; ice point"),
        ("212", "F", 373_150, "NIST SP 811, B.8: T/K = (t/°F + 459.67)/1.8; steam point"),
        ("-40", "F", 233_150, "-40 °F = -40 °C"),
        ("82", "F", 300_928, "541.67/1.8 = 300.9277... K"),
    ],
)
def test_published_factors(typed, unit, stored, source):
    assert measure(typed, unit).stored == stored, source


def test_the_acre_is_its_definition():
    """43,560 square feet, the foot 0.3048 m (international, exact since 1959)."""
    assert 43_560 * Fraction("30.48") ** 2 == Fraction(units.UNITS["ACRE"].factor)


@pytest.mark.parametrize(
    ("number", "stored"), [("0.5", 0), ("1.5", 2), ("2.5", 2), ("3.5", 4), ("2.5000001", 3)]
)
def test_a_half_goes_to_the_even_neighbor(number, stored):
    assert to_stored(Decimal(number), "MM") == stored


def test_acres_shown_as_hectares_go_back_to_acres():
    area = measure("2.5", "ACRE")
    assert (area.typed, area.unit) == ("2.5", "ACRE")
    assert shown(area.stored, "HECTARE") == "1.01"
    assert shortest(area.stored, "ACRE") == "2.5"
    assert to_stored(Decimal(shortest(area.stored, "HECTARE")), "HECTARE") == area.stored


@given(
    stored=st.integers(min_value=0, max_value=10**12),
    unit=st.sampled_from(
        sorted(code for code, unit in units.UNITS.items() if unit.quantity != "temperature")
    ),
)
def test_the_shortest_text_reads_back_to_what_is_stored(stored, unit):
    assert to_stored(Decimal(shortest(stored, unit)), unit) == stored


@given(
    hundredths=st.integers(min_value=1, max_value=10_000_000),
    unit=st.sampled_from(["ACRE", "HECTARE", "LB", "F"]),
)
def test_what_was_typed_comes_back(hundredths, unit):
    typed = str(Decimal(hundredths) / 100)
    stored = to_stored(Decimal(typed), unit)
    assert Decimal(shortest(stored, unit)) == Decimal(typed)


def test_from_stored_is_exact():
    assert from_stored(373_150, "F") == 212
    assert from_stored(254, "INCH") == 10


@pytest.mark.parametrize(
    ("stored", "unit", "text"),
    [
        (300_928, "F", "82"),
        (300_928, "C", "27.8"),
        (101_171_411, "ACRE", "2.5"),
        (0, "HECTARE", "0"),
        (1, "ACRE", "0.00000002"),
        (273_150, "C", "0"),
        (255_372, "F", "0"),
        (233_150, "C", "-40"),
    ],
)
def test_figures_for_reading(stored, unit, text):
    assert shown(stored, unit) == text


@pytest.mark.parametrize("typed", ["2.5", " 2.5 ", "2.50", "+2.5", "2.5\n"])
def test_plain_numbers_are_read(typed):
    assert read_number(typed) == Decimal("2.5")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing is written"),
        ("   ", "Nothing is written"),
        ("2,5", "write a decimal with a point: 2.5"),
        ("1,200", "two ways; write 1200"),
        ("1,200,50", "has a comma"),
        ("1/2", "0.5 for 1/2"),
        ("2.5 acres", "the figure alone"),
        ("2.5ac", "the figure alone"),
        ("1e5", "written with a power of ten"),
        ("two", "two is not a number"),
        ("NaN", "NaN is not a number"),
        ("Infinity", "not a number"),
        ("٣", "not a number"),
        ("2.5.1", "not a number"),
        ("1_000", "figure alone"),
        ("9" * 21, "21 characters long"),
    ],
)
def test_what_is_no_number_is_refused_with_how_to_write_it(typed, words):
    with pytest.raises(UnitRefused, match=words):
        read_number(typed)


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [
        ("-1", "ACRE", "below 0"),
        ("-460", "F", "below absolute zero"),
        ("-273.16", "C", "below absolute zero"),
        ("9" * 20, "HECTARE", "too big to be true"),
        ("1", "FURLONG", "not a unit"),
    ],
)
def test_what_cannot_be_is_refused(typed, unit, words):
    with pytest.raises(UnitRefused, match=words):
        measure(typed, unit)


def test_units_load_without_django():
    import subprocess
    import sys

    modules = "ponds.units, ponds.seasons, ponds.figures, ponds.names"
    code = f"import sys; import {modules}; sys.exit('django' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_power_of_ten_and_an_area_below_0_are_said_in_plain_words():
    with pytest.raises(units.UnitRefused, match="1e308 is written with a power of ten"):
        units.read_number("1e308")
    with pytest.raises(units.UnitRefused, match="an area cannot be"):
        units.to_stored(Decimal(-2), "HECTARE")
