"""What a typed measure makes one ask: it is never refused, for a calipered fact goes before a table.

Slips are named where one explains the figure: another unit, a point out of place, two figures in each other's field.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence

from stock.marks import bodies
from stock.marks.asking import (
    LENGTH_SLIPS,
    MASS_SLIPS,
    Earlier,
    Question,
    as_typed,
    ask,
    name_of,
    named,
    rounded,
    slip,
)
from stock.marks.measures import Typed
from stock.marks.plausible_turtle import (
    before_known,
    beside_asked,
    in_time_asked,
    least_adult,
    longest_asked,
    mass_beside_asked,
    of_class_asked,
)

__all__ = ["Earlier", "Question", "questions"]


def questions(
    scientific_name: str,
    sex: str,
    typed: Sequence[Typed],
    earlier: Iterable[Earlier] = (),
    *,
    on: dt.date | None = None,
    observer: str = "",
    of_class: str = "",
    known_since: dt.date | None = None,
) -> tuple[Question, ...]:
    """
    Ask about measures that look odd.

    Parameters
    ----------
    scientific_name : str
        The kind, genus first.
    sex : str
        "FEMALE", "MALE" or anything else for not known.
    typed : sequence of Typed
        The measures of one handling.
    earlier : iterable of Earlier
        What else was measured on the same animal, before and after: the nearest of each definition is held against.
    on : date, optional
        The day of this handling.
    observer : str
        Who measures now.
    of_class : str, optional
        "FEMALE" or "MALE" where it is counted among the grown ones.
    known_since : date, optional
        The day it was first marked.

    Returns
    -------
    tuple of Question
        Empty where nothing looks odd. A kind that is not listed is asked about what any turtle is asked.
    """
    others = tuple(earlier)
    now = {one.code: one for one in typed}
    length, mass = now.get("SCL_MAX") or now.get("SCL_MID"), now.get("MASS")
    asked = [*_mass(scientific_name, sex, length, mass)]
    slipped = {question.measure for question in asked if not question.is_note}
    if length is not None and length.code not in slipped:
        asked += _length(scientific_name, sex, of_class, length)
    if length is not None and not any(question.measure == length.code for question in asked):
        asked += _shape(scientific_name, length, now)

    def add(more: Iterable[Question]) -> None:
        known = {question.measure for question in asked}
        asked.extend(question for question in more if question.measure not in known)

    fits_length = length is not None and not asked
    add(in_time_asked(scientific_name, sex, now, others, on, observer, fits_length))
    if length is None and mass is not None:
        add(mass_beside_asked(scientific_name, mass, others, on))
        add(of_class_asked(scientific_name, sex, of_class, mass))
    if not any(question.code == "swapped" for question in asked):
        add(beside_asked(scientific_name, sex, of_class, now, others, on))
    return (*before_known(typed, on, known_since), *asked)


def _length(scientific_name: str, sex: str, of_class: str, length: Typed) -> list[Question]:
    longest = bodies.longest(scientific_name, sex)
    most = longest_asked(scientific_name, sex)
    adult = least_adult(scientific_name, of_class)
    whose = {"FEMALE": "female ", "MALE": "male "}.get(sex, "")

    def fits(value: float) -> bool:
        return (adult or 4 * bodies.SMALLEST_HATCHLING_MM) <= value <= most

    found = slip(length, LENGTH_SLIPS, fits, lambda value: 0.0)
    if length.exact < bodies.SMALLEST_HATCHLING_MM:
        return [ask("smallest", length, f"{as_typed(length)} is shorter than any hatchling{found}")]
    if length.exact < adult:
        grown = {"FEMALE": "females", "MALE": "males"}[of_class]
        told = f"{as_typed(length)} is shorter than the {grown} of a breeding pond are; it is counted as one{found}"
        return [ask("young", length, told)]
    if longest and length.exact > most:
        known = f"{as_typed(length)} is longer than the longest {whose}{scientific_name} known, {longest} mm"
        return [ask("longest", length, known + found)]
    return []


def _mass(scientific_name: str, sex: str, length: Typed | None, mass: Typed | None) -> list[Question]:
    if length is None or mass is None:
        return []
    expected = bodies.expected_mass(scientific_name, length.exact)
    if expected is None:
        return []
    (low, high), (note_low, note_high) = bodies.mass_limits(scientific_name)
    ratio = mass.exact / expected
    if low <= ratio <= high:
        return []
    told = f"{as_typed(mass)} with a length of {length.words}: about {rounded(expected)} g is usual for that length"
    if note_low <= ratio <= note_high:
        return [Question("mass", "MASS", f"{told}. Look again.", is_note=True)]
    # Each slip of either figure that would make the two fit, the best fit first.
    longest = longest_asked(scientific_name, sex)
    fits: list[tuple[float, Typed, float, str]] = []
    for factor, words in MASS_SLIPS:
        if low <= ratio * factor <= high:
            fits.append((abs(math.log(ratio * factor)), mass, factor, words))
    for factor, words in LENGTH_SLIPS:
        mended = bodies.expected_mass(scientific_name, length.exact * factor)
        if (
            mended
            and low <= mass.exact / mended <= high
            and bodies.SMALLEST_HATCHLING_MM <= length.exact * factor <= longest
        ):
            fits.append((abs(math.log(mass.exact / mended)), length, factor, words))
    if not fits:
        return [ask("mass", mass, told)]
    _, culprit, factor, words = min(fits, key=lambda fit: fit[0])
    return [ask("mass", culprit, f"{told}; {named(culprit, factor, words)}")]


def _shape(scientific_name: str, length: Typed, now: Mapping[str, Typed]) -> list[Question]:
    body = bodies.body_of(scientific_name)
    bounds = {
        "CW": body.width if body else (0.5, 1.1),
        "PL_MAX": body.plastron if body else (0.55, 1.02),
        "PL_MID": body.plastron if body else (0.55, 1.02),
        "SH": bodies.HEIGHT,
    }
    asked = []
    for code, (low, high) in bounds.items():
        other = now.get(code)
        if other is None or low <= other.exact / length.exact <= high:
            continue
        if code.startswith("PL") and length.exact < other.exact <= length.exact + 5:
            continue
        share = f"{other.exact / length.exact:.0%} of the carapace length".replace("%", " %")
        told = f"{as_typed(other)} is {share}; {low:.0%} to {high:.0%} is usual".replace("%", " %").replace(
            "  ", " "
        )
        swapped = _swapped(code, bounds, length, now)
        if swapped:
            told += f"; it looks swapped with {swapped}"
        else:
            told += slip(
                other,
                LENGTH_SLIPS,
                lambda value, low=low, high=high: low <= value / length.exact <= high,  # type: ignore[misc]
                lambda value: 0.0,
            )
        asked.append(ask("swapped" if swapped else "shape", other, told))
        if swapped:
            break  # the other figure of the two is odd for the same reason
    return asked


def _swapped(
    code: str, bounds: Mapping[str, tuple[float, float]], length: Typed, now: Mapping[str, Typed]
) -> str:
    """Return the name of the figure that this one was swapped with; "" where none explains it."""
    low, high = bounds[code]
    if low <= length.exact / now[code].exact <= high and now[code].exact > length.exact:
        return name_of(length)
    for other, (other_low, other_high) in bounds.items():
        if other == code or other not in now:
            continue
        if (
            low <= now[other].exact / length.exact <= high
            and other_low <= now[code].exact / length.exact <= other_high
        ):
            return name_of(now[other])
    return ""
