"""How figures are written on pages: pure functions, each also a template filter or tag.

Thousands are parted by a narrow no-break space, a minus is a true minus, and a figure that is not known is
said in words. Shares run from 0 to 1 and are shown as percent. Ratios are females per male.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import TypeGuard

from django import template

from ponds.svg_marks import day_text, figure_text

register = template.Library()

NARROW = "\u202f"  # narrow no-break space
NOT_KNOWN = "not known"


def _is_known(value: float | None) -> TypeGuard[float]:
    return value is not None and value != "" and not math.isnan(value)


@register.filter
def number(value: float | None, decimals: int = 0) -> str:
    """Write a figure with so many decimals.

    >>> number(1234567.891, 1), number(-3), number(-0.2), number(None), number(float("inf"))
    ('1\u202f234\u202f567.9', '−3', '0', 'not known', 'no limit')
    """
    return figure_text(value, decimals) if _is_known(value) else NOT_KNOWN


@register.filter
def heads(value: float | None) -> str:
    """Write a head count with its noun.

    >>> heads(1), heads(12500), heads(0), heads(None)
    ('1 head', '12\u202f500 heads', 'no heads', 'not known')
    """
    if not _is_known(value):
        return NOT_KNOWN
    whole = number(value)
    return {"0": "no heads", "1": "1 head"}.get(whole, f"{whole} heads")


@register.filter
def signed(value: float | None, decimals: int = 0) -> str:
    """Write a change with its sign.

    >>> signed(4), signed(-12), signed(0.2)
    ('+4', '−12', '0')
    """
    written = number(value, decimals)
    return f"+{written}" if _is_known(value) and float(f"{value:.{decimals}f}") > 0 else written


@register.filter
def percent(share: float | None, decimals: int = 0) -> str:
    """Write a share of 0 to 1 as percent; what is near an end but not at it is not rounded onto the end.

    >>> percent(0.345), percent(0), percent(0.001), percent(0.999), percent(1.0), percent(None)
    ('34\u202f%', '0\u202f%', 'less than 1\u202f%', 'more than 99\u202f%', '100\u202f%', 'not known')
    """
    if not _is_known(share):
        return NOT_KNOWN
    least = 10.0**-decimals
    hundred = share * 100
    if 0 < hundred < least / 2:
        return f"less than {number(least, decimals)}{NARROW}%"
    if 100 - least / 2 < hundred < 100:
        return f"more than {number(100 - least, decimals)}{NARROW}%"
    return f"{number(hundred, decimals)}{NARROW}%"


@register.simple_tag
def unit(value: float | None, name: str, decimals: int = 0) -> str:
    """Write a figure with its unit, kept on one line.

    >>> unit(0.35, "ha", 2), unit(None, "ha")
    ('0.35\u00a0ha', 'not known')
    """
    return f"{number(value, decimals)}\u00a0{name}" if _is_known(value) else NOT_KNOWN


@register.simple_tag
def interval(lower: float | None, upper: float | None, decimals: int = 0, unit_name: str = "") -> str:
    """Write limits in words; None, or infinity above, is an open side.

    >>> interval(38, 54, 0, "heads"), interval(38, math.inf), interval(None, 54), interval(None, None)
    ('38 to 54\u00a0heads', 'at least 38', 'at most 54', 'not known')
    >>> interval(7, 7)
    '7'
    """
    has_lower = _is_known(lower) and not math.isinf(lower)
    has_upper = _is_known(upper) and not math.isinf(upper)
    tail = f"\u00a0{unit_name}" if unit_name else ""
    if has_lower and has_upper:
        low, high = number(lower, decimals), number(upper, decimals)
        return f"{low}{tail}" if low == high else f"{low} to {high}{tail}"
    if has_lower:
        return f"at least {number(lower, decimals)}{tail}"
    return f"at most {number(upper, decimals)}{tail}" if has_upper else NOT_KNOWN


@register.filter
def ratio(females_per_male: float | None) -> str:
    """Write a ratio the trade's way; infinity means that there are no males.

    >>> ratio(3), ratio(math.inf), ratio(0), ratio(None), ratio(12.345)
    ('3.00 : 1', 'no males', 'no females', 'not known', '12.3 : 1')
    """
    if not _is_known(females_per_male):
        return NOT_KNOWN
    if math.isinf(females_per_male):
        return "no males"
    if females_per_male == 0:
        return "no females"
    return f"{number(females_per_male, 2 if females_per_male < 10 else 1)} : 1"


@register.simple_tag
def ratio_of(females: int, males: int) -> str:
    """Write the ratio of two head counts.

    >>> ratio_of(45, 15), ratio_of(45, 0), ratio_of(0, 15), ratio_of(0, 0)
    ('3.00 : 1', 'no males', 'no females', 'empty')
    """
    if not females and not males:
        return "empty"
    return ratio(females / males if males else math.inf)


@register.simple_tag
def ratio_interval(lower: float | None, upper: float | None) -> str:
    """Write the limits of a ratio.

    >>> ratio_interval(2.41, 3.96), ratio_interval(5.2, math.inf), ratio_interval(0, 1.2)
    ('2.4 to 4.0 : 1', 'at least 5.2 : 1', 'at most 1.2 : 1')
    >>> ratio_interval(0, math.inf)
    'not known'
    """
    words = interval(lower or None, upper, 1)
    return words if words == NOT_KNOWN else f"{words} : 1"


@register.filter
def day(value: dt.date | None) -> str:
    """Write a day so that no reader can swap day and month.

    >>> day(dt.date(2026, 3, 4)), day(None)
    ('4 Mar 2026', 'not known')
    """
    return day_text(value) if value else NOT_KNOWN


@register.simple_tag
def age(on: dt.date | None, today: dt.date) -> str:
    """Write how long ago a day was, in the largest unit that is still fair.

    >>> today = dt.date(2026, 7, 31)
    >>> [age(dt.date(2026, 7, d), today) for d in (31, 30, 1)]
    ['today', 'yesterday', '30 days ago']
    >>> age(dt.date(2026, 3, 4), today), age(dt.date(2023, 7, 1), today), age(None, today)
    ('5 months ago', '3 years ago', 'never')
    >>> age(dt.date(2024, 3, 20), dt.date(2026, 11, 30)), age(dt.date(2023, 7, 31), dt.date(2026, 7, 31))
    ('2 years 8 months ago', '3 years ago')
    """
    if on is None:
        return "never"
    days = (today - on).days
    if days < 0:
        return "in 1 day" if days == -1 else f"in {-days} days"
    if days < 2:
        return ("today", "yesterday")[days]
    if days < 60:
        return f"{days} days ago"
    if days < 730:
        return f"{round(days / 30.44)} months ago"
    # By the calendar and never rounded up: an old count must not be told younger or older by half a year.
    years, months = divmod(12 * (today.year - on.year) + today.month - on.month - (today.day < on.day), 12)
    odd = f" {months} month{'' if months == 1 else 's'}" if months else ""
    return f"{years} year{'' if years == 1 else 's'}{odd} ago"


@register.simple_tag
def how_old(on: dt.date, today: dt.date) -> str:
    """Write the age of something that stands since a day, in the units of `age`.

    >>> [how_old(dt.date(2026, 7, day), dt.date(2026, 7, 31)) for day in (31, 30, 1)]
    ['of today', 'of yesterday', '30 days old']
    """
    words = age(on, today)
    return f"{words.removesuffix(' ago')} old" if words.endswith(" ago") else f"of {words}"
