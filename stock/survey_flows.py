"""What came to and went from a pond around a survey's hauls: between them, and from one of them to the day's end.

The book knows days and no hours. What else was booked on a haul's day came before the haul if it was logged
before it, else after; an owner who knows better says so.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet, Sum

from ponds.models import Pond
from stock.drafts import CLASSES
from stock.models import Entry, Haul, Move, Reason
from stock.survey_floor import ADULTS, BOOKKEEPING, Flow

LOGGED, BEFORE, AFTER = "LOGGED", "BEFORE", "AFTER"


@dataclass(frozen=True)
class Net:
    """What came less what went between a reading's reference and the end of the count's day, by class."""

    by_class: dict[str, int] = field(default_factory=dict)

    def of(self, of_class: str) -> int:
        return self.by_class.get(of_class, 0)

    @property
    def adults(self) -> int:
        return sum(self.of(of_class) for of_class in ADULTS)

    @property
    def is_nothing(self) -> bool:
        return not any(self.by_class.values())


@dataclass(frozen=True)
class DayOrder:
    """Whether another move of a haul's day came before the haul: as first logged, or as it is said of all."""

    first: Mapping[int, int] = field(default_factory=dict)
    said: str = LOGGED

    def is_before(self, move_id: int, haul: Haul) -> bool:
        if self.said != LOGGED:
            return self.said == BEFORE
        return self.first.get(move_id, move_id) < self.first.get(haul.move_id, haul.move_id)


def day_order(flows: Iterable[Flow], hauls: Sequence[Haul]) -> DayOrder:
    """Return the order in which hauls and the other moves of their days were first logged."""
    moves = {haul.move_id: haul.move.replaces_id for haul in hauls}
    days = {haul.happened_on for haul in hauls}
    others = {flow.move_id for flow in flows if flow.day in days} - moves.keys()
    if others:
        moves.update(Move.objects.filter(pk__in=others).values_list("pk", "replaces_id"))
    return DayOrder(first_logged(moves))


def first_logged(moves: Mapping[int, int | None]) -> dict[int, int]:
    """
    Return move id -> id of the move at the beginning of its run of corrections.

    Given are moves with the ids of those they replace; each further correction of a correction is one query.
    """
    replaced = dict(moves)
    unknown = {before for before in replaced.values() if before is not None} - replaced.keys()
    while unknown:
        found = dict(Move.objects.filter(pk__in=unknown).values_list("pk", "replaces_id"))
        replaced.update(found)
        unknown = {before for before in found.values() if before is not None} - replaced.keys()
    first = {}
    for move in moves:
        first[move] = move
        while (before := replaced.get(first[move])) is not None:
            first[move] = before
    return first


def flows_of(pond: Pond, first: dt.date, last: dt.date) -> list[Flow]:
    """Return what came to and went from a pond from a day through another, by moves that stand: one query."""
    rows = _standing_entries(pond).filter(happened_on__range=(first, last)).order_by("happened_on", "pk")
    return list(_as_flows(pond, rows.values_list("move_id", "heads", *FIELDS)))


def later_flows(pond: Pond, last: dt.date) -> list[Flow]:
    """
    Return what came and went after a day, summed by day, class and reason: one query.

    Such a flow stands for all moves of its day, so it names none: its move is 0.
    """
    rows = _standing_entries(pond).filter(happened_on__gt=last).order_by("happened_on")
    summed = rows.values(*FIELDS).annotate(total=Sum("heads"))
    return list(_as_flows(pond, ((0, total, *row) for *row, total in summed.values_list(*FIELDS, "total"))))


def moved_between(flows: Iterable[Flow], hauls: Sequence[Haul], order: DayOrder) -> int:
    """
    Return the adult heads that came or went by other moves than the hauls' own while the survey ran.

    A move of the first haul's day counts where it came after that haul; one of the last haul's day does not.
    """
    own = {haul.move_id for haul in hauls}
    first, last = hauls[0].happened_on, hauls[-1].happened_on
    return sum(
        abs(flow.heads)
        for flow in flows
        if first <= flow.day < last
        and flow.move_id not in own
        and flow.of_class in ADULTS
        and flow.reason not in (*BOOKKEEPING, Reason.SEXED, Reason.MATURED)
        and not (flow.day == first and order.is_before(flow.move_id, hauls[0]))
    )


def others_of_day(flows: Iterable[Flow], hauls: Sequence[Haul], reference: int) -> list[Flow]:
    """Return what came and went on the day of the reference haul by other moves than the survey's hauls."""
    own = {haul.move_id for haul in hauls}
    day = hauls[reference].happened_on
    return [
        flow
        for flow in flows
        if flow.day == day
        and flow.move_id not in own
        and flow.reason not in (*BOOKKEEPING, Reason.SEXED)
        and flow.of_class in CLASSES
    ]


def net_from(flows: Iterable[Flow], hauls: Sequence[Haul], reference: int, order: DayOrder) -> Net:
    """Return what came less what went from the reference haul on, through the end of the last haul's day.

    Sexing is no coming or going: the hauls were read by what their heads were found to be.
    """
    place = reference % len(hauls)
    later = {haul.move_id for haul in hauls[place:]}
    earlier = {haul.move_id for haul in hauls[:place]}
    start, end = hauls[place].happened_on, hauls[-1].happened_on
    by_class: dict[str, int] = defaultdict(int)
    for flow in flows:
        if flow.reason in BOOKKEEPING or flow.reason == Reason.SEXED or flow.move_id in earlier:
            continue
        if flow.move_id in later:
            if flow.reason != Reason.MATURED:
                by_class[flow.of_class] += flow.heads
        elif start <= flow.day <= end and not (
            flow.day == start and order.is_before(flow.move_id, hauls[place])
        ):
            by_class[flow.of_class] += flow.heads
    return Net({of_class: by_class[of_class] for of_class in CLASSES if by_class[of_class]})


FIELDS = (
    "happened_on", "reason", "source__kind_id", "source__pond_id", "source__of_class", "target__pond_id",
    "target__of_class",
)  # fmt: skip


def _standing_entries(pond: Pond) -> QuerySet[Entry]:
    return Entry.objects.filter(
        Q(source__pond=pond) | Q(target__pond=pond), move__reversed_by=None, move__reverses=None
    )


def _as_flows(pond: Pond, rows: Iterable[tuple]) -> Iterable[Flow]:
    for move, heads, day, reason, kind, source, from_class, target, to_class in rows:
        if source == pond.pk:
            yield Flow(kind, day, move, from_class, -heads, reason)
        if target == pond.pk:
            yield Flow(kind, day, move, to_class, heads, reason)
