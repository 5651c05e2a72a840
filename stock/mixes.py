"""Where the heads of each cell came from: computed from entries, kept at month ends, never booked.

The kept rows are only a saving of work: whatever is missing is replayed when it is read. `roll` is run after
a posting is committed, when nobody else is posting.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator

from django.db import transaction
from django.db.models import F, Max, Min, OuterRef, Subquery

from ponds.seasons import season_of
from stock import ledger_sql
from stock.advisor.mix import Cell as MixCell
from stock.advisor.mix import CellMix, Share, replay
from stock.advisor.mix import Entry as MixEntry
from stock.ledger_store import next_month, try_lock_book_alone
from stock.models import Cell, Entry, StockMix

BEFORE_THE_REGISTER = 0
ROWS_AT_ONCE = 2000
# After a roll, so many times as long passes before the next one: a twentieth of the time at most.
REST = 20


def mixes_on(day: dt.date) -> dict[tuple[int, int, str], CellMix]:
    """
    Return (pond id, kind id, class) -> what the cell is made of at the end of `day`.

    Batches are named by their ids as text. Three queries, and the replay of what is not kept yet.
    """
    last = _last_kept(before=day.replace(day=1))
    state = _kept_state(last) if last else {}
    state = replay(_entries_between(next_month(last) if last else None, day), state)
    return {
        (int(cell.place), int(cell.kind), cell.stock_class): mix
        for cell, mix in state.items()
        if mix.heads > 0 or mix.owed > 0
    }


def forget_from(day: dt.date) -> None:
    """Drop what is kept from the month of `day` on: a posting has made it untrue."""
    ledger_sql.forget_mixes(day.replace(day=1))


def roll_soon(today: dt.date) -> None:
    """
    Roll once the posting's transaction is committed, unless rolling takes too much of the time as it is.

    A back-dated posting drops what is kept since, so a run of them would replay the same months each time;
    what is not kept meanwhile is replayed by who reads it. A roll that fails is logged and made up for later:
    the posting stands by then and must not seem to fail.
    """
    transaction.on_commit(lambda: _roll_unless_resting(today), robust=True)


def _roll_unless_resting(today: dt.date) -> None:
    began = time.monotonic()
    if began < _rest.until:
        return
    roll(today)
    ended = time.monotonic()
    _rest.until = ended + REST * (ended - began)


class _Rest:
    """Until when this process leaves rolling alone (seconds of the monotonic clock)."""

    until = 0.0


_rest = _Rest()


def roll(today: dt.date) -> int:
    """Keep the mixes of every month that is over and not kept yet; return how many rows that made.

    Does nothing where somebody is posting just now: the next posting tries again.
    """
    this_month = today.replace(day=1)
    last = _last_kept(before=this_month)
    first_day = next_month(last) if last else None
    if first_day == this_month:
        return 0
    if not _entries_in(first_day, this_month - dt.timedelta(days=1)).exists():
        return 0
    with transaction.atomic():
        if not try_lock_book_alone():
            return 0
        return _roll(this_month)


def recomputed(through: dt.date) -> Iterator[tuple[dt.date, dict[MixCell, CellMix]]]:
    """Yield (month, the cells changed in it) from the first entry on, by replaying everything."""
    first = Entry.objects.aggregate(first=Min("booked_on"))["first"]
    if first is not None:
        yield from _by_month({}, first.replace(day=1), through)


def _roll(this_month: dt.date) -> int:
    last = _last_kept(before=this_month)
    state = _kept_state(last) if last else {}
    first = next_month(last) if last else None
    if first is None:
        earliest = Entry.objects.aggregate(first=Min("booked_on"))["first"]
        if earliest is None:
            return 0
        first = earliest.replace(day=1)
    cell_ids = {
        MixCell(str(pond), str(kind), of_class): pk
        for pk, pond, kind, of_class in Cell.objects.filter(pond__isnull=False).values_list(
            "pk", "pond_id", "kind_id", "of_class"
        )
    }
    made = 0
    for month, changed in _by_month(state, first, this_month - dt.timedelta(days=1)):
        rows = [
            StockMix(cell_id=cell_ids[cell], month=month, state=_to_json(mix))
            for cell, mix in changed.items()
        ]
        StockMix.objects.bulk_create(rows, batch_size=ROWS_AT_ONCE)
        made += len(rows)
    return made


def _by_month(
    state: dict[MixCell, CellMix], first: dt.date, through: dt.date
) -> Iterator[tuple[dt.date, dict[MixCell, CellMix]]]:
    month = first
    while month <= through:
        end = min(next_month(month) - dt.timedelta(days=1), through)
        entries = list(_entries_between(month, end))
        if entries:
            state = replay(entries, state)
            touched = {cell for entry in entries for cell in (entry.source, entry.target) if not cell.outside}
            yield month, {cell: state[cell] for cell in touched}
        month = next_month(month)


def _last_kept(*, before: dt.date) -> dt.date | None:
    return StockMix.objects.filter(month__lt=before).aggregate(last=Max("month"))["last"]


def _kept_state(last: dt.date) -> dict[MixCell, CellMix]:
    latest = StockMix.objects.filter(cell=OuterRef("pk"), month__lte=last).order_by("-month")
    rows = Cell.objects.filter(pond__isnull=False).values_list(
        "pond_id", "kind_id", "of_class", Subquery(latest.values("state")[:1])
    )
    return {
        MixCell(str(pond), str(kind), of_class): _from_json(state)
        for pond, kind, of_class, state in rows
        if state is not None
    }


def _entries_in(first: dt.date | None, last: dt.date):
    entries = Entry.objects.filter(booked_on__lte=last)
    return entries.filter(booked_on__gte=first) if first is not None else entries


def _entries_between(first: dt.date | None, last: dt.date) -> Iterator[MixEntry]:
    rows = (
        _entries_in(first, last)
        # A move and its reversal on the same book day leave no trace; else females that never left would
        # count as newly arrived.
        .exclude(move__reversed_by__booked_on=F("booked_on"))
        .exclude(move__reverses__booked_on=F("booked_on"))
        .order_by("booked_on", "pk")
        .values_list(
            "source__pond_id", "source__outside", "source__kind_id", "source__of_class",
            "target__pond_id", "target__outside", "target__kind_id", "target__of_class",
            "heads", "reason", "booked_on", "batch_id",
        )
    )  # fmt: skip
    for (
        source_pond, source_outside, source_kind, source_class,
        target_pond, target_outside, target_kind, target_class,
        heads, reason, booked_on, batch,
    ) in rows.iterator(chunk_size=ROWS_AT_ONCE):  # fmt: skip
        yield MixEntry(
            source=_mix_cell(source_pond, source_outside, source_kind, source_class),
            target=_mix_cell(target_pond, target_outside, target_kind, target_class),
            heads=heads,
            season=BEFORE_THE_REGISTER if reason == "OPENING" else season_of(booked_on).year,
            batch=str(batch) if batch else None,
        )


def _mix_cell(pond: int | None, outside: str, kind: int, of_class: str) -> MixCell:
    return MixCell(str(pond) if pond else outside, str(kind), of_class, outside=pond is None)


def _to_json(mix: CellMix) -> dict:
    return {
        "heads": mix.heads,
        "owed": mix.owed,
        "batches": {name: list(share) for name, share in sorted(mix.batches.items())},
        "seasons": {str(season): heads for season, heads in sorted(mix.seasons.items())},
    }


def _from_json(state: dict) -> CellMix:
    return CellMix(
        state["heads"],
        state["owed"],
        {name: Share(*share) for name, share in state["batches"].items()},
        {int(season): heads for season, heads in state["seasons"].items()},
    )


def is_same(state: dict, mix: CellMix, tolerance: float) -> bool:
    """Say whether a kept state is this mix, up to `tolerance` heads."""
    kept = _from_json(state)
    if (kept.heads, kept.owed, set(kept.batches), set(kept.seasons)) != (
        mix.heads, mix.owed, set(mix.batches), set(mix.seasons),
    ):  # fmt: skip
        return False
    shares = all(
        abs(kept.batches[name].expected - share.expected) <= tolerance and kept.batches[name][1:] == share[1:]
        for name, share in mix.batches.items()
    )
    return shares and all(
        abs(kept.seasons[season] - heads) <= tolerance for season, heads in mix.seasons.items()
    )
