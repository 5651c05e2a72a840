"""What is written of marked turtles beside the ledger: schemes confirmed, marks, what became of them, sex, nests.

Whatever changes where a turtle stands, or whether it is among the marked, goes on through `stock/ledger.py`.
"""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import IntegrityError, transaction
from django.db.models import Count, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from ponds.models import NestDay
from stock import ledger
from stock.drafts import NEW_TURTLE, Draft, MarkDraft, PutOn, SexDraft
from stock.ledger import code_is_free, mark_of, marks_that_stand, sex_of
from stock.mark_words import layout_sha256
from stock.marks.notch import SCHEMES
from stock.models import Cell, Mark, MarkEvent, NestOfTurtle, SchemeConfirmation, SexStep, Turtle
from stock.refusals import BadLine, CodeTaken, DayInFuture, LedgerRefusal

ENDS = ("LOST", "REMOVED", "MISTAKEN")


def _signed(by) -> dict:
    return {"by": by, "by_name": by.get_username() if by is not None else "the register"}


def _check_day(day: dt.date, today: dt.date) -> None:
    if day > today:
        raise DayInFuture(f"{day} is after today, {today}. Give the day it happened.", field="day")


def confirm_scheme(key: str, *, against: str, by, today: dt.date, note: str = "") -> SchemeConfirmation:
    """Note that a notch scheme was held against its printed figure, scute by scute."""
    if key not in SCHEMES:
        raise BadLine(
            f"There is no notch scheme “{key}”. Choose one of {', '.join(SCHEMES)}.", field="scheme"
        )
    if not against.strip():
        raise BadLine("Say which printed figure it was held against: author, year and page.", field="against")
    return SchemeConfirmation.objects.create(
        scheme=key,
        layout_sha256=layout_sha256(SCHEMES[key]),
        confirmed_on=today,
        against=against.strip()[:200],
        note=note[:300],
        **_signed(by),
    )


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


def put_mark(turtle: Turtle, put_on: PutOn, *, day: dt.date, by, today: dt.date) -> Mark:
    """Put one more mark on a turtle of the register."""
    _check_day(day, today)
    code_is_free(put_on, turtle.kind)
    try:
        with transaction.atomic():
            mark = mark_of(put_on, turtle, day, **_signed(by))
            mark.save()
    except IntegrityError as error:
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
        Of a notch code: the scutes that were faint.

    Returns
    -------
    MarkEvent or None
        None where the ledger wrote it: the turtle carries no mark any more.
    """
    _check_day(day, today)
    if what not in MarkEvent.What.values:
        raise BadLine(f"“{what}” is not something that becomes of a mark.", field="what")
    if day < mark.put_on_on:
        raise BadLine(f"The mark was put on on {mark.put_on_on}; {day} is before that.", field="day")
    with transaction.atomic():
        # The cell before the turtle, as the ledger locks them: two that lose the last two marks wait for each other.
        list(Cell.objects.select_for_update().filter(turtles=mark.turtle_id))
        turtle = Turtle.objects.select_for_update().get(pk=mark.turtle_id)
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
        return MarkEvent.objects.create(
            mark=mark, what=what, happened_on=day, faint_mask=faint_mask, note=note[:300], **_signed(by)
        )


def note_sex(turtle: Turtle, sex: SexDraft, *, day: dt.date, by, today: dt.date, note: str = "") -> SexStep:
    """Note a turtle's sex with its method; refused where nests are linked to a female."""
    _check_day(day, today)
    sex_of(sex)
    with transaction.atomic():
        # Of two who note it at the same time, the second one sees the first one's.
        Turtle.objects.select_for_update().get(pk=turtle.pk)
        if sex.sex != "FEMALE" and NestOfTurtle.objects.standing().filter(turtle=turtle).exists():
            raise LedgerRefusal(
                f"Turtle {turtle.code} dug nests that are in the nest book, so she is a female. "
                "Take those nests off her page first, if they were another's.",
                field="sex",
            )
        step = SexStep.objects.create(
            turtle=turtle,
            sex=sex.sex,
            method=sex.method,
            certainty=sex.certainty,
            sexed_on=day,
            note=note[:300],
            **_signed(by),
        )
        latest = SexStep.objects.filter(turtle=turtle).order_by("sexed_on", "pk").last()
        Turtle.objects.filter(pk=turtle.pk).update(sex=latest.sex if latest else sex.sex)
    return step


def free_nests(turtle: Turtle):
    """Return the rows of the nest book, the newest first, that may hold a nest of this female."""
    of_her = NestOfTurtle.objects.standing().filter(nest_day=OuterRef("pk")).order_by().values("nest_day")
    linked = Coalesce(Subquery(of_her.annotate(number=Count("pk")).values("number")), 0)
    return (
        NestDay.objects.standing()
        .filter(Q(kind=None) | Q(kind=turtle.kind_id))
        .annotate(linked=linked)
        .filter(nests__gt=F("linked"))
        .select_related("pond")
        .order_by("-dug_on", "-pk")
    )


def link_nest(
    turtle: Turtle,
    nest_day: NestDay,
    *,
    by,
    eggs: int | None = None,
    note: str = "",
    key: uuid.UUID | None = None,
) -> NestOfTurtle:
    """Link a nest of the nest book to the marked female that was seen to dig it; the same key links it once."""
    key = key or uuid.uuid4()
    with transaction.atomic():
        # Of two who link the last nest of a row at the same time, the second one sees the first.
        turtle = Turtle.objects.select_for_update().get(pk=turtle.pk)
        list(NestDay.objects.select_for_update().filter(pk=nest_day.pk))
        if standing := NestOfTurtle.objects.filter(key=key).first():
            return standing
        if turtle.sex == "MALE":
            raise LedgerRefusal(
                f"Turtle {turtle.code} is a male by the register. Mend the sex first.", field="turtle"
            )
        if nest_day.kind_id is not None and nest_day.kind_id != turtle.kind_id:
            raise LedgerRefusal(
                f"That nest is of {nest_day.kind}, and turtle {turtle.code} is a {turtle.kind}.",
                field="turtle",
            )
        linked = NestOfTurtle.objects.standing().filter(nest_day=nest_day)
        if linked.count() >= nest_day.nests:
            raise LedgerRefusal(
                f"All {nest_day.nests} nests of that row have their females. Add the nest to the nest book first.",
                field="nest_day",
            )
        return NestOfTurtle.objects.create(
            key=key, turtle=turtle, nest_day=nest_day, eggs=eggs, by=by, note=note[:300]
        )
