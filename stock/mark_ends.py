"""What became of marks in the end: lost, taken off, or typed by mistake and so never on the animal."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from django.db.models import Q, QuerySet

from ponds.models import Kind
from stock.drafts import PutOn
from stock.ledger_marks_checks import same_code
from stock.models import Mark, MarkEvent

TAKEN_BACK = "not here: its marking was taken back"
"""Of a turtle in no place of the book, all whose marks were typed by mistake."""
MISTAKEN = str(MarkEvent.What.MISTAKEN.value)
ENDED = (MarkEvent.What.LOST, MarkEvent.What.REMOVED, MarkEvent.What.MISTAKEN)

AT_ONCE = 500


def that_hold(events: QuerySet[MarkEvent]) -> QuerySet[MarkEvent]:
    """Return the events without those whose move was taken back, in the order of the animal's days."""
    return events.filter(Q(move=None) | Q(move__reversed_by=None)).order_by("happened_on", "pk")


def end_of(events: Iterable[MarkEvent]) -> MarkEvent | None:
    """Return the event that ended a mark, of its events in order; None where it stands."""
    ended = None
    for event in events:
        if event.what in ENDED:
            ended = event
        elif event.what == MarkEvent.What.RENEWED:
            ended = None
    return ended


def ends_of(marks: Collection[int]) -> dict[int, str]:
    """Return how each of these marks ended, by its id; those that stand are left out: one query."""
    wanted = set(marks)
    events = MarkEvent.objects.filter(what__in=(*ENDED, MarkEvent.What.RENEWED))
    if len(wanted) <= AT_ONCE:  # beyond that the whole table is read, as a sheet that goes out does
        events = events.filter(mark__in=wanted)
    by_mark: dict[int, list[MarkEvent]] = {}
    for event in that_hold(events):
        if event.mark_id not in wanted:
            continue
        by_mark.setdefault(event.mark_id, []).append(event)
    found = {mark: end_of(events) for mark, events in by_mark.items()}
    return {mark: str(event.what) for mark, event in found.items() if event is not None}


def really_on(marks: Iterable[Mark]) -> list[Mark]:
    """Return the marks that were on their animals: one typed by mistake never was."""
    rows = list(marks)
    ends = ends_of([row.pk for row in rows]) if rows else {}
    return [row for row in rows if ends.get(row.pk) != MarkEvent.What.MISTAKEN]


def only_by_mistake(put_on: PutOn, kind: Kind) -> list[Mark]:
    """
    Return the marks of the same code where all of them were typed by mistake; empty where one was really on.

    A code is never used again, but a slip of typing was no use of it: the turtle that carries it may have it.
    """
    if put_on.form not in ("NOTCH", "TAG"):
        return []
    rows = list(same_code(put_on, kind.pk).select_related("turtle"))
    return [] if really_on(rows) else rows


def met_twice(marks: Iterable[Mark]) -> set[int]:
    """
    Return which of these marks are on another turtle too, by id: a few queries, however many marks.

    Conflicts are numbered from the second mark of a code on, so that only codes with such a number are looked up.
    """
    mine = [row for row in marks if row.tag or row.mask]
    if not mine:
        return set()
    again = Mark.objects.filter(conflict__gt=0)
    if len(mine) <= AT_ONCE:
        again = again.filter(
            Q(tag__in={row.tag for row in mine if row.tag})
            | Q(mask__in={row.mask for row in mine if row.mask})
        )
    codes = list(again.values_list("tag", "mask"))
    tags, masks = {tag for tag, _ in codes if tag}, {mask for _, mask in codes if mask}
    if not (tags or masks):
        return set()
    turtles: dict[tuple, set[int]] = {}
    for row in really_on(Mark.objects.filter(Q(tag__in=tags) | Q(mask__in=masks))):
        turtles.setdefault(_code(row), set()).add(row.turtle_id)
    return {row.pk for row in mine if len(on := turtles.get(_code(row), set())) > 1 and row.turtle_id in on}


def _code(row: Mark) -> tuple:
    return (row.family, row.tag) if row.tag else (row.kind_id, row.mask)
