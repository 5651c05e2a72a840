"""What the watch reads: months of deaths and heads, batches that came, marked turtles of theirs, counts, notes.

So many queries whatever the number of ponds and the farm's age: no more than `MONTHS` are read, and months that are
over come from what `flows` and the month ends keep.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from django.db.models import Sum
from numpy.typing import NDArray

from stock import flows
from stock.advisor.farm_watch_all import ALL, FEMALES, JUVENILES, MALES
from stock.advisor.farm_watch_causes import WINDOWS
from stock.book import FIELD_OF_CLASS, balances
from stock.models import Batch, Entry, MarkStep
from stock.pond_rows import held_by_month, months_between
from stock.timeline import next_month

PondKindId = tuple[int, int]
Floats = NDArray[np.float64]
MONTHS = 60
"""Months the watch learns from; older ones say little of what is normal now."""
UNSEXED = "unsexed"
_SERIES = {flows.FEMALE: FEMALES, flows.MALE: MALES, flows.UNSEXED: UNSEXED}


@dataclass(frozen=True)
class WatchMonths:
    """
    A farm's deaths and head-days by month; arrays are pond-kinds by months, the last month running.

    ``head_days`` of the last month are those of the whole month, as if what stands now stood to its end, and
    ``share_over`` is how much of it is over. ``rows`` are the flows they were summed from, by day.
    """

    places: tuple[PondKindId, ...]
    months: tuple[dt.date, ...]
    deaths: Mapping[str, Floats]
    head_days: Mapping[str, Floats]
    share_over: float
    rows: flows.Rows


def watch_months(day: dt.date) -> WatchMonths:
    """Return the months through that of a day: six queries."""
    first = _months_before(day, MONTHS - 1)
    rows = flows.since(first)
    rows = rows[rows["day"] <= day.toordinal()]
    held = held_by_month(first, day, balances(day))
    # A month in which nothing ever stood on the farm teaches nothing: the register's first month is where it starts.
    began = next(
        (month for at, (month, _) in enumerate(held[0].ends) if any(cell.before or cell.ends[at][1] for cell in held)),
        None,
    ) if held else None  # fmt: skip
    months = months_between(began or day, day)
    skip = len(months_between(first, day)) - len(months)
    stood = [cell for cell in held if cell.before or any(heads for _, heads in cell.ends)]
    places = sorted({(cell.balance.pond_id, cell.balance.kind_id) for cell in stood})
    place_of = {where: place for place, where in enumerate(places)}
    shape = len(places), len(months)
    days = {name: np.zeros(shape) for name in (FEMALES, MALES, UNSEXED, JUVENILES)}
    for cell in stood:
        name = FIELD_OF_CLASS[cell.balance.of_class]
        ends = [heads for _, heads in cell.ends][skip:]
        before = [cell.before, *(heads for _, heads in cell.ends)][skip]
        begins = [before, *ends[:-1]]
        lengths = [(next_month(month) - month).days for month in months]
        place = place_of[cell.balance.pond_id, cell.balance.kind_id]
        days[name][place] += [
            length * (start + end) / 2 for length, start, end in zip(lengths, begins, ends, strict=True)
        ]
    died = {name: np.zeros(shape) for name in days}
    month_at = {month: at for at, month in enumerate(months)}
    for row in rows[rows["died"] > 0]:
        where = int(row["pond"]), int(row["kind"])
        at = month_at.get(dt.date.fromordinal(int(row["day"])).replace(day=1))
        if where in place_of and at is not None:
            died[_SERIES[int(row["of_class"])]][place_of[where], at] += int(row["died"])
    for where, month, heads in _juveniles(months[0], day):
        if where in place_of and month in month_at:
            died[JUVENILES][place_of[where], month_at[month]] += heads
    for by_class in (died, days):
        by_class[ALL] = by_class[FEMALES] + by_class[MALES] + by_class.pop(UNSEXED)
    if not days[JUVENILES].any():
        del died[JUVENILES], days[JUVENILES]
    length = (next_month(months[-1]) - months[-1]).days
    return WatchMonths(tuple(places), tuple(months), died, days, day.day / length, rows)


def _months_before(day: dt.date, months: int) -> dt.date:
    at = day.year * 12 + day.month - 1 - months
    return dt.date(at // 12, at % 12 + 1, 1)


def _juveniles(first: dt.date, day: dt.date) -> list[tuple[PondKindId, dt.date, int]]:
    """Return juveniles found dead by place and month: one query."""
    rows = (
        Entry.objects.filter(
            reason="DIED",
            happened_on__range=(first, day),
            source__of_class="JUVENILE",
            source__pond__isnull=False,
            move__reversed_by=None,
            move__reverses=None,
        )
        .values_list("source__pond", "source__kind", "happened_on")
        .annotate(all_heads=Sum("heads"))
        .order_by()
    )
    return [((pond, kind), on.replace(day=1), heads) for pond, kind, on, heads in rows]


@dataclass(frozen=True)
class Arrival:
    """A batch that came lately: the ponds that got heads of it, some by way of another, and since when each."""

    batch: Batch
    heads: int
    ponds: Mapping[PondKindId, dt.date]


def batches_since(day: dt.date) -> dt.date:
    """Return the first day of which a batch that came is watched on a day."""
    return _months_before(day, 1) - dt.timedelta(days=WINDOWS[-1])


def arrivals(day: dt.date) -> list[Arrival]:
    """
    Return the batches bought or taken from the wild whose ponds are watched on a day: two queries.

    They are watched for the longest window and, as every signal of a month stands through the next, until the
    month after that is over. A pond has the batch from the day on which heads of it came: straight away, or moved
    on, of the batch's kind, from a pond that had it.
    """
    first = batches_since(day)
    batches = {
        batch.pk: batch
        for batch in Batch.objects.filter(source__in=("BOUGHT", "WILD"), arrived_on__range=(first, day))
    }
    if not batches:
        return []
    entries = (
        Entry.objects.filter(
            reason__in=("BOUGHT", "WILD", "MOVED"),
            happened_on__range=(first, day),
            target__pond__isnull=False,
            move__reversed_by=None,
            move__reverses=None,
        )
        .order_by("happened_on", "pk")
        .values_list(
            "batch", "reason", "happened_on", "heads", "target__kind", "source__pond", "target__pond"
        )
    )
    ponds: dict[int, dict[PondKindId, dt.date]] = defaultdict(dict)
    heads: Counter[int] = Counter()
    for batch, reason, on, number, kind, source, target in entries:
        if batch in batches and reason != "MOVED":
            ponds[batch].setdefault((target, kind), on)
            heads[batch] += number
        elif reason == "MOVED":
            for of_batch in ponds.values():
                if (source, kind) in of_batch:
                    of_batch.setdefault((target, kind), on)
    return [Arrival(batch, heads[pk], ponds[pk]) for pk, batch in batches.items() if ponds[pk]]


def marked_dead(batch_ids: Iterable[int], day: dt.date) -> list[tuple[int, PondKindId, dt.date]]:
    """Return (batch id, where it died, day) of each marked turtle of these batches found dead lately: one query."""
    rows = (
        MarkStep.objects.filter(
            turtle__batch__in=list(batch_ids),
            entry__reason="DIED",
            entry__happened_on__range=(batches_since(day), day),
            move__reversed_by=None,
            move__reverses=None,
        )
        .order_by()
        .values_list(
            "turtle__batch", "entry__source__pond", "entry__source__kind", "entry__happened_on", "turtle"
        )
        .distinct()
    )
    return [(batch, (pond, kind), on) for batch, pond, kind, on, _ in rows]
