"""What a measure makes one ask beside the others of the same turtle, earlier and later, and for its class. Pure.

A back-dated measure is held against what was measured after it as well as before. Bounds without a source are common
practice, no source; all of them only make the register ask.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence

from ponds.svg_marks import day_text
from stock.marks import bodies
from stock.marks.asking import (
    LENGTH_SLIPS,
    MASS_SLIPS,
    Earlier,
    Question,
    as_typed,
    ask,
    in_words,
    name_of,
    rounded,
    slip,
    taken,
)
from stock.marks.measures import DEFINITIONS, Typed

SHRINKS_MM, SHRINKS_OTHER_HAND_MM = 2, 3  # calipers repeat to about a millimeter on a live turtle
GROWS_MM_A_YEAR = 25  # of a grown animal
MASS_FALLS = 0.20  # eggs laid and a winter take as much
MASS_DOUBLES_IN_YEARS = 0.5  # a young one on good food; common practice, no source
ADULT_SHARE = (
    0.6  # of the length at which a kind is grown: shorter than that no female or male of the ponds is
)
ADULT_OF_ANY_KIND_MM = 50  # musk turtles, the smallest kept, are grown at about 60 mm; from memory
ROOM_A_YEAR = 0.5  # by so much a ratio of figures taken a year apart may be off: young ones grow between
# A midline figure over the greatest one of the same shell, least and most; the notches are millimeters deep.
MIDLINE = {"SCL_MID": ("SCL_MAX", 0.85), "PL_MID": ("PL_MAX", 0.80)}
MIDLINE_ROOM_MM = 2
CARAPACE = ("SCL_MAX", "SCL_MID")
# How far a mended slip may lie from the figure written already, as shares of it: taken after that one, or before it.
AFTER_KNOWN = {"shrunk": (0.9, 1.3), "grown": (0.97, 1.1)}
BEFORE_KNOWN = {"shrunk": (0.7, 1.02), "grown": (0.9, 1.02)}


def least_adult(scientific_name: str, of_class: str) -> float:
    """Return the carapace length in mm below which a head counted as a female or a male is asked about, else 0."""
    if of_class not in ("FEMALE", "MALE"):
        return 0.0
    body = bodies.body_of(scientific_name)
    return ADULT_SHARE * body.grown[of_class] if body else float(ADULT_OF_ANY_KIND_MM)


def longest_asked(scientific_name: str, sex: str) -> float:
    """Return the carapace length in mm above which is asked; 900 where the kind is not listed."""
    return bodies.ROOM_ABOVE * (bodies.longest(scientific_name, sex) or 900)


def of_class_asked(scientific_name: str, sex: str, of_class: str, mass: Typed) -> list[Question]:
    """Ask about a mass that no head of its kind and class has, whatever its length."""
    least = bodies.expected_mass(scientific_name, least_adult(scientific_name, of_class) or 15.0)
    most = bodies.expected_mass(scientific_name, longest_asked(scientific_name, sex))
    body = bodies.body_of(scientific_name)
    if least is None or most is None or body is None:
        return []
    (low, high), _ = bodies.mass_limits(scientific_name)
    if low * least <= mass.exact <= high * most:
        return []
    whose = {"FEMALE": "a grown female", "MALE": "a grown male"}.get(of_class, "a turtle")
    usual = bodies.expected_mass(scientific_name, 1.2 * body.grown.get(of_class or sex, 120)) or least
    found = slip(
        mass,
        MASS_SLIPS,
        lambda value: low * least <= value <= high * most,
        lambda value: abs(math.log(value / usual)),
    )
    than = "lighter" if mass.exact < low * least else "heavier"
    return [ask("mass", mass, f"{as_typed(mass)} is {than} than {whose} of {scientific_name} can be{found}")]


def beside_asked(
    scientific_name: str,
    sex: str,
    of_class: str,
    now: Mapping[str, Typed],
    earlier: Sequence[Earlier],
    on: dt.date | None,
) -> list[Question]:
    """Ask about figures that do not fit the others of the same shell, of this handling or of the nearest day."""
    asked: list[Question] = []
    least, most = least_adult(scientific_name, of_class) or 15.0, longest_asked(scientific_name, sex)
    for code, typed in now.items():
        for other_code, low, high in _ratios(scientific_name, code):
            typed_other = now.get(other_code)
            if typed_other is not None and not (code in MIDLINE and other_code == MIDLINE[code][0]):
                continue  # of one handling the shape is asked about once, elsewhere
            other = _nearest(earlier, other_code, on) if typed_other is None else None
            if typed_other is None and other is None:
                continue
            value = typed_other.exact if typed_other is not None else float(other.stored if other else 0)
            years = abs((on - other.taken_on).days) / 365.25 if on is not None and other is not None else 0.0
            room = 1 + ROOM_A_YEAR * years
            low, high = low / room, high * room + MIDLINE_ROOM_MM / value
            share = typed.exact / value
            if low <= share <= high:
                continue
            words = typed_other.words if typed_other is not None else (taken(other) if other else "")
            told = (
                f"{as_typed(typed)} is {_percent(share)} of {DEFINITIONS[other_code].title.lower()}, {words}; "
                f"{_percent(low)} to {_percent(high)} is usual"
            )
            told += slip(
                typed,
                LENGTH_SLIPS,
                lambda mended, low=low, high=high, value=value: (  # type: ignore[misc]
                    low <= mended / value <= high and mended <= most and mended >= 0.2 * least
                ),
                lambda mended, value=value: abs(math.log(mended / value)),  # type: ignore[misc]
            )
            told += _other_slip(
                typed, value, low, high, least if other_code in CARAPACE else 0.2 * least, most
            )
            asked.append(ask("shape", typed, told))
            break
    return asked


def _other_slip(typed: Typed, value: float, low: float, high: float, least: float, most: float) -> str:
    """Say which slip in the other figure explains the two; "" where none does."""
    fits = [
        (factor, words)
        for factor, words in LENGTH_SLIPS
        if 0.85 * low <= typed.exact / (value * factor) <= 1.15 * high and least <= value * factor <= most
    ]
    if not fits:
        return ""
    factor, words = fits[0]
    return f"; or of the other figure {words}, that is {rounded(value * factor)} mm"


def _percent(share: float) -> str:
    return f"{share:.0%}".replace("%", " %")


def _ratios(scientific_name: str, code: str) -> list[tuple[str, float, float]]:
    """Return the other measures that a length is held against, each with its least and greatest share of them."""
    body = bodies.body_of(scientific_name)
    plastron = body.plastron if body else (0.55, 1.02)
    of_carapace = {
        "CW": body.width if body else (0.5, 1.1), "PL_MAX": plastron, "PL_MID": plastron, "SH": bodies.HEIGHT,
    }  # fmt: skip
    found: list[tuple[str, float, float]] = []
    for midline, (greatest, low) in MIDLINE.items():
        if code == midline:
            found.append((greatest, low, 1.0))
        elif code == greatest:
            found.append((midline, 1.0, 1 / low))
    if code in of_carapace:
        found += [(carapace, *of_carapace[code]) for carapace in CARAPACE]
    if code in CARAPACE:
        found += [(other, 1 / high, 1 / low) for other, (low, high) in of_carapace.items()]
    return found


def _nearest(earlier: Sequence[Earlier], code: str, on: dt.date | None) -> Earlier | None:
    rows = [one for one in earlier if one.code == code]
    if not rows:
        return None
    return min(rows, key=lambda one: abs((one.taken_on - on).days)) if on is not None else rows[-1]


def nearest_length(earlier: Sequence[Earlier], on: dt.date | None) -> Earlier | None:
    """Return the carapace length known of the nearest day, greatest or midline."""
    found = [one for code in CARAPACE if (one := _nearest(earlier, code, on)) is not None]
    if not found:
        return None
    return min(found, key=lambda one: abs((one.taken_on - on).days)) if on is not None else found[0]


def mass_beside_asked(
    scientific_name: str, mass: Typed, earlier: Sequence[Earlier], on: dt.date | None
) -> list[Question]:
    """Ask about a mass that does not fit the length known of the nearest day."""
    length = nearest_length(earlier, on)
    expected = bodies.expected_mass(scientific_name, length.stored) if length else None
    if length is None or expected is None:
        return []
    _, (low, high) = bodies.mass_limits(scientific_name)
    years = abs((on - length.taken_on).days) / 365.25 if on is not None else 0.0
    room = (1 + ROOM_A_YEAR * years) ** 3
    if low / room <= mass.exact / expected <= high * room:
        return []
    found = slip(
        mass,
        MASS_SLIPS,
        lambda value: low / room <= value / expected <= high * room,
        lambda value: abs(math.log(value / expected)),
    )
    told = f"{as_typed(mass)} with a length of {taken(length)}: about {rounded(expected)} g is usual for that length"
    return [ask("mass", mass, told + found)]


def in_time_asked(
    scientific_name: str,
    sex: str,
    now: Mapping[str, Typed],
    earlier: Iterable[Earlier],
    on: dt.date | None,
    observer: str,
    fits_length: bool,
) -> list[Question]:
    """Ask about what does not follow from the figure before it, or does not lead to the one after it."""
    before: dict[str, Earlier] = {}
    after: dict[str, Earlier] = {}
    for one in sorted(earlier, key=lambda one: one.taken_on):
        if on is None or one.taken_on <= on:
            before[one.code] = one
        else:
            after.setdefault(one.code, one)
    asked = []
    for code, current in now.items():
        question = None
        for other in (before.get(code), after.get(code)):
            if other is None or question is not None:
                continue
            question = (
                _same_day(current, other, on)
                if on is not None and other.taken_on == on
                else _step(scientific_name, sex, current, other, on, observer, fits_length)
            )
        if question is not None:
            asked.append(question)
    return asked


def before_known(typed: Sequence[Typed], on: dt.date | None, known_since: dt.date | None) -> list[Question]:
    """Ask about a handling before the day from which the turtle is known."""
    if on is None or known_since is None or on >= known_since or not typed:
        return []
    told = (
        f"{day_text(on)} is before {day_text(known_since)}, when this turtle was first marked: nobody could tell it "
        "from the others then. Is the day right, and was it this animal?"
    )
    return [Question("before", typed[0].code, f"{told} Mend the day, or say that it is right.")]


def _same_day(current: Typed, was: Earlier, on: dt.date) -> Question | None:
    told = f"{name_of(current)} {taken(was)} is written already"
    if current.stored == was.stored:
        return ask("again", current, f"{told}. Was it typed twice")
    return ask(
        "again",
        current,
        f"{told}, and {in_words(current)} is a second figure of that day; correct the first one instead",
    )


def _slips_near(current: Typed, value: float, low: float, high: float) -> str:
    return slip(
        current,
        MASS_SLIPS if current.code == "MASS" else LENGTH_SLIPS,
        lambda mended: low * value <= mended <= high * value,
        lambda mended: abs(math.log(mended / value)),
    )


def _room(was: Earlier, observer: str) -> int:
    return SHRINKS_MM if not was.observer or was.observer == observer else SHRINKS_OTHER_HAND_MM


def _step(
    scientific_name: str,
    sex: str,
    current: Typed,
    other: Earlier,
    on: dt.date | None,
    observer: str,
    fits_length: bool,
) -> Question | None:
    """Ask about the way from one figure to the next; `other` is the one written already, before this one or after."""
    known = float(other.stored)
    if on is not None and other.taken_on > on:
        since = f"{name_of(current)} {in_words(current)} on {day_text(on)}, and {taken(other)} after that"
        former, later, bounds = current.exact, known, BEFORE_KNOWN
    else:
        since = f"{name_of(current)} was {taken(other)}, {in_words(current)} now"
        former, later, bounds = known, current.exact, AFTER_KNOWN
    years = abs((on - other.taken_on).days) / 365.25 if on is not None else 0.0
    if current.code == "MASS":
        return _mass_step(current, later, former, years, since, fits_length, other.stored)
    if later < former - _room(other, observer):
        found = _slips_near(current, known, *bounds["shrunk"])
        return ask("shrunk", current, f"{since}: a shell does not shrink{found}", again=True)
    if current.code.startswith("SCL") and _grew_fast(scientific_name, sex, former, later, years):
        told = f"{since}: over {GROWS_MM_A_YEAR} mm a year is much for a grown animal"
        return ask("grown", current, told + _slips_near(current, known, *bounds["grown"]))
    return None


def _mass_step(
    current: Typed, later: float, former: float, years: float, since: str, fits_length: bool, known: int
) -> Question | None:
    """Ask about a mass that falls by more than a fifth, or grows faster than a young turtle does."""
    if later < (1 - MASS_FALLS) * former:
        found = _slips_near(current, known, 0.7, 1.4)
        told = f"{since}: more than a fifth lighter{found or '. Eggs laid, or ill?'}"
        return ask("fallen", current, told)
    if not fits_length and later > 2 * former * 2 ** (max(0.0, years) / MASS_DOUBLES_IN_YEARS):
        found = _slips_near(current, known, 0.7, 1.4)
        return ask("risen", current, f"{since}: more than any turtle gains in that time{found}")
    return None


def _grew_fast(scientific_name: str, sex: str, former: float, later: float, years: float) -> bool:
    body = bodies.body_of(scientific_name)
    if body is None:
        return False
    grown = body.grown.get(sex, max(body.grown.values()))
    return former >= grown and later - former > GROWS_MM_A_YEAR * max(1.0, years)
