"""Recompute the whole ledger from its entries and name every difference. Reads only."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from django.db import connection
from django.db.models import Count, F, Max, Q

from stock import append_only, check_turtles, flows, mixes
from stock.drafts import SOURCES_OUTSIDE
from stock.models import Cell, Entry, MarkStep, MonthClose, MonthEnd, Move, StockMix
from stock.timeline import next_month

ROWS_AT_ONCE = 5000
MIX_TOLERANCE = 1e-6


def differences() -> list[str]:
    """Return one sentence for each invariant that does not hold; an empty list when all do."""
    names = _cell_names()
    found = [
        f"The trigger {name} is missing: run migrate to put it back."
        for name in append_only.missing(connection)
    ]
    found += _entry_rules(names)
    found += _reasons(names)
    found += _batches(names)
    found += _whole_moves()
    found += _reversals()
    found += _month_ends(names)
    found += check_turtles.differences(names)
    found += _closed_months()
    found += _mixes(names)
    found += _flows()
    return found


def _cell_names() -> dict[int | None, str]:
    rows = Cell.objects.values_list("pk", "pond__code", "outside", "kind__code", "of_class")
    return {
        pk: f"{'pond ' + pond if pond else outside.lower()}, {kind}, {of_class.lower()}"
        for pk, pond, outside, kind, of_class in rows
    }


def _entry_rules(names: dict[int | None, str]) -> Iterator[str]:
    """What each entry must be by itself, and that it agrees with its move."""
    bad_kind = Entry.objects.exclude(source__kind=F("target__kind"))
    for entry in bad_kind:
        yield f"Entry {entry.pk} joins two kinds: {names[entry.source_id]} and {names[entry.target_id]}."
    changed = Entry.objects.exclude(source__of_class=F("target__of_class")).exclude(
        reason__in=["SEXED", "MATURED"], source__pond=F("target__pond")
    )
    for entry in changed:
        yield (
            f"Entry {entry.pk} changes class from {names[entry.source_id]} to {names[entry.target_id]} "
            f"as “{entry.reason.lower()}”."
        )
    unchanged = Entry.objects.filter(reason__in=["SEXED", "MATURED"], source__of_class=F("target__of_class"))
    for entry in unchanged:
        yield f"Entry {entry.pk} says “{entry.reason.lower()}” but does not change class."
    for entry in Entry.objects.filter(Q(heads__lte=0) | Q(source=F("target"))):
        yield f"Entry {entry.pk} has {entry.heads} heads from {names[entry.source_id]} to {names[entry.target_id]}."
    days = Entry.objects.exclude(happened_on=F("move__happened_on"), booked_on=F("move__booked_on"))
    for entry in days.select_related("move"):
        yield (
            f"Entry {entry.pk} is dated {entry.happened_on}, booked {entry.booked_on}; its move "
            f"{entry.move.happened_on}, booked {entry.move.booked_on}."
        )


def _reasons(names: dict[int | None, str]) -> Iterator[str]:
    """A reason follows from the places joined; deaths and sales are counted by it."""
    explained = Q()
    for side in ("source", "target"):
        explained &= (
            Q(**{f"{side}__pond__isnull": False})
            | Q(**{f"{side}__outside": F("reason")})
            | Q(**{f"{side}__outside": "UNSEEN", "reason__in": ["BEYOND_BOOK", "COUNT_RESET"]})
        )
    inside = Q(source__pond__isnull=False, target__pond__isnull=False)
    wrong = Entry.objects.filter(~explained | (inside & ~Q(reason__in=["MOVED", "SEXED", "MATURED"])))
    for entry in wrong:
        yield (
            f"Entry {entry.pk} is booked as “{entry.reason.lower()}” from {names[entry.source_id]} to "
            f"{names[entry.target_id]}."
        )


def _batches(names: dict[int | None, str]) -> Iterator[str]:
    """What comes from outside (or goes back there, reversed) has a batch, and one of that origin."""
    for side in ("source", "target"):
        brought = Entry.objects.filter(**{f"{side}__outside__in": SOURCES_OUTSIDE}).select_related("batch")
        for entry in brought.exclude(batch__source=F(f"{side}__outside")):
            place = names[getattr(entry, f"{side}_id")]
            if entry.batch is None:
                yield f"Entry {entry.pk} names no batch for heads from {place}."
            else:
                yield (
                    f"Entry {entry.pk} brings heads from {place}, but its batch {entry.batch.code} is of heads "
                    f"{entry.batch.source.lower()}."
                )


def _whole_moves() -> Iterator[str]:
    """No move is there by half: its entries are numbered from 0 without a gap, and it has something to say."""
    numbered = Entry.objects.values("move__key").annotate(entries=Count("pk"), last=Max("line"))
    for row in numbered.exclude(entries=F("last") + 1).order_by("move__key"):
        yield f"Move {row['move__key']} has {row['entries']} entries, but the last is numbered {row['last']}."
    empty = Move.objects.filter(reverses=None, entries=None, haul=None, mark_steps=None, counts=None)
    for move in empty:
        yield f"Move {move.key} of {move.happened_on} has no entry, no haul, no mark and no count."


def _reversals() -> Iterator[str]:
    """Every reversal undoes its move exactly, and is itself never reversed."""
    for move in Move.objects.filter(reverses__reverses__isnull=False):
        yield f"Move {move.key} reverses a reversal."
    swapped: dict[int | None, list[tuple]] = defaultdict(list)
    rows = Entry.objects.filter(move__reverses__isnull=False).values_list(
        "move__reverses", "target", "source", "heads", "reason"
    )
    for reversed_pk, *entry in rows.iterator(chunk_size=ROWS_AT_ONCE):
        swapped[reversed_pk].append(tuple(entry))
    originals: dict[int | None, list[tuple]] = defaultdict(list)
    rows = Entry.objects.filter(move__reversed_by__isnull=False).values_list(
        "move", "source", "target", "heads", "reason"
    )
    for original_pk, *entry in rows.iterator(chunk_size=ROWS_AT_ONCE):
        originals[original_pk].append(tuple(entry))
    for pk in set(swapped) | set(originals):
        if sorted(swapped[pk]) != sorted(originals[pk]):
            yield f"Move {pk} is not undone exactly by its reversal."


def _month_ends(names: dict[int | None, str]) -> Iterator[str]:
    """Recompute every stored month end, and see that no pond cell ends any day below zero."""
    changes: dict[int, dict[dt.date, list[int]]] = defaultdict(dict)
    for pk, on, heads, marked in _daily_changes():
        change = changes[pk].setdefault(on, [0, 0])
        change[0] += heads
        change[1] += marked
    stored: dict[int, dict[dt.date, MonthEnd]] = defaultdict(dict)
    for row in MonthEnd.objects.iterator(chunk_size=ROWS_AT_ONCE):
        stored[row.cell_id][row.month] = row
    inside = set(Cell.objects.filter(pond__isnull=False).values_list("pk", flat=True))
    for pk in sorted(set(changes) | set(stored)):
        yield from _one_cell(names[pk], pk in inside, changes[pk], stored[pk])


def _one_cell(
    name: str, is_pond: bool, changes: dict[dt.date, list[int]], stored: dict[dt.date, MonthEnd]
) -> Iterator[str]:
    heads = marked = 0
    by_month: dict[dt.date, list[dt.date]] = defaultdict(list)
    for on in sorted(changes):
        by_month[on.replace(day=1)].append(on)
    for month in sorted(set(by_month) | set(stored)):
        lowest, lowest_unmarked = heads, heads - marked
        for on in by_month[month]:
            heads += changes[on][0]
            marked += changes[on][1]
            lowest, lowest_unmarked = min(lowest, heads), min(lowest_unmarked, heads - marked)
            if is_pond and heads < 0:
                yield f"{name}: {heads} heads at the end of {on}."
            if is_pond and marked > heads:
                yield f"{name}: {marked} marked of {heads} heads at the end of {on}."
        row = stored.get(month)
        if row is None:
            yield f"{name}: no month end is stored for {month:%Y-%m}; the entries give {heads}."
            continue
        kept = (row.heads, row.lowest, row.marked, row.lowest_unmarked, row.is_pond)
        if kept != (heads, lowest, marked, lowest_unmarked, is_pond):
            yield (
                f"{name}: stored for {month:%Y-%m} are {row.heads} heads (lowest {row.lowest}, marked {row.marked}, "
                f"lowest unmarked {row.lowest_unmarked}); the entries give {heads} (lowest {lowest}, "
                f"marked {marked}, lowest unmarked {lowest_unmarked})."
            )


def _daily_changes() -> Iterator[tuple[int, dt.date, int, int]]:
    entries = Entry.objects.values_list("source_id", "target_id", "booked_on", "heads")
    for source, target, on, heads in entries.iterator(chunk_size=ROWS_AT_ONCE):
        yield source, on, -heads, 0
        yield target, on, heads, 0
    steps = MarkStep.objects.values_list("source_id", "target_id", "booked_on")
    for source, target, on in steps.iterator(chunk_size=ROWS_AT_ONCE):
        if source is not None:
            yield source, on, 0, -1
        if target is not None:
            yield target, on, 0, 1


def _closed_months() -> Iterator[str]:
    """Closed months follow one another, and nothing was booked into one after it was closed.

    The first close locks every month before it too, and each later close all up to its own month.
    """
    closes = list(MonthClose.objects.order_by("month"))
    for earlier, close in pairwise(closes):
        if close.month != next_month(earlier.month):
            yield f"{earlier.month:%Y-%m} and {close.month:%Y-%m} are closed, but not the months between."
    for position, close in enumerate(closes):
        closed_at = min(later.closed_at for later in closes[position:])
        late = Move.objects.filter(booked_on__lt=next_month(close.month), recorded_at__gt=closed_at)
        if position:
            late = late.filter(booked_on__gte=next_month(closes[position - 1].month))
        for move in late:
            yield f"Move {move.key} is booked on {move.booked_on}, but was recorded after that month's close."


def _mixes(names: dict[int | None, str]) -> Iterator[str]:
    """Kept origins equal a replay of everything."""
    kept = {(row.cell_id, row.month): row.state for row in StockMix.objects.iterator(chunk_size=ROWS_AT_ONCE)}
    if not kept:
        return
    through = next_month(max(month for _, month in kept)) - dt.timedelta(days=1)
    ids = {
        (str(pond), str(kind), of_class): pk
        for pk, pond, kind, of_class in Cell.objects.filter(pond__isnull=False).values_list(
            "pk", "pond_id", "kind_id", "of_class"
        )
    }
    for month, changed in mixes.recomputed(through):
        for cell, mix in changed.items():
            pk = ids[cell.place, cell.kind, cell.stock_class]
            state = kept.pop((pk, month), None)
            if state is None or not mixes.is_same(state, mix, MIX_TOLERANCE):
                yield f"{names[pk]}: the origins kept for {month:%Y-%m} are not those that the entries give."
    for pk, month in kept:
        yield f"{names[pk]}: origins are kept for {month:%Y-%m}, which has no entries."


def _flows() -> Iterator[str]:
    """Kept flows equal what the entries of their month give."""
    for month in flows.untrue():
        yield f"The heads that came and went, kept for {month:%Y-%m}, are not those that the entries give."
