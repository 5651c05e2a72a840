"""Checking the hauls of a survey, and counting marks through them class by class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stock.estimators.estimate import check_count, check_number
from stock.estimators.survey_reading import (
    ADULTS,
    CLASSES,
    DRAIN_DOWN,
    FEMALE,
    JUVENILE,
    MALE,
    SEINE,
    TRAPS,
    Circumstances,
    HaulCatch,
)

ADULT = "ADULT"
"""Females, males and unsexed together."""


@dataclass(frozen=True)
class Tally:
    """
    One class (or all adults) through the hauls of a survey, one number a haul.

    ``returned`` are the heads put back with a mark, ``at_large`` the marked there were just before each
    haul, ``before`` those before the first.
    """

    before: int
    caught: tuple[int, ...]
    carrying: tuple[int, ...]
    returned: tuple[int, ...]
    at_large: tuple[int, ...]

    @property
    def is_accounted(self) -> bool:
        """Whether no haul brought more marks than were at large."""
        return all(seen <= marked for seen, marked in zip(self.carrying, self.at_large, strict=True))

    @property
    def taken(self) -> int:
        """All caught, an animal as often as it was caught."""
        return sum(self.caught)

    @property
    def recaptured(self) -> int:
        return sum(self.carrying)

    @property
    def apart(self) -> int:
        """Animals that cannot be the same: those with a mark before some haul, and its unmarked."""
        ever_marked, most = self.before, self.before
        for caught, seen, back in zip(self.caught, self.carrying, self.returned, strict=True):
            most = max(most, ever_marked + caught - seen)
            ever_marked += max(back - seen, 0)
        return most

    @property
    def at_once(self) -> int:
        """Animals that cannot be the same though marks may have been lost."""
        return max(*self.caught, *self.at_large)


@dataclass(frozen=True)
class Tallies:
    """The hauls of a survey, checked, with a `Tally` for each class and for the adults."""

    hauls: tuple[HaulCatch, ...]
    circumstances: Circumstances
    groups: Mapping[str, Tally]

    @property
    def adults(self) -> Tally:
        return self.groups[ADULT]

    @property
    def females(self) -> Tally:
        return self.groups[FEMALE]

    @property
    def males(self) -> Tally:
        return self.groups[MALE]

    @property
    def juveniles(self) -> Tally:
        return self.groups[JUVENILE]

    @property
    def has_sexed(self) -> bool:
        return self.females.taken + self.males.taken > 0

    @property
    def marks_follow_sex(self) -> bool:
        """Whether the marks of each sex can be accounted for by that sex alone."""
        return self.females.is_accounted and self.males.is_accounted

    @property
    def not_looked_for(self) -> tuple[int, ...]:
        """Places of the hauls that caught heads which could carry a mark, and nobody looked for it."""
        return tuple(
            place
            for place in self.with_marks_out
            if any(
                self.hauls[place].caught.get(of_class, 0)
                and self.hauls[place].carrying.get(of_class, 0) is None
                and self._could_carry(of_class, place)
                for of_class in ADULTS
            )
        )

    def _could_carry(self, of_class: str, place: int) -> bool:
        """Say whether a head of a class could carry a mark: one of its own, or one that was put on unsexed."""
        if of_class == "UNSEXED":
            return self.adults.at_large[place] > 0
        return self.groups[of_class].at_large[place] > 0 or self.groups["UNSEXED"].at_large[place] > 0

    @property
    def with_marks_out(self) -> tuple[int, ...]:
        """Places of the hauls before which marked adults were at large."""
        return tuple(place for place, marked in enumerate(self.adults.at_large) if marked)

    def labels(self, places: Sequence[int]) -> tuple[str, ...]:
        return tuple(f"Haul {place + 1}" for place in places)


def _checked(counts: Mapping[str, Any], name: str) -> dict[str, int]:
    for of_class in counts:
        if of_class not in CLASSES:
            raise ValueError(f"{name}: {of_class!r} is no class; choose one of {', '.join(CLASSES)}.")
    if name.endswith("carrying"):  # the one column in which nothing may be said
        counts = {of_class: 0 if heads is None else heads for of_class, heads in counts.items()}
    return {of_class: check_count(counts.get(of_class, 0), f"{name}, {of_class}") for of_class in CLASSES}


def _marked_dead(caught: int, carrying: int, newly: int, dead: int) -> int:
    """
    Return how many of the dead had a mark.

    What is not known is shared out as among those of the catch that were not marked anew; those were
    put back, and count among the dead only where there are not enough others.
    """
    others = caught - newly
    share = round(dead * carrying / others) if others else dead
    fewest = max(dead - (others - carrying), 0)
    return min(max(share, fewest), carrying + newly, dead)


def _tally(before: int, rows: Sequence[tuple[int, int, int, int]]) -> Tally:
    marked, at_large, returned = before, [], []
    for caught, carrying, newly, dead in rows:
        at_large.append(marked)
        returned.append(carrying + newly - _marked_dead(caught, carrying, newly, dead))
        marked = max(marked - carrying, 0) + returned[-1]
    return Tally(
        before,
        tuple(row[0] for row in rows),
        tuple(row[1] for row in rows),
        tuple(returned),
        tuple(at_large),
    )


def _sum(parts: Sequence[Tally], places: int) -> Tally:
    """Return the classes added up; what one class brings too many of, another had at large."""
    before = sum(part.before for part in parts)
    columns = {
        name: tuple(sum(getattr(part, name)[place] for part in parts) for place in range(places))
        for name in ("caught", "carrying", "returned")
    }
    marked, at_large = before, []
    for seen, back in zip(columns["carrying"], columns["returned"], strict=True):
        at_large.append(marked)
        marked = max(marked - seen, 0) + back
    return Tally(before, columns["caught"], columns["carrying"], columns["returned"], tuple(at_large))


def tally(hauls: Sequence[HaulCatch], circumstances: Circumstances) -> Tallies:
    """
    Check the hauls of a survey and count marks through them.

    Raises
    ------
    ValueError
        If a count is not one, a class or method is not known, more carry marks or were marked or died than
        were caught, an effort is not above 0, or the hauls are not in the order of their days.
    """
    rows: dict[str, list[tuple[int, int, int, int]]] = {of_class: [] for of_class in CLASSES}
    latest = None
    for number, haul in enumerate(hauls, start=1):
        if haul.method not in (SEINE, TRAPS, DRAIN_DOWN):
            raise ValueError(
                f"haul {number}: {haul.method!r} is no method; choose SEINE, TRAPS or DRAIN_DOWN."
            )
        if latest is not None and haul.day < latest:
            raise ValueError(f"haul {number}: its day is before that of the haul before; give them in order.")
        latest = haul.day
        if haul.effort is not None and check_number(haul.effort, f"haul {number}, effort") <= 0:
            raise ValueError(f"haul {number}: an effort of {haul.effort:g} is none; it must be above 0.")
        columns = [
            _checked(getattr(haul, name), f"haul {number}, {name.replace('_', ' ')}")
            for name in ("caught", "carrying", "newly_marked", "dead")
        ]
        for of_class in CLASSES:
            caught, carrying, newly, dead = (column[of_class] for column in columns)
            if carrying + newly > caught:
                raise ValueError(
                    f"haul {number}, {of_class}: {carrying} carrying marks and {newly} newly marked are more "
                    f"than the {caught} caught."
                )
            if dead > caught:
                raise ValueError(f"haul {number}, {of_class}: {dead} dead are more than the {caught} caught.")
            rows[of_class].append((caught, carrying, newly, dead))
    before = _checked(circumstances.marked_before, "marked before")
    check_count(circumstances.moved_between, "moved between")
    groups = {of_class: _tally(before[of_class], rows[of_class]) for of_class in CLASSES}
    groups[ADULT] = _sum([groups[of_class] for of_class in ADULTS], len(hauls))
    return Tallies(tuple(hauls), circumstances, groups)
