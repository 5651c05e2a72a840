"""What the register asks about nests: whether the kind digs on that day, and whether a female stands there."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import accumulate

from django.db.models import Min

from ponds.models import Kind, NestDay, Pond
from ponds.seasons import season_of
from ponds.svg_marks import day_text
from stock.advisor.laying_curve import STRAY_DAYS, LayingCurve
from stock.advisor.nesting_dates import CURVES
from stock.book import by_day
from stock.models import Entry

MAY_LAY = ("FEMALE", "UNSEXED")


def asked_of_nests(rows: Sequence[NestDay]) -> list[tuple[str, ...]]:
    """
    Return what the register asks about nests, in their order: five queries, at the cost of the months they lie in.

    Rows of no nests are not asked about. Where the kind is not known, a question is asked only if it holds for every
    kind that the pond may have; a day before the register's first is not held against the book.
    """
    dug = [row for row in rows if row.nests]
    if not dug:
        return [()] * len(rows)
    kinds = Kind.objects.in_bulk()
    of_pond: dict[int, list[Kind]] = defaultdict(list)
    for pond, kind in Pond.kinds_allowed.through.objects.values_list("pond", "kind").order_by("kind"):
        of_pond[pond].append(kinds[kind])
    books = _Books(dug)
    return [(*_out_of_dates(row, of_pond), *books.no_female(row)) if row.nests else () for row in rows]


def _out_of_dates(row: NestDay, of_pond: Mapping[int, list[Kind]]) -> list[str]:
    kinds = [row.kind] if row.kind else of_pond.get(row.pond_id, [])
    digs: dict[str, None] = {}
    for kind in kinds:
        curve = CURVES.get(kind.code)
        if curve is None or is_in_dates(curve, row.dug_on):
            return []
        digs[f"{kind.common_name} digs {_span(curve, row.dug_on)}"] = None
    if not digs:
        return []
    return [
        f"{day_text(row.dug_on)} is out of the nesting dates: {'; '.join(list(digs)[:3])}, with stragglers up to four "
        "weeks outside. Are the day and the kind right?"
    ]


def is_in_dates(curve: LayingCurve, day: dt.date) -> bool:
    """Say whether a kind may dig on a day: within its dates, or up to four weeks outside."""
    opens, closes = _dates(curve, day)
    stray = dt.timedelta(days=STRAY_DAYS)
    # The weeks about the turn of the nesting year belong to the season on either side.
    turns = (dt.timedelta(days=days) for days in (-365, 0, 365))
    return any(opens - stray <= day + turn <= closes + stray for turn in turns)


def _dates(curve: LayingCurve, day: dt.date) -> tuple[dt.date, dt.date]:
    starts = season_of(day).starts_on
    first, last = (
        dt.date(starts.year + ((month, on) < (starts.month, starts.day)), month, on)
        for month, on in (curve.opens, curve.closes)
    )
    return first, last


def _span(curve: LayingCurve, day: dt.date) -> str:
    opens, closes = _dates(curve, day)
    return f"from {opens.day} {opens:%b} to {closes.day} {closes:%b}"


class _Books:
    """What may lay, by pond, kind and day, as the book has it."""

    def __init__(self, rows: Sequence[NestDay]) -> None:
        self.begins = Entry.objects.aggregate(first=Min("booked_on"))["first"]
        days = [row.dug_on for row in rows]
        found = by_day(min(days), max(days), pond_ids={row.pond_id for row in rows}, classes=MAY_LAY)
        openings: dict[tuple[int, int | None], int] = defaultdict(int)
        changes: dict[tuple[int, int | None], dict[dt.date, int]] = defaultdict(lambda: defaultdict(int))
        for (pond, kind), (opening, of_days) in found.items():
            for where in ((pond, kind), (pond, None)):
                openings[where] += opening
                for on, heads in of_days.items():
                    changes[where][on] += heads
        self.held = {where: _running(opening, changes[where]) for where, opening in openings.items()}

    def no_female(self, row: NestDay) -> list[str]:
        if self.begins is None or row.dug_on < self.begins:
            return []
        days, heads = self.held.get((row.pond_id, row.kind_id), ([], [0]))
        if heads[bisect_right(days, row.dug_on)] > 0:
            return []
        whose = f" of {row.kind.common_name}" if row.kind else ""
        return [
            f"No female{whose} stands in pond {row.pond.code} by the book on {day_text(row.dug_on)}. Are the pond and "
            "the day right?"
        ]


def _running(opening: int, by_day: Mapping[dt.date, int]) -> tuple[list[dt.date], list[int]]:
    """Return the days of changes, and the heads before the first and after each."""
    days = sorted(by_day)
    return days, list(accumulate((by_day[day] for day in days), initial=opening))
