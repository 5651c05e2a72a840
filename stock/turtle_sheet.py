"""The turtles sheet: marked turtles with their codes, tags, sex, origin and measures, all rows or none.

One row is one turtle in hand on one day. A row whose notch code, tag or number the register (or a row above) has
already is the same turtle met again: its measures are written, and what marks and sex it tells that are not known yet.
Rows that write the same word under "animal" are one animal, whatever its marks can tell.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from typing import Any

from ponds.cell_values import Choice, Code, Day, PondCode, Text, WholeNumber, YesNo
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written
from ponds.units import UnitRefused
from stock.drafts import Draft, MarkDraft, PutOn
from stock.marks import notch
from stock.marks.measures import DEFINITIONS, UNITS_OF, Typed, read_measure
from stock.marks.sexes import CERTAINTIES, INDETERMINATE, METHODS, SEXES, check_certainty
from stock.models import HeadClass, MarkStep, Turtle
from stock.sheet_rows import RowKeys, post_sheet
from stock.turtle_sheet_find import find
from stock.turtle_sheet_lines import Line, Name, TagCell, read_notches
from stock.turtle_sheet_write import (
    asked,
    check_ponds,
    not_yet_measured,
    note_other_ponds,
    note_sexes,
    put_marks,
    write_measures,
)

MEASURE_COLUMNS = {
    "SCL_MAX": "carapace length",
    "SCL_MID": "carapace length midline",
    "PL_MAX": "plastron length",
    "PL_MID": "plastron length midline",
    "CW": "carapace width",
    "SH": "shell height",
    "TAIL": "tail to vent",
    "CLAW": "third claw",
    "MASS": "mass",
}
COLUMN_OF = {
    "happened_on": "day",
    "kind": "kind",
    "pond": "pond",
    "mark": "notch",
    "sex": "sex",
    "batch": "batch",
}
# Columns that came later: rows without them keep the keys they had.
_LATER = ("paint", "animal")


@dataclass(frozen=True)
class MeasureCell:
    """A measure of one definition, a unit behind it or mm and g."""

    code: str

    @property
    def shape(self) -> str:
        symbols = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}
        units = [symbols[one] for one in UNITS_OF[DEFINITIONS[self.code].quantity]]
        return f"number, {units[0]} unless one of {', '.join(units[1:])} stands behind it"

    def __call__(self, cell: str) -> Typed:
        try:
            return read_measure(self.code, cell)
        except UnitRefused as refused:
            raise ValueError(str(refused)) from None


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Mark new turtles through the ledger, and write the further marks, sexes and measures of all."""
    keys = RowKeys("turtles")
    bad_rows: list[BadRow] = []
    lines = [line for row in rows if (line := _line(row, keys, bad_rows)) is not None]
    lines.sort(key=lambda line: line.row["day"])
    # Whatever was refused by now, the other rows are tried, so that all faults are told at once; a refusal writes none.
    find(lines, bad_rows)
    lines = _without(bad_rows, lines)
    check_ponds(lines, bad_rows)
    lines = _without(bad_rows, lines)
    note_other_ponds(lines)
    fresh = [line for line in lines if line.turtle is None and line.first is None]
    for line in fresh:
        line.draft = _draft(line)
    try:
        written = post_sheet([([line.row], line.draft) for line in fresh if line.draft], COLUMN_OF, by=by)
    except RowsRefused as refused:
        raise RowsRefused([*bad_rows, *refused.bad_rows]) from None
    made = _made(fresh)
    for line in lines:
        line.turtle = line.turtle or made[(line.first or line).marked_by]
    left = not_yet_measured(lines)
    new = put_marks(lines, bad_rows, by=by) | note_sexes(lines, bad_rows, by=by)
    new |= write_measures(left, bad_rows, by=by)
    if bad_rows:
        raise RowsRefused(bad_rows)
    again = [line.key in new for line in lines if line.draft is None]
    return replace(
        written,
        new=written.new + again.count(True),
        same=written.same + again.count(False),
        warnings=(*written.warnings, *asked(left)),
    )


def _without(bad_rows: list[BadRow], lines: list[Line]) -> list[Line]:
    """Return the lines that nothing is wrong with, nor with the row that makes their turtle."""
    bad = {bad.row for bad in bad_rows}
    return [line for line in lines if not bad & {line.row.number, (line.first or line).row.number}]


def _line(row: SheetRow, keys: RowKeys, bad_rows: list[BadRow]) -> Line | None:
    """Read one row's marks and sex; what is wrong is added to `bad_rows`."""
    found = len(bad_rows)
    put_on: list[PutOn] = []
    names: list[Name] = []
    is_conflict, site, notes = row["conflict"], row["site"] or "", []
    if row["notch"]:
        scheme = notch.SCHEMES[row["notch scheme"] or "NA16"]
        try:
            mask = read_notches(scheme, row["notch"])
        except ValueError as refused:
            bad_rows.append(row.bad("notch", str(refused)))
        else:
            put_on.append(PutOn("NOTCH", scheme=scheme.key, mask=mask, is_conflict=is_conflict))
            names.append(("NOTCH", row["kind"], mask))
    if row["tag"]:
        put_on.append(
            PutOn("TAG", family=row["tag"].family, tag=row["tag"].code, site=site, is_conflict=is_conflict)
        )
        names.append(("TAG", row["tag"].family, row["tag"].code))
        notes = [str(note) for note in row["tag"].notes]
    for form, text in (("PAINT", row["paint"]), ("OTHER", row["other mark"])):
        if text:
            put_on.append(PutOn(form, text=text, site=site))
    if not put_on and not row["turtle"] and not row["notch"] and not row["animal"]:
        bad_rows.append(
            row.bad("notch", "A marked turtle carries a mark: give a notch code, a tag, or another.")
        )
    if len(bad_rows) > found:
        return None
    said = [row.text(column.name) for column in TURTLES_SHEET.columns if column.name not in _LATER]
    key = keys.key(*said, *(f"{name}={row.text(name)}" for name in _LATER if row.text(name)))
    typed = tuple(row[name] for name in MEASURE_COLUMNS.values() if row[name] is not None)
    line = Line(row, key, tuple(put_on), tuple(names), typed, notes=notes)
    _check_sex(line, bad_rows)
    return line if len(bad_rows) == found else None


def _check_sex(line: Line, bad_rows: list[BadRow]) -> None:
    """See that class, sex, method and certainty of a row go together; what was booked of an animal may differ."""
    row, sex = line.row, line.sex
    try:
        check_certainty(sex.sex, sex.method, sex.certainty)
    except ValueError as refused:
        bad_rows.append(row.bad("certainty" if row["certainty"] else "sex", str(refused)))
    if line.animal:
        return
    if row["class"] in ("FEMALE", "MALE") and sex.sex not in (row["class"], INDETERMINATE):
        bad_rows.append(
            row.bad("sex", f"The class is {row['class'].lower()} and the sex {SEXES[sex.sex]}: mend one.")
        )


def _draft(line: Line) -> Draft:
    row = line.row
    sex = line.sex
    mark = MarkDraft(
        "+1",
        row["kind"],
        row["class"],
        row["pond"],
        put_on=line.put_on,
        sex=sex if sex.sex != INDETERMINATE or row["sex"] else None,
        batch=row["batch"] or "",
    )
    return Draft(
        key=line.marked_by,
        happened_on=row["day"],
        pond=row["pond"],
        marks=(mark,),
        note="" if line.animal else row["note"] or "",
    )


def _made(fresh: list[Line]) -> dict[uuid.UUID, Turtle]:
    """Return the turtles that these rows made, by the key of the row."""
    steps = MarkStep.objects.filter(move__key__in=[line.marked_by for line in fresh], how="MARKED")
    return {step.move.key: step.turtle for step in steps.select_related("move", "turtle__kind")}


def _measure_columns() -> tuple[Column, ...]:
    examples = {"SCL_MAX": "203", "MASS": "1.4 kg"}
    return tuple(
        Column(name, False, DEFINITIONS[code].meaning, examples.get(code, ""), MeasureCell(code))
        for code, name in MEASURE_COLUMNS.items()
    )


TURTLES_SHEET = Sheet(
    what="turtles",
    title="Marked turtles",
    meaning="One row is one marked turtle in hand on one day; a mark that is known already is the same turtle again.",
    columns=(
        Column("day", True, "The day it was marked or met", "2026-03-14", Day()),
        Column("pond", True, "Code of the pond it was in", "A", PondCode()),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("class", True, "Female, male, unsexed or juvenile", "female", Choice(HeadClass.choices)),
        Column("turtle", False, "Its number in the register, if it has one", "", WholeNumber(1, 10**9)),
        Column("notch", False, "Notch code as its scheme writes it", "BKO", Text(40)),
        Column("notch scheme", False, "NA16 if empty", "NA16", Choice([(key, key) for key in notch.SCHEMES])),
        Column("tag", False, "Microchip or other tag, as printed or sent", "985113007399202", TagCell()),
        Column("other mark", False, "Any other mark, in words", "", Text(40)),
        Column("paint", False, "A mark in paint, in words", "", Text(40)),
        Column("animal", False, "Any word; rows with the same word are one animal", "", Text(40)),
        Column("site", False, "Where on the body tag or mark is", "left hind leg", Text(40)),
        Column("conflict", False, "Yes if another turtle carries the same code", "no", YesNo(), False),
        Column(
            "sex",
            False,
            "Female, male or not to be told; the class if empty",
            "female",
            Choice(SEXES.items()),
        ),
        Column("sex method", False, "How it was told", "foreclaws", Choice(METHODS.items())),
        Column("certainty", False, "Certain, probable or doubtful", "probable", Choice(CERTAINTIES.items())),
        Column("batch", False, "Code of the batch it came with", "", Text(24)),
        *_measure_columns(),
        Column("measured by", False, "Who measured", "", Text(150)),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    makes=("row about a turtle", "rows about turtles"),
    apply=write_rows,
    rows_stand_alone=True,
)
