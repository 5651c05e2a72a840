"""The demo farm's CSV files as drafts for the ledger. Reads files, touches no database."""

from __future__ import annotations

import csv
import datetime as dt
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ponds import units
from stock.demo_days import DemoDays, is_just_logged
from stock.drafts import Z_95, BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line, PaperDraft
from stock.ledger import opening_draft

KEYS = uuid.UUID("b6a8b1c4-5f7e-4c55-9f43-0a54be7d2a10")
CLASSES = ("females", "males", "unsexed", "juveniles")
CLASS_OF = {"females": "FEMALE", "males": "MALE", "unsexed": "UNSEXED", "juveniles": "JUVENILE"}
GENERATIONS = {
    "": "NOT_KNOWN",
    "not known": "NOT_KNOWN",
    "wild": "WILD",
    "first": "FIRST",
    "second": "SECOND",
}
LATE = "late-"
# Plus-or-minus is a 95 % half-width.

Row = Mapping[str, str]


@dataclass(frozen=True)
class DemoMove:
    """
    One move of the demo farm.

    Parameters
    ----------
    name : str
        As the files call it; "late-..." came to light after its month was closed.
    by : str
        Who signs it.
    draft : Draft
        What is asked of the ledger.
    is_just_logged : bool
        One of the last few days', which the owner has not looked at yet.
    """

    name: str
    by: str
    draft: Draft
    is_just_logged: bool

    @property
    def is_late(self) -> bool:
        return self.name.startswith(LATE)


@dataclass(frozen=True)
class Mend:
    """A move that is taken back ("reverse"), or whose one line is put right to so many heads ("correct")."""

    move: str
    mend: str
    heads: int | None
    by: str
    note: str


class DemoSheets:
    """The files of one folder, read for one day of loading."""

    def __init__(self, folder: Path, days: DemoDays) -> None:
        self.folder = folder
        self.days = days
        self.batches = dict(self._batches())

    def rows(self, name: str) -> list[dict[str, str]]:
        """Return the rows of one file, years filled in."""
        with (self.folder / f"{name}.csv").open(newline="", encoding="utf-8") as file:
            return [
                {column: self.days.words(cell) for column, cell in row.items()}
                for row in csv.DictReader(file)
            ]

    def past_rows(self, name: str) -> list[dict[str, str]]:
        """Return the rows whose day has come."""
        return [row for row in self.rows(name) if self.days.has_come(row["day"])]

    def openings(self) -> list[Draft]:
        """Return the drafts that open the register."""
        return [self._opening(row) for row in self.rows("openings")]

    def moves(self, task_ids: Mapping[str, int]) -> list[DemoMove]:
        """Return every move whose day has come, hauls and papers with it; `task_ids` maps a task's name to its id."""
        lines, hauls, papers = (
            _by_move(rows) for rows in (self.past_rows("moves"), self.past_rows("hauls"), self.rows("papers"))
        )
        names = list(dict.fromkeys([*lines, *hauls]))
        return [
            self._move(name, lines.get(name, []), hauls.get(name, []), papers.get(name, []), task_ids)
            for name in names
        ]

    def mends(self) -> list[Mend]:
        """Return what was reversed and corrected, in the order it was."""
        return [
            Mend(row["move"], row["mend"], _number(row["heads"]), row["by"], row["note"])
            for row in self.rows("mends")
        ]

    def counts(self) -> Iterator[tuple[CountDraft, Row]]:
        """Yield the counts accepted later on, each with its row."""
        for row in self.past_rows("counts"):
            figures = {name: float(row[name]) for name in CLASSES if row.get(name)}
            errors = {f"{name}_se": float(row[f"{name} +/-"]) / Z_95 for name in figures}
            yield CountDraft(
                pond=row["pond"], kind=row["kind"], as_of=self.days.day(row["day"]),
                how_known=row["how known"].upper(), **figures, **errors,
            ), row  # fmt: skip

    def _batches(self) -> Iterator[tuple[str, tuple[Row, PaperDraft | None]]]:
        for row in self.rows("batches"):
            has_paper = row["licence"] or row["document"]
            yield row["batch"], (row, self._paper(row) if has_paper else None)

    def _batch(self, code: str, arrived_on: dt.date) -> BatchDraft:
        row, paper = self.batches[code]
        return BatchDraft(
            code=code,
            source=row["source"].upper(),
            arrived_on=arrived_on,
            party=row["party"],
            generation=GENERATIONS[row["generation"]],
            note=row["note"],
            paper=paper,
        )

    def _paper(self, row: Row) -> PaperDraft:
        return PaperDraft(
            party=row["party"],
            licence=row["licence"],
            document=row["document"],
            purpose=row["purpose"],
            disposal=row.get("disposal", ""),
            expires_on=self.days.maybe(row["expires"]),
            note=row["note"] if "disposal" in row else "",
        )

    def _opening(self, row: Row) -> Draft:
        day = self.days.day(row["day"])
        known = [name for name in CLASSES if row[name]]
        return opening_draft(
            pond=row["pond"],
            kind=row["kind"],
            day=day,
            heads={CLASS_OF[name]: int(row[name]) for name in known},
            how_known=row["how known"].upper(),
            plus_or_minus={CLASS_OF[name]: float(row[f"{name} +/-"] or 0) for name in known},
            batch=self._batch(row["batch"], day),
            key=demo_key(f"opening {row['pond']} {row['kind']}"),
        )

    def _move(
        self, name: str, lines: list[Row], hauls: list[Row], papers: list[Row], task_ids: Mapping[str, int]
    ) -> DemoMove:
        first = (lines or hauls)[0]
        day = self.days.day(first["day"])
        batches = dict.fromkeys(row["batch"] for row in lines if row["batch"])
        tasks = dict.fromkeys(row["task"] for row in lines if row["task"])
        draft = Draft(
            key=demo_key(name),
            happened_on=day,
            pond=first["pond"],
            note=first["note"],
            lines=tuple(_line(row) for row in lines),
            haul=_haul(hauls) if hauls else None,
            batches=tuple(self._batch(code, day) for code in batches),
            papers=tuple(self._paper(row) for row in papers),
            tasks=tuple(task_ids[task] for task in tasks),
        )
        return DemoMove(name, first["by"], draft, is_just_logged(first["day"]))


def demo_key(name: str) -> uuid.UUID:
    """Return the key of a move of the demo farm, the same at every loading."""
    return uuid.uuid5(KEYS, name)


def corrected(draft: Draft, heads: int, note: str) -> Draft:
    """Return a draft of one line with other heads, a note that says why, and a key of its own."""
    (line,) = draft.lines
    key = uuid.uuid5(draft.key, "corrected")
    return replace(draft, key=key, lines=(replace(line, heads=heads),), note=note)


def _by_move(rows: list[dict[str, str]]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["move"], []).append(row)
    return found


def _line(row: Row) -> Line:
    return Line(
        kind=row["kind"],
        of_class=row["class"].upper(),
        source=row["from"].upper(),
        target=row["to"].upper(),
        heads=int(row["heads"]),
        to_class=row["became"].upper(),
        cause=row["cause"].upper().replace(" ", "_").replace("-", "_"),
        batch=row["batch"],
    )


def _haul(rows: list[Row]) -> HaulDraft:
    first = rows[0]
    water = units.measure(first["water F"], "F")
    return HaulDraft(
        method=first["method"].upper().replace("-", "_"),
        lines=tuple(
            CatchLine(
                kind=row["kind"],
                of_class=CLASS_OF[name],
                caught=int(row[name]),
                dead_in_net=_number(row.get(f"{name} dead", "")) or 0,
            )
            for row in rows
            for name in CLASSES
            if row[name]
        ),
        effort=float(first["drags"]),
        effort_typed=first["drags"],
        water_mk=water.stored,
        water_typed=water.typed,
        water_unit=water.unit,
        is_complete=first["complete"] == "yes",
    )


def _number(cell: str) -> int | None:
    return int(cell) if cell else None
