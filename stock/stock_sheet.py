"""The stock sheet: what stood in each pond when the register was opened, and how it is known."""

from __future__ import annotations

from typing import Any

from ponds.cell_values import Choice, Code, Day, Number, PondCode, Text, WholeNumber
from ponds.sheets import Column, RowsRefused, Sheet, SheetRow, Written
from stock import ledger
from stock.drafts import MOST_HEADS, BatchDraft, PaperDraft
from stock.models import Batch, Count, Entry
from stock.sheet_rows import RowKeys, post_sheet

CLASS_COLUMNS = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}
PLUS_OR_MINUS = {of_class: f"{name} plus or minus" for of_class, name in CLASS_COLUMNS.items()}
COLUMN_OF = {"happened_on": "day", "kind": "kind", "target": "pond", "pond": "pond", "batch": "batch"}


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Open each row's pond and kind through the ledger: its first count, and the heads behind it."""
    keys = RowKeys("stock")
    work, bad_rows = [], []
    opened = set(
        Entry.objects.filter(
            reason="OPENING", target__pond__isnull=False, move__reverses=None, move__reversed_by=None
        ).values_list("target__pond__code", "target__kind__code")
    )
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        where = (row["pond"], row["kind"])
        if where in seen:
            bad_rows.append(
                row.bad("kind", f"Pond {where[0]} and this kind stand in row {seen[where]} already.")
            )
            continue
        seen[where] = row.number
        heads = {of_class: row[name] for of_class, name in CLASS_COLUMNS.items() if row[name] is not None}
        if not heads:
            bad_rows.append(row.bad("females", "No heads of any class: write 0 where there are none."))
            continue
        key = keys.key(*(row.text(column.name) for column in STOCK_SHEET.columns))
        draft = ledger.opening_draft(
            pond=row["pond"],
            kind=row["kind"],
            day=row["day"],
            heads=heads,
            how_known=row["how known"],
            plus_or_minus={
                of_class: float(row[name])
                for of_class, name in PLUS_OR_MINUS.items()
                if row[name] is not None
            },
            batch=BatchDraft(
                code=row["batch"] or f"OPEN-{row['pond']}-{row['kind']}"[:24],
                source="OPENING",
                arrived_on=row["day"],
                party=row["from"] or "",
                generation=row["generation"] or "NOT_KNOWN",
                note="" if row["from"] or row["document"] else "Origin not known, before the register.",
                paper=PaperDraft(party=row["from"] or "", document=row["document"])
                if row["document"]
                else None,
            ),
            key=key,
            note=row["note"] or "",
        )
        if where in opened and not Count.objects.filter(move__key=key).exists():
            bad_rows.append(
                row.bad(
                    "pond", f"Pond {where[0]} was opened with this kind already; correct that move instead."
                )
            )
            continue
        work.append(([row], draft))
    if bad_rows:
        raise RowsRefused(bad_rows)
    return post_sheet(work, COLUMN_OF, by=by)


def _heads_columns() -> tuple[Column, ...]:
    heads = WholeNumber(0, MOST_HEADS)
    columns = []
    for of_class, name in CLASS_COLUMNS.items():
        columns.append(Column(name, False, f"Adult {name} standing" if of_class != "JUVENILE" else
                              "Juveniles standing, not yet breeding size", "300", heads))  # fmt: skip
        columns.append(
            Column(
                PLUS_OR_MINUS[of_class],
                False,
                f"How far off the number of {name} may be, either way (19 times in 20)",
                "20",
                Number(0, MOST_HEADS),
            )
        )
    return tuple(columns)


STOCK_SHEET = Sheet(
    what="stock",
    title="Opening stock",
    meaning="One row is what stood in one pond of one kind on the day the register was opened there.",
    columns=(
        Column("pond", True, "Code of the pond", "A", PondCode()),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("day", True, "The day it stood so", "2026-03-01", Day()),
        *_heads_columns(),
        Column("how known", True, "Drained, seined, from the notebook, or a guess", "from the notebook",
               Choice(Count.HowKnown.choices)),
        Column("batch", False, "A code for these heads' origin; made if empty", "", Text(24)),
        Column("from", False, "Seller or place they came from, if known", "", Text(120)),
        Column("generation", False, "Wild, first generation raised, second or later, or not known", "",
               Choice(Batch.Generation.choices)),
        Column("document", False, "Paper that shows where they came from", "", Text(120)),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    apply=write_rows,
    rows_stand_alone=True,
)  # fmt: skip
