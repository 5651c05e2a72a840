"""A cell with a figure and, if need be, its unit in the same cell: 2.5 acres, 82 °F."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from ponds import units
from ponds.names import name_key

_WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    units.AREA: {
        "ACRE": ("acre", "acres", "ac"),
        "HECTARE": ("ha", "hectare", "hectares"),
        "SQUARE_METER": ("m2", "sq m", "square meter", "square meters", "square metre", "square metres"),
    },
    units.TEMPERATURE: {
        "F": ("f", "°f", "deg f", "degrees f", "fahrenheit"),
        "C": ("c", "°c", "deg c", "degrees c", "celsius"),
    },
}
_FIGURE_AND_UNIT = re.compile(r"\s*([+-]?[\d.,]*\d\.?)\s*(\D.*)?\Z", re.ASCII | re.DOTALL)


class Measured(NamedTuple):
    """A figure as typed, and the code of its unit; "" where the cell does not say."""

    figure: str
    unit: str


@dataclass(frozen=True)
class FigureWithUnit:
    """A figure of one quantity, from `low` to `high` in whatever unit; the unit may stand behind it."""

    quantity: str
    low: float
    high: float
    example: str

    @property
    def shape(self) -> str:
        return f"number; its unit may stand behind it, such as {self.example}"

    def unit(self, word: str) -> str:
        """Return the code of a unit that is written out; raises ValueError with a sentence."""
        key = name_key(word)
        for code, words in _WORDS[self.quantity].items():
            if key in (*(name_key(one) for one in words), code.casefold()):
                return code
        known = ", ".join(units.symbol(code) for code in _WORDS[self.quantity])
        raise ValueError(f"{word} is not a unit of {self.quantity} known here; write one of: {known}.")

    def __call__(self, cell: str) -> Measured:
        found = _FIGURE_AND_UNIT.match(cell)
        figure, word = (found[1], (found[2] or "").strip()) if found else (cell, "")
        if word and re.match(r"[\d./eE%-]", word) and not word[0].isalpha():
            figure, word = cell, ""
        number = units.read_number(figure)
        if not Decimal(str(self.low)) <= number <= Decimal(str(self.high)):
            raise ValueError(f"{cell} is not between {self.low:g} and {self.high:g}.")
        return Measured(figure.strip(), self.unit(word) if word else "")
