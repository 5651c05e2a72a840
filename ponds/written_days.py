"""Days as people and programs write them: read where they can mean one day only, else asked about. Pure."""

from __future__ import annotations

import datetime as dt
import re

DAY_FIRST = "day-first"
MONTH_FIRST = "month-first"
ORDERS = ((DAY_FIRST, "day first: 31/05/2026"), (MONTH_FIRST, "month first: 05/31/2026"))
EARLIEST_DAY = dt.date(1900, 1, 1)
LATEST_DAY = dt.date(2100, 1, 1)
EXAMPLE = "write it as year-month-day, such as 2026-05-31"

_MIDNIGHT = re.compile(r"[ T]0?0:00(?::00(?:\.0+)?)?\Z", re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})\Z", re.ASCII)
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})\Z", re.ASCII)
# Weeks and days of the year as ISO 8601 writes them; they name one day too.
_WEEK_DAY = re.compile(r"\d{4}-W\d{2}-[1-7]\Z", re.ASCII)
_DAY_OF_YEAR = re.compile(r"(\d{4})-(\d{3})\Z", re.ASCII)
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})\Z", re.ASCII)
_SHORT_YEAR = re.compile(r"\d{1,2}[-/. ](?:\d{1,2}|[a-z]{3,9})[-/. ]'?\d{2}\Z", re.ASCII | re.IGNORECASE)
_DAY_AND_WORD = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]+([a-z]{3,9})\.?[-/., ]+(\d{4})\Z", re.ASCII)
_WORD_AND_DAY = re.compile(r"([a-z]{3,9})\.?[-/. ]+(\d{1,2})(?:st|nd|rd|th)?[-/., ]+(\d{4})\Z", re.ASCII)
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?\Z", re.ASCII)
# Day 60 of the 1900 count is a 29 February that never was, so days since then count from 30 December 1899.
_SERIAL_START = dt.date(1899, 12, 30)
_MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip


def read_day(text: str, order: str = "") -> dt.date:
    """
    Read a day that is written in figures or with the month in words.

    Parameters
    ----------
    text : str
        Such as "2026-05-31", "31 May 2026", "31/05/2026"; ISO 8601's week days and days of the year too.
    order : str
        `DAY_FIRST` or `MONTH_FIRST` where somebody has said which; "" where nobody has.

    Returns
    -------
    datetime.date
        The one day it can mean.

    Raises
    ------
    ValueError
        With a sentence, where it is no day, or may be two and `order` does not say which.
    """
    typed = " ".join(text.split())
    plain = _MIDNIGHT.sub("", typed)
    if found := _YEAR_LAST.match(plain):
        return _year_last(typed, int(found[1]), int(found[3]), int(found[4]), order)
    if found := _YEAR_FIRST.match(plain):
        return _day(typed, int(found[1]), int(found[3]), int(found[4]))
    if found := _COMPACT.match(plain):
        return _day(typed, int(found[1]), int(found[2]), int(found[3]))
    if found := _DAY_OF_YEAR.match(plain):
        return _day_of_year(typed, int(found[1]), int(found[2]))
    if _WEEK_DAY.match(plain):
        try:
            return _within(typed, dt.date.fromisoformat(plain))
        except ValueError:
            raise ValueError(_not_in_calendar(typed)) from None
    words = plain.lower()
    if found := _DAY_AND_WORD.match(words):
        return _day(typed, int(found[3]), _month(typed, found[2]), int(found[1]))
    if found := _WORD_AND_DAY.match(words):
        return _day(typed, int(found[3]), _month(typed, found[1]), int(found[2]))
    if _SHORT_YEAR.match(words):
        raise ValueError(f"{typed} has a year of two digits; {EXAMPLE}.")
    if _SERIAL.match(plain) and float(plain).is_integer():
        meant = _SERIAL_START + dt.timedelta(days=int(float(plain)))
        raise ValueError(
            f"{typed} is a number, not a day. Most spreadsheet programs mean {meant} by it: format the cell as a "
            f"day, or {EXAMPLE}."
        )
    raise ValueError(f"{typed} is not a day; {EXAMPLE}.")


def _year_last(typed: str, first: int, second: int, year: int, order: str) -> dt.date:
    if order:
        day, month = (first, second) if order == DAY_FIRST else (second, first)
        if month > 12 >= day:
            said = "day" if order == DAY_FIRST else "month"
            raise ValueError(
                f"{typed} has no month {month}, yet days were said to be written {said} first; {EXAMPLE}."
            )
        return _day(typed, year, month, day)
    if first > 12 or first == second:
        return _day(typed, year, second, first)
    if second > 12:
        return _day(typed, year, first, second)
    if first == 0 or second == 0:
        raise ValueError(_not_in_calendar(typed))
    raise ValueError(
        f"{typed} can be read two ways: {year:04}-{second:02}-{first:02} with the day first, "
        f"{year:04}-{first:02}-{second:02} with the month first. Say which under “Days such as 03/04/2026”, "
        f"or {EXAMPLE}."
    )


def _day_of_year(typed: str, year: int, number: int) -> dt.date:
    first = _day(typed, year, 1, 1)
    day = first + dt.timedelta(days=number - 1)
    if day.year != year:
        raise ValueError(_not_in_calendar(typed))
    return day


def _month(typed: str, word: str) -> int:
    found = [number for number, month in enumerate(_MONTHS, start=1) if month.startswith(word)]
    if word == "sept":
        return 9
    if len(found) != 1:
        raise ValueError(f"{typed} is not a day: there is no month {word}; {EXAMPLE}.")
    return found[0]


def _day(typed: str, year: int, month: int, day: int) -> dt.date:
    try:
        made = dt.date(year, month, day)
    except ValueError:
        raise ValueError(_not_in_calendar(typed)) from None
    return _within(typed, made)


def _within(typed: str, day: dt.date) -> dt.date:
    if not EARLIEST_DAY <= day <= LATEST_DAY:
        raise ValueError(f"{typed} is not between {EARLIEST_DAY} and {LATEST_DAY}.")
    return day


def _not_in_calendar(typed: str) -> str:
    return f"{typed} is not in the calendar; look at its month and day."
