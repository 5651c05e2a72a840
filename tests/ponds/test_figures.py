"""A kind's figures: what may be typed, what it is kept as, how it is shown."""

import pytest

from ponds.figures import PERCENT, SHARE, read_figure, read_range, show_figure


@pytest.mark.parametrize(
    ("name", "text", "unit", "kept"),
    [
        ("LAYING_SHARE", "70", PERCENT, 0.7),
        ("LAYING_SHARE", "0.7", SHARE, 0.7),
        ("SURVIVAL", "100", PERCENT, 1.0),
        ("NESTS", "2.5", "", 2.5),
        ("EGGS", "12.4", "", 12.4),
        ("INCUBATION_DAYS", "67", "", 67.0),
        ("INCUBATION_TEMPERATURE", "82", "F", 300_928.0),
        ("INCUBATION_TEMPERATURE", "28", "C", 301_150.0),
    ],
)
def test_figures_are_kept_in_one_unit(name, text, unit, kept):
    assert read_figure(name, text, unit) == kept


@pytest.mark.parametrize(
    ("name", "text", "unit", "words"),
    [
        ("LAYING_SHARE", "70", SHARE, "for per cent choose %"),
        ("LAYING_SHARE", "0.7", PERCENT, "write 70 or choose share"),
        ("LAYING_SHARE", "120", PERCENT, "at most 100 %"),
        ("LAYING_SHARE", "-5", PERCENT, "cannot be a share"),
        ("EGGS", "-1", "", "not between 0 and 200"),
        ("EGGS", "900", "", "not between 0 and 200"),
        ("NESTS", "many", "", "many is not a number"),
        ("INCUBATION_DAYS", "3", "", "not between 20 and 400"),
        ("INCUBATION_TEMPERATURE", "28", "F", "28 °F is not between 59 and 104 °F"),
        ("INCUBATION_TEMPERATURE", "82", "C", "82 °C is not between 15 and 40 °C"),
        ("INCUBATION_TEMPERATURE", "28", "", "given in °F or °C"),
    ],
)
def test_figures_that_cannot_be_are_refused(name, text, unit, words):
    with pytest.raises(ValueError, match=words):
        read_figure(name, text, unit)


def test_a_range_must_rise():
    with pytest.raises(ValueError, match="must rise in that order; 9, 6, 11 do not"):
        read_range("EGGS", "9", "6", "11", "")


@pytest.mark.parametrize(
    ("name", "kept", "unit", "text"),
    [
        ("LAYING_SHARE", 0.7, "F", "70 %"),
        ("LAYING_SHARE", 0.507, "F", "50.7 %"),
        ("INCUBATION_TEMPERATURE", 300_928, "F", "82 °F"),
        ("INCUBATION_TEMPERATURE", 300_928, "C", "27.8 °C"),
        ("EGGS", 12.4, "F", "12.4"),
        ("INCUBATION_DAYS", 100, "F", "100"),
    ],
)
def test_figures_are_shown_in_the_farms_units(name, kept, unit, text):
    assert show_figure(name, kept, unit) == text
