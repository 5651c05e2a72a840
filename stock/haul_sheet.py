"""The hauls sheet: what past hauls brought, all of it put back but for the dead in the net."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ponds.cell_values import Choice, Code, Day, Number, PondCode, Text, WholeNumber, YesNo
from ponds.sheets import Column, RowsRefused, Sheet, SheetRow, Written
from stock.drafts import MOST_HEADS, CatchLine, Draft, HaulDraft, Line
from stock.models import Haul, HeadClass
from stock.sheet_rows import RowKeys, post_sheet

COLUMN_OF = {"happened_on": "day", "kind": "kind", "pond": "pond", "caught": "caught", "heads": "dead in net"}


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Post each haul as a move at the bank; rows of one day, pond and "haul" are one haul."""
    keys = RowKeys("hauls")
    hauls: dict[tuple[dt.date, str, str], list[SheetRow]] = {}
    for row in rows:
        hauls.setdefault((row["day"], row["pond"], row["haul"] or ""), []).append(row)
    work, bad_rows = [], []
    for (day, pond, _), group in hauls.items():
        if len({row["method"] for row in group}) > 1:
            bad_rows.append(group[1].bad("method", "One haul is made one way; these rows name several."))
        if len({row["effort"] for row in group if row["effort"] is not None}) > 1:
            bad_rows.append(group[1].bad("effort", "One haul has one effort; these rows name several."))
        cells = [(row["kind"], row["class"]) for row in group]
        for row, cell in zip(group, cells, strict=True):
            if cells.count(cell) > 1:
                bad_rows.append(row.bad("class", "This kind and class stand twice in one haul; add them up."))
        work.append((group, _draft(day, pond, group, keys)))
    if bad_rows:
        raise RowsRefused(bad_rows)
    return post_sheet(work, COLUMN_OF, by=by)


def _draft(day: dt.date, pond: str, group: list[SheetRow], keys: RowKeys) -> Draft:
    catch = tuple(
        CatchLine(
            kind=row["kind"],
            of_class=row["class"],
            caught=row["caught"],
            carrying_marks=row["carrying marks"],
            newly_marked=row["newly marked"],
            dead_in_net=row["dead in net"],
        )
        for row in group
    )
    lines = tuple(
        Line(row["kind"], row["class"], pond, "DIED", row["dead in net"], cause="DROWNED")
        for row in group
        if row["dead in net"]
    )
    # A column that came later is part of the key only where it says something: an older sheet keeps its keys.
    content = [row.text(name) for row in group for name in FIRST_COLUMNS]
    content += [effort for row in group if (effort := row.text("effort"))]
    efforts = [row for row in group if row["effort"] is not None]
    return Draft(
        key=keys.key(*content),
        happened_on=day,
        lines=lines,
        made_as="BANK",
        pond=pond,
        note=" ".join(dict.fromkeys(row["note"] for row in group if row["note"])),
        haul=HaulDraft(
            method=group[0]["method"],
            lines=catch,
            effort=float(efforts[0]["effort"]) if efforts else None,
            effort_typed=efforts[0].text("effort") if efforts else "",
            is_complete=any(row["complete"] for row in group),
            is_held_out=any(row["held out"] for row in group),
        ),
    )


HAULS_SHEET = Sheet(
    what="hauls",
    title="Hauls",
    meaning="One row is the catch of one kind and class in one haul; rows of one day, pond and “haul” belong together.",
    columns=(
        Column("day", True, "The day of the haul", "2026-03-14", Day()),
        Column("pond", True, "Code of the pond", "A", PondCode()),
        Column("haul", False, "A word or number that tells hauls of one day apart", "1", Text(40)),
        Column("method", True, "Seine, traps or drain-down", "seine", Choice(Haul.Method.choices)),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("class", True, "Female, male, unsexed or juvenile", "female", Choice(HeadClass.choices)),
        Column("caught", True, "Heads caught, the dead among them", "212", WholeNumber(0, MOST_HEADS)),
        Column(
            "carrying marks",
            False,
            "How many of them carried marks; 0 where none did, empty where nobody looked",
            "0",
            WholeNumber(0, MOST_HEADS),
        ),
        Column("newly marked", False, "How many were marked now", "0", WholeNumber(0, MOST_HEADS), 0),
        Column("dead in net", False, "How many were dead in the net", "0", WholeNumber(0, MOST_HEADS), 0),
        Column("complete", False, "Drained to the last head", "no", YesNo(), False),
        Column("held out", False, "Held out until the last haul", "no", YesNo(), False),
        Column("effort", False, "Net drags, or trap-nights, of the haul", "4", Number(0.001, 100_000)),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    makes=("haul", "hauls"),
    apply=write_rows,
)
FIRST_COLUMNS = tuple(column.name for column in HAULS_SHEET.columns if column.name != "effort")
