"""The door for what is written about a turtle beside the ledger: measures and photographs.

A row is never changed. A mistake is mended by a row that replaces it, or taken back by one that does. The same key with
the same content gives the first row again; with other content it is refused.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.db import transaction

from ponds.mending import why_not_mended
from stock import photos
from stock.marks.measures import Typed
from stock.models import Measure, Photograph, Turtle

Row = TypeVar("Row", Measure, Photograph)
LONGEST_NOTE = 300
LONGEST_OBSERVER = 150
BOOK = "a turtle's measures and photographs"
KEYS_APART = uuid.UUID("1f3c8f2e-5d0b-4a6e-9a35-2f7c5f0f6b52")


class TurtleRowRefused(Exception):
    """A row about a turtle was not taken; the message is for the person, `field` says which entry it is about."""

    def __init__(self, sentence: str, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence, self.field = sentence, field


def photo_folder() -> Path:
    """Return where the pictures are kept."""
    return Path(settings.DATA_DIR) / "media" / "photos"


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
    _check_day(measured_on, today, "measured_on")
    if not typed:
        raise TurtleRowRefused("No measure is given. Fill in at least one.")
    codes = [one.code for one in typed]
    if len(set(codes)) != len(codes):
        raise TurtleRowRefused("One measure is given twice; give each once.")
    with transaction.atomic():
        return [
            _write(
                Measure(
                    turtle=turtle,
                    key=uuid.uuid5(KEYS_APART, f"{key}|{one.code}"),
                    what=one.code,
                    measured_on=measured_on,
                    typed=one.typed,
                    unit=one.unit,
                    stored=one.stored,
                    observer=observer[:LONGEST_OBSERVER],
                    note=note[:LONGEST_NOTE],
                    by=by,
                ),
                same=("turtle_id", "what", "measured_on", "typed", "unit"),
            )
            for one in typed
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
        same=("what", "measured_on", "typed", "unit"),
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
            same=("turtle_id", "file", "taken_on"),
        )


def take_back(row: Row, *, key: uuid.UUID, by: Any, today: dt.date) -> Row:
    """
    Write that a measure or photograph does not hold.

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
        raise TurtleRowRefused(f"{day} is to come; today is {today}.", field)


def _replace(row: Row, new: Row, *, by: Any, today: dt.date, same: tuple[str, ...]) -> Row:
    with transaction.atomic():
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
        row.save()
        return row
    if all(getattr(first, name) == getattr(row, name) for name in same):
        return first
    raise TurtleRowRefused(
        "This page was sent before with something else in it. Open it anew, and type it again."
    )
