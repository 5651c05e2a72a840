"""A kind's breeding figures as they are typed, kept and shown. Imports no Django.

Shares are kept 0 to 1, temperatures in mK, nests, eggs and days as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from ponds import units

PERCENT = "PERCENT"
SHARE = "SHARE"
PLAIN = ""

SHARES = ("LAYING_SHARE", "HATCH_SHARE", "SURVIVAL")
TEMPERATURES = ("INCUBATION_TEMPERATURE",)

# Beyond these a figure is a slip of the pen: a unit mixed up or a point lost.
MOST_NESTS = 20
MOST_EGGS = 200
FEWEST_DAYS, MOST_DAYS = 20, 400
COLDEST_C, HOTTEST_C = Decimal(15), Decimal(40)


@dataclass(frozen=True)
class Range:
    """Low, expected and high as kept, in the figure's own unit."""

    low: float
    expected: float
    high: float


def units_of(name: str) -> tuple[tuple[str, str], ...]:
    """Return (code, words) of the units in which a figure may be typed, the commonest first."""
    if name in SHARES:
        return ((PERCENT, "%"), (SHARE, "share, 0 to 1"))
    if name in TEMPERATURES:
        return (("F", "°F"), ("C", "°C"))
    return ((PLAIN, {"NESTS": "nests", "EGGS": "eggs", "INCUBATION_DAYS": "days"}[name]),)


def unit_left_out(name: str) -> str:
    """Return the unit that is meant where a sheet names none: a share is 0 to 1, a temperature must say."""
    return SHARE if name in SHARES else PLAIN


def read_figure(name: str, text: str, unit: str) -> float:
    """
    Read one typed figure.

    Parameters
    ----------
    name : str
        Which figure, such as "EGGS".
    text : str
        What was typed.
    unit : str
        A code of `units_of(name)`.

    Returns
    -------
    float
        In the unit it is kept in.

    Raises
    ------
    ValueError
        With a sentence, if it cannot be read or cannot be true.
    """
    if unit not in [code for code, _ in units_of(name)]:
        words = " or ".join(words for _, words in units_of(name))
        raise ValueError(f"{unit or 'no unit'} is not a unit of this figure; it is given in {words}.")
    if name in TEMPERATURES:
        return float(_temperature(text, unit))
    number = units.read_number(text)
    if name in SHARES:
        return float(_share(number, text, unit))
    low, high = {
        "NESTS": (0, MOST_NESTS),
        "EGGS": (0, MOST_EGGS),
        "INCUBATION_DAYS": (FEWEST_DAYS, MOST_DAYS),
    }[name]
    if not low <= number <= high:
        raise ValueError(f"{text.strip()} is not between {low} and {high}.")
    return float(number)


def read_range(name: str, low: str, expected: str, high: str, unit: str) -> Range:
    """Read three typed figures and see that they rise; raises ValueError with a sentence."""
    found = Range(*(read_figure(name, text, unit) for text in (low, expected, high)))
    if not found.low <= found.expected <= found.high:
        raise ValueError(
            f"Low, expected and high must rise in that order; {low.strip()}, {expected.strip()}, "
            f"{high.strip()} do not."
        )
    return found


def show_figure(name: str, value: float, temperature_unit: str) -> str:
    """
    Return a kept figure for reading, with its unit where it has one.

    Parameters
    ----------
    name : str
        Which figure.
    value : float
        As kept.
    temperature_unit : str
        "F" or "C": what the farm thinks in.

    Returns
    -------
    str
        Such as "70 %", "82 °F" or "12.4".
    """
    if name in SHARES:
        return f"{_trimmed(value * 100, 1)} %"
    if name in TEMPERATURES:
        return f"{units.shown(value, temperature_unit)} {units.symbol(temperature_unit)}"
    return _trimmed(value, 2)


def _temperature(text: str, unit: str) -> int:
    stored = units.measure(text, unit).stored
    coldest, hottest = (units.to_stored(limit, "C") for limit in (COLDEST_C, HOTTEST_C))
    if not coldest <= stored <= hottest:
        raise ValueError(
            f"{text.strip()} {units.symbol(unit)} is not between {units.shown(coldest, unit)} and "
            f"{units.shown(hottest, unit)} {units.symbol(unit)}; look at the figure and its unit."
        )
    return stored


def _share(number: Decimal, text: str, unit: str) -> Decimal:
    if unit == PERCENT:
        if 0 < number < 1:
            raise ValueError(
                f"{text.strip()} % is less than one in a hundred; write {_trimmed(float(number) * 100, 2)} "
                "or choose share, 0 to 1."
            )
        number = number / 100
    if not 0 <= number <= 1:
        way_out = "it is at most 100 %." if unit == PERCENT else "a share is 0 to 1; for per cent choose %."
        raise ValueError(f"{text.strip()} cannot be a share of the whole: {way_out}")
    return number


def _trimmed(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
