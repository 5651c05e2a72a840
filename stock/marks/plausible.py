"""What a typed measure makes one ask: it is never refused, for a calipered fact goes before a table.

Slips are named where one explains the figure: another unit, a point out of place, two figures in each other's field.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from ponds.svg_marks import figure_text
from stock.marks import bodies
from stock.marks.measures import DEFINITIONS, Typed

SHRINKS_MM, SHRINKS_OTHER_HAND_MM = 2, 3  # calipers repeat to about a millimeter on a live turtle
GROWS_MM_A_YEAR = 25  # of a grown animal
MASS_FALLS = 0.20  # eggs laid and a winter take as much
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


def questions(
    scientific_name: str,
    sex: str,
    typed: Sequence[Typed],
    earlier: Iterable[Earlier] = (),
    *,
    on: dt.date | None = None,
    observer: str = "",
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
        What was measured on the same animal before; the latest of each definition is held against.
    on : date, optional
        The day of this handling.
    observer : str
        Who measures now.

    Returns
    -------
    tuple of Question
        Empty where nothing looks odd. A kind that is not listed is asked about what any turtle is asked.
    """
    now = {one.code: one for one in typed}
    length = now.get("SCL_MAX") or now.get("SCL_MID")
    asked = [*_mass(scientific_name, sex, length, now.get("MASS"))]
    slipped = {question.measure for question in asked if not question.is_note}
    if length is not None and length.code not in slipped:
        asked += _length(scientific_name, sex, length)
    if length is not None and not any(question.measure == length.code for question in asked):
        asked += _shape(scientific_name, length, now)
    known = {question.measure for question in asked}
    asked += _since(scientific_name, sex, now, known, earlier, on, observer)
    return tuple(asked)


def _length(scientific_name: str, sex: str, length: Typed) -> list[Question]:
    longest = bodies.longest(scientific_name, sex)
    most = bodies.ROOM_ABOVE * longest if longest else None

    def fits(value: float) -> bool:
        return 4 * bodies.SMALLEST_HATCHLING_MM <= value <= (most or 900)

    if length.exact < bodies.SMALLEST_HATCHLING_MM:
        slip = _slip(length, LENGTH_SLIPS, fits, lambda value: 0.0)
        return [_ask("smallest", length, f"{_as_typed(length)} is shorter than any hatchling{slip}")]
    if most and length.exact > most:
        slip = _slip(length, LENGTH_SLIPS, fits, lambda value: 0.0)
        whose = {"FEMALE": "female ", "MALE": "male "}.get(sex, "")
        known = f"{_as_typed(length)} is longer than the longest {whose}{scientific_name} known, {longest} mm"
        return [_ask("longest", length, known + slip)]
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
    told = f"{_as_typed(mass)} with a length of {length.words}: about {_round(expected)} g is usual for that length"
    if note_low <= ratio <= note_high:
        return [Question("mass", "MASS", f"{told}. Look again.", is_note=True)]
    # Each slip of either figure that would make the two fit, the best fit first.
    longest = bodies.ROOM_ABOVE * (bodies.longest(scientific_name, sex) or 900)
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
        return [_ask("mass", mass, told)]
    _, culprit, factor, words = min(fits, key=lambda fit: fit[0])
    return [_ask("mass", culprit, f"{told}; {_named(culprit, factor, words)}")]


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
        told = f"{_as_typed(other)} is {share}; {low:.0%} to {high:.0%} is usual".replace("%", " %").replace(
            "  ", " "
        )
        swapped = _swapped(code, bounds, length, now)
        if swapped:
            told += f"; it looks swapped with {swapped}"
        else:
            told += _slip(
                other,
                LENGTH_SLIPS,
                lambda value, low=low, high=high: low <= value / length.exact <= high,  # type: ignore[misc]
                lambda value: 0.0,
            )
        asked.append(_ask("swapped" if swapped else "shape", other, told))
        if swapped:
            break  # the other figure of the two is odd for the same reason
    return asked


def _swapped(
    code: str, bounds: Mapping[str, tuple[float, float]], length: Typed, now: Mapping[str, Typed]
) -> str:
    """Return the name of the figure that this one was swapped with; "" where none explains it."""
    low, high = bounds[code]
    if low <= length.exact / now[code].exact <= high and now[code].exact > length.exact:
        return _name(length)
    for other, (other_low, other_high) in bounds.items():
        if other == code or other not in now:
            continue
        if (
            low <= now[other].exact / length.exact <= high
            and other_low <= now[code].exact / length.exact <= other_high
        ):
            return _name(now[other])
    return ""


def _since(
    scientific_name: str,
    sex: str,
    now: Mapping[str, Typed],
    known: set[str],
    earlier: Iterable[Earlier],
    on: dt.date | None,
    observer: str,
) -> list[Question]:
    last: dict[str, Earlier] = {}
    for one in sorted(earlier, key=lambda one: one.taken_on):
        if on is None or one.taken_on <= on:
            last[one.code] = one
    asked = []
    for code, was in last.items():
        current = now.get(code)
        if current is None or code in known:
            continue
        since = (
            f"{_name(current)} was {figure_text(was.stored)} {_unit(code)} on {was.taken_on}, "
            f"{_round(current.exact)} now"
        )
        if code == "MASS":
            if current.exact < (1 - MASS_FALLS) * was.stored:
                asked.append(
                    _ask("fallen", current, f"{since}: more than a fifth lighter. Eggs laid, or ill?")
                )
            continue
        room = SHRINKS_MM if not was.observer or was.observer == observer else SHRINKS_OTHER_HAND_MM
        if current.exact < was.stored - room:
            slip = _slip(
                current,
                LENGTH_SLIPS,
                lambda value, was=was: 0.9 * was.stored <= value <= 1.3 * was.stored,  # type: ignore[misc]
                lambda value, was=was: abs(value - was.stored),  # type: ignore[misc]
            )
            asked.append(_ask("shrunk", current, f"{since}: a shell does not shrink{slip}", again=True))
        elif code.startswith("SCL") and _grew_fast(scientific_name, sex, was, current, on):
            asked.append(
                _ask(
                    "grown", current, f"{since}: over {GROWS_MM_A_YEAR} mm a year is much for a grown animal"
                )
            )
    return asked


def _grew_fast(scientific_name: str, sex: str, was: Earlier, now: Typed, on: dt.date | None) -> bool:
    body = bodies.body_of(scientific_name)
    if body is None or on is None:
        return False
    grown = body.grown.get(sex, max(body.grown.values()))
    years = max(1.0, (on - was.taken_on).days / 365.25)
    return was.stored >= grown and now.exact - was.stored > GROWS_MM_A_YEAR * years


def _slip(
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
    return f"; {_named(typed, factor, words)}"


def _named(typed: Typed, factor: float, words: str) -> str:
    return f"{words}, that is {_round(typed.exact * factor)} {_unit(typed.code)}"


def _ask(code: str, typed: Typed, told: str, *, again: bool = False) -> Question:
    ending = " Measure again, or say that it is right." if again else " Mend it, or say that it is right."
    return Question(code, typed.code, f"{told.rstrip('.')}{'' if told.endswith('?') else '.'}{ending}")


def _as_typed(typed: Typed) -> str:
    return f"{_name(typed)} {typed.words}"


def _name(typed: Typed) -> str:
    return DEFINITIONS[typed.code].title


def _unit(code: str) -> str:
    return "g" if code == "MASS" else "mm"


def _round(value: float) -> str:
    return figure_text(value, 0) if value >= 10 else f"{value:.2g}"
