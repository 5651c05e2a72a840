"""Heads that are known to have stood in a pond on a day, whatever a survey says: marks, later moves, later hauls."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Count as CountOf
from django.db.models import Q

from ponds.models import Pond
from stock.drafts import CLASSES
from stock.models import HaulLine, MarkStep, Reason
from stock.standing_rows import MARKS_PROVE

ADULTS = ("FEMALE", "MALE", "UNSEXED")
# Entries that change what the book says and no animal's place: no survey lost or won a head by them.
BOOKKEEPING = (Reason.OPENING, Reason.BEYOND_BOOK, Reason.COUNT_RESET)


@dataclass(frozen=True)
class Flow:
    """Heads of one class that came (above 0) or went (below 0) by one entry of a move that stands."""

    kind_id: int
    day: dt.date
    move_id: int
    of_class: str
    heads: int
    reason: str


@dataclass(frozen=True)
class LaterCatch:
    """Heads of one class that a later haul brought: they stood there before it."""

    kind_id: int
    day: dt.date
    haul_id: int
    of_class: str
    caught: int


@dataclass(frozen=True)
class Floor:
    """Heads that no count of that day may lie below, with what proves the most of them."""

    females: int = 0
    males: int = 0
    adults: int = 0
    proof: str = ""
    moved_females: int = 0
    moved_males: int = 0
    moved_adults: int = 0
    moved_proof: str = ""
    """The same by later moves and hauls alone: what a drain-down counted is not overruled by a mark."""


def later_catches(pond: Pond, after: dt.date) -> list[LaterCatch]:
    """Return what hauls that stand brought after a day: one query."""
    rows = HaulLine.objects.filter(
        haul__pond=pond, haul__happened_on__gt=after, haul__move__reversed_by=None, caught__gt=0
    ).values_list("kind_id", "haul__happened_on", "haul_id", "of_class", "caught")
    return [LaterCatch(*row) for row in rows]


def marked_on(pond: Pond, day: dt.date) -> dict[tuple[int, str], int]:
    """
    Return (kind id, class) -> marked turtles that stood in a pond at a day's end, by the animals' days: one query.

    Those nobody saw within `MARKS_PROVE` before the day, or since, prove nothing: they may have died unseen.
    """
    steps = (
        MarkStep.objects.filter(
            Q(source__pond=pond) | Q(target__pond=pond),
            move__happened_on__lte=day,
            turtle__last_seen_on__gte=day - MARKS_PROVE,
        )
        .values_list(
            "turtle__kind_id", "source__pond_id", "source__of_class", "target__pond_id", "target__of_class"
        )
        .annotate(turtles=CountOf("pk"))
    )
    held: dict[tuple[int, str], int] = defaultdict(int)
    for kind, source, from_class, target, to_class, turtles in steps:
        if source == pond.pk:
            held[kind, from_class] -= turtles
        if target == pond.pk:
            held[kind, to_class] += turtles
    return {where: turtles for where, turtles in held.items() if turtles > 0}


def floor_of(
    as_of: dt.date,
    flows: Iterable[Flow],
    catches: Iterable[LaterCatch],
    marked: Mapping[str, int],
) -> Floor:
    """
    Return the heads of one kind that are known to have stood there at the end of a day.

    Heads that left later without having come later stood there; so did what a later haul brought, less all
    that came until then, and with what went before it; and so do the marked.
    """
    later = [flow for flow in flows if flow.day > as_of and _moves_a_turtle(flow)]
    catches = list(catches)
    moved, known = {}, {}
    for name, classes in (("females", ("FEMALE",)), ("males", ("MALE",)), ("adults", ADULTS)):
        # Heads that came unsexed may be what leaves, or is caught, as females or males later.
        own = [
            flow
            for flow in later
            if flow.of_class in classes or (flow.of_class == "UNSEXED" and flow.heads > 0)
        ]
        moved[name] = max(
            (_left(own), "Moves after that day prove"),
            (_hauled(own, catches, classes), "A later haul proves"),
            key=_heads_of,
        )
        marks = sum(marked.get(of_class, 0) for of_class in classes)
        known[name] = max(moved[name], (marks, "Marked turtles seen there lately are"), key=_heads_of)
    return Floor(
        females=known["females"][0],
        males=known["males"][0],
        adults=known["adults"][0],
        proof=max(known.values(), key=_heads_of)[1],
        moved_females=moved["females"][0],
        moved_males=moved["males"][0],
        moved_adults=moved["adults"][0],
        moved_proof=max(moved.values(), key=_heads_of)[1],
    )


def _heads_of(found: tuple[int, str]) -> int:
    return found[0]


def _moves_a_turtle(flow: Flow) -> bool:
    return flow.reason not in BOOKKEEPING and flow.reason != Reason.SEXED and flow.of_class in CLASSES


def _left(flows: Iterable[Flow]) -> int:
    by_day: dict[dt.date, int] = defaultdict(int)
    for flow in flows:
        by_day[flow.day] += flow.heads
    running = lowest = 0
    for day in sorted(by_day):
        running += by_day[day]
        lowest = min(lowest, running)
    return -lowest


def _hauled(flows: list[Flow], catches: Iterable[LaterCatch], classes: tuple[str, ...]) -> int:
    by_haul: dict[tuple[dt.date, int], int] = defaultdict(int)
    for catch in catches:
        if catch.of_class in classes:
            by_haul[catch.day, catch.haul_id] += catch.caught
    most = 0
    for (day, _), caught in by_haul.items():
        came = sum(flow.heads for flow in flows if flow.heads > 0 and flow.day <= day)
        went = -sum(flow.heads for flow in flows if flow.heads < 0 and flow.day < day)
        most = max(most, caught - came + went)
    return most
