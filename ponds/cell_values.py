"""What a sheet's cell may hold, and how it is read: each reader names its shape and refuses with a sentence."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from ponds import units
from ponds.names import name_key
from ponds.written_days import read_day

# Words that stand where a code stands in an address.
RESERVED_CODES = ("new", "shipped")
_THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+\Z", re.ASCII)
UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True)
class Text:
    """Some words, at most `longest` characters."""

    longest: int = 200

    @property
    def shape(self) -> str:
        return f"text, at most {self.longest} characters"

    def __call__(self, cell: str) -> str:
        if len(cell) > self.longest:
            raise ValueError(f"{len(cell)} characters are too many; {self.longest} is the most.")
        if UNPRINTABLE.search(cell):
            raise ValueError("There is a character in it that cannot be printed; type it again.")
        return cell


@dataclass(frozen=True)
class WholeNumber:
    """A whole number from `low` to `high`."""

    low: int = 0
    high: int = 1_000_000

    @property
    def shape(self) -> str:
        return f"whole number, {self.low} to {self.high}"

    def __call__(self, cell: str) -> int:
        try:
            number = units.read_number(cell)
        except ValueError:
            if _THOUSANDS.match(cell):
                raise  # It says how to write it without commas.
            raise ValueError(self._not_whole(cell)) from None
        if number != number.to_integral_value():
            raise ValueError(self._not_whole(cell))
        if not self.low <= number <= self.high:
            raise ValueError(f"{cell} is not between {self.low} and {self.high}.")
        return int(number)

    def _not_whole(self, cell: str) -> str:
        return (
            f"{cell[:40]} is not a whole number; write one from {self.low} to {self.high}, in figures alone."
        )


@dataclass(frozen=True)
class Number:
    """A number from `low` to `high`, decimals with a point."""

    low: float = 0
    high: float = 1_000_000

    @property
    def shape(self) -> str:
        return f"number, {self.low:g} to {self.high:g}"

    def __call__(self, cell: str) -> Decimal:
        number = units.read_number(cell)
        if not Decimal(str(self.low)) <= number <= Decimal(str(self.high)):
            raise ValueError(f"{cell} is not between {self.low:g} and {self.high:g}.")
        return number


@dataclass(frozen=True)
class Day:
    """A day, best written YYYY-MM-DD (or a date cell); other ways of writing are read where they are certain."""

    @property
    def shape(self) -> str:
        return "day, YYYY-MM-DD"

    def __call__(self, cell: str, order: str = "") -> dt.date:
        """Read the cell; `order` says which of day and month comes first, where somebody has said so."""
        return read_day(cell, order)


@dataclass(frozen=True)
class YesNo:
    """Yes or no."""

    @property
    def shape(self) -> str:
        return "yes or no"

    def __call__(self, cell: str) -> bool:
        word = name_key(cell)
        if word in ("yes", "y", "true", "1", "x"):
            return True
        if word in ("no", "n", "false", "0"):
            return False
        raise ValueError(f"{cell} is neither yes nor no.")


class Choice:
    """One of some words; each stands for a value.

    Parameters
    ----------
    words : mapping or iterable of (value, word)
        What may be written (case does not matter); the value itself may be written too.
    """

    def __init__(self, choices: Iterable[tuple[Any, str]]) -> None:
        self.choices = list(choices)
        self._by_word = {}
        for value, word in self.choices:
            self._by_word[name_key(str(word))] = value
            self._by_word[name_key(str(value))] = value

    @property
    def shape(self) -> str:
        return "one of: " + ", ".join(str(word) for _, word in self.choices)

    def __call__(self, cell: str) -> Any:
        try:
            return self._by_word[name_key(cell)]
        except KeyError:
            raise ValueError(f"{cell} is not {self.shape}.") from None


@dataclass(frozen=True)
class Code:
    """A code of small letters, digits and hyphens, such as river-cooter."""

    longest: int = 40

    @property
    def shape(self) -> str:
        return "code: small letters, digits, hyphens"

    def __call__(self, cell: str) -> str:
        if cell in RESERVED_CODES:
            raise ValueError(f"{cell} cannot be a code: a page has that address. Choose another.")
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", cell) or len(cell) > self.longest:
            raise ValueError(
                f"{cell} is not a code; write small letters, digits and hyphens, such as river-cooter, "
                f"{self.longest} characters at most."
            )
        return cell


@dataclass(frozen=True)
class Codes:
    """Any number of codes with spaces between."""

    @property
    def shape(self) -> str:
        return "codes with spaces between"

    def __call__(self, cell: str) -> tuple[str, ...]:
        read = Code()
        return tuple(sorted({read(code) for code in cell.replace(",", " ").split()}))


@dataclass(frozen=True)
class PondCode:
    """A pond's code, A to ZZZ."""

    @property
    def shape(self) -> str:
        return "one to three capital letters"

    def __call__(self, cell: str) -> str:
        code = cell.upper()
        if not re.fullmatch(r"[A-Z]{1,3}", code):
            raise ValueError(f"{cell} is not a pond's code; write one to three letters: A to Z, then AA.")
        return code
