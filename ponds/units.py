"""Units as people type them, and the whole numbers they are stored as.

A measure is kept twice: the text and unit that were typed, and one whole number in a fixed small unit
(length mm, mass g, temperature mK, area cm²). Factors are exact decimals; the arithmetic is exact, and
the result is rounded once, half to even. So showing hectares for an area typed in acres never changes
what is stored, and going back to acres shows what was typed.

Sources: international yard and pound agreement of 1959 (1 in = 25.4 mm, 1 ft = 0.3048 m, 1 lb =
0.45359237 kg, exact, of 16 oz), as in NIST Special Publication 811, appendix B; the acre is 43,560 international
square feet = 4046.8564224 m², exact; the hectare is 10,000 m²; 0 °C = 273.15 K and °F = K × 9/5 - 459.67.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

LENGTH = "length"
MASS = "mass"
TEMPERATURE = "temperature"
AREA = "area"

MOST_TYPED = 20
MOST_STORED = 2**63 - 1
MOST_PLACES = 12

_PLAIN_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)\Z", re.ASCII)


class UnitRefused(ValueError):
    """A typed measure cannot be read; the message says why and how to write it."""


@dataclass(frozen=True)
class Unit:
    """One unit of one quantity: stored = (typed + offset) × factor.

    Parameters
    ----------
    code : str
        Stable code that is stored beside the typed text.
    quantity : str
        `LENGTH`, `MASS`, `TEMPERATURE` or `AREA`.
    symbol : str
        What is printed after a figure.
    factor : Decimal
        Stored units (mm, g, mK, cm²) in one of this unit, exact. For °F it is the factor of K × 9/5.
    offset : Decimal
        Added before multiplying, in this unit; 0 but for temperatures.
    divisor : int
        Divides after multiplying; 9 for °F, so that 5/9 stays exact, otherwise 1.
    places : int
        Decimal places that `shown` prints at most.
    """

    code: str
    quantity: str
    symbol: str
    factor: Decimal
    offset: Decimal = Decimal(0)
    divisor: int = 1
    places: int = 2


UNITS = {
    unit.code: unit
    for unit in (
        Unit("MM", LENGTH, "mm", Decimal(1), places=0),
        Unit("CM", LENGTH, "cm", Decimal(10), places=1),
        Unit("INCH", LENGTH, "in", Decimal("25.4"), places=2),
        Unit("FOOT", LENGTH, "ft", Decimal("304.8"), places=2),
        Unit("G", MASS, "g", Decimal(1), places=0),
        Unit("KG", MASS, "kg", Decimal(1000), places=2),
        Unit("LB", MASS, "lb", Decimal("453.59237"), places=2),
        Unit("OZ", MASS, "oz", Decimal("28.349523125"), places=1),
        Unit("C", TEMPERATURE, "°C", Decimal(1000), offset=Decimal("273.15"), places=1),
        Unit("F", TEMPERATURE, "°F", Decimal(5000), offset=Decimal("459.67"), divisor=9, places=1),
        Unit("SQUARE_METER", AREA, "m²", Decimal(10_000), places=0),
        Unit("HECTARE", AREA, "ha", Decimal(100_000_000), places=2),
        Unit("ACRE", AREA, "acres", Decimal("40468564.224"), places=2),
    )
}


@dataclass(frozen=True)
class Measure:
    """A measure as typed and as stored.

    Parameters
    ----------
    typed : str
        The figure as it was typed, spaces at its ends taken off.
    unit : str
        Code of the unit it was typed in.
    stored : int
        The same in mm, g, mK or cm².
    """

    typed: str
    unit: str
    stored: int


def read_number(text: str) -> Decimal:
    """
    Read a plain decimal number as people write it.

    Parameters
    ----------
    text : str
        Such as "2.5". Digits with at most one decimal point; no commas, fractions, powers or units.

    Returns
    -------
    Decimal
        Exactly what was written.

    Raises
    ------
    UnitRefused
        With a sentence that names what was typed and how to write it.
    """
    typed = text.strip()
    if not typed:
        raise UnitRefused("Nothing is written here; write a number such as 2.5.")
    if len(typed) > MOST_TYPED:
        raise UnitRefused(
            f"This number is {len(typed)} characters long; write it with {MOST_TYPED} at most, such as 2.5."
        )
    if _PLAIN_NUMBER.match(typed):
        return Decimal(typed)
    raise UnitRefused(_why_not_a_number(typed))


def measure(text: str, unit: str) -> Measure:
    """
    Read a typed figure in a unit.

    Parameters
    ----------
    text : str
        The figure alone, such as "2.5".
    unit : str
        A code of `UNITS`, such as "ACRE".

    Returns
    -------
    Measure
        Typed text, unit and the stored whole number.

    Raises
    ------
    UnitRefused
        If the figure cannot be read, is negative (below absolute zero for a temperature), or is too big.
    """
    number = read_number(text)
    return Measure(typed=text.strip(), unit=unit, stored=to_stored(number, unit))


def to_stored(number: Decimal | int, unit: str) -> int:
    """
    Return a figure in the stored unit of its quantity: mm, g, mK or cm².

    Parameters
    ----------
    number : Decimal or int
        The figure in `unit`.
    unit : str
        A code of `UNITS`.

    Returns
    -------
    int
        Exact product, rounded once, half to even.

    Raises
    ------
    UnitRefused
        If the unit is not known, or the result is negative or too big to store.
    """
    chosen = _unit(unit)
    exact = (Fraction(number) + Fraction(chosen.offset)) * Fraction(chosen.factor) / chosen.divisor
    if exact < 0:
        if chosen.quantity == TEMPERATURE:
            raise UnitRefused(
                f"{number} {chosen.symbol} is below absolute zero; check the figure and its unit."
            )
        raise UnitRefused(
            f"{number} {chosen.symbol} is below 0; {'an' if chosen.quantity[0] in 'aeiou' else 'a'} {chosen.quantity} "
            "cannot be."
        )
    stored = round(exact)
    if stored > MOST_STORED:
        raise UnitRefused(f"{number} {chosen.symbol} is too big to be true; check the figure and its unit.")
    return stored


def from_stored(stored: int, unit: str) -> Fraction:
    """Return a stored whole number (mm, g, mK, cm²) in `unit`, exactly."""
    chosen = _unit(unit)
    return Fraction(stored) * chosen.divisor / Fraction(chosen.factor) - Fraction(chosen.offset)


def shortest(stored: int, unit: str) -> str:
    """
    Return the shortest figure in `unit` that reads back to the same stored number.

    Parameters
    ----------
    stored : int
        In mm, g, mK or cm².
    unit : str
        A code of `UNITS`.

    Returns
    -------
    str
        Such as "2.5"; put into a form it changes nothing when it is saved again.
    """
    exact = from_stored(stored, unit)
    for places in range(MOST_PLACES + 1):
        text = _rounded(exact, places)
        if to_stored(Decimal(text), unit) == stored:
            return text
    return _rounded(exact, MOST_PLACES)


def shown(stored: float, unit: str, *, places: int | None = None) -> str:
    """
    Return a stored figure for reading, in `unit`, with few places and no trailing zeros.

    Parameters
    ----------
    stored : int or float
        In mm, g, mK or cm².
    unit : str
        A code of `UNITS`.
    places : int, optional
        Decimal places at most; the unit's own when left out.

    Returns
    -------
    str
        Such as "82" for 300928 mK in °F. An area, length or mass above 0 never shows as 0: places are
        added until it does not.
    """
    chosen = _unit(unit)
    exact = from_stored(round(stored), unit)
    wanted = chosen.places if places is None else places
    text = _rounded(exact, wanted)
    while exact != 0 and chosen.quantity != TEMPERATURE and Decimal(text) == 0 and wanted < MOST_PLACES:
        wanted += 1
        text = _rounded(exact, wanted)
    return text


def symbol(unit: str) -> str:
    """Return what is printed after a figure in `unit`, such as "acres" or "°F"."""
    return _unit(unit).symbol


def _unit(code: str) -> Unit:
    try:
        return UNITS[code]
    except KeyError:
        raise UnitRefused(f"{code!r} is not a unit; choose one of {', '.join(UNITS)}.") from None


def _rounded(exact: Fraction, places: int) -> str:
    scaled = round(exact * 10**places)
    digits = str(abs(scaled)).rjust(places + 1, "0")
    text = digits if not places else f"{digits[:-places]}.{digits[-places:]}".rstrip("0").rstrip(".")
    return f"-{text}" if scaled < 0 else text


def _why_not_a_number(typed: str) -> str:
    if "," in typed:
        as_decimal = typed.replace(",", ".", 1)
        without = typed.replace(",", "")
        if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d*)?", typed, re.ASCII):
            return f"{typed} can be read two ways; write {without} without commas, or a decimal with a point."
        if _PLAIN_NUMBER.match(as_decimal):
            return f"{typed} has a comma; write a decimal with a point: {as_decimal}."
        return f"{typed} has a comma; write a number with a point for decimals, such as 2.5."
    if "/" in typed:
        return f"{typed} is a fraction; write it as a decimal, such as 0.5 for 1/2."
    if re.fullmatch(r"[+-]?[\d.]+[eE][+-]?\d+", typed, re.ASCII):
        return f"{typed} is written with a power of ten; write all its digits, such as 2500."
    if re.match(r"[+-]?[\d.]+\s*[^\d\s.]", typed, re.ASCII):
        return (
            f"{typed} is more than a number; write the figure alone, such as 2.5 - the unit stands beside it."
        )
    return f"{typed} is not a number; write one such as 2.5."
