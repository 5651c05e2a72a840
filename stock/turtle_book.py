"""What is written of marked turtles beside the ledger: schemes confirmed, marks, what became of them, sex.

Whatever changes where a turtle stands, or whether it is among the marked, goes on through `stock/ledger.py`. The same
key with the same content gives the first row again; with other content it is refused. Nests: `turtle_nests.py`.
"""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, TypeVar

from django.db import IntegrityError, transaction

from ponds.svg_marks import day_text
from stock import ledger
from stock.drafts import NEW_TURTLE, Draft, MarkDraft, PutOn, SexDraft
from stock.ledger import code_is_free, mark_of, marks_that_stand, sex_of
from stock.mark_words import layout_sha256
from stock.marks.notch import SCHEMES
from stock.models import Cell, Mark, MarkEvent, Move, NestOfTurtle, SchemeConfirmation, SexStep, Turtle
from stock.models.turtles import SignedRow
from stock.refusals import BadLine, CodeTaken, DayInFuture, KeyReused, LedgerRefusal
from stock.turtle_records import LONGEST_NOTE, SENT_BEFORE

ENDS = ("LOST", "REMOVED", "MISTAKEN")
FAINT_OF_READ = (
    "Faint scutes are written of a mark that was read or notched again. Clear them, or choose “read with doubt”; what "
    "else was seen can stand in the note."
)
Row = TypeVar("Row", bound=SignedRow)
SAME_CONFIRMATION = ("scheme", "layout_sha256", "against", "note")
SAME_MARK = (
    "turtle_id", "form", "scheme", "mask", "family", "tag", "text", "site", "put_on_on", "note",
)  # fmt: skip
SAME_EVENT = ("mark_id", "what", "happened_on", "faint_mask", "note")
SAME_SEX = ("turtle_id", "sex", "method", "certainty", "sexed_on", "note")


def _signed(by) -> dict:
    return {"by": by, "by_name": by.get_username() if by is not None else "the register"}


def _check_day(day: dt.date, today: dt.date) -> None:
    if day > today:
        raise DayInFuture(
            f"{day_text(day)} is after today, {day_text(today)}. Give the day it happened.", field="day"
        )


def _first_sent(row: Row, same: tuple[str, ...]) -> Row | None:
    """Return what was written under a row's key before; None where nothing was, or it has no key."""
    if row.key is None:
        return None
    first: Any = type(row)._default_manager.filter(key=row.key).first()
    if first is not None and any(getattr(first, name) != getattr(row, name) for name in same):
        raise KeyReused(SENT_BEFORE)
    return first


def _write(row: Row, same: tuple[str, ...]) -> Row:
    """Write a row once: the caller holds what makes two that send one key wait for each other."""
    first = _first_sent(row, same)
    if first is not None:
        return first
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        # Only where one key is sent for two turtles at the same time.
        if (first := _first_sent(row, same)) is None:
            raise
        return first
    return row


def confirm_scheme(
    scheme: str, *, against: str, by, today: dt.date, note: str = "", key: uuid.UUID | None = None
) -> SchemeConfirmation:
    """Note that a notch scheme was held against its printed figure, scute by scute."""
    if scheme not in SCHEMES:
        raise BadLine(
            f"There is no notch scheme “{scheme}”. Choose one of {', '.join(SCHEMES)}.", field="scheme"
        )
    if not against.strip():
        raise BadLine("Say which printed figure it was held against: author, year and page.", field="against")
    row = SchemeConfirmation(
        key=key,
        scheme=scheme,
        layout_sha256=layout_sha256(SCHEMES[scheme]),
        confirmed_on=today,
        against=against.strip()[:200],
        note=note[:LONGEST_NOTE],
        **_signed(by),
    )
    with transaction.atomic():
        return _write(row, SAME_CONFIRMATION)


def register(
    *,
    key: uuid.UUID,
    kind: str,
    of_class: str,
    pond: str,
    day: dt.date,
    put_on: tuple[PutOn, ...],
    by,
    today: dt.date,
    sex: SexDraft | None = None,
    batch: str = "",
    note: str = "",
) -> tuple[Turtle, ledger.Receipt]:
    """
    Mark a head that stands in a pond already, and return it as a turtle of the register.

    The heads of the pond stay what they are; one more of them is marked. The same key again gives the same turtle.

    Raises
    ------
    LedgerRefusal
        No mark, a code that another turtle has or had, a scheme not confirmed, or what the ledger refuses.
    """
    if not put_on:
        raise BadLine("Give at least one mark: a notch code, a tag, or paint.", field="mark")
    mark = MarkDraft(f"{NEW_TURTLE}1", kind, of_class, pond, put_on, sex, batch)
    draft = Draft(key=key, happened_on=day, made_as="BANK", pond=pond, note=note, marks=(mark,))
    receipt = ledger.record(draft, by=by, today=today)
    turtle = Turtle.objects.get(steps__move=receipt.move_id, steps__how="MARKED")
    return turtle, receipt


def put_mark(
    turtle: Turtle, put_on: PutOn, *, day: dt.date, by, today: dt.date, key: uuid.UUID | None = None
) -> Mark:
    """Put one more mark on a turtle of the register; the same key again gives the same mark."""
    _check_day(day, today)
    with transaction.atomic():
        # Of two that send one key, the second one sees what the first one wrote.
        Turtle.objects.select_for_update().get(pk=turtle.pk)
        mark = mark_of(put_on, turtle, day, key=key, **_signed(by))
        if (first := _first_sent(mark, SAME_MARK)) is not None:
            return first
        code_is_free(put_on, turtle.kind)
        try:
            with transaction.atomic():
                mark.save()
        except IntegrityError as error:
            if (first := _first_sent(mark, SAME_MARK)) is not None:
                return first
            raise CodeTaken(
                "Another turtle was given this code just now: codes are never used again. Choose another.",
                field="mark",
            ) from error
    return mark


def note_mark(
    mark: Mark,
    what: str,
    *,
    key: uuid.UUID,
    day: dt.date,
    by,
    today: dt.date,
    faint_mask: int | None = None,
    note: str = "",
) -> MarkEvent | None:
    """
    Note what became of a mark; the last one lost takes its turtle out of the marked, through the ledger.

    Parameters
    ----------
    what : str
        READ, WORN, RENEWED, LOST, REMOVED or MISTAKEN.
    faint_mask : int, optional
        Of a notch code that was read or notched again: the scutes that were faint.

    Returns
    -------
    MarkEvent or None
        None where the ledger wrote it: the turtle carries no mark any more.

    Raises
    ------
    LedgerRefusal
        A day to come or before the mark, a word that is none of these, faint scutes of a mark that is no more, or a
        key sent before for something else.
    """
    _check_day(day, today)
    if what not in MarkEvent.What.values:
        raise BadLine(f"“{what}” is not something that becomes of a mark.", field="what")
    if faint_mask and what in ENDS:
        # The ledger, which writes the end of a last mark, keeps none: what is sent twice could not be told alike.
        raise BadLine(FAINT_OF_READ, field="faint")
    if day < mark.put_on_on:
        raise BadLine(
            f"The mark was put on on {day_text(mark.put_on_on)}; {day_text(day)} is before that.", field="day"
        )
    row = MarkEvent(
        key=key,
        mark=mark,
        what=what,
        happened_on=day,
        faint_mask=faint_mask,
        note=note[:LONGEST_NOTE],
        **_signed(by),
    )
    with transaction.atomic():
        # The cell before the turtle, as the ledger locks them: two that lose the last two marks wait for each other.
        list(Cell.objects.select_for_update().filter(turtles=mark.turtle_id))
        turtle = Turtle.objects.select_for_update().get(pk=mark.turtle_id)
        if Move.objects.filter(key=key).exists():
            _check_sent_to_ledger(row, key)
            return None
        if (first := _first_sent(row, SAME_EVENT)) is not None:
            return first
        others = marks_that_stand([turtle.code]).exclude(pk=mark.pk).exists()
        stands_in_pond = turtle.cell is not None and turtle.cell.pond_id is not None
        if what in ENDS and not others and stands_in_pond:
            draft = Draft(
                key=key,
                happened_on=day,
                made_as="BANK",
                note=note,
                lost_marks=(turtle.code,),
                marks_end="" if what == "LOST" else what,
            )
            ledger.record(draft, by=by, today=today)
            return None
        return _write(row, SAME_EVENT)


def _check_sent_to_ledger(row: MarkEvent, key: uuid.UUID) -> None:
    """See that the move of this key wrote this very event; else refuse."""
    written = MarkEvent.objects.filter(mark=row.mark, move__key=key).first()
    if written is None or any(getattr(written, name) != getattr(row, name) for name in SAME_EVENT):
        raise KeyReused(SENT_BEFORE)


def note_sex(
    turtle: Turtle,
    sex: SexDraft,
    *,
    day: dt.date,
    by,
    today: dt.date,
    note: str = "",
    key: uuid.UUID | None = None,
) -> SexStep:
    """Note a turtle's sex with its method; refused where nests are linked to a female."""
    _check_day(day, today)
    sex_of(sex)
    row = SexStep(
        key=key,
        turtle=turtle,
        sex=sex.sex,
        method=sex.method,
        certainty=sex.certainty,
        sexed_on=day,
        note=note[:LONGEST_NOTE],
        **_signed(by),
    )
    with transaction.atomic():
        # Of two who note it at the same time, the second one sees the first one's.
        Turtle.objects.select_for_update().get(pk=turtle.pk)
        if (first := _first_sent(row, SAME_SEX)) is not None:
            return first
        if sex.sex != "FEMALE" and NestOfTurtle.objects.standing().filter(turtle=turtle).exists():
            raise LedgerRefusal(
                f"Turtle {turtle.code} dug nests that are in the nest book, so she is a female. "
                "Take those nests off her page first, if they were another's.",
                field="sex",
            )
        step = _write(row, SAME_SEX)
        latest = SexStep.objects.filter(turtle=turtle).order_by("sexed_on", "pk").last()
        Turtle.objects.filter(pk=turtle.pk).update(sex=latest.sex if latest else sex.sex)
    return step
