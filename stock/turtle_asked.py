"""What the register asks before a mark is written: the same paint on another turtle, a head the book has not."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import replace

from django.db.models import Q

from ponds.models import Kind, Pond
from ponds.svg_marks import day_text
from stock.book import balances
from stock.drafts import PutOn
from stock.forms.asked import Asked
from stock.ledger import Beyond, marks_that_stand, schemes_in_use
from stock.mark_ends import only_by_mistake
from stock.models import Mark, Turtle
from stock.move_words import class_words, is_pond
from stock.moves_read import place_of
from stock.turtle_search import code_of_mask

MOST_NAMED = 3


def same_words(
    put_on: Iterable[PutOn], *, kind: str, pond: str, day: dt.date, key: uuid.UUID, but: Turtle | None = None
) -> list[Asked]:
    """
    Ask about words of a mark that another turtle of the kind carries already: in the pond, or put on that day.

    Paint and other marks are not one animal's for ever, so they are asked about only where nothing else tells the
    two apart. `key` is the form's: one sent twice is not held against what it wrote itself.
    """
    given = tuple(put_on)
    if any(one.form in ("NOTCH", "TAG") for one in given):
        return []
    texts = [one.text.strip() for one in given if one.text.strip()]
    if not texts:
        return []
    alike = Q()
    for text in texts:
        alike |= Q(text__iexact=text)
    rows = (
        Mark.objects.filter(alike, turtle__kind__code=kind)
        .filter(Q(turtle__cell__pond__code=pond) | Q(put_on_on=day))
        .exclude(key=key)
        .select_related("turtle__cell__pond")
        .order_by("-put_on_on", "-pk")
    )
    # A move wrote the mark of a new turtle: its key is the form's.
    rows = rows.filter(Q(move=None) | ~Q(move__key=key))
    if but is not None:
        rows = rows.exclude(turtle=but)
    alike_rows = list(rows[: 10 * MOST_NAMED])
    standing = set(
        marks_that_stand(sorted({row.turtle.code for row in alike_rows})).values_list("pk", flat=True)
    )
    found = list({row.turtle_id: row for row in alike_rows if row.pk in standing}.values())[:MOST_NAMED]
    return [
        Asked(
            "text",
            f"Turtle {row.turtle_id} carries “{row.text}” already, put on {day_text(row.put_on_on)}"
            f"{_where(row.turtle)}: is this the same animal? Then it is in the register; write nothing here. "
            "If it is another one, say so.",
        )
        for row in found
    ]


def _where(turtle: Turtle) -> str:
    place = place_of(turtle.cell) if turtle.cell else ""
    return f", pond {place}" if place and is_pond(place) else ""


def not_in_book(
    *, kind: str, kind_name: str, of_class: str, pond: str, day: dt.date, key: uuid.UUID
) -> list[Asked]:
    """Ask about a head that the book has not, or whose heads all carry marks: marking it books one beyond the book."""
    found_pond, found_kind = Pond.objects.filter(code=pond).first(), Kind.objects.filter(code=kind).first()
    if found_pond is None or found_kind is None or Mark.objects.filter(move__key=key).exists():
        return []
    heads = sum(
        one.heads
        for one in balances(day, pond_ids=[found_pond.pk])
        if one.kind_id == found_kind.pk and one.of_class == of_class
    )
    marked = Turtle.objects.filter(
        cell__pond=found_pond, cell__kind=found_kind, cell__of_class=of_class
    ).count()
    if heads > marked:
        return []
    of = f"{class_words(of_class, 1)} {kind_name}"
    has = (
        f"no {of} in pond {pond} on {day_text(day)}"
        if heads <= 0
        else f"{heads} {of} in pond {pond} on {day_text(day)}, and all of them are marked turtles"
    )
    return [
        Asked(
            "pond",
            f"The book has {has}: are pond, kind and class right? If they are, one head is booked beyond the book, "
            "as a haul would prove it.",
        )
    ]


def second_code(turtle: Turtle, put_on: PutOn, *, key: uuid.UUID) -> list[Asked]:
    """Ask about a notch code or a tag where one of the same form stands on the turtle already."""
    if put_on.form not in ("NOTCH", "TAG"):
        return []
    standing = list(
        marks_that_stand([turtle.code]).filter(form=put_on.form).exclude(key=key).order_by("put_on_on", "pk")
    )
    if not standing:
        return []
    last = standing[-1]
    what, field = ("notch code", "code") if put_on.form == "NOTCH" else ("tag", "number")
    code = code_of_mask(last.scheme, last.mask) if last.mask else last.tag or ""
    more = f" ({len(standing)} stand on it)" if len(standing) > 1 else ""
    return [
        Asked(
            field,
            f"Turtle {turtle.pk} carries the {what} {code} already, put on {day_text(last.put_on_on)}{more}: a turtle "
            f"has one. Is it this turtle? If {code} is lost or was typed by mistake, write that of it first.",
        )
    ]


def by_mistake(put_on: PutOn, kind: Kind, *, key: uuid.UUID) -> tuple[PutOn, list[Asked]]:
    """
    Let a code that was only ever typed by mistake go to the turtle that carries it, after one question.

    Returns
    -------
    (PutOn, list of Asked)
        What is written: numbered after the mistaken ones, as a code met again is; and the question.
    """
    rows = [row for row in only_by_mistake(put_on, kind) if row.key != key]
    if not rows or put_on.is_conflict:
        return put_on, []
    if put_on.form == "NOTCH" and put_on.scheme not in schemes_in_use():
        return put_on, []  # the ledger says that its scheme is not confirmed
    what, field = ("Notch code", "code") if put_on.form == "NOTCH" else ("Tag", "number")
    code = code_of_mask(put_on.scheme, put_on.mask) if put_on.mask else put_on.tag
    turtles = ", ".join(str(pk) for pk in sorted({row.turtle_id for row in rows}))
    asked = Asked(
        field,
        f"{what} {code} was typed by mistake on turtle {turtles} and never was on it: is it on this turtle? "
        "Read it once more, then say so.",
    )
    return replace(put_on, is_conflict=True), [asked]


def beyond_words(heads: Iterable[Beyond]) -> tuple[str, ...]:
    """Say afterwards what was booked beyond the book."""
    return tuple(
        f"{one.heads} {'head was' if one.heads == 1 else 'heads were'} booked beyond the book in pond {one.pond}: "
        f"it had no unmarked {class_words(one.of_class, 1)} head left there. The month's review shows it."
        for one in heads
    )
