"""What questions about a measure are made of: the slips that may explain a figure, and how both are said. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ponds.svg_marks import day_text, figure_text
from stock.marks.measures import DEFINITIONS, Typed

# What a figure is multiplied with if it was typed in another unit than it was taken in.
LENGTH_SLIPS = (
    (25.4, "it looks like inches"),
    (10.0, "it looks like centimeters, or the point is out of place"),
    (0.1, "the point looks out of place"),
    (1 / 25.4, "it looks like millimeters typed as inches"),
)
MASS_SLIPS = (
    (1000.0, "it looks like kg"),
    (453.59237, "it looks like lb"),
    (28.349523125, "it looks like oz"),
    (10.0, "the point looks out of place"),
    (0.1, "the point looks out of place"),
    (1 / 453.59237, "it looks like grams typed as pounds"),
    (0.001, "it looks like grams typed as kg"),
)


@dataclass(frozen=True)
class Earlier:
    """A measure taken before: what, in mm or g, when, and by whom."""

    code: str
    stored: int
    taken_on: dt.date
    observer: str = ""


@dataclass(frozen=True)
class Question:
    """
    Something to look at before a measure is kept.

    Parameters
    ----------
    code : str
        What it is about: longest, smallest, mass, swapped, shape, shrunk, grown, fallen.
    measure : str
        The measure it stands beside, a code of `DEFINITIONS`.
    sentence : str
        For the person who typed it.
    is_note : bool
        True where it is only pointed out; False where the person is to say that it is right.
    """

    code: str
    measure: str
    sentence: str
    is_note: bool = False


def slip(
    typed: Typed,
    slips: Sequence[tuple[float, str]],
    fits: Callable[[float], bool],
    misfit: Callable[[float], float],
) -> str:
    """Name the slip that explains a figure, best first; "" where none does."""
    found = [
        (misfit(typed.exact * factor), factor, words) for factor, words in slips if fits(typed.exact * factor)
    ]
    if not found:
        return ""
    _, factor, words = min(found, key=lambda one: one[0])
    return f"; {named(typed, factor, words)}"


def named(typed: Typed, factor: float, words: str) -> str:
    return f"{words}, that is {rounded(typed.exact * factor)} {unit_of(typed.code)}"


def ask(code: str, typed: Typed, told: str, *, again: bool = False) -> Question:
    ending = " Measure again, or say that it is right." if again else " Mend it, or say that it is right."
    return Question(code, typed.code, f"{told.rstrip('.')}{'' if told.endswith('?') else '.'}{ending}")


def taken(one: Earlier) -> str:
    """Return a measure that is in the register with its day: "186 mm on 3 May 2023"."""
    return f"{figure_text(one.stored)} {unit_of(one.code)} on {day_text(one.taken_on)}"


def in_words(typed: Typed) -> str:
    """Return a figure as typed, and in mm or g where it was typed in another unit."""
    if typed.unit == DEFINITIONS[typed.code].stored_unit:
        return typed.words
    return f"{typed.words} ({rounded(typed.exact)} {unit_of(typed.code)})"


def as_typed(typed: Typed) -> str:
    return f"{name_of(typed)} {typed.words}"


def name_of(typed: Typed) -> str:
    return DEFINITIONS[typed.code].title


def unit_of(code: str) -> str:
    return "g" if code == "MASS" else "mm"


def rounded(value: float) -> str:
    return figure_text(value, 0) if value >= 10 else f"{value:.2g}"
