"""The nests sheet: one row is one pond's nests of one kind on one day."""

from __future__ import annotations

import uuid
from collections import Counter
from dataclasses import replace
from typing import Any

from ponds import nest_book
from ponds.cell_values import Code, Day, PondCode, Text, WholeNumber
from ponds.clutches import ClutchCount, clutch_line, read_clutches
from ponds.farm import the_farm
from ponds.kinds import HOW_TO_ADD_A_KIND
from ponds.models import Kind, NestDay, Pond
from ponds.nest_checks import are_these_more
from ponds.nest_doubts import doubts_about_all, kind_words
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written

# Rows carry no key of their own: it is made of what the row says and how often the sheet has said it,
# so that the same sheet loaded twice records once.
ROW_KEYS = uuid.UUID("7d0c5a2e-5f0b-4a7e-9d4b-3f5f0f6e8b11")
COLUMN_OF = {
    "dug_on": "dug on",
    "nests": "nests",
    "eggs": "eggs",
    "broken": "broken",
    "kind": "kind",
    "note": "note",
}


class Clutches:
    """A line of clutches."""

    shape = "eggs of each nest, such as 9 8 10 (1)"

    def __call__(self, cell: str) -> tuple[ClutchCount, ...]:
        return read_clutches(cell)


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Record every row through the nest book, oldest day first."""
    today = the_farm().today()
    ponds = {pond.code: pond for pond in Pond.objects.all()}
    kinds = {kind.code: kind for kind in Kind.objects.all()}
    said: Counter = Counter()
    bad_rows: list[BadRow] = []
    days: list[NestDay] = []
    of_sheet: list[SheetRow] = []
    counted: dict[uuid.UUID, tuple[ClutchCount, ...]] = {}
    for row in sorted(rows, key=lambda one: (one["dug on"], one.number)):
        pond, kind = ponds.get(row["pond"]), kinds.get(row["kind"])
        if pond is None:
            bad_rows.append(
                row.bad("pond", f"There is no pond {row['pond']}. Look at its code, or add it first.")
            )
            continue
        if kind is None and row["kind"]:
            bad_rows.append(
                row.bad(
                    "kind",
                    f"There is no kind {row['kind']}. Leave it empty where not known. {HOW_TO_ADD_A_KIND}",
                )
            )
            continue
        key = _key_of(row, said)
        counted[key] = row["clutches"] or ()
        of_sheet.append(row)
        days.append(
            NestDay(
                key=key,
                pond=pond,
                kind=kind,
                dug_on=row["dug on"],
                nests=row["nests"],
                eggs=row["eggs"],
                broken=row["broken"],
                note=row["note"] or "",
                by=by,
            )
        )

    def tell(refused: nest_book.NestRefused) -> None:
        row = of_sheet[refused.row or 0]
        bad_rows.append(row.bad(COLUMN_OF.get(refused.field or "", ""), str(refused)))

    asked = doubts_about_all(days)
    written = nest_book.record_all(days, today=today, clutches=counted, tell=tell)
    if bad_rows:
        raise RowsRefused(sorted(bad_rows, key=lambda bad: bad.row))
    is_new = [row is day for row, day in zip(written, days, strict=True)]
    asked = [own + also for own, also in zip(asked, _said_before(of_sheet, days), strict=True)]
    warnings = [
        (row.number, f"Row {row.number}: {question}")
        for row, questions, fresh in zip(of_sheet, asked, is_new, strict=True)
        if fresh
        for question in questions
    ]
    return replace(
        Written.of("new" if fresh else "same" for fresh in is_new),
        warnings=tuple(words for _, words in sorted(warnings, key=lambda one: one[0])),
    )


def _said_before(rows: list[SheetRow], days: list[NestDay]) -> list[tuple[str, ...]]:
    """Ask of each row that says what an earlier one of the sheet has said whether its nests are more."""
    first: dict[tuple, SheetRow] = {}
    asked: list[tuple[str, ...]] = []
    for row, day in zip(rows, days, strict=True):
        earlier = first.setdefault(_content_of(row), row)
        more = are_these_more(
            pond=day.pond.code,
            kind=kind_words(day.kind),
            nests=day.nests,
            held=day.nests,
            where=f"in row {earlier.number} of this sheet",
        )
        asked.append(() if earlier is row else (more,))
    return asked


def _content_of(row: SheetRow) -> tuple:
    content: tuple = (
        row["pond"],
        row["kind"] or "",
        row["dug on"],
        row["nests"],
        row["eggs"],
        row["broken"],
    )
    if row["clutches"]:
        content = (*content, clutch_line(row["clutches"]))
    return content


def _key_of(row: SheetRow, said: Counter) -> uuid.UUID:
    content = _content_of(row)
    said[content] += 1
    return uuid.uuid5(ROW_KEYS, "|".join(str(part) for part in (*content, said[content])))


NESTS_SHEET = Sheet(
    what="nests",
    title="Nest book",
    meaning="One row is one pond's nests of one kind on one day.",
    columns=(
        Column("dug on", True, "The day the nests were found", "2026-05-14", Day()),
        Column("pond", True, "Code of the pond", "A", PondCode()),
        Column("kind", False, "Code of the kind; empty where not known", "red-eared-slider", Code()),
        Column("nests", True, "Nests dug", "14", WholeNumber(0, nest_book.MOST_NESTS)),
        Column("eggs", False, "Eggs picked, broken ones too", "121", WholeNumber(0, 1_000_000)),
        Column("broken", False, "How many of those were broken", "3", WholeNumber(0, 1_000_000)),
        Column(
            "clutches", False, "Nests counted one by one: eggs, broken in brackets", "9 8 10 (1)", Clutches()
        ),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    apply=write_rows,
    rows_stand_alone=True,
)
