"""What is measured on a turtle, and how a typed measure is read.

The definition is part of the value: the greatest length of a carapace and its length on the midline differ by
millimeters, and a tape laid over the back differs by far more. Straight lengths are taken with calipers, after
Iverson & Lewis 2018, Herpetological Review 49: 453-460.

A measure is kept as it was typed, with its unit, and as a whole number of mm or g (`ponds/units.py`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from ponds import units
from ponds.svg_marks import figure_text
from ponds.units import UNITS, UnitRefused

MOST_MM = 3000  # longer than any turtle that lives
MOST_G = 1_000_000


@dataclass(frozen=True)
class Definition:
    """
    One thing that is measured.

    Parameters
    ----------
    code : str
        Stable code, stored.
    title : str
        Its name on a page.
    meaning : str
        From where to where, in a sentence.
    quantity : str
        `units.LENGTH` or `units.MASS`.
    tool : str
        What it is taken with.
    """

    code: str
    title: str
    meaning: str
    quantity: str
    tool: str

    @property
    def stored_unit(self) -> str:
        """The unit it is stored in: "MM" or "G"."""
        return "MM" if self.quantity == units.LENGTH else "G"


DEFINITIONS = {
    one.code: one
    for one in (
        Definition(
            "SCL_MAX",
            "Straight carapace length, greatest",
            "Front edge to rear edge of the upper shell at its longest, straight, along the midline's direction.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "SCL_MID",
            "Straight carapace length, midline",
            "Nuchal scute to the notch between the rear marginals, straight, on the midline.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "PL_MAX",
            "Plastron length, greatest",
            "Front tip to rear tip of the lower shell at its longest, straight.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "PL_MID",
            "Plastron length, midline",
            "Front notch to rear notch of the lower shell, straight, on the midline.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "CW",
            "Carapace width, greatest",
            "Straight across the upper shell at its widest; note at which marginals.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "SH",
            "Shell height, greatest",
            "Plastron to the highest point of the upper shell, straight.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "TAIL",
            "Tail to the vent",
            "Rear edge of the plastron on the midline to the vent, tail held straight.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "CLAW",
            "Third claw, right forefoot",
            "Base to tip of the third claw of the right forefoot, straight.",
            units.LENGTH,
            "calipers",
        ),
        Definition(
            "MASS",
            "Mass",
            "Drained of water, net of the bag; note whether she carries eggs.",
            units.MASS,
            "scale",
        ),
    )
}
UNITS_OF = {
    units.LENGTH: ("MM", "CM", "INCH"),
    units.MASS: ("G", "KG", "LB", "OZ"),
}
_UNIT_WORDS = {
    "mm": "MM", "millimeter": "MM", "millimeters": "MM", "cm": "CM", "in": "INCH", "inch": "INCH", "inches": "INCH",
    '"': "INCH", "g": "G", "gram": "G", "grams": "G", "kg": "KG", "lb": "LB", "lbs": "LB", "pound": "LB",
    "pounds": "LB", "oz": "OZ", "ounce": "OZ", "ounces": "OZ",
}  # fmt: skip
_WITH_UNIT = re.compile(r"(?P<figure>[\d./ -]+?)\s*(?P<unit>[a-z]+|\")\.?\Z", re.ASCII | re.IGNORECASE)
_POUNDS_AND_OUNCES = re.compile(
    r"(?P<pounds>\d+)\s*(?:lbs?|pounds?)\.?,?\s*(?P<ounces>\d+(?:\.\d+)?)\s*(?:oz|ounces?)\.?\Z",
    re.ASCII | re.IGNORECASE,
)
_MIXED = re.compile(r"(?:(?P<whole>\d+)[ -])?(?P<top>\d{1,3})/(?P<bottom>\d{1,3})\Z", re.ASCII)


@dataclass(frozen=True)
class Typed:
    """
    A measure as it was typed and as it is stored.

    Parameters
    ----------
    code : str
        What was measured, a code of `DEFINITIONS`.
    typed : str
        The figure as it was typed; with pounds and ounces "2 lb 6".
    unit : str
        The unit it was typed in, a code of `ponds.units.UNITS`; `typed` and its symbol make what was written.
    stored : int
        The same in mm or g, rounded once, half to even.
    exact : float
        The same before it was rounded; what is compared, so that 1.4 g is not taken for 1 g.
    """

    code: str
    typed: str
    unit: str
    stored: int
    exact: float

    @property
    def words(self) -> str:
        """What was typed, with its unit."""
        return f"{self.typed} {units.symbol(self.unit)}"


def read_measure(code: str, text: str, unit: str = "") -> Typed:
    """
    Read a typed measure.

    Parameters
    ----------
    code : str
        What was measured, a code of `DEFINITIONS`.
    text : str
        Such as "203", "203 mm", "8 1/4 in", "2 lb 6 oz". A unit in the text goes before `unit`.
    unit : str, optional
        Code of the unit chosen beside it; mm or g where neither says one.

    Returns
    -------
    Typed
        As typed, and in mm or g.

    Raises
    ------
    UnitRefused
        If it cannot be read, is not above 0, is in a unit of another quantity, or is beyond any turtle.
    """
    definition = DEFINITIONS.get(code)
    if definition is None:
        raise UnitRefused(f"{code!r} is not measured here; choose one of {', '.join(DEFINITIONS)}.")
    figure, said, exact = _split(" ".join(text.split()), definition)
    chosen = said or unit or definition.stored_unit
    if chosen not in UNITS_OF[definition.quantity]:
        allowed = ", ".join(UNITS[one].symbol for one in UNITS_OF[definition.quantity])
        raise UnitRefused(f"{definition.title} is given in {allowed}; this is {text.strip()}.")
    number = exact if exact is not None else _number(figure)
    in_stored = number * Fraction(UNITS[chosen].factor)
    if in_stored <= 0:
        raise UnitRefused(f"{text.strip()} is not above 0; leave the field empty where nothing was measured.")
    most, symbol = (MOST_MM, "mm") if definition.quantity == units.LENGTH else (MOST_G, "g")
    if in_stored > most:
        raise UnitRefused(
            f"{text.strip()} is {figure_text(float(in_stored), 0)} {symbol}, more than any turtle measures; "
            "check figure and unit."
        )
    return Typed(code, figure, chosen, round(in_stored), float(in_stored))


def _split(text: str, definition: Definition) -> tuple[str, str, Fraction | None]:
    """Return the figure as typed, the unit that stands in the text or "", and pounds with ounces in ounces."""
    both = _POUNDS_AND_OUNCES.match(text)
    if both and definition.quantity == units.MASS:
        ounces = Fraction(both["ounces"])
        if ounces >= 16:
            raise UnitRefused(f"{text}: a pound has 16 ounces; write {_in_pounds(both)}.")
        return f"{both['pounds']} lb {both['ounces']}", "OZ", 16 * Fraction(both["pounds"]) + ounces
    found = _WITH_UNIT.match(text)
    if not found:
        return text, "", None
    word = found["unit"].lower()
    if word not in _UNIT_WORDS:
        known = ", ".join(UNITS[one].symbol for one in UNITS_OF[definition.quantity])
        raise UnitRefused(f"{text}: “{found['unit']}” is not a unit here; write one of {known}.")
    return found["figure"].strip(), _UNIT_WORDS[word], None


def _in_pounds(both: re.Match[str]) -> str:
    more, ounces = divmod(Decimal(both["ounces"]), 16)
    return f"{int(both['pounds']) + int(more)} lb {ounces:f} oz"


def _number(figure: str) -> Fraction:
    mixed = _MIXED.match(figure)
    if mixed and int(mixed["bottom"]):
        return int(mixed["whole"] or 0) + Fraction(int(mixed["top"]), int(mixed["bottom"]))
    return Fraction(units.read_number(figure))
