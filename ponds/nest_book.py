"""The nest book's one door: nests dug and eggs picked are written here alone.

A row is never changed. A mistake is mended by a row that replaces it, or taken back by an empty row that
does. The same key with the same content returns the first row again; with other content it is refused.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from django.db import transaction

from ponds.clutches import ClutchCount
from ponds.mending import why_not_mended
from ponds.models import Clutch, Kind, NestDay, Pond
from ponds.nest_checks import nests_text
from ponds.refusals import Refused
from ponds.svg_marks import day_text, figure_text

MOST_NESTS = 5_000
MOST_EGGS_A_NEST = 200
LONGEST_NOTE = 300
ROWS_AT_ONCE = 500
NO_CLUTCHES: Mapping[uuid.UUID, Sequence[ClutchCount]] = MappingProxyType({})


class NestRefused(Refused):
    """The nest book refuses; `row` is the place (from 0) of the entry it is about, where several came at once."""

    row: int | None = None


class WrongDay(NestRefused):
    """The day is to come, before the pond opened, or after it was retired."""

    field = "dug_on"


class WrongCount(NestRefused):
    """A count is negative, or too big to be true."""

    field = "nests"


class KindNotThere(NestRefused):
    """The kind is not one of those the pond may hold."""

    field = "kind"


class KeyUsed(NestRefused):
    """The key was used for another entry."""


class AlreadyMended(NestRefused):
    """The row has been replaced or taken back already."""


class NotYours(NestRefused):
    """A hand mends their own rows of the last 31 days; an owner mends any."""


@transaction.atomic
def record(
    *,
    key: uuid.UUID,
    pond: Pond,
    kind: Kind | None,
    dug_on: dt.date,
    nests: int,
    eggs: int | None = None,
    broken: int | None = None,
    clutches: Sequence[ClutchCount] = (),
    note: str = "",
    by: Any = None,
    today: dt.date,
) -> NestDay:
    """
    Record one pond's nests of one kind on one day.

    Parameters
    ----------
    key : UUID
        Made where the entry was typed.
    pond : Pond
        Where they were dug.
    kind : Kind or None
        None where it is not known whose they are.
    dug_on : date
        The day they were found; from the pond's opening to `today`.
    nests : int
        0 to 5,000; 0 says that the bank was walked and there was nothing.
    eggs : int or None
        Eggs picked, broken ones too; None where they were not counted.
    broken : int or None
        How many of those were broken.
    clutches : sequence of ClutchCount
        The nests whose eggs were counted one by one: all of them, or some.
    note : str
        At most 300 characters.
    by : user, optional
        Who records it.
    today : date
        The farm's day.

    Returns
    -------
    NestDay
        The new row, or the first one of this key.

    Raises
    ------
    NestRefused
        With a sentence and the field it is about.
    """
    row = NestDay(
        key=key, pond=pond, kind=kind, dug_on=dug_on, nests=nests, eggs=eggs, broken=broken, note=note, by=by
    )
    return _write(row, today, clutches)


@transaction.atomic
def record_all(
    rows: Sequence[NestDay],
    *,
    today: dt.date,
    clutches: Mapping[uuid.UUID, Sequence[ClutchCount]] = NO_CLUTCHES,
    tell: Callable[[NestRefused], None] | None = None,
) -> list[NestDay]:
    """
    Record new rows as one batch, all of them or none; a few queries for hundreds of rows.

    Parameters
    ----------
    rows : sequence of NestDay
        Not saved yet, each with its key.
    today : date
        The farm's day.
    clutches : mapping of key to sequence of ClutchCount
        The nests of a row whose eggs were counted one by one.
    tell : callable, optional
        Told every refused row instead of the first one being raised; nothing is written then, and what is returned
        means nothing.

    Returns
    -------
    list of NestDay
        In the order given: the new rows, or the first ones of their keys.

    Raises
    ------
    NestRefused
        As `record` does, for the first row that is refused; its `row` is that row's place, from 0.
    """
    locked = Pond.objects.select_for_update().filter(pk__in={row.pond_id for row in rows}).order_by("pk")
    ponds = {pond.pk: pond for pond in locked}
    allowed = {pk: _kinds_allowed(pond) for pk, pond in ponds.items()}
    first = {row.key: row for start in range(0, len(rows), ROWS_AT_ONCE) for row in _of_keys(rows, start)}
    fresh: list[NestDay] = []
    is_refused = False
    for place, row in enumerate(rows):
        counted = clutches.get(row.key, ())
        try:
            if row.key in first:
                held = first[row.key]
                _refuse_other_content(held, row, counted if held.pk is not None else None)
                continue
            _check(row, ponds[row.pond_id], today, allowed[row.pond_id])
            _check_clutches(row, counted)
        except NestRefused as refused:
            refused.row = place
            if tell is None:
                raise
            tell(refused)
            is_refused = True
            continue
        first[row.key] = row
        fresh.append(row)
    if is_refused:
        return list(rows)
    NestDay.objects.bulk_create(fresh, batch_size=ROWS_AT_ONCE)
    Clutch.objects.bulk_create(
        [
            Clutch(nest_day=row, eggs=one.eggs, broken=one.broken)
            for row in fresh
            for one in clutches.get(row.key, ())
        ],
        batch_size=ROWS_AT_ONCE,
    )
    return [first[row.key] for row in rows]


@transaction.atomic
def replace(
    *,
    row: NestDay,
    key: uuid.UUID,
    kind: Kind | None,
    dug_on: dt.date,
    nests: int,
    eggs: int | None = None,
    broken: int | None = None,
    clutches: Sequence[ClutchCount] = (),
    note: str = "",
    by: Any = None,
    today: dt.date,
) -> NestDay:
    """Put a new row in the place of `row`, of the same pond.

    Refuses as `record` does, and with `AlreadyMended` and `NotYours`.
    """
    _refuse_not_yours(row, by, today)
    mended = NestDay(
        key=key,
        pond=row.pond,
        kind=kind,
        dug_on=dug_on,
        nests=nests,
        eggs=eggs,
        broken=broken,
        note=note,
        by=by,
        replaces=row,
    )
    return _write(mended, today, clutches)


@transaction.atomic
def take_back(*, row: NestDay, key: uuid.UUID, note: str = "", by: Any = None, today: dt.date) -> NestDay:
    """Take a row back: from now on it counts for nothing; it stays in the book with the one that says so."""
    _refuse_not_yours(row, by, today)
    void = NestDay(
        key=key,
        pond=row.pond,
        kind=row.kind,
        dug_on=row.dug_on,
        nests=0,
        note=note,
        by=by,
        replaces=row,
        is_void=True,
    )
    return _write(void, today)


def clutches_of(row: NestDay) -> tuple[ClutchCount, ...]:
    """Return the clutches of a row in the order typed."""
    found = sorted(row.clutches.all(), key=lambda one: one.pk)
    return tuple(ClutchCount(one.eggs, one.broken) for one in found)


def _refuse_not_yours(row: NestDay, by: Any, today: dt.date) -> None:
    if why_not := why_not_mended(row, by, today):
        raise NotYours(why_not)


def _write(row: NestDay, today: dt.date, clutches: Sequence[ClutchCount] = ()) -> NestDay:
    # The pond's row is the lock: two entries of one pond wait for each other, and the key is looked up after.
    pond = Pond.objects.select_for_update().get(pk=row.pond_id)
    if first := NestDay.objects.filter(key=row.key).first():
        _refuse_other_content(first, row, clutches)
        return first
    if row.replaces_id:
        _refuse_mended(row.replaces_id)
    if not row.is_void:
        _check(row, pond, today, _kinds_allowed(pond))
        _check_clutches(row, clutches)
    row.save(force_insert=True)
    Clutch.objects.bulk_create(Clutch(nest_day=row, eggs=one.eggs, broken=one.broken) for one in clutches)
    return row


def _of_keys(rows: Sequence[NestDay], start: int) -> list[NestDay]:
    keys = [row.key for row in rows[start : start + ROWS_AT_ONCE]]
    return list(NestDay.objects.filter(key__in=keys).prefetch_related("clutches"))


def _refuse_other_content(
    first: NestDay, row: NestDay, clutches: Sequence[ClutchCount] | None = None
) -> None:
    is_other = clutches is not None and clutches_of(first) != tuple(clutches)
    if is_other or _content(first) != _content(row):
        raise KeyUsed(
            f"This entry was sent before with other figures ({nests_text(first.nests)} on {day_text(first.dug_on)}). "
            "Look at the nest book, then correct that row or start a new entry."
        )


def _kinds_allowed(pond: Pond) -> list[Kind]:
    return list(pond.kinds_allowed.order_by("name_key"))


def _content(row: NestDay) -> tuple:
    return (
        row.pond_id,
        row.kind_id,
        row.dug_on,
        row.nests,
        row.eggs,
        row.broken,
        row.note,
        row.replaces_id,
        row.is_void,
    )


def _refuse_mended(row_id: int) -> None:
    mended = NestDay.objects.select_related("replaces", "by").filter(replaces_id=row_id).first()
    replaced = NestDay.objects.get(pk=row_id)
    if mended is None and not replaced.is_void:
        return
    if mended is None:
        raise AlreadyMended("This row only takes another one back; enter the nests anew.")
    who = f" by {mended.by.get_username()}" if mended.by else ""
    if mended.is_void:
        raise AlreadyMended(f"{replaced} was taken back already{who}. Nothing is changed by this.")
    raise AlreadyMended(f"{replaced} was corrected already{who}: now {mended}. Correct that row instead.")


def _check(row: NestDay, pond: Pond, today: dt.date, allowed: list[Kind]) -> None:
    if row.dug_on > today:
        raise WrongDay(f"{day_text(row.dug_on)} is still to come; today is {day_text(today)}.")
    if row.dug_on < pond.opened_on:
        raise WrongDay(
            f"Pond {pond.code} opened on {day_text(pond.opened_on)}; {day_text(row.dug_on)} is before that. Look at "
            "the day, or move the opening back in the pond's settings."
        )
    if pond.retired_on and row.dug_on > pond.retired_on:
        raise WrongDay(
            f"Pond {pond.code} was retired on {day_text(pond.retired_on)}; {day_text(row.dug_on)} is after that."
        )
    _check_counts(row)
    if row.kind and allowed and row.kind not in allowed:
        raise KindNotThere(
            f"Pond {pond.code} is for {', '.join(kind.common_name for kind in allowed)}, not "
            f"{row.kind.common_name}. Choose one of those or “not known”, or allow the kind in the pond's settings."
        )
    if len(row.note) > LONGEST_NOTE:
        raise NestRefused(
            f"The note has {figure_text(len(row.note))} characters; {LONGEST_NOTE} is the most.", "note"
        )


def _check_clutches(row: NestDay, clutches: Sequence[ClutchCount]) -> None:
    sums = (len(clutches), sum(one.eggs for one in clutches), sum(one.broken for one in clutches))
    for name, summed, figure in zip(
        ("nests", "eggs", "broken"), sums, (row.nests, row.eggs, row.broken), strict=True
    ):
        if figure is not None and summed > figure:
            raise WrongCount(
                f"The line of clutches comes to {figure_text(summed)} {name}, more than the "
                f"{figure_text(figure)} typed here. Mend one of "
                "them, or leave this empty: the line fills it.",
                name,
            )


def _check_counts(row: NestDay) -> None:
    if not 0 <= row.nests <= MOST_NESTS:
        raise WrongCount(
            f"{figure_text(row.nests)} nests in a day are not between 0 and {figure_text(MOST_NESTS)}."
        )
    if row.eggs is None:
        if row.broken is not None:
            raise WrongCount("Broken eggs are part of the eggs picked; say how many were picked.", "eggs")
        return
    most = row.nests * MOST_EGGS_A_NEST
    if not 0 <= row.eggs <= most:
        raise WrongCount(
            f"{figure_text(row.eggs)} eggs from {figure_text(row.nests)} nests are not between 0 and "
            f"{figure_text(most)} "
            f"({MOST_EGGS_A_NEST} a nest). Look at both figures.",
            "eggs",
        )
    if row.broken is not None and not 0 <= row.broken <= row.eggs:
        raise WrongCount(
            f"{figure_text(row.broken)} broken of {figure_text(row.eggs)} eggs picked: broken ones are part "
            "of those picked, so they "
            "cannot be more.",
            "broken",
        )
