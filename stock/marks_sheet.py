"""The marks sheet: every mark that a turtle carries or carried, and what became of it, a row for each.

It comes after the turtles sheet, whose animals it names; marks that the register has already are not put on again.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from ponds.cell_values import Choice, Day, Text, WholeNumber, YesNo
from ponds.farm import the_farm
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written
from stock import turtle_book
from stock.drafts import PutOn
from stock.mark_ends import that_hold
from stock.marks import notch
from stock.models import Mark, MarkEvent, Turtle
from stock.refusals import LedgerRefusal
from stock.sheet_rows import RowKeys
from stock.turtle_sheet_find import called_so
from stock.turtle_sheet_lines import TagCell, carried, read_notches

PUT_ON = "PUT_ON"
LONGEST_WORDS = 40
FORMS = (("NOTCH", "notch"), ("TAG", "tag"), ("PAINT", "paint"), ("OTHER", "other mark"))
BECAME = ((PUT_ON, "put on"), *MarkEvent.What.choices)
OF_NOTCHES = (MarkEvent.What.WORN, MarkEvent.What.RENEWED)
Key = tuple[int, str, Any, dt.date]


@dataclass
class MarkLine:
    """One row, read: the mark it is about, whose it is once that is known, and what became of it."""

    row: SheetRow
    key: uuid.UUID
    put_on: PutOn
    faint_mask: int | None
    turtle: Turtle | None = None

    @property
    def day(self) -> dt.date:
        """The day of what became of the mark."""
        return self.row["day"] or self.row["put on"]

    @property
    def of(self) -> Key:
        """What its mark is found by: whose it is, what it is, and the day it was put on."""
        return (self.turtle.pk if self.turtle else 0, *carried(self.put_on), self.row["put on"])


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Put on the marks that are not on their turtles yet, then write what became of all, in the order of days."""
    keys, bad_rows = RowKeys("marks"), list[BadRow]()
    lines = [line for row in rows if (line := _line(row, keys, bad_rows)) is not None]
    _find(lines, bad_rows)
    # Whatever was refused by now, the other rows are tried, so that all faults are told at once; a refusal writes none.
    found = {line.turtle.pk for line in lines if line.turtle is not None}
    marks = {
        (mark.turtle_id, *carried(mark), mark.put_on_on): mark
        for mark in Mark.objects.filter(turtle__in=found)
    }
    new = _put_on(lines, marks, bad_rows, by=by)
    # What became of a mark that could not be put on is no fault of its own.
    able = [line for line in lines if line.of in marks]
    new |= _note(able, marks, bad_rows, by=by)
    if bad_rows:
        raise RowsRefused(bad_rows)
    return Written.of("new" if line.key in new else "same" for line in lines)


def _line(row: SheetRow, keys: RowKeys, bad_rows: list[BadRow]) -> MarkLine | None:
    """Read one row; all that is wrong with it is added to `bad_rows`."""
    found = len(bad_rows)
    form, code, site = row["mark"], row["code"], row["site"] or ""
    given: dict[str, Any] = {"note": row["note"] or "" if row["what"] == PUT_ON else ""}
    try:
        if form == "NOTCH":
            scheme = notch.SCHEMES[row["notch scheme"] or "NA16"]
            given |= {"scheme": scheme.key, "mask": read_notches(scheme, code)}
        elif form == "TAG":
            tag = TagCell()(code)
            given |= {"family": tag.family, "tag": tag.code, "site": site}
        else:
            given |= {"text": Text(LONGEST_WORDS)(code), "site": site}
    except ValueError as refused:
        bad_rows.append(row.bad("code", str(refused)))
    faint = _faint(row, given.get("mask"), bad_rows)
    if not row["animal"] and not row["turtle"]:
        bad_rows.append(
            row.bad(
                "animal", "Say whose mark it is: the word of the turtles sheet, or its number under turtle."
            )
        )
    if row["what"] != PUT_ON and row["day"] is None:
        bad_rows.append(row.bad("day", "Give the day on which this became of the mark."))
    if row["what"] in OF_NOTCHES and form != "NOTCH":
        bad_rows.append(row.bad("what", "Only notches are notched again or read with doubt."))
    if row["day"] is not None and row["day"] < row["put on"]:
        bad_rows.append(row.bad("day", "This is before the day on which the mark was put on."))
    if len(bad_rows) > found:
        return None
    key = keys.key(*(row.text(column.name) for column in MARKS_SHEET.columns))
    return MarkLine(row, key, PutOn(form, is_conflict=row["conflict"], **given), faint)


def _faint(row: SheetRow, mask: int | None, bad_rows: list[BadRow]) -> int | None:
    """Read the scutes that were faint; they must be of the mark."""
    if not row["faint"]:
        return None
    try:
        faint = notch.mask_of(notch.parse_positions(row["faint"]))
    except ValueError as refused:
        bad_rows.append(row.bad("faint", str(refused)))
        return None
    if row["what"] not in OF_NOTCHES:
        bad_rows.append(row.bad("faint", turtle_book.FAINT_OF_READ))
    elif mask and faint & ~mask:
        bad_rows.append(row.bad("faint", "Only scutes that are notched by this code can be faint."))
    return faint


def _find(lines: list[MarkLine], bad_rows: list[BadRow]) -> None:
    """Say of each row whose mark it is: three queries."""
    named = called_so({line.row["animal"] for line in lines if line.row["animal"]})
    by_number = Turtle.objects.select_related("kind").in_bulk(
        {line.row["turtle"] for line in lines if line.row["turtle"]}
    )
    for line in lines:
        row = line.row
        told = by_number.get(row["turtle"] or 0), named.get(row["animal"] or "")
        line.turtle = told[0] or told[1]
        if row["turtle"] and told[0] is None:
            bad_rows.append(row.bad("turtle", f"There is no turtle {row['turtle']}."))
        elif line.turtle is None:
            bad_rows.append(
                row.bad(
                    "animal",
                    "The register has no animal of this name. Load the turtles sheet it came with first, or write its "
                    "number under turtle.",
                )
            )
        elif None not in told and told[0] != told[1]:
            bad_rows.append(
                row.bad("turtle", f"{row['animal']} is turtle {told[1].pk}: mend the one or the other.")  # type: ignore[union-attr]
            )


def _put_on(
    lines: Collection[MarkLine], marks: dict[Key, Mark], bad_rows: list[BadRow], *, by: Any
) -> set[uuid.UUID]:
    """Put on what is not on its turtle yet, and add it to `marks`; return the keys of those rows."""
    today, new, refused_of = the_farm().today(), set[uuid.UUID](), set[Key]()
    # The row that tells of its putting on says the note; one that is not there is no reason to leave the mark out.
    for line in sorted(lines, key=lambda one: (one.row["put on"], one.row["what"] != PUT_ON)):
        if line.turtle is None or line.of in marks or line.of in refused_of:
            continue
        key = uuid.uuid5(line.key, "mark")
        try:
            marks[line.of] = turtle_book.put_mark(
                line.turtle, line.put_on, day=line.row["put on"], by=by, today=today, key=key
            )
        except LedgerRefusal as refused:
            refused_of.add(line.of)
            bad_rows.append(line.row.bad("put on" if refused.field == "day" else "code", str(refused)))
        new.add(line.key)
    return new


def _note(
    lines: Collection[MarkLine], marks: dict[Key, Mark], bad_rows: list[BadRow], *, by: Any
) -> set[uuid.UUID]:
    """Write what became of the marks and is not written yet; return the keys of those rows."""
    today, new = the_farm().today(), set[uuid.UUID]()
    events = that_hold(MarkEvent.objects.filter(mark__in=[mark.pk for mark in marks.values()]))
    has = set(events.values_list("mark", "what", "happened_on", "faint_mask"))
    for line in sorted(lines, key=lambda one: one.day):
        what, mark = line.row["what"], marks[line.of]
        if what == PUT_ON or (event := (mark.pk, what, line.day, line.faint_mask)) in has:
            continue
        has.add(event)
        try:
            turtle_book.note_mark(
                mark,
                what,
                key=uuid.uuid5(line.key, "event"),
                day=line.day,
                by=by,
                today=today,
                faint_mask=line.faint_mask,
                note=line.row["note"] or "",
            )
        except LedgerRefusal as refused:
            bad_rows.append(line.row.bad("day" if refused.field == "day" else "what", str(refused)))
        new.add(line.key)
    return new


MARKS_SHEET = Sheet(
    what="marks",
    title="Marks of turtles",
    meaning="One row is a mark put on, or what became of it on a day; the turtles sheet comes first.",
    columns=(
        Column("animal", False, "What the turtles sheet that went out calls it", "T-7-3fa85f64", Text(40)),
        Column("turtle", False, "Its number in the register, if it has one", "", WholeNumber(1, 10**9)),
        Column("mark", True, "Notch, tag, paint or other mark", "tag", Choice(FORMS)),
        Column("code", True, "As its scheme writes it, as printed, or in words", "985113007399202", Text(80)),
        Column("notch scheme", False, "NA16 if empty", "", Choice([(key, key) for key in notch.SCHEMES])),
        Column("site", False, "Where on the body tag or mark is", "left hind leg", Text(40)),
        Column("conflict", False, "Yes if another turtle carries the same code", "no", YesNo(), False),
        Column("put on", True, "The day it was put on", "2026-03-14", Day()),
        Column("what", False, "What became of it; put on if empty", "lost or failed", Choice(BECAME), PUT_ON),
        Column("day", False, "The day on which that was seen", "2026-05-02", Day()),
        Column("faint", False, "Notches that were faint, by their scutes", "", Text(80)),
        Column("note", False, "Why, or anything worth knowing", "", Text(300)),
    ),
    makes=("row about a mark", "rows about marks"),
    apply=write_rows,
    rows_stand_alone=True,
)
