"""What is unusual about a log, and is asked once more before it is booked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ponds.svg_marks import day_text
from stock.forms.log import NO_HAUL
from stock.forms.log_marks import marks_unsaid

if TYPE_CHECKING:
    from stock.forms.log import LogEntry

UNUSUAL_SHARE = 0.30
FEW_HEADS = 2
USUAL_DEATHS = 5
LONG_AGO_DAYS = 62
"""A day further back than this is asked about: what happens at a pond is logged within the month or by the next."""


def unusual(entry: LogEntry) -> list[str]:
    """Say what is far from the book, heavy with deaths or long ago: each is asked to be looked at again."""
    return [*entry.scans.asked, *_of_the_day(entry), *_of_the_book(entry), *_of_the_haul(entry)]


def _of_the_day(entry: LogEntry) -> Iterator[str]:
    day, pond = entry.head.cleaned_data["day"], entry.choices.pond(entry.head.cleaned_data["pond"])
    if pond is not None and pond.opened_on and day < pond.opened_on:
        return  # refused for it
    is_as_logged = entry.original is not None and entry.original.happened_on == day
    if (entry.today - day).days > LONG_AGO_DAYS and not is_as_logged:
        yield f"{day_text(day)} is {(entry.today - day).days} days ago: are day, month and year right?"


def _of_the_book(entry: LogEntry) -> Iterator[str]:
    pond = entry.head.cleaned_data["pond"]
    holds, by_book = "holds", "by the book"
    if entry.book_day != entry.today:
        holds, by_book = "held", f"by the book on {day_text(entry.book_day)}"
    leaving: dict[tuple[str, str], int] = {}
    caught: dict[tuple[str, str], int] = {}
    for row in entry.used_rows:
        cell = (row.typed["kind"], row.typed["of_class"])
        leaving[cell] = leaving.get(cell, 0) + row.leaving
        caught[cell] = caught.get(cell, 0) + row.heads
    stands = sum(entry.book.values())
    for cell, heads in caught.items():
        held = entry.book.get(cell, 0)
        # One more than the book has is a find; any at all where nothing stood is a slip of the day or the pond.
        is_many = heads > held * (1 + UNUSUAL_SHARE) and heads - held > FEW_HEADS
        if is_many or (heads and not stands):
            were = f"{entry.cell_name(cell, heads)} {'was' if heads == 1 else 'were'}"
            yield f"{heads} {were} handled; pond {pond} {holds} {held} {by_book}."
        elif leaving[cell] > held * UNUSUAL_SHARE and leaving[cell] > FEW_HEADS:
            yield f"{leaving[cell]} of the {held} {entry.cell_name(cell)} in pond {pond} are said to have gone."
    deaths = sum(row.typed.get("dead") or 0 for row in entry.used_rows)
    if deaths > USUAL_DEATHS:
        yield f"{deaths} dead on one day."
    came = sum(row.cleaned_data["heads"] for row in entry.used_arrivals)
    if came > stands * UNUSUAL_SHARE and came > FEW_HEADS:
        yield f"{came} came in; pond {pond} {holds} {stands} {by_book}."


def _of_the_haul(entry: LogEntry) -> Iterator[str]:
    if entry.head.cleaned_data["how"] == NO_HAUL:
        return
    yield from marks_unsaid(entry)
    if not any(row.heads for row in entry.used_rows):
        yield "The haul caught nothing."
