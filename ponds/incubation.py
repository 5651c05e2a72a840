"""How long eggs take, and what is due in a lot. Imports no Django.

The days of a kind hold at the temperature they were published for. At another, development is taken to go as
fast as the temperature lies above 15 °C: days = published days x (published temperature - 15) / (temperature
- 15). For sliders (67 days at 82 °F) that gives 66 days at 28 °C, as published (Jackson 1988, in the nesting
table of Krueger & Janzen), and 63 at 28.5 °C, where 61 were (Les et al. 2007, same table). The 15 °C and its
use for other kinds are an assumption, good to about five days.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

STANDSTILL_C = 15.0
"""Where development is taken to stand still; an assumption."""
COLDEST_C, HOTTEST_C = 24.0, 34.0
"""Between these a window is given; beyond them eggs die or stall (common practice, no source)."""
CANDLE_SHARE = 0.2
"""Candling is due after this share of the expected days, when vessels show; common practice, no source."""
CANDLE_DAYS = 14
"""Days to candling where the kind's days are not known; common practice, no source."""
KELVIN = 273.15

NO_EGGS = "no eggs"
INCUBATING = "incubating"
CANDLE = "candle"
HATCH = "hatch due"
LATE = "late"
DONE = "done"
DUES = (LATE, HATCH, CANDLE, INCUBATING, NO_EGGS, DONE)
"""What a lot may be, the most pressing first."""


@dataclass(frozen=True)
class DaysAt:
    """A kind's days of incubation and the temperature they hold at.

    Parameters
    ----------
    low, expected, high : float
        Days; low and high are the 5 % and 95 % points.
    temperature_mk : float or None
        In mK; None where the kind does not say.
    """

    low: float
    expected: float
    high: float
    temperature_mk: float | None


@dataclass(frozen=True)
class HatchWindow:
    """
    When eggs set on one day are expected to hatch.

    Parameters
    ----------
    first_on, expected_on, last_on : date
        Between the first and the last nine in ten clutches are expected.
    low, expected, high : float
        The days they were counted with.
    note : str
        What the days rest on, a sentence.
    """

    first_on: dt.date
    expected_on: dt.date
    last_on: dt.date
    low: float
    expected: float
    high: float
    note: str


@dataclass(frozen=True)
class Due:
    """What a lot is waiting for: one of `DUES`, since or from which day (None where there is none)."""

    what: str
    on: dt.date | None


def celsius(millikelvin: float) -> float:
    """Return a temperature in °C.

    >>> round(celsius(300_928), 2)
    27.78
    """
    return millikelvin / 1000 - KELVIN


def days_at(days: DaysAt, temperature_mk: float | None) -> DaysAt | None:
    """
    Return a kind's days at a temperature.

    Parameters
    ----------
    days : DaysAt
        As published.
    temperature_mk : float or None
        At which the eggs lie, in mK; None where nobody has written it down.

    Returns
    -------
    DaysAt or None
        The days as they are where either temperature is not known; None below 24 °C or above 34 °C, where
        they do not hold.

    Raises
    ------
    ValueError
        If the days do not rise from above 0, or the published temperature is not above 15 °C.
    """
    if not 0 < days.low <= days.expected <= days.high:
        raise ValueError(
            f"Days of incubation must rise from above 0; {days.low:g}, {days.expected:g}, {days.high:g} do not."
        )
    if temperature_mk is None:
        return days
    if not COLDEST_C <= celsius(temperature_mk) <= HOTTEST_C:
        return None
    if days.temperature_mk is None:
        return days
    published = celsius(days.temperature_mk)
    if published <= STANDSTILL_C:
        raise ValueError(f"Days of incubation at {published:.1f} °C cannot be: eggs stand still at 15 °C.")
    slower = (published - STANDSTILL_C) / (celsius(temperature_mk) - STANDSTILL_C)
    return DaysAt(days.low * slower, days.expected * slower, days.high * slower, temperature_mk)


def hatch_window(set_on: dt.date, days: DaysAt | None, temperature_mk: float | None) -> HatchWindow | None:
    """
    Return when eggs are expected to hatch.

    Parameters
    ----------
    set_on : date
        The day they were set.
    days : DaysAt or None
        The kind's; None where it has none.
    temperature_mk : float or None
        At which they lie, in mK.

    Returns
    -------
    HatchWindow or None
        None where the kind has no days, or the temperature lies where they do not hold.
    """
    found = days_at(days, temperature_mk) if days else None
    if days is None or found is None:
        return None
    if temperature_mk is None or days.temperature_mk is None:
        note = "by the kind's days as they are: no temperature to go by"
    else:
        note = "by the kind's days, put from their temperature to this one"
    return HatchWindow(
        first_on=set_on + dt.timedelta(days=math.floor(found.low)),
        expected_on=set_on + dt.timedelta(days=round(found.expected)),
        last_on=set_on + dt.timedelta(days=math.ceil(found.high)),
        low=found.low,
        expected=found.expected,
        high=found.high,
        note=note,
    )


def candle_day(set_on: dt.date, window: HatchWindow | None) -> dt.date:
    """Return the day from which candling tells something."""
    return set_on + dt.timedelta(
        days=round(window.expected * CANDLE_SHARE) if window is not None else CANDLE_DAYS
    )


def due(
    *,
    today: dt.date,
    set_on: dt.date,
    window: HatchWindow | None,
    eggs: int,
    is_candled: bool,
    is_done: bool,
) -> Due:
    """
    Say what a lot is waiting for.

    Parameters
    ----------
    today : date
        The farm's day.
    set_on : date
        The day its eggs were set.
    window : HatchWindow or None
        When they should hatch.
    eggs : int
        Eggs set in it.
    is_candled : bool
        Whether it was ever candled.
    is_done : bool
        Whether nothing is left in it.

    Returns
    -------
    Due
        What, and the day it is or was due.
    """
    if not eggs:
        return Due(NO_EGGS, None)
    if is_done:
        return Due(DONE, None)
    if window is not None and today > window.last_on:
        return Due(LATE, window.last_on)
    if window is not None and today >= window.first_on:
        return Due(HATCH, window.first_on)
    candle_on = candle_day(set_on, window)
    if not is_candled and today >= candle_on:
        return Due(CANDLE, candle_on)
    return Due(INCUBATING, window.first_on if window else None)
