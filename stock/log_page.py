"""What the Log page starts from: the rows of a pond by the book, open tasks, a batch code, a move to correct."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.http import QueryDict

from ponds.farm import the_farm
from ponds.models import Pond
from stock.book import balances
from stock.drafts import CLASSES
from stock.forms.fields import DayField, FarmChoices, farm_choices
from stock.forms.log import LogEntry
from stock.models import Batch, Entry, Move, TaskMove
from stock.tasks import open_tasks

AHEAD = 200


def log_entry(
    *,
    pond_code: str,
    sent: QueryDict | None = None,
    start: dict[str, Any] | None = None,
    original: Move | None = None,
    ticked: str = "",
    choices: FarmChoices | None = None,
) -> LogEntry:
    """Return the Log page of a pond, empty or as it was sent; `original` is the move it is to replace."""
    farm = the_farm()
    today = farm.today()
    choices = choices or farm_choices()
    pond = choices.pond(pond_code)
    day = typed_day(sent, pond, today) if sent is not None and pond else today
    book = book_of(pond, choices, day) if pond else {}
    if original is not None and original.booked_on <= day:
        book = without(original, book, pond_code)
    posted = posted_under(sent.get("key", "")) if sent is not None else None
    own = [move for move in (original, posted) if move is not None]
    also = list(TaskMove.objects.filter(move__in=own).values_list("task", flat=True)) if own else []
    tasks = open_tasks(also=also)
    if sent is None and start is None and pond is not None:
        start = {
            "head": {"pond": pond.code, "tasks": [ticked] if ticked else []},
            "rows": prepared_rows(pond, book),
            "batch": {"code": free_batch_code(today, pond.code)},
        }
    known = known_batch(sent.get("batch-code", ""), original, posted) if sent is not None else {}
    return LogEntry(
        farm=farm, today=today, choices=choices, book=book, book_day=day, tasks=tasks, sent=sent, start=start,
        known_batches=known, original=original,
    )  # fmt: skip


def moving_ponds(entry: LogEntry) -> list[Pond]:
    """Return the ponds that living heads leave or come to by a valid Log page; none for deaths and what went back."""
    pond = entry.choices.pond(entry.head.cleaned_data["pond"])
    codes = [row.typed["target"] for row in entry.used_rows if row.typed.get("moved")]
    leaves = any(row.typed.get(name) for row in entry.used_rows for name in ("moved", "sold"))
    targets = [entry.choices.pond(code) for code in dict.fromkeys(codes)]
    own = [pond] if leaves or entry.used_arrivals else []
    return [one for one in (*own, *targets) if one is not None]


def typed_day(sent: QueryDict, pond: Pond, today: dt.date) -> dt.date:
    """Return the day a sent Log page is about, to be held against that day's book; today where it can be none."""
    try:
        day = DayField().clean(sent.get("day", ""))
    except ValidationError:
        return today
    return day if day is not None and pond.opened_on <= day <= today else today


def posted_under(key: str) -> Move | None:
    """Return the move that stands under a key already, if any."""
    try:
        return Move.objects.filter(key=uuid.UUID(key)).first()
    except (ValueError, AttributeError):
        return None


def book_of(pond: Pond, choices: FarmChoices, day: dt.date) -> dict[tuple[str, str], int]:
    """Return (kind's code, class) -> heads by the book in one pond, in the order of the kinds."""
    held = {(row.kind_id, row.of_class): row.heads for row in balances(day, pond_ids=[pond.pk])}
    return {
        (kind.code, of_class): held[kind.pk, of_class]
        for kind in choices.kinds
        for of_class in CLASSES
        if held.get((kind.pk, of_class))
    }


def without(move: Move, book: dict[tuple[str, str], int], pond_code: str) -> dict[tuple[str, str], int]:
    """Return a pond's book as it would be had the move, loaded by `with_entries`, not been made."""
    held = dict(book)
    for entry in move.entries.all():
        for cell, sign in ((entry.source, 1), (entry.target, -1)):
            if cell.pond is not None and cell.pond.code == pond_code:
                where = (cell.kind.code, cell.of_class)
                held[where] = held.get(where, 0) + sign * entry.heads
    return {where: max(0, heads) for where, heads in held.items()}


def prepared_rows(pond: Pond, book: dict[tuple[str, str], int]) -> list[dict[str, Any]]:
    """Return a row for each kind and class that stands there, or for what may live there while it is empty."""
    cells = list(book) or [
        (code, of_class)
        for code in pond.kinds_allowed.order_by("common_name").values_list("code", flat=True)
        for of_class in ("FEMALE", "MALE")
    ]
    return [{"kind": kind, "of_class": of_class, "fixed": True} for kind, of_class in cells]


def free_batch_code(day: dt.date, pond: str) -> str:
    """Return a batch code that is not in use: the day and the pond, numbered if need be."""
    stem = f"{day:%Y-%m-%d}-{pond}"
    taken = set(Batch.objects.filter(code__startswith=stem).values_list("code", flat=True))
    return next(
        (code for code in [stem, *(f"{stem}-{number}" for number in range(2, AHEAD))] if code not in taken),
        "",
    )


def known_batch(code: str, original: Move | None, posted: Move | None) -> dict[str, dict[str, str]]:
    """Return the batch of a code if it stands already; one that this very form made does not count."""
    code = "" if "\0" in code else code.strip()[:24]
    batch = Batch.objects.filter(code=code).first() if code else None
    if batch is None:
        return {}
    if posted is not None and original is None and Entry.objects.filter(move=posted, batch=batch).exists():
        return {}
    own = original is not None and Entry.objects.filter(move=original, batch=batch).exists()
    if original is not None and posted is not None and not own:
        return {}
    return {
        batch.code: {
            "own": "yes" if own else "",
            "words": f"{batch.get_source_display()}, {batch.arrived_on}",
            "source": batch.source,
            "party": batch.party,
            "generation": batch.generation,
            "note": batch.note,
        }
    }
