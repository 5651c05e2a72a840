"""The door for what is written about a turtle beside the ledger: measures and photographs.

A row is never changed. A mistake is mended by a row that replaces it, or taken back by one that does. The same key with
the same content gives the first row again; with other content it is refused.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.db import IntegrityError, transaction

from ponds.mending import why_not_mended
from ponds.svg_marks import day_text
from stock import photos
from stock.marks.measures import Typed
from stock.models import Measure, NestOfTurtle, Photograph, Turtle

Row = TypeVar("Row", Measure, Photograph, NestOfTurtle)
LONGEST_NOTE = 300
LONGEST_OBSERVER = 150
SAME_MEASURE = ("turtle_id", "what", "measured_on", "typed", "unit", "observer", "note")
SENT_BEFORE = "This page was sent before with something else in it. Open it anew, and type it again."
BOOK = "a turtle's measures and photographs"
KEYS_APART = uuid.UUID("1f3c8f2e-5d0b-4a6e-9a35-2f7c5f0f6b52")


class TurtleRowRefused(Exception):
    """A row about a turtle was not taken; the message is for the person, `field` says which entry it is about."""

    def __init__(self, sentence: str, field: str | None = None, *, place: int = 0) -> None:
        super().__init__(sentence)
        self.sentence, self.field, self.place = sentence, field, place


def photo_folder() -> Path:
    """Return where the pictures are kept."""
    return Path(settings.DATA_DIR) / "media" / "photos"


@dataclass(frozen=True)
class Handling:
    """The measures of one turtle in hand on one day; `key` is where it was typed."""

    turtle: Turtle
    typed: tuple[Typed, ...]
    measured_on: dt.date
    key: uuid.UUID
    observer: str = ""
    note: str = ""


def record_measures(
    turtle: Turtle,
    typed: Sequence[Typed],
    *,
    measured_on: dt.date,
    key: uuid.UUID,
    by: Any,
    today: dt.date,
    observer: str = "",
    note: str = "",
) -> list[Measure]:
    """
    Write the measures of one handling, all or none.

    Raises
    ------
    TurtleRowRefused
        The day is to come, nothing was measured, one is given twice, or the key was used for something else.
    """
    handling = Handling(turtle, tuple(typed), measured_on, key, observer, note)
    return record_handlings([handling], by=by, today=today)[0][0]


def record_handlings(
    handlings: Sequence[Handling], *, by: Any, today: dt.date
) -> list[tuple[list[Measure], bool]]:
    """
    Write the measures of many handlings in a few queries, all or none.

    Returns
    -------
    list of (list of Measure, bool)
        The rows of each handling, and whether they are new.

    Raises
    ------
    TurtleRowRefused
        As `record_measures`; `place` is the handling's, from 0.
    """
    rows: list[list[Measure]] = []
    for place, handling in enumerate(handlings):
        try:
            rows.append(_rows_of(handling, by, today))
        except TurtleRowRefused as refused:
            refused.place = place
            raise
    with transaction.atomic():
        _lock({handling.turtle.pk for handling in handlings})
        keys = [row.key for written in rows for row in written]
        standing = {row.key: row for row in Measure.objects.filter(key__in=keys)}
        answer = []
        for place, written in enumerate(rows):
            first = [standing[row.key] for row in written if row.key in standing]
            if first and (
                len(first) != len(written)
                or any(not _is_same(standing[row.key], row, SAME_MEASURE) for row in written)
            ):
                raise TurtleRowRefused(SENT_BEFORE, place=place)
            answer.append((first or written, not first))
        Measure.objects.bulk_create([row for written, is_new in answer if is_new for row in written])
    return answer


def measure_key(key: uuid.UUID, code: str) -> uuid.UUID:
    """Return the key of one measure of the handling that was sent under `key`."""
    return uuid.uuid5(KEYS_APART, f"{key}|{code}")


def _rows_of(handling: Handling, by: Any, today: dt.date) -> list[Measure]:
    _check_day(handling.measured_on, today, "measured_on")
    if not handling.typed:
        raise TurtleRowRefused("No measure is given. Fill in at least one.")
    codes = [one.code for one in handling.typed]
    if len(set(codes)) != len(codes):
        raise TurtleRowRefused("One measure is given twice; give each once.")
    return [
        Measure(
            turtle=handling.turtle,
            key=measure_key(handling.key, one.code),
            what=one.code,
            measured_on=handling.measured_on,
            typed=one.typed,
            unit=one.unit,
            stored=one.stored,
            observer=handling.observer[:LONGEST_OBSERVER],
            note=handling.note[:LONGEST_NOTE],
            by=by,
        )
        for one in handling.typed
    ]


def correct_measure(
    row: Measure,
    one: Typed,
    *,
    measured_on: dt.date,
    key: uuid.UUID,
    by: Any,
    today: dt.date,
    observer: str = "",
    note: str = "",
) -> Measure:
    """
    Write a measure in the place of a wrong one.

    Raises
    ------
    TurtleRowRefused
        Somebody else's row, mended already, the day is to come, or another definition.
    """
    _check_day(measured_on, today, "measured_on")
    if one.code != row.what:
        raise TurtleRowRefused(
            "A correction keeps what was measured. Take this one back, and enter the other."
        )
    return _replace(
        row,
        Measure(
            turtle_id=row.turtle_id,
            key=key,
            what=row.what,
            measured_on=measured_on,
            typed=one.typed,
            unit=one.unit,
            stored=one.stored,
            observer=observer[:LONGEST_OBSERVER],
            note=note[:LONGEST_NOTE],
            by=by,
        ),
        by=by,
        today=today,
        same=SAME_MEASURE,
    )


def record_photograph(
    turtle: Turtle,
    photo: photos.Photo,
    *,
    taken_on: dt.date,
    key: uuid.UUID,
    by: Any,
    today: dt.date,
    shows: str = "",
    note: str = "",
) -> Photograph:
    """
    Keep a picture and write the row that names it; the picture is on the disk before the row is.

    Raises
    ------
    TurtleRowRefused
        The day is to come, or the key was used for another picture.
    """
    _check_day(taken_on, today, "taken_on")
    photos.keep(photo, photo_folder())
    with transaction.atomic():
        _lock({turtle.pk})
        return _write(
            Photograph(
                turtle=turtle,
                key=key,
                file=photo.name,
                taken_on=taken_on,
                shows=shows,
                width=photo.width,
                height=photo.height,
                note=note[:LONGEST_NOTE],
                by=by,
            ),
            same=("turtle_id", "file", "taken_on", "shows", "note"),
        )


def take_back(row: Row, *, key: uuid.UUID, by: Any, today: dt.date) -> Row:
    """
    Write that a measure, a photograph or a linked nest does not hold.

    Raises
    ------
    TurtleRowRefused
        Somebody else's row, or mended already.
    """
    void = type(row)(
        **{
            field.attname: getattr(row, field.attname)
            for field in row._meta.concrete_fields
            if field.name not in ("id", "key", "by", "recorded_at", "replaces", "is_void", "note")
        },
        key=key,
        by=by,
        is_void=True,
    )
    return _replace(row, void, by=by, today=today, same=("is_void",))


def _check_day(day: dt.date, today: dt.date, field: str) -> None:
    if day > today:
        raise TurtleRowRefused(f"{day_text(day)} is to come; today is {day_text(today)}.", field)


def _lock(turtles: set[int]) -> None:
    """Let those that write about a turtle wait for each other: the second one sees the first one's keys."""
    list(Turtle.objects.select_for_update().filter(pk__in=turtles).order_by("pk").values_list("pk"))


def _replace(row: Row, new: Row, *, by: Any, today: dt.date, same: tuple[str, ...]) -> Row:
    with transaction.atomic():
        _lock({row.turtle_id})
        first = type(row).objects.filter(key=new.key).first()
        if first is None:
            if row.is_void or type(row).objects.filter(replaces=row).exists():
                raise TurtleRowRefused("This row was mended already. Look at the page again.")
            why_not = why_not_mended(row, by, today, book=BOOK)
            if why_not:
                raise TurtleRowRefused(why_not)
        new.replaces = row
        return _write(new, same=(*same, "replaces_id"))


def _write(row: Row, *, same: tuple[str, ...]) -> Row:
    first = type(row).objects.filter(key=row.key).first()
    if first is None:
        try:
            with transaction.atomic():
                row.save()
        except IntegrityError as error:
            # Only where one key is sent for two turtles at the same time.
            raise TurtleRowRefused(SENT_BEFORE) from error
        return row
    if _is_same(first, row, same):
        return first
    raise TurtleRowRefused(SENT_BEFORE)


def _is_same(first: Any, row: Any, names: tuple[str, ...]) -> bool:
    return all(getattr(first, name) == getattr(row, name) for name in names)
