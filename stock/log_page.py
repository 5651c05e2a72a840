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
from stock.forms.log import NO_HAUL, LogEntry
from stock.models import Batch, Entry, Move, PlacingTask, TaskMove
from stock.move_words import class_words
from stock.tasks import OpenTask, open_tasks
from stock.watch_stops import booked_words, stops_of

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
        task = next((task for task in tasks if str(task.id) == ticked), None)
        start = {
            "head": {"pond": pond.code, "tasks": [ticked] if ticked else []},
            "rows": prepared_rows(pond, book),
            "batch": {"code": free_batch_code(today, pond.code)},
        }
        if task is not None:
            fill_from(task, pond, start)
    known = known_batch(sent.get("batch-code", ""), original, posted) if sent is not None else {}
    return LogEntry(
        farm=farm, today=today, choices=choices, book=book, book_day=day, tasks=tasks, sent=sent, start=start,
        known_batches=known, original=original,
    )  # fmt: skip


def fill_from(task: OpenTask, pond: Pond, start: dict[str, Any]) -> None:
    """Fill what a task to add heads asks for: what came in, on its pond's page; who moved there, on another's."""
    if task.verb != "ADD":
        return
    if task.pond == pond.code:
        start["head"]["how"] = NO_HAUL
        start["arrivals"] = [{"kind": task.kind, "of_class": task.of_class, "heads": task.heads_left}]
        return
    for row in start["rows"]:
        if (row["kind"], row["of_class"]) == (task.kind, task.of_class):
            row |= {"moved": task.heads_left, "target": task.pond}


def source_of_task(task: OpenTask) -> str:
    """Return the pond that a task's saved plan takes the heads from, "" for none: one query."""
    found = PlacingTask.objects.filter(task_id=task.id).values_list("stop__placing__source__code", flat=True)
    return found.first() or ""


def untouched(entry: LogEntry, key: uuid.UUID) -> list[str]:
    """Say which ticked tasks a move did nothing of: one query where any is ticked."""
    ticked = {int(task) for task in entry.head.cleaned_data["tasks"]}
    if not ticked:
        return []
    left = ticked - set(TaskMove.objects.filter(move__key=key).values_list("task_id", flat=True))
    return [_untouched_words(task) for task in entry.tasks if task.id in left]


def _untouched_words(task: OpenTask) -> str:
    heads = f"{task.kind_name} {class_words(task.of_class, 2)}" if task.of_class else ""
    why = {
        "ADD": f"brought no {heads} into pond {task.pond}",
        "TAKE_OUT": f"took no {heads} out of pond {task.pond}",
    }.get(task.verb, f"was no haul in pond {task.pond}")
    return f"The task “{task.sentence}”, pond {task.pond}, was not touched by this move, which {why}: it stays open."


def moving_ponds(entry: LogEntry) -> list[Pond]:
    """Return the ponds that living heads leave or come to by a valid Log page; none for deaths and what went back."""
    pond = entry.choices.pond(entry.head.cleaned_data["pond"])
    codes = [row.typed["target"] for row in entry.used_rows if row.typed.get("moved")]
    leaves = any(row.typed.get(name) for row in entry.used_rows for name in ("moved", "sold"))
    targets = [entry.choices.pond(code) for code in dict.fromkeys(codes)]
    own = [pond] if leaves or entry.used_arrivals else []
    return [one for one in (*own, *targets) if one is not None]


def cautions_of(entry: LogEntry) -> list[str]:
    """Say where the watch asks to stop the moves of a valid Log page; asked before it is booked, while it is kept."""
    moving = moving_ponds(entry)
    return booked_words(moving, stops_of(moving, entry.today), entry.today)


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
