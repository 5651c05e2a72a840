"""Where the heads of each cell came from: computed from entries, kept at month ends, never booked.

The kept rows are only a saving of work: whatever is missing is replayed when it is read. `roll` keeps them,
month by month and in order: for a moment after a posting is committed, and to the end in the commands that
fill a farm.
"""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Callable, Iterator
from typing import NamedTuple

from django.db import transaction
from django.db.models import Min, OuterRef, Subquery

from ponds.farm import the_farm
from stock import ledger_sql
from stock.advisor.mix import Cell as MixCell
from stock.advisor.mix import CellMix, Share, replay
from stock.kept_answers import KeptAnswers
from stock.ledger_store import try_lock_book_alone
from stock.mix_entries import (
    TakenBackLate,
    booked_in,
    cells_of,
    entries_between,
    first_to_replay,
    taken_back_late,
)
from stock.models import Cell, Entry, StockMix
from stock.spare_moments import SpareMoments
from stock.timeline import last_day_of, next_month

# Seconds of rolling after a posting; who posted waits for them.
MOMENT = 0.3
# After a roll, so many times as long passes before the next one: a fifth of the time at most.
REST = 4
# Seconds between two reports of a long roll.
REPORT_EVERY = 2.0
# A reader between whose two looks months are dropped looks again so often, then replays everything.
LOOKS = 3

Mixes = dict[MixCell, CellMix]
_hindsight: KeptAnswers[Mixes] = KeptAnswers(4)
_NOTHING = CellMix()


def mixes_on(day: dt.date) -> dict[tuple[int, int, str], CellMix]:
    """
    Return (pond id, kind id, class) -> what the cell is made of at the end of `day`.

    Batches are named by their ids as text. What was taken back by then leaves no trace. Four queries, and the replay
    of what is not kept yet; once more, in each process, of the months since a move that was taken back after their end.
    """
    kept, state = _start(day.replace(day=1))
    if late := taken_back_late(_end_of(kept.month), day):
        state = _without(late, kept, day)
    state = replay(entries_between(_after(kept.month), day, known_on=day), state)
    return {
        (int(cell.place), int(cell.kind), cell.stock_class): mix
        for cell, mix in state.items()
        if mix.heads > 0 or mix.owed > 0
    }


def _without(late: list[TakenBackLate], kept: _Kept, day: dt.date) -> Mixes:
    """
    Return the mixes at the end of what is kept, had the moves never been made that were taken back since, by `day`.

    What they carried went on to other ponds, so all since the first of them is replayed without them.
    """
    through = _end_of(kept.month)
    if through is None:
        return {}

    def replayed() -> Mixes:
        base, state, earlier = kept, Mixes(), late
        while earlier:
            base, state = _start(min(one.booked_on for one in earlier).replace(day=1))
            earlier = taken_back_late(_end_of(base.month), day)
        return replay(entries_between(_after(base.month), through, known_on=day), state)

    return _hindsight.of((kept, tuple(one.key for one in late)), replayed)


def forget_from(day: dt.date) -> None:
    """Drop what is kept from the month of `day` on: a posting has made it untrue."""
    ledger_sql.forget_mixes(day.replace(day=1))


def roll_soon(today: dt.date) -> None:
    """
    Roll for a moment once the posting's transaction is committed, unless there was a roll just before.

    A back-dated posting drops what is kept since, so a run of them would replay the same months each time;
    what is not kept meanwhile is replayed by who reads it. A roll that fails is logged and made up for later:
    the posting stands by then and must not seem to fail.
    """
    transaction.on_commit(lambda: _rest.use(lambda: roll(today, seconds=MOMENT)), robust=True)


_rest = SpareMoments(REST)


def roll(
    today: dt.date, *, seconds: float | None = None, progress: Callable[[dt.date], None] | None = None
) -> int:
    """
    Keep the mixes of the months that are over and not kept yet; return how many rows that made.

    Parameters
    ----------
    today : date
        The farm's today; its month is not over.
    seconds : float, optional
        Begin no month that would, by the one before, end later than this. One month is always kept, so that
        every roll gets on. Without it, roll to the end.
    progress : callable, optional
        Told each month that is kept.

    Notes
    -----
    Each month is written in a transaction of its own that holds the book alone. The roll ends where somebody
    is posting at that moment, or has changed a month that it stands on: the next posting's roll goes on.
    """
    began = time.monotonic()
    this_month = today.replace(day=1)
    kept = _kept(before=this_month)
    if _first_to_keep(kept.month, this_month) is None:
        return 0
    rolling = _Rolling(this_month, kept)
    made, longest = 0, 0.0
    while True:
        started = time.monotonic()
        if made and seconds is not None and started - began + longest > seconds:
            return made
        rows = rolling.keep_next()
        if not rows:
            return made
        made += rows
        longest = max(longest, time.monotonic() - started)
        if progress is not None and rolling.kept.month is not None:
            progress(rolling.kept.month)


def roll_all(say: Callable[[str], None]) -> None:
    """Roll to the end, saying how far it has come: for the commands that fill a farm."""
    today = the_farm().today()
    began = reported = time.monotonic()
    months = 0

    def report(month: dt.date) -> None:
        nonlocal months, reported
        months += 1
        if time.monotonic() - reported >= REPORT_EVERY:
            reported = time.monotonic()
            say(f"Origins kept through {month:%Y-%m}, {reported - began:,.1f} s")

    rows = roll(today, progress=report)
    if rows:
        say(f"Origins of {months:,} months kept, {rows:,} rows, {time.monotonic() - began:,.1f} s")
    this_month = today.replace(day=1)
    if _first_to_keep(_kept(before=this_month).month, this_month) is not None:
        say("Somebody is posting: the other months' origins are kept after later postings.")


def recomputed(through: dt.date) -> Iterator[tuple[dt.date, Mixes]]:
    """Yield (month, the cells changed in it) from the first entry on, by replaying everything."""
    first = Entry.objects.aggregate(first=Min("booked_on"))["first"]
    ends: list[tuple[dt.date | None, Mixes]] = [(None, {})]
    month = first.replace(day=1) if first is not None else next_month(through)
    while month <= through:
        end = min(last_day_of(month), through)
        last, before = ends[-1]
        since, hindsight = last, before
        late = earlier = taken_back_late(last, end)
        while earlier:
            first_of = min(one.booked_on for one in earlier).replace(day=1)
            since, hindsight = next(one for one in reversed(ends) if one[0] is None or one[0] < first_of)
            earlier = taken_back_late(since, end)
        if since != last and last is not None:
            begin = since + dt.timedelta(days=1) if since else None
            hindsight = replay(entries_between(begin, last, known_on=end), hindsight)
        state, changed = _month_replayed(month, end, before, hindsight, late)
        if changed:
            yield month, {cell: state.get(cell, _NOTHING) for cell in changed}
        ends.append((end, state))
        month = next_month(month)


class _Kept(NamedTuple):
    """
    The latest month kept, and the newest row of it; None where nothing is kept.

    A posting that drops a month drops all after it, and rows kept anew have new ids: while this is the same,
    so is all that is kept.
    """

    month: dt.date | None = None
    newest: int | None = None


class _Rolling:
    """A roll under way: what is kept so far, and the mixes of all cells at the end of it."""

    def __init__(self, this_month: dt.date, kept: _Kept) -> None:
        self.this_month = this_month
        self.kept = kept
        # Where `kept` was dropped since it was read, no month will be written.
        self.state = _kept_state(kept, this_month) or {}
        self.cell_ids = {
            MixCell(str(pond), str(kind), of_class): pk
            for pk, pond, kind, of_class in _pond_cells().values_list("pk", "pond_id", "kind_id", "of_class")
        }

    def keep_next(self) -> int:
        """
        Keep the next month that has entries; return the rows written, 0 where none can be kept now.

        The month is read and replayed while others may post. Entries are only ever added, so where it is still
        the first to keep, and has as many, once the book is held alone, nothing was posted meanwhile.
        """
        month = _first_to_keep(self.kept.month, self.this_month)
        if month is None:
            return 0
        end = last_day_of(month)
        counted = booked_in(month, end).count()
        late = taken_back_late(_end_of(self.kept.month), end)
        hindsight = _without(late, self.kept, end) if late else self.state
        state, changed = _month_replayed(month, end, self.state, hindsight, late)
        if not changed <= self.cell_ids.keys():
            return 0
        rows = [
            (self.cell_ids[cell], month, json.dumps(_to_json(state.get(cell, _NOTHING)))) for cell in changed
        ]
        with transaction.atomic():
            if not try_lock_book_alone():
                return 0
            is_as_read = (
                _kept(before=self.this_month) == self.kept
                and _first_to_keep(self.kept.month, self.this_month) == month
                and booked_in(month, end).count() == counted
            )
            if not is_as_read:
                return 0
            ledger_sql.keep_mixes(rows)
            self.kept = _kept(before=self.this_month)
        self.state = state
        return len(rows)


def _month_replayed(
    month: dt.date, end: dt.date, before: Mixes, hindsight: Mixes, late: list[TakenBackLate]
) -> tuple[Mixes, set[MixCell]]:
    """
    Return the state after a month, and the pond cells in which it is not that of the month before.

    `hindsight` is the state `before` had the moves `late` never been made, which the month takes back.
    """
    seen = list(entries_between(month, end, known_on=end))
    changed = {cell for entry in seen for cell in (entry.source, entry.target) if not cell.outside}
    if late:
        both = before.keys() | hindsight.keys()
        changed |= {cell for cell in both if before.get(cell) != hindsight.get(cell)} | cells_of(late)
    return replay(seen, hindsight), changed


def _end_of(kept: dt.date | None) -> dt.date | None:
    return last_day_of(kept) if kept else None


def _after(kept: dt.date | None) -> dt.date | None:
    return next_month(kept) if kept else None


def _newest(before: dt.date):
    return StockMix.objects.filter(month__lt=before).order_by("-month", "-pk")


def _kept(*, before: dt.date) -> _Kept:
    return _Kept(*(_newest(before).values_list("month", "pk").first() or ()))


def _first_to_keep(kept: dt.date | None, this_month: dt.date) -> dt.date | None:
    """Return the first month after the one kept, and before this month, that has entries to replay."""
    first = _after(kept)
    if first is not None and first >= this_month:
        return None
    day = first_to_replay(first, this_month - dt.timedelta(days=1))
    return day.replace(day=1) if day else None


def _pond_cells():
    return Cell.objects.filter(pond__isnull=False)


def _start(month: dt.date) -> tuple[_Kept, Mixes]:
    """Return what is kept before `month`, and the mixes of all cells at its end."""
    for _ in range(LOOKS):
        kept = _kept(before=month)
        state = _kept_state(kept, month)
        if state is not None:
            return kept, state
    return _Kept(), {}


def _kept_state(kept: _Kept, before: dt.date) -> Mixes | None:
    """Return the mixes of all cells at the end of what is kept; None where that was dropped since."""
    if kept.month is None:
        return {}
    latest = StockMix.objects.filter(cell=OuterRef("pk"), month__lte=kept.month).order_by("-month")
    rows = _pond_cells().values_list(
        "pond_id",
        "kind_id",
        "of_class",
        Subquery(latest.values("state")[:1]),
        Subquery(_newest(before).values("pk")[:1]),
    )
    state = {}
    for pond, kind, of_class, mix, newest in rows:
        if newest != kept.newest:
            return None
        if mix is not None:
            state[MixCell(str(pond), str(kind), of_class)] = _from_json(mix)
    return state


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
