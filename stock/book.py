"""The read side of the ledger: what the book holds, at the cost of one month's entries. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, OuterRef, Subquery, Sum

from stock.models import Cell, Entry, MonthEnd
from stock.timeline import next_month


@dataclass(frozen=True)
class Balance:
    """What one pond cell holds by the book at the end of a day."""

    pond_id: int
    kind_id: int
    of_class: str
    heads: int
    cell_id: int


@dataclass(frozen=True)
class ClassHeads:
    """The heads of one pond and kind by class."""

    females: int = 0
    males: int = 0
    unsexed: int = 0
    juveniles: int = 0

    @property
    def total(self) -> int:
        return self.females + self.males + self.unsexed + self.juveniles


FIELD_OF_CLASS = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}


def balances(day: dt.date, *, pond_ids: Iterable[int] | None = None) -> list[Balance]:
    """
    Return what every pond cell (or those of some ponds) holds at the end of `day`: two queries.

    The latest stored month end before the day's month, plus that month's entries up to the day.
    """
    month = day.replace(day=1)
    cells = Cell.objects.filter(pond__isnull=False)
    if pond_ids is not None:
        cells = cells.filter(pond__in=list(pond_ids))
    latest = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lt=month).order_by("-month")
    rows = list(
        cells.annotate(opening=Subquery(latest.values("heads")[:1])).values_list(
            "pk", "pond_id", "kind_id", "of_class", "opening"
        )
    )
    change = _changes(month, day, [row[0] for row in rows] if pond_ids is not None else None)
    return [
        Balance(pond, kind, of_class, (opening or 0) + change.get(pk, 0), pk)
        for pk, pond, kind, of_class, opening in rows
    ]


def by_pond_and_kind(
    day: dt.date, *, pond_ids: Iterable[int] | None = None
) -> dict[tuple[int, int], ClassHeads]:
    """Return (pond id, kind id) -> heads by class at the end of `day`, leaving out what is empty: two queries."""
    held: dict[tuple[int, int], dict[str, int]] = defaultdict(dict)
    for balance in balances(day, pond_ids=pond_ids):
        if balance.heads:
            held[balance.pond_id, balance.kind_id][FIELD_OF_CLASS[balance.of_class]] = balance.heads
    return {where: ClassHeads(**heads) for where, heads in held.items()}


def by_day(
    first: dt.date, last: dt.date, *, pond_ids: Iterable[int], classes: Iterable[str]
) -> dict[tuple[int, int], tuple[int, dict[dt.date, int]]]:
    """
    Return (pond id, kind id) -> heads of some classes as the month of `first` opens, and changes by day: two queries.

    The changes are those booked from that month's first day through `last`, so that the cost is that of the months
    asked about and not of those before.
    """
    month = first.replace(day=1)
    before = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lt=month).order_by("-month")
    cells = {
        pk: (pond, kind, opening or 0)
        for pk, pond, kind, opening in Cell.objects.filter(
            pond__in=list(pond_ids), of_class__in=list(classes)
        ).values_list("pk", "pond_id", "kind_id", Subquery(before.values("heads")[:1]))
    }
    found: dict[tuple[int, int], tuple[int, dict[dt.date, int]]] = {}
    for pond, kind, opening in cells.values():
        so_far, days = found.get((pond, kind), (0, defaultdict(int)))
        found[pond, kind] = so_far + opening, days
    booked = Entry.objects.filter(booked_on__range=(month, last))
    sides = [
        booked.filter(**{f"{side}__in": list(cells)})
        .values(cell=F(side), on=F("booked_on"))
        .annotate(total=sign * Sum("heads"))
        .values_list("cell", "on", "total")
        for side, sign in (("target", 1), ("source", -1))
    ]
    for cell, on, total in sides[0].union(sides[1], all=True):
        pond, kind, _ = cells[cell]
        found[pond, kind][1][on] += total
    return found


def history(pond_id: int, kind_id: int, first: dt.date, last: dt.date) -> list[tuple[dt.date, ClassHeads]]:
    """
    Return the heads by class at each month's end from the month of `first` to that of `last`: two queries.

    The last point is what is booked through the end of that month, so for the running month it is today's.
    """
    months = _months(first, last)
    cells = list(Cell.objects.filter(pond=pond_id, kind=kind_id).values_list("pk", "of_class"))
    stored: dict[int, dict[dt.date, int]] = defaultdict(dict)
    opening: dict[int, int] = {}
    before = MonthEnd.objects.filter(cell=OuterRef("pk"), month__lt=months[0]).order_by("-month")
    rows = Cell.objects.filter(pk__in=[pk for pk, _ in cells]).values_list(
        "pk", Subquery(before.values("heads")[:1])
    )
    for pk, held in rows:
        opening[pk] = held or 0
    for row in MonthEnd.objects.filter(
        cell__in=[pk for pk, _ in cells], month__range=(months[0], months[-1])
    ):
        stored[row.cell_id][row.month] = row.heads
    points = []
    running = dict(opening)
    for month in months:
        heads: dict[str, int] = {}
        for pk, of_class in cells:
            running[pk] = stored[pk].get(month, running.get(pk, 0))
            heads[FIELD_OF_CLASS[of_class]] = running[pk]
        points.append((month, ClassHeads(**heads)))
    return points


def deaths_by_pond(first: dt.date, last: dt.date, *, pond_ids: Iterable[int] | None = None):
    """Return {(pond id, kind id, class): heads} recorded dead from `first` through `last`: one query.

    By the animal's day; a reversed death takes itself back.
    """
    entries = Entry.objects.filter(reason="DIED", happened_on__range=(first, last))
    out = entries.filter(source__pond__isnull=False)
    back = entries.filter(target__pond__isnull=False)
    if pond_ids is not None:
        ids = list(pond_ids)
        out, back = out.filter(source__pond__in=ids), back.filter(target__pond__in=ids)
    died: dict[tuple[int, int, str], int] = defaultdict(int)
    fields = ("pond", "kind", "of_class", "total")
    out_rows = out.values(
        pond=F("source__pond"), kind=F("source__kind"), of_class=F("source__of_class")
    ).annotate(total=Sum("heads"))
    back_rows = back.values(
        pond=F("target__pond"), kind=F("target__kind"), of_class=F("target__of_class")
    ).annotate(total=-Sum("heads"))
    for pond, kind, of_class, total in out_rows.values_list(*fields).union(
        back_rows.values_list(*fields), all=True
    ):
        died[pond, kind, of_class] += total
    return {where: heads for where, heads in died.items() if heads}


def _changes(month: dt.date, day: dt.date, cell_ids: list[int] | None) -> dict[int, int]:
    """Return cell id -> net heads booked from the month's first day through `day`: one query."""
    entries = Entry.objects.filter(booked_on__range=(month, day))
    incoming, outgoing = entries, entries
    if cell_ids is not None:
        incoming = entries.filter(target__in=cell_ids)
        outgoing = entries.filter(source__in=cell_ids)
    rows = (
        incoming.values(cell=F("target"))
        .annotate(total=Sum("heads"))
        .values_list("cell", "total")
        .union(
            outgoing.values(cell=F("source")).annotate(total=-Sum("heads")).values_list("cell", "total"),
            all=True,
        )
    )
    net: dict[int, int] = defaultdict(int)
    for cell, total in rows:
        net[cell] += total
    return net


def _months(first: dt.date, last: dt.date) -> list[dt.date]:
    month, end = first.replace(day=1), last.replace(day=1)
    months = [month]
    while month < end:
        month = next_month(month)
        months.append(month)
    return months
