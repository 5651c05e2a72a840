"""The ponds sheet: one row a pond."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from ponds import units
from ponds.cell_values import Choice, Codes, Day, PondCode, Text, WholeNumber
from ponds.farm import the_farm
from ponds.models import Farm, Pond
from ponds.places import PondDraft, area_fields, change_pond, open_pond, read_area
from ponds.sheets import BadRow, Column, RowsRefused, Sheet, SheetRow, Written
from ponds.svg_marks import day_text
from ponds.unit_cells import FigureWithUnit, Measured

AREA = FigureWithUnit(units.AREA, 0, 10_000_000, "2.5 acres")
COLUMN_OF = {
    "code": "code",
    "name": "name",
    "opened_on": "opened on",
    "water_area_cm2": "water area",
    "bank_area_cm2": "bank area",
    "head_limit": "head limit",
    "kinds_allowed": "kinds",
    "note": "note",
}


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Make the ponds that are new and change those that are there."""
    farm = the_farm()
    known = set(Pond.objects.values_list("code", flat=True))
    today = farm.today()
    words, bad_rows = [], []
    seen: dict[str, int] = {}
    for row in rows:
        if row["code"] in seen:
            bad_rows.append(
                row.bad("code", f"Row {seen[row['code']]} is about the same pond; keep one of them.")
            )
            continue
        seen[row["code"]] = row.number
        if row["opened on"] > today:
            bad_rows.append(row.bad("opened on", f"That day is still to come; today is {day_text(today)}."))
            continue
        try:
            draft = PondDraft(row["code"], _fields(row, farm), _kinds(row))
            if row["code"] in known:
                words.append(change_pond(draft))
            else:
                open_pond(draft, by=by)
                words.append("new")
        except _AreaRefused as refused:
            bad_rows.append(refused.bad_row)
        except ValidationError as refused:
            bad_rows += [
                row.bad(COLUMN_OF.get(name, ""), " ".join(sentences))
                for name, sentences in refused.message_dict.items()
            ]
    if bad_rows:
        raise RowsRefused(bad_rows)
    return Written.of(words)


class _AreaRefused(Exception):
    def __init__(self, bad_row: BadRow) -> None:
        self.bad_row = bad_row
        super().__init__(str(bad_row))


def _kinds(row: SheetRow) -> tuple[str, ...] | None:
    return (row["kinds"] or ()) if row.has("kinds") else None


def _fields(row: SheetRow, farm: Farm) -> dict[str, Any]:
    fields: dict[str, Any] = {"opened_on": row["opened on"]}
    for column in ("name", "note"):
        if row.has(column):
            fields[column] = row[column] or ""
    if row.has("head limit"):
        fields["head_limit"] = row["head limit"]
    for column in ("water area", "bank area"):
        if not row.has(column):
            continue
        typed = row[column] or Measured("", "")
        if typed.unit and row["area unit"] and typed.unit != row["area unit"]:
            said = units.symbol(row["area unit"])
            raise _AreaRefused(
                row.bad(column, f"The column “area unit” says {said} here; write one of the two.")
            )
        try:
            area = read_area(typed.figure, typed.unit or row["area unit"] or farm.area_unit)
        except ValueError as refused:
            raise _AreaRefused(row.bad(column, str(refused))) from None
        fields |= area_fields(column.replace(" ", "_"), area)
    return fields


PONDS_SHEET = Sheet(
    what="ponds",
    title="Ponds",
    meaning="One row is one pond. A code that is there already changes that pond.",
    columns=(
        Column("code", True, "Letter on the map filed with the licence; never used again", "A", PondCode()),
        Column("opened on", True, "First day it held water and turtles", "2019-03-01", Day()),
        Column("name", False, "What you call it", "Old Levee", Text(60)),
        Column("water area", False, "Water at the usual level", "2.5", AREA),
        Column("bank area", False, "Laying bank inside the fence", "0.2", AREA),
        Column(
            "area unit",
            False,
            "Unit of both areas; the farm's own when empty",
            "acres",
            Choice([*Farm.AreaUnit.choices, ("ACRE", "acre"), ("HECTARE", "ha"), ("SQUARE_METER", "m2")]),
        ),
        Column("head limit", False, "Most heads, counted as sliders", "8000", WholeNumber(1, 1_000_000)),
        Column(
            "kinds", False, "Codes of the kinds it is for; any kind when empty", "red-eared-slider", Codes()
        ),
        Column("note", False, "Anything worth knowing", "", Text(4000)),
    ),
    apply=write_rows,
    rows_stand_alone=True,
)
