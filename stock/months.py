"""The read side of months: which are closed, by whom and when, and which is the next to close."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import Min

from stock.models import Entry, MonthClose
from stock.timeline import next_month


@dataclass(frozen=True)
class Month:
    """A month of the book, its close (None while it is open), and whether it is over and the next to close."""

    first_day: dt.date
    close: MonthClose | None = None
    is_running: bool = False
    is_next: bool = False


def months(today: dt.date) -> list[Month]:
    """Return every month from the first one booked in to the running one, newest first: two queries."""
    closes = {close.month: close for close in MonthClose.objects.order_by("month")}
    booked = Entry.objects.aggregate(first=Min("booked_on"))["first"]
    starts = [day.replace(day=1) for day in (*closes, booked) if day is not None]
    running = today.replace(day=1)
    month = min(starts, default=running)
    to_close = next_month(max(closes)) if closes else month
    found = []
    while month <= running:
        is_next = month == to_close and month < running
        found.append(Month(month, closes.get(month), month == running, is_next))
        month = next_month(month)
    return found[::-1]


def next_to_close(today: dt.date) -> dt.date | None:
    """Return the first day of the month to be closed next; None where it is not over yet."""
    return next((month.first_day for month in months(today) if month.is_next), None)
