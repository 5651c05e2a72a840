"""What was logged for a month's days after it was closed: moves, head counts, nests and egg lots. Reads only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.utils import timezone

from ponds.models import Farm
from stock.links import link
from stock.mended_rows import ENTERED, entered_since
from stock.months import Month
from stock.moves_read import move_sentence
from stock.review_rows import CORRECTIONS, later_corrections
from stock.timeline import last_day_of


@dataclass(frozen=True)
class LoggedLater:
    """One thing that was logged later: its day, a sentence, when it was entered, by whom, and where it stands."""

    on: dt.date
    what: str
    entered_on: dt.date
    by_name: str
    url: str


def closed_at(month: dt.date, found: Iterable[Month]) -> dt.datetime | None:
    """Return when a month was closed, None of an open one; one before the first close was closed with that."""
    closes = [one.close for one in found if one.close is not None and one.first_day >= month]
    return min(closes, key=lambda close: close.month).closed_at if closes else None


def logged_later(
    month: dt.date, pond_ids: Collection[int], since: dt.datetime | None, farm: Farm
) -> list[LoggedLater]:
    """
    Return what was logged of a month's days after it was closed, newest first, `CORRECTIONS` at most.

    Moves by their day of booking, everything else by the instant it was entered, `since` being that of the close;
    nothing of a month that is open. Thirteen queries, whatever the ponds and the rows.
    """
    if since is None:
        return []
    last = last_day_of(month)

    def entered_on(at: dt.datetime) -> dt.date:
        return timezone.localtime(at, farm.tzinfo).date()

    found = [
        (
            move.recorded_at,
            LoggedLater(
                move.happened_on,
                ("Taken back: " if move.reverses_id else "") + move_sentence(move),
                entered_on(move.recorded_at),
                move.by_name,
                link("stock:move-detail", move.key),
            ),
        )
        for move in later_corrections(month, last, list(pond_ids))
    ]
    found += [
        (
            row.recorded_at,
            LoggedLater(
                row.day,
                row.what if row.state == ENTERED else f"{row.state.capitalize()}: {row.what}",
                entered_on(row.recorded_at),
                row.by_name,
                row.url,
            ),
        )
        for row in entered_since(pond_ids, month, last, since)
    ]
    found.sort(key=lambda row: row[0], reverse=True)
    return [row for _, row in found[:CORRECTIONS]]
