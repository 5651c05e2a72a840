"""The ledger's entries as origins are replayed from them, without what was taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import NamedTuple

from django.db.models import F, Q, QuerySet

from ponds.seasons import season_of
from stock.advisor.mix import Cell as MixCell
from stock.advisor.mix import Entry as MixEntry
from stock.models import Entry, Move

BEFORE_THE_REGISTER = 0
ROWS_AT_ONCE = 2000


class TakenBackLate(NamedTuple):
    """A move of months that are kept, taken back after their end: its reversal's key, and its own book day."""

    key: str
    booked_on: dt.date


def taken_back_late(kept_through: dt.date | None, day: dt.date) -> list[TakenBackLate]:
    """
    Return the moves booked by the end of `kept_through` and taken back from then on until `day`: one query.

    Only a move of a closed month has another book day than its reversal.
    """
    if kept_through is None:
        return []
    # That there is one it reverses is said too: without it the index of reversals by day cannot be taken.
    late = Move.objects.filter(
        reverses__isnull=False,
        reverses__booked_on__lte=kept_through,
        booked_on__gt=kept_through,
        booked_on__lte=day,
    )
    found = late.order_by("pk").values_list("key", "reverses__booked_on")
    return [TakenBackLate(str(key), booked_on) for key, booked_on in found]


def cells_of(late: list[TakenBackLate]) -> set[MixCell]:
    """Return the cells in ponds that moves taken back late, and so their reversals, touch."""
    if not late:
        return set()
    rows = Entry.objects.filter(move__key__in=[one.key for one in late]).values_list(
        "source__pond_id", "source__outside", "source__kind_id", "source__of_class",
        "target__pond_id", "target__outside", "target__kind_id", "target__of_class",
    )  # fmt: skip
    cells = {cell for row in rows for cell in (_cell(*row[:4]), _cell(*row[4:]))}
    return {cell for cell in cells if not cell.outside}


def booked_in(first: dt.date | None, last: dt.date) -> QuerySet[Entry]:
    """Return the entries booked from `first` (None: the first there is) to `last`."""
    entries = Entry.objects.filter(booked_on__lte=last)
    return entries.filter(booked_on__gte=first) if first is not None else entries


def first_to_replay(after: dt.date | None, before: dt.date) -> dt.date | None:
    """Return the first book day of entries of ponds between two days that their own month did not take back."""
    entries = booked_in(after, before).filter(Q(source__pond__isnull=False) | Q(target__pond__isnull=False))
    for pair in ("move__reversed_by__booked_on", "move__reverses__booked_on"):
        same = {f"{pair}__year": F("booked_on__year"), f"{pair}__month": F("booked_on__month")}
        entries = entries.exclude(**same)
    return entries.order_by("booked_on").values_list("booked_on", flat=True).first()


def entries_between(first: dt.date | None, last: dt.date, *, known_on: dt.date) -> Iterator[MixEntry]:
    """
    Yield the entries booked from `first` to `last`, in the book's order, as was known on `known_on`.

    A move and its reversal leave no trace from the day on that the reversal is booked; else females that never left
    would count as newly arrived, and as strangers. Heads are of the season of the animals' day. That no reversal
    between the days is of a move before them is for the caller to see to (`taken_back_late`).
    """
    taken_back = Move.objects.filter(reverses__isnull=False, booked_on__lte=known_on)
    if first is not None:
        taken_back = taken_back.filter(booked_on__gte=first)
    # Held against two lists, not joined to the moves: where its figures are of an empty table, PostgreSQL would go
    # through all moves for each entry.
    rows = (
        booked_in(first, last)
        .exclude(move__in=taken_back.values("pk"))
        .exclude(move__in=taken_back.values("reverses"))
        .order_by("booked_on", "pk")
        .values_list(
            "source__pond_id", "source__outside", "source__kind_id", "source__of_class",
            "target__pond_id", "target__outside", "target__kind_id", "target__of_class",
            "heads", "reason", "happened_on", "batch_id",
        )
    )  # fmt: skip
    for row in rows.iterator(chunk_size=ROWS_AT_ONCE):
        heads, reason, happened_on, batch = row[8:]
        yield MixEntry(
            source=_cell(*row[:4]),
            target=_cell(*row[4:8]),
            heads=heads,
            season=BEFORE_THE_REGISTER if reason == "OPENING" else season_of(happened_on).year,
            batch=str(batch) if batch else None,
        )


def _cell(pond: int | None, outside: str, kind: int, of_class: str) -> MixCell:
    return MixCell(str(pond) if pond else outside, str(kind), of_class, outside=pond is None)
