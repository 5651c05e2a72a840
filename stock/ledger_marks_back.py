"""Private to `stock/ledger.py`: marks of a move that is taken back, or replaced by another that puts them on."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import TYPE_CHECKING

from stock.drafts import NEW_TURTLE, Draft, PutOn, called
from stock.models import Mark, MarkEvent, Move

if TYPE_CHECKING:
    from stock.ledger_posting import Posting


def take_back_marks(posting: Posting, reversal: Move, went_back: AbstractSet[str]) -> None:
    """
    Write of the marks that a move put on that they were never there: its reversal says so.

    Those of a turtle that stays where it was met since are on it, whatever was wrong with the move.
    """
    marks = Mark.objects.filter(move=reversal.reverses_id, turtle__code__in=went_back)
    signed = {"by": posting.by, "by_name": posting.by_name, "note": "Its marking was taken back."}
    MarkEvent.objects.bulk_create(
        MarkEvent(mark=mark, move=reversal, what="MISTAKEN", happened_on=mark.put_on_on, **signed)
        for mark in marks
    )


def with_own_codes(draft: Draft, move: Move) -> Draft:
    """
    Return the draft that replaces a marking with its codes as they are: they were the move's own.

    The turtle that the move made keeps its number.
    """
    if not any(mark.put_on for mark in draft.marks):
        return draft
    own = {_name_of(mark): mark.turtle for mark in Mark.objects.filter(move=move).select_related("turtle")}
    marks = []
    renamed: dict[str, str] = {}
    for mark in draft.marks:
        was = [own.get(_name_asked(one)) for one in mark.put_on]
        before = next((turtle for turtle in was if turtle is not None), None)
        if before is not None and NEW_TURTLE in mark.code and before.kind.code == mark.kind:
            renamed[mark.code] = before.code
        put_on = tuple(
            replace(one, is_conflict=True) if turtle is not None else one
            for one, turtle in zip(mark.put_on, was, strict=True)
        )
        marks.append(replace(mark, put_on=put_on))
    return called(replace(draft, marks=tuple(marks)), lambda code: renamed.get(code, code))


def _name_of(mark: Mark) -> tuple:
    return (mark.family, mark.tag, mark.mask)


def _name_asked(put_on: PutOn) -> tuple:
    return (put_on.family, put_on.tag or None, put_on.mask)
