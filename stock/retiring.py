"""What the register says against retiring a pond: heads still standing there, and moves booked later."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q

from ponds.models import Pond
from ponds.svg_marks import day_text
from stock.book import balances
from stock.ledger_store import lock_book
from stock.models import Entry
from stock.tasks import open_tasks


def heads_standing(pond: Pond, on: dt.date) -> list[str]:
    """
    Return a sentence for each thing that keeps the pond in use; registered with `ponds.retiring.checks`.

    Runs inside the transaction that retires the pond, and keeps postings out until that is done.
    """
    lock_book(alone=True)
    reasons = []
    standing = sum(balance.heads for balance in balances(on, pond_ids=[pond.pk]))
    if standing:
        reasons.append(
            f"By the book {standing} heads stand in pond {pond.code} on {day_text(on)}; "
            "log where they went first, or reset the book to a drain-down."
        )
    later = (
        Entry.objects.filter(Q(source__pond=pond) | Q(target__pond=pond), happened_on__gt=on)
        .order_by("-happened_on")
        .first()
    )
    if later is not None:
        reasons.append(
            f"Moves of pond {pond.code} are logged up to {day_text(later.happened_on)}; retire it on that day or later."
        )
    tasks = len(open_tasks(pond_ids=[pond.pk]))
    if tasks:
        reasons.append(f"{tasks} open tasks name pond {pond.code}: do them or drop them first.")
    return reasons
