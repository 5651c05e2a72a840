"""Private to `stock/ledger.py`: marks of a move that is taken back, or replaced by another that puts them on."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db.models import Max

from stock.drafts import Draft, PutOn
from stock.models import Mark, MarkEvent, Move

if TYPE_CHECKING:
    from stock.ledger_posting import Posting


def take_back_marks(posting: Posting, reversal: Move, went_back: AbstractSet[str]) -> None:
    """
    Write of the marks that a move put on that they were never there: its reversal says so.

    Those of a turtle that stays where it was met since are on it, whatever was wrong with the move.
    """
    marks = Mark.objects.filter(move=reversal.reverses_id, turtle__code__in=went_back).annotate(
        last_on=Max("events__happened_on")
    )
    signed = {"by": posting.by, "by_name": posting.by_name, "note": "Its marking was taken back."}
    MarkEvent.objects.bulk_create(
        # After all that was noted of it: the latest says what holds.
        MarkEvent(
            mark=mark,
            move=reversal,
            what="MISTAKEN",
            happened_on=max(mark.put_on_on, mark.last_on or mark.put_on_on),
            **signed,
        )
        for mark in marks
    )


def with_own_codes(draft: Draft, move: Move) -> Draft:
    """Return the draft that replaces a marking with its codes free to be put on again, each once: they were its own."""
    if not any(mark.put_on for mark in draft.marks):
        return draft
    coded = Mark.objects.filter(move=move, form__in=("NOTCH", "TAG")).select_related("kind")
    own = {(mark.family, mark.tag) if mark.tag else (mark.kind.code, mark.mask) for mark in coded}

    def freed(kind: str, one: PutOn) -> PutOn:
        name = (one.family, one.tag) if one.tag else (kind, one.mask)
        if one.form not in ("NOTCH", "TAG") or name not in own:
            return one
        own.remove(name)
        return replace(one, is_conflict=True)

    marks = (
        replace(mark, put_on=tuple(freed(mark.kind, one) for one in mark.put_on)) for mark in draft.marks
    )
    return replace(draft, marks=tuple(marks))
