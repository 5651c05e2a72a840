"""The moves sheet: past moves from a notebook; rows of one day with the same "move" are one move."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ponds.cell_values import Choice, Code, Day, PondCode, Text, WholeNumber
from ponds.names import name_key
from ponds.sheets import Column, RowsRefused, Sheet, SheetRow, Written
from stock.drafts import (
    CLASSES,
    MOST_HEADS,
    SOURCES_OUTSIDE,
    TARGETS_OUTSIDE,
    BatchDraft,
    Draft,
    Line,
    PaperDraft,
)
from stock.models import Batch, Cause, HeadClass
from stock.sheet_rows import RowKeys, post_sheet

COLUMN_OF = {
    "happened_on": "day", "kind": "kind", "pond": "pond", "target": "to", "heads": "heads",
    "batch": "batch", "cause": "cause", "note": "note",
}  # fmt: skip


class Place:
    """A pond's code, or an outside place such as sold."""

    def __init__(self, outside: tuple[str, ...]) -> None:
        self.outside = outside

    @property
    def shape(self) -> str:
        return f"pond code, or {', '.join(word.lower() for word in self.outside)}"

    def __call__(self, cell: str) -> str:
        word = name_key(cell).upper()
        if word in self.outside:
            return word
        try:
            return PondCode()(cell)
        except ValueError:
            raise ValueError(f"{cell} is not a {self.shape}.") from None


def write_rows(rows: list[SheetRow], *, by: Any = None) -> Written:
    """Post the sheet's moves through the ledger, checked as one batch after sorting by day."""
    keys = RowKeys("moves")
    moves: dict[tuple[dt.date, str], list[SheetRow]] = {}
    for row in rows:
        name = row["move"] or f"row {row.number}"
        moves.setdefault((row["day"], name), []).append(row)
    work, bad_rows = [], []
    for (day, _), group in moves.items():
        logged = {row["pond"] for row in group if row["pond"]}
        if len(logged) > 1:
            bad_rows.append(group[1].bad("pond", "One move is logged at one pond; these rows name several."))
            continue
        work.append((group, _draft(day, group, logged.pop() if logged else "", keys)))
    if bad_rows:
        raise RowsRefused(bad_rows)
    return post_sheet(work, COLUMN_OF, by=by)


def _draft(day: dt.date, group: list[SheetRow], pond: str, keys: RowKeys) -> Draft:
    lines, batches, papers = [], [], []
    for row in group:
        comes_in = row["from"] in SOURCES_OUTSIDE
        batch = (row["batch"] or f"{row['from']}-{day:%Y%m%d}-{row['to']}"[:24]) if comes_in else ""
        paper = PaperDraft(
            party=row["seller or buyer"] or "", licence=row["licence"] or "", document=row["document"] or ""
        )
        if comes_in:
            batches.append(
                BatchDraft(
                    code=batch,
                    source=row["from"],
                    arrived_on=day,
                    party=paper.party,
                    generation=row["generation"] or "NOT_KNOWN",
                    paper=paper if paper.says_something else None,
                )
            )
        elif paper.says_something:
            papers.append(paper)
        lines.append(
            Line(
                kind=row["kind"],
                of_class=row["class"],
                source=row["from"],
                target=row["to"],
                heads=row["heads"],
                to_class=row["becomes"] or "",
                cause=row["cause"] or ("NOT_KNOWN" if row["to"] == "DIED" else ""),
                batch=batch,
            )
        )
    content = [row.text(column.name) for row in group for column in MOVES_SHEET.columns]
    return Draft(
        key=keys.key(*content),
        happened_on=day,
        lines=tuple(lines),
        made_as="BANK",
        pond=pond,
        note=" ".join(dict.fromkeys(row["note"] for row in group if row["note"])),
        batches=tuple(batches),
        papers=tuple(dict.fromkeys(papers)),
    )


_CLASSES = Choice([(of_class, label) for of_class, label in HeadClass.choices if of_class in CLASSES])

MOVES_SHEET = Sheet(
    what="moves",
    title="Moves",
    meaning="One row is so many heads from one place to another; rows with the same day and “move” are one move.",
    columns=(
        Column("day", True, "The day it happened", "2026-05-14", Day()),
        Column("move", False, "A word or number that ties rows of one day into one move", "1", Text(40)),
        Column("pond", False, "The pond it was logged at", "A", PondCode()),
        Column("kind", True, "Code of the kind", "red-eared-slider", Code()),
        Column("class", True, "Female, male, unsexed or juvenile", "female", _CLASSES),
        Column("from", True, "Pond, or where they came from", "A", Place(SOURCES_OUTSIDE)),
        Column("to", True, "Pond, or what became of them", "sold", Place(TARGETS_OUTSIDE)),
        Column("heads", True, "How many", "12", WholeNumber(1, MOST_HEADS)),
        Column("becomes", False, "The class afterwards, where they were sexed or matured", "", _CLASSES),
        Column("cause", False, "Cause of death, where they died", "", Choice(Cause.choices)),
        Column(
            "batch", False, "Code of the batch, where they came from outside; made if empty", "", Text(24)
        ),
        Column("seller or buyer", False, "Who they came from or went to", "", Text(120)),
        Column("licence", False, "The seller's or buyer's licence number", "", Text(60)),
        Column("document", False, "Document and its number", "", Text(120)),
        Column("generation", False, "Of what came in", "", Choice(Batch.Generation.choices)),
        Column("note", False, "Anything worth knowing", "", Text(300)),
    ),
    makes=("move", "moves"),
    rows_stand_alone=True,
    apply=write_rows,
)
