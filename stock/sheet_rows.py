"""From a sheet's rows to the ledger and back: keys made of content, and refusals put beside their rows."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from ponds.farm import the_farm
from ponds.sheets import RowsRefused, SheetRow, Written
from ponds.svg_marks import day_text, figure_text
from stock import ledger
from stock.drafts import Draft
from stock.models import Entry, Move
from stock.planning import CLASS_WORDS
from stock.refusals import LedgerRefusal, SeveralRefused

# A row carries no key: it is made of what the row says and how often the sheet has said it, so that the
# same sheet loaded twice posts once.
ROW_KEYS = uuid.UUID("c1f1b0a3-9f5d-4c53-8c55-0a4c0f0c6b77")
# Where a place may stand in a sheet; a line's refusal is about its own two first, a move's about where it was logged.
PLACE_COLUMNS = ("from", "to", "pond")


class RowKeys:
    """Makes the keys of one sheet."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.said: Counter[str] = Counter()

    def key(self, *content: object) -> uuid.UUID:
        text = "|".join(str(part) for part in (self.what, *content))
        self.said[text] += 1
        return uuid.uuid5(ROW_KEYS, f"{text}|{self.said[text]}")


def post_sheet(work: Sequence[tuple[list[SheetRow], Draft]], column_of: dict[str, str], *, by) -> Written:
    """
    Post a sheet's moves as one batch; each comes with the rows it was read from.

    `column_of` maps a refusal's field to the sheet's heading. A refusal of one line is put beside that
    line's row, any other beside the move's first row.
    """
    drafts = [draft for _, draft in work]
    known = set(Move.objects.filter(key__in=[draft.key for draft in drafts]).values_list("key", flat=True))
    try:
        receipts = ledger.record_all(drafts, by=by, today=the_farm().today())
    except SeveralRefused as several:
        raise RowsRefused([_bad(refusal, work, column_of) for refusal in several.refusals]) from None
    except LedgerRefusal as refusal:
        raise RowsRefused([_bad(refusal, work, column_of)]) from None
    written = Written.of("same" if draft.key in known else "new" for draft in drafts)
    opened = _opened()
    warnings = [
        f"Row {rows[0].number}: {sentence}"
        for (rows, draft), receipt in zip(work, receipts, strict=True)
        if not receipt.is_replay
        for sentence in (*_before_opening(draft, opened), *_beyond(receipt), *receipt.warnings)
    ]
    return replace(written, warnings=tuple(warnings))


def _beyond(receipt: ledger.Receipt) -> list[str]:
    return [
        f"{figure_text(beyond.heads)} {beyond.kind} {CLASS_WORDS[beyond.of_class][beyond.heads != 1]} more "
        "than the book holds "
        f"in pond {beyond.pond} on {day_text(receipt.happened_on)}."
        for beyond in receipt.beyond_book
    ]


def _opened() -> dict[tuple[str, str], dt.date]:
    """Return (pond, kind) -> the day its stock was opened: one query."""
    rows = Entry.objects.filter(reason="OPENING", move__reverses=None, move__reversed_by=None)
    return {
        (pond, kind): day
        for pond, kind, day in rows.values_list("target__pond__code", "target__kind__code", "happened_on")
    }


def _before_opening(draft: Draft, opened: dict[tuple[str, str], dt.date]) -> list[str]:
    """Ask about a day before the register began, which an opening has counted already."""
    if draft.made_as == "OPENING" or not opened:
        return []
    day = draft.happened_on
    late = {
        (place, line.kind): opened[place, line.kind]
        for line in draft.lines
        for place in (line.source, line.target)
        if (place, line.kind) in opened and day < opened[place, line.kind]
    }
    if late:
        return [
            f"{day_text(day)} is before the day on which the stock of pond {pond} was opened ({day_text(on)}): what "
            "came or went before that day is in its opening figures already, and would be counted twice."
            for (pond, _), on in sorted(late.items())
        ]
    first = min(opened.values())
    if day < first:
        return [f"{day_text(day)} is before the register's first day, {day_text(first)}."]
    return []


def _bad(refusal: LedgerRefusal, work: Sequence[tuple[list[SheetRow], Draft]], column_of: dict[str, str]):
    rows, _ = work[refusal.draft]
    is_of_line = refusal.line is not None and refusal.line < len(rows)
    row = rows[refusal.line or 0] if is_of_line else rows[0]
    named = PLACE_COLUMNS if is_of_line else PLACE_COLUMNS[::-1]
    column = next(
        (name for name in named if refusal.place and row.values.get(name) == refusal.place),
        column_of.get(refusal.field, ""),
    )
    return row.bad(column, refusal.sentence)
