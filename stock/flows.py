"""The heads that really came to and went from each pond, by the animals' day: rows to arrays for the standing.

Months that are over are kept as one compact array each, so that the cost of reading does not grow with the
number of moves. What is kept only saves work: a month that is missing is read from its entries.

Left out are entries that change what the book says and not what swims: from or to "unseen" (beyond the book, a
book reset to a count) and openings, which are counts. A move that was taken back, and its reversal, leave no
trace. Sexing is no arrival either: a standing holds every adult by sex, those not looked at among them, so
turning an unsexed head into a female moves nobody. It is told apart (`sexed`) because it says what became of
heads that came unsexed.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Collection, Iterable, Iterator

import numpy as np
from django.db import connection, transaction
from django.db.models import Min
from numpy.typing import NDArray

from stock.ledger_store import try_lock_book_alone
from stock.models import KeptFlows, Move
from stock.spare_moments import SpareMoments
from stock.timeline import next_month

FEMALE, MALE, UNSEXED = 0, 1, 2
CODE_OF = {"FEMALE": FEMALE, "MALE": MALE, "UNSEXED": UNSEXED}
FLOWS = np.dtype(
    [
        ("pond", "<i4"), ("kind", "<i4"), ("of_class", "u1"), ("day", "<i4"),
        ("came", "<i4"), ("went", "<i4"), ("died", "<i4"), ("sexed", "<i4"),
    ]
)  # fmt: skip
"""A pond, kind, class (`CODE_OF`) and day (ordinal): heads that came, went and were found dead, and heads of the
pond that were sexed into the class. Written as it stands here, little-endian, without padding."""

REAL = ("BOUGHT", "RAISED", "WILD", "MOVED", "SOLD", "CULLED", "ESCAPED", "DIED", "SEXED", "MATURED")
# A month is kept once it is over for so many days: a farm that changes its time zone may step back by one.
SETTLES = dt.timedelta(days=2)
# Seconds of keeping after a posting, and so many times as long of rest before the next.
MOMENT, REST = 0.2, 4

Rows = NDArray[np.void]


def since(first: dt.date) -> Rows:
    """Return all flows from the day `first` on, in no order: two queries."""
    start = first.replace(day=1)
    kept = dict(KeptFlows.objects.filter(month__gte=start).values_list("month", "rows"))
    runs: list[tuple[dt.date, dt.date | None]] = []
    if kept:
        month, last = start, max(kept)
        while month <= last:
            if month not in kept:
                runs.append((month, next_month(month)))
            month = next_month(month)
        start = next_month(last)
    runs.append((start, None))
    parts = [np.frombuffer(bytes(rows), dtype=FLOWS) for rows in kept.values()]
    rows = np.concatenate([*parts, from_entries(runs)])
    return rows[rows["day"] >= first.toordinal()]


def from_entries(runs: Iterable[tuple[dt.date, dt.date | None]]) -> Rows:
    """Return the flows of runs of days (first, day after the last or None) from the entries: one query."""
    within, days = [], []
    for first, end in runs:
        within.append(
            "e.happened_on >= %s" if end is None else "(e.happened_on >= %s AND e.happened_on < %s)"
        )
        days += [first] if end is None else [first, end]
    reasons = ", ".join(f"'{reason}'" for reason in REAL)
    real = f"e.reason IN ({reasons}) AND ({' OR '.join(within)})"
    # Only our own words and numbers are put into the statement.
    statement = f"""
        WITH real AS (
            SELECT e.source_id, e.target_id, e.heads, e.reason, e.happened_on FROM stock_entry e
            JOIN stock_move m ON m.id = e.move_id
            WHERE {real} AND m.reverses_id IS NULL
            AND NOT EXISTS (SELECT 1 FROM stock_move r WHERE r.reverses_id = m.id)
        )
        SELECT c.pond_id, c.kind_id, c.of_class, e.happened_on,
            SUM(CASE WHEN e.reason <> 'SEXED' THEN e.heads ELSE 0 END), 0, 0,
            SUM(CASE WHEN e.reason = 'SEXED' THEN e.heads ELSE 0 END)
        FROM real e JOIN stock_cell c ON c.id = e.target_id
        WHERE c.pond_id IS NOT NULL AND c.of_class <> 'JUVENILE'
        GROUP BY c.pond_id, c.kind_id, c.of_class, e.happened_on
        UNION ALL
        SELECT c.pond_id, c.kind_id, c.of_class, e.happened_on, 0,
            SUM(CASE WHEN e.reason <> 'DIED' THEN e.heads ELSE 0 END),
            SUM(CASE WHEN e.reason = 'DIED' THEN e.heads ELSE 0 END), 0
        FROM real e JOIN stock_cell c ON c.id = e.source_id
        WHERE c.pond_id IS NOT NULL AND c.of_class <> 'JUVENILE' AND e.reason <> 'SEXED'
        GROUP BY c.pond_id, c.kind_id, c.of_class, e.happened_on"""  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(statement, days)
        found = cursor.fetchall()
    return _merged(
        np.array(
            [
                (pond, kind, CODE_OF[of_class], _ordinal(on), int(came), int(went), int(died), int(sexed))
                for pond, kind, of_class, on, came, went, died, sexed in found
            ],
            dtype=FLOWS,
        )
    )


def _ordinal(on: dt.date | str) -> int:
    return (dt.date.fromisoformat(on) if isinstance(on, str) else on).toordinal()


def forget(days: Collection[dt.date], today: dt.date) -> None:
    """Drop what is kept of the months of these days: a posting has made it untrue. No query for this month's."""
    months = {day.replace(day=1) for day in days}
    if over := sorted(month for month in months if month < today.replace(day=1)):
        places = ", ".join(["%s"] * len(over))
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM stock_keptflows WHERE month IN ({places})", over)  # noqa: S608


def keep_soon(today: dt.date) -> None:
    """Keep for a moment once the posting's transaction is committed, unless it was done just before."""
    transaction.on_commit(lambda: _rest.use(lambda: keep(today, seconds=MOMENT)), robust=True)


_rest = SpareMoments(REST)


def keep(today: dt.date, *, seconds: float | None = None) -> int:
    """
    Keep the months that are over and not kept yet, the newest first; return how many that made.

    Each month is written in a transaction of its own that holds the book alone; it ends where somebody is
    posting at that moment. Months do not depend on each other.

    Parameters
    ----------
    today : date
        The farm's today.
    seconds : float, optional
        Begin no month after so long. One month is always kept.
    """
    began = time.monotonic()
    made = 0
    for month in list(_missing(today)):
        if made and seconds is not None and time.monotonic() - began > seconds:
            break
        with transaction.atomic():
            if not try_lock_book_alone():
                break
            if KeptFlows.objects.filter(month=month).exists():
                continue
            KeptFlows.objects.create(month=month, rows=from_entries([(month, next_month(month))]).tobytes())
        made += 1
    return made


def _merged(rows: Rows) -> Rows:
    """Return one row a pond, kind, class and day, in that order."""
    if not rows.size:
        return rows
    names = ["pond", "kind", "of_class", "day"]
    rows = np.sort(rows, order=names)
    starts = np.flatnonzero(np.concatenate([[True], rows[names][1:] != rows[names][:-1]]))
    merged = rows[starts].copy()
    for name in ("came", "went", "died", "sexed"):
        merged[name] = np.add.reduceat(rows[name], starts)
    return merged


def _missing(today: dt.date) -> Iterator[dt.date]:
    first = Move.objects.aggregate(first=Min("happened_on"))["first"]
    if first is None:
        return
    over = (today - SETTLES).replace(day=1)
    kept = set(KeptFlows.objects.values_list("month", flat=True))
    month = (over - dt.timedelta(days=1)).replace(day=1)
    while month >= first.replace(day=1):
        if month not in kept:
            yield month
        month = (month - dt.timedelta(days=1)).replace(day=1)


def untrue() -> Iterator[dt.date]:
    """Yield the months of which something else is kept than their entries give."""
    for month, rows in KeptFlows.objects.order_by("month").values_list("month", "rows").iterator():
        if bytes(rows) != from_entries([(month, next_month(month))]).tobytes():
            yield month
