"""Days of incubation and what is due, against published days."""

import datetime as dt
from decimal import Decimal

import pytest

from ponds import incubation
from ponds.incubation import DaysAt, days_at, due, hatch_window
from ponds.units import to_stored

SLIDER = DaysAt(62, 67, 72, to_stored(82, "F"))
SET_ON = dt.date(2026, 5, 1)


@pytest.mark.parametrize(
    ("celsius", "published", "within"),
    [
        # Jackson 1988; Les et al. 2007 (artificial incubation of sliders, nesting table of Krueger & Janzen).
        ("28", 66, 1),
        ("28.5", 61, 3),
    ],
)
def test_sliders_days_agree_with_what_was_published(celsius, published, within):
    found = days_at(SLIDER, to_stored(Decimal(celsius), "C"))
    assert found.expected == pytest.approx(published, abs=within)
    assert found.low < found.expected < found.high


def test_florida_red_bellies_at_their_published_temperature_keep_their_published_days():
    # 48 to 50 days at 29.5 °C (nesting table of Krueger & Janzen).
    days = DaysAt(48, 49, 50, to_stored(Decimal("29.5"), "C"))
    assert days_at(days, days.temperature_mk) == days


def test_warmer_eggs_hatch_sooner_and_a_window_holds_its_day():
    cool, warm = (hatch_window(SET_ON, SLIDER, to_stored(degrees, "C")) for degrees in (26, 31))
    assert warm.expected_on < cool.expected_on
    assert cool.first_on <= cool.expected_on <= cool.last_on
    at_82 = hatch_window(SET_ON, SLIDER, to_stored(82, "F"))
    assert (at_82.first_on, at_82.expected_on, at_82.last_on) == (
        dt.date(2026, 7, 2),
        dt.date(2026, 7, 7),
        dt.date(2026, 7, 12),
    )


def test_without_a_temperature_the_kinds_days_stand_and_the_window_says_so():
    window = hatch_window(SET_ON, SLIDER, None)
    assert (window.low, window.high) == (62, 72)
    assert "no temperature" in window.note
    assert days_at(DaysAt(62, 67, 72, None), to_stored(29, "C")).expected == 67


@pytest.mark.parametrize("degrees", [15, 20, 23, 35, 40])
def test_where_the_days_do_not_hold_there_is_no_window(degrees):
    assert hatch_window(SET_ON, SLIDER, to_stored(degrees, "C")) is None


def test_a_kind_without_days_has_no_window():
    assert hatch_window(SET_ON, None, to_stored(82, "F")) is None


@pytest.mark.parametrize(
    "days", [DaysAt(0, 67, 72, None), DaysAt(70, 67, 72, None), DaysAt(62, 67, 72, to_stored(15, "C"))]
)
def test_days_that_cannot_be_are_refused(days):
    with pytest.raises(ValueError, match="Days of incubation"):
        days_at(days, to_stored(28, "C"))


@pytest.mark.parametrize(
    ("day", "asked", "what"),
    [
        (10, {}, incubation.INCUBATING),
        (13, {}, incubation.CANDLE),
        (13, {"is_candled": True}, incubation.INCUBATING),
        (62, {}, incubation.HATCH),
        (72, {"is_candled": True}, incubation.HATCH),
        (73, {}, incubation.LATE),
        (73, {"is_done": True}, incubation.DONE),
        (73, {"eggs": 0}, incubation.NO_EGGS),
        (73, {"window": None}, incubation.CANDLE),
        (73, {"window": None, "is_candled": True}, incubation.INCUBATING),
    ],
)
def test_what_is_due(day, asked, what):
    facts = {
        "set_on": SET_ON,
        "window": hatch_window(SET_ON, SLIDER, to_stored(82, "F")),
        "eggs": 100,
        "is_candled": False,
        "is_done": False,
    } | asked
    assert due(today=SET_ON + dt.timedelta(days=day), **facts).what == what


def test_each_thing_that_may_be_due_has_its_place_in_the_order():
    named = {incubation.NO_EGGS, incubation.INCUBATING, incubation.CANDLE, incubation.HATCH,
             incubation.LATE, incubation.DONE}  # fmt: skip
    assert set(incubation.DUES) == named
