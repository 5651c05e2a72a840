"""The one result every estimator returns, and the checks every estimator makes of its numbers."""

import math
import operator
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from numbers import Integral, Real
from typing import Any


class Status(StrEnum):
    """How far an estimate can be trusted; later members are worse."""

    OK = "ok"
    LOW_CONFIDENCE = "low_confidence"
    BOUNDED = "bounded"
    NO_ESTIMATE = "no_estimate"


MOST_COUNTED = 10**12
"""The largest count taken; above it a figure is a slip of the hand."""

_FROM_BEST_TO_WORST = tuple(Status)


def worst(*statuses: str) -> Status:
    """
    Return the worst of the statuses given; with none given, ``ok``.

    Order from worst: ``no_estimate``, ``bounded``, ``low_confidence``, ``ok``.

    Raises
    ------
    ValueError
        If one of them is not a status.
    """
    return max((Status(status) for status in statuses), key=_FROM_BEST_TO_WORST.index, default=Status.OK)


@dataclass(frozen=True)
class Estimate:
    """
    A figure with its doubt, and how it was come by.

    Parameters
    ----------
    value, se : float or None
        The figure and its standard error, in the figure's own unit; both None under ``no_estimate``.
        ``se`` is None also where a standard error would mislead (a share of 0 or 1, a book figure).
        ``value`` may be ``math.inf`` (females per male where no male was seen).
    lower, upper : float or None
        Two-sided, equal-tailed limits at ``confidence``; None where there are none.
    confidence : float
        Two-sided confidence level, 0 < confidence < 1.
    method, variant : str
        What was computed, and which form of it.
    status : Status
        ``ok``, ``low_confidence``, ``bounded`` or ``no_estimate``.
    notes : tuple of str
        Sentences the reader of the figure must see.
    raw : float or None
        The figure before a bound was laid on it, where one was.
    known_alive : int
        Heads known to be alive, which bounds every head count from below.

    Raises
    ------
    ValueError
        If ``status`` is ``no_estimate`` and a value or standard error is given all the same, if a
        figure is not a number, or if the confidence is not between 0 and 1.
    """

    value: float | None = None
    se: float | None = None
    lower: float | None = None
    upper: float | None = None
    confidence: float = 0.95
    method: str = ""
    variant: str = ""
    status: Status = Status.OK
    notes: tuple[str, ...] = ()
    raw: float | None = None
    known_alive: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "status", Status(self.status))
        object.__setattr__(self, "notes", tuple(self.notes))
        check_confidence(self.confidence)
        for name in ("value", "se", "lower", "upper", "raw"):
            figure = getattr(self, name)
            if figure is not None and math.isnan(figure):
                raise ValueError(f"The estimate's {name} is not a number.")
        if self.status is Status.NO_ESTIMATE and (self.value is not None or self.se is not None):
            raise ValueError("An estimate marked no_estimate cannot carry a value or a standard error.")

    def to_json(self) -> dict[str, Any]:
        """
        Return the estimate as a dict that JSON can hold.

        An infinite figure becomes None; ``unbounded`` is then True and ``unbounded_fields`` names it.
        """
        written: dict[str, Any] = {}
        unbounded_fields = []
        for field in fields(self):
            entry = getattr(self, field.name)
            if isinstance(entry, float) and math.isinf(entry):
                unbounded_fields.append(field.name)
                entry = None
            elif isinstance(entry, Estimate):
                entry = entry.to_json()
            elif isinstance(entry, StrEnum):
                entry = str(entry)
            elif isinstance(entry, tuple):
                entry = list(entry)
            written[field.name] = entry
        if unbounded_fields:
            written["unbounded"] = True
            written["unbounded_fields"] = unbounded_fields
        return written


def check_count(value: Any, name: str) -> int:
    """
    Return a count of heads, eggs or events as an int.

    Parameters
    ----------
    value : int, or a float that is whole
        What was given.
    name : str
        What it counts, in the reader's words ("females"); it opens the message.

    Raises
    ------
    ValueError
        If it is not a number, not whole, below zero, or above a million million.
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ValueError(f"{name}: {value!r} is not a count; give a whole number, 0 or more.")
    if isinstance(value, Integral):
        whole = operator.index(value)
    else:
        number = float(value)
        if not math.isfinite(number):
            raise ValueError(f"{name}: {value} is not a count; give a whole number, 0 or more.")
        whole = math.floor(number)
        if whole != number:
            raise ValueError(f"{name}: {value} is not a whole number; heads are counted whole.")
    if whole < 0:
        raise ValueError(f"{name}: {value} is below zero; give a whole number, 0 or more.")
    if whole > MOST_COUNTED:
        raise ValueError(f"{name}: the number is too large to be a count; the most is {MOST_COUNTED}.")
    return whole


def check_counts(values: Iterable[Any], name: str) -> tuple[int, ...]:
    """
    Return several counts as ints; the message says which one is wrong, counting from 1.

    Raises
    ------
    ValueError
        As `check_count`.
    """
    return tuple(check_count(value, f"{name}, number {place}") for place, value in enumerate(values, start=1))


def check_number(value: Any, name: str, *, low: float = -math.inf, high: float = math.inf) -> float:
    """
    Return a finite number between ``low`` and ``high`` (both allowed) as a float.

    Raises
    ------
    ValueError
        If it is not a finite number or lies outside.
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        raise ValueError(f"{name}: {value!r} is not a number that can be used here.")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"{name}: the number given is not finite and cannot be used here.")
    if not low <= number <= high:
        if math.isinf(high):
            raise ValueError(f"{name}: {value} is below {low:g}, the least it can be.")
        if math.isinf(low):
            raise ValueError(f"{name}: {value} is above {high:g}, the most it can be.")
        raise ValueError(f"{name}: {value} does not lie between {low:g} and {high:g}.")
    return number


def check_confidence(confidence: Any, name: str = "confidence") -> float:
    """
    Return a confidence or certainty as a float, strictly between 0 and 1.

    Raises
    ------
    ValueError
        If it is not.
    """
    level = check_number(confidence, name)
    if not 0 < level < 1:
        raise ValueError(f"{name}: {confidence} does not lie between 0 and 1 (0.95 means 95 %).")
    return level


def check_choice(choice: str, choices: Sequence[str], name: str) -> str:
    """
    Return ``choice`` where it is one of ``choices``.

    Raises
    ------
    ValueError
        If it is not; the message lists them.
    """
    if choice not in choices:
        raise ValueError(f"{name}: {choice!r} is not known; choose one of {', '.join(choices)}.")
    return choice
