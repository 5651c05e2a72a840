"""Sheets: describe one, register it, read it, and apply it all or not at all.

An app says what a sheet is made of (`Column`s) and how its rows are written (`apply`), and registers it:

    register_sheet(Sheet(what="ponds", title="Ponds", columns=(...), apply=write_ponds))

`load` reads a file, checks every cell, applies the rows in one transaction, and takes everything back when
there is one bad row, or when it was a dry run.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

import openpyxl
from django.db import transaction

from ponds.cell_values import UNPRINTABLE, Day, Text
from ponds.names import name_key
from ponds.nest_checks import sign
from ponds.sheet_files import SheetUnreadable, read_rows
from ponds.svg_marks import figure_text
from ponds.unit_cells import FigureWithUnit

# Lines of the template that explain it, and any a person adds, begin with this and are passed over.
REMARK = "#"
ROWS_NAMED = 8
MORE_TO_CHECK = (
    "Some rows could not be read yet: what else may be wrong with them, or with rows that rest on them, is said once "
    "these are mended."
)
SPREADSHEET_ERRORS = (
    "#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#CALC!", "#GETTING_DATA",
)  # fmt: skip
_UNIT_IN_HEADING = re.compile(r"(.+?)\s*[(\[]([^()\[\]]+)[)\]]\Z")


class Reader(Protocol):
    """Reads one cell, refusing with a ValueError whose message is a sentence; `shape` says what it reads."""

    @property
    def shape(self) -> str: ...

    def __call__(self, cell: str) -> Any: ...


@dataclass(frozen=True)
class Column:
    """One column of a sheet: its heading, whether it must be filled, its meaning, an example, its reader.

    An empty cell of a column that is not needed gives `otherwise`.
    """

    name: str
    needed: bool
    meaning: str
    example: str
    parse: Reader
    otherwise: Any = None


@dataclass(frozen=True)
class BadRow:
    """One thing to mend: row as the spreadsheet shows it, column heading, what stands there, and why not."""

    row: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        if not self.row:
            return self.reason  # It is about the file, and names it.
        return f"row {self.row}, {self.column or 'whole row'}, {self.value!r}: {self.reason}"


@dataclass(frozen=True)
class BadRows:
    """One thing to mend in several rows alike: told once, with the rows named."""

    first: BadRow
    rows: tuple[int, ...]

    @property
    def words(self) -> str:
        """Which rows: "2", "2 to 13", "2, 4, 5, 9 and 8 more"."""
        first, last = self.rows[0], self.rows[-1]
        if len(self.rows) > 2 and last - first == len(self.rows) - 1:
            return f"{first} to {last}"
        more = f" and {len(self.rows) - ROWS_NAMED} more" if len(self.rows) > ROWS_NAMED else ""
        return ", ".join(str(row) for row in self.rows[:ROWS_NAMED]) + more

    def __str__(self) -> str:
        if len(self.rows) == 1:
            return str(self.first)
        return f"rows {self.words}, {self.first.column or 'whole row'}, {self.first.value!r}: {self.first.reason}"


def told_once(bad_rows: Iterable[BadRow]) -> list[BadRows]:
    """Put together what is to be mended alike, by the first row of each."""
    alike: dict[tuple[str, str, str], list[BadRow]] = {}
    for bad in bad_rows:
        alike.setdefault((bad.column, bad.value, bad.reason), []).append(bad)
    return [BadRows(these[0], tuple(sorted({bad.row for bad in these}))) for these in alike.values()]


@dataclass(frozen=True)
class SheetRow:
    """One row that could be read: values by column name, and the text they were read from."""

    number: int
    values: Mapping[str, Any]
    texts: Mapping[str, str]

    def __getitem__(self, column: str) -> Any:
        return self.values[column]

    def has(self, column: str) -> bool:
        """Say whether the sheet has this column at all; without it a row changes nothing there."""
        return column in self.texts

    def text(self, column: str) -> str:
        return self.texts.get(column, "")

    def bad(self, column: str, reason: str) -> BadRow:
        return BadRow(self.number, column, self.text(column), reason)


class RowsRefused(Exception):
    """`apply` found rows that cannot be written; nothing is."""

    def __init__(self, bad_rows: Iterable[BadRow]) -> None:
        self.bad_rows = list(bad_rows)
        super().__init__("\n".join(str(bad) for bad in self.bad_rows))


@dataclass(frozen=True)
class Written:
    """How many rows a sheet made, changed, and left as they were."""

    new: int = 0
    changed: int = 0
    same: int = 0
    # What a person should look at before it is written: it breaks no rule, but may be a slip.
    warnings: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.new} new, {self.changed} changed, {self.same} as they were"

    @property
    def question_mark(self) -> str:
        """A short mark of the very questions asked; "" where there are none."""
        return sign(self.warnings) if self.warnings else ""

    @classmethod
    def of(cls, words: Iterable[str]) -> Written:
        """Count the words "new", "changed" and "same"."""
        counted = Counter(words)
        return cls(counted["new"], counted["changed"], counted["same"])


@dataclass(frozen=True)
class Outcome:
    """What came of a sheet: the counts, or what is wrong with it. `is_written` is False for a dry run.

    `made` says how many of what its rows come to, such as "2 moves from 3 rows"; "" where each row is one.
    """

    written: Written | None = None
    bad_rows: list[BadRow] = field(default_factory=list)
    is_written: bool = False
    made: str = ""
    # What is asked about was not confirmed: nothing was written.
    is_asking: bool = False
    # Some rows could not be read: those are held against the register only once they are mended.
    is_more_to_check: bool = False
    # Rows that begin with "# " and were passed over.
    remarks: tuple[int, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """One sort of sheet.

    Parameters
    ----------
    what : str
        Its name on the command line.
    title : str
        Its name on a page.
    meaning : str
        What one row is, in a sentence.
    columns : tuple of Column
        In the order of the template.
    apply : callable
        `apply(rows, by=person_or_None) -> Written`; runs inside a transaction, may raise `RowsRefused`.
    makes : (str, str), optional
        What rows come to where several may be one, such as ("move", "moves").
    rows_stand_alone : bool
        Whether the rows that could be read may be held against the register without those that could not: then
        one check names what is wrong with either.
    """

    what: str
    title: str
    meaning: str
    columns: tuple[Column, ...]
    apply: Callable[..., Written]
    makes: tuple[str, str] | None = None
    rows_stand_alone: bool = False

    def made(self, written: Written, rows: int) -> str:
        """Say how many of what so many rows came to, or "" where each row is one."""
        if self.makes is None:
            return ""
        count = written.new + written.changed + written.same
        noun = self.makes[0 if count == 1 else 1]
        return f"{figure_text(count)} {noun} from {figure_text(rows)} {'row' if rows == 1 else 'rows'}"

    def template_rows(self) -> list[list[str]]:
        """Return the headings, then remark lines: which are needed, type, meaning, an example."""
        remarks = [
            ["needed" if column.needed else "may be empty" for column in self.columns],
            [column.parse.shape for column in self.columns],
            [column.meaning for column in self.columns],
            [f"example: {column.example}" if column.example else "" for column in self.columns],
        ]
        for line in remarks:
            line[0] = f"{REMARK} {line[0]}"
        return [[column.name for column in self.columns], *remarks]


_registered: dict[str, Sheet] = {}
# What other parts do once `load_sheet` has written a sheet, each told whom to tell how far it has come.
after_loading: list[Callable[[Callable[[str], None]], None]] = []
# The order in which a farm brings them in: what others name comes first.
ORDER = ("kinds", "ponds", "stock", "turtles", "marks", "hauls", "nests", "lots", "moves")


def register_sheet(sheet: Sheet) -> None:
    """Make a sheet known to the command and the page; registering it again replaces it."""
    _registered[sheet.what] = sheet


def registered_sheets() -> dict[str, Sheet]:
    """Return every sheet by its name on the command line, in the order a farm brings them in."""
    places = {what: place for place, what in enumerate(ORDER)}
    return dict(sorted(_registered.items(), key=lambda pair: (places.get(pair[0], len(ORDER)), pair[0])))


def load(
    sheet: Sheet,
    name: str,
    content: bytes,
    *,
    by: Any = None,
    dry_run: bool = False,
    days: str = "",
    confirmed: str | None = None,
) -> Outcome:
    """
    Read a file as a sheet and write its rows, all or none.

    Parameters
    ----------
    sheet : Sheet
        What it should be.
    name : str
        The file's name.
    content : bytes
        The whole file.
    by : user, optional
        Who loads it; signs what is written.
    dry_run : bool
        Do everything, then take it back: the counts and refusals are those of the real thing.
    days : str
        Which comes first in days such as 03/04/2026, as `written_days` names it; "" where nobody has said.
    confirmed : str, optional
        The mark (`Written.question_mark`) of the questions that a person has said yes to; where others are asked,
        nothing is written. None writes whatever is asked.

    Returns
    -------
    Outcome
        Counts when every row could be written, else the bad rows.
    """
    try:
        numbered = read_rows(name, content, titled=sheet.what, beside=registered_sheets())
        rows, bad_rows = parse_rows(sheet, numbered, days=days)
    except SheetUnreadable as refused:
        return Outcome(bad_rows=[BadRow(0, "", name, str(refused))])
    if bad_rows:
        return Outcome(
            bad_rows=_in_order(bad_rows + _wrong_with_others(sheet, rows, bad_rows, by)),
            is_more_to_check=True,
        )
    is_asking = False
    try:
        with transaction.atomic():
            written = sheet.apply(rows, by=by)
            is_asking = confirmed is not None and written.question_mark != confirmed
            if dry_run or is_asking:
                transaction.set_rollback(True)
    except RowsRefused as refused:
        return Outcome(bad_rows=_in_order(refused.bad_rows))
    return Outcome(
        written=written,
        is_written=not (dry_run or is_asking),
        is_asking=is_asking,
        made=sheet.made(written, len(rows)),
        remarks=_remarks(numbered, rows),
    )


def _in_order(bad_rows: list[BadRow]) -> list[BadRow]:
    """Return what is to be mended as the sheet lists it, from its first row to its last."""
    return sorted(bad_rows, key=lambda bad: bad.row)


def _wrong_with_others(sheet: Sheet, rows: list[SheetRow], bad_rows: list[BadRow], by: Any) -> list[BadRow]:
    """Hold the rows that could be read against the register, write nothing, and return what is wrong with them."""
    bad = {row.row for row in bad_rows}
    others = [row for row in rows if row.number not in bad]
    if not (sheet.rows_stand_alone and others):
        return []
    try:
        with transaction.atomic():
            sheet.apply(others, by=by)
            transaction.set_rollback(True)
    except RowsRefused as refused:
        return refused.bad_rows
    return []


def _remarks(numbered: list[tuple[int, list[str]]], rows: list[SheetRow]) -> tuple[int, ...]:
    read = {row.number for row in rows}
    return tuple(number for number, _ in numbered[1:] if number not in read)


def parse_rows(
    sheet: Sheet, numbered: list[tuple[int, list[str]]], *, days: str = ""
) -> tuple[list[SheetRow], list[BadRow]]:
    """Match the headings, whatever their order and case, and read every cell."""
    names = ", ".join(column.name for column in sheet.columns)
    if not numbered:
        return [], [
            BadRow(1, "", "", f"There is nothing in the sheet; its first row must be the headings: {names}.")
        ]
    (heading_row, headings), *lines = numbered
    places, bad_rows = _match_headings(sheet, heading_row, headings)
    if bad_rows:
        return [], bad_rows
    # A person may have moved the template's columns about: its remarks begin where its first column went.
    first = next((place for place, found in places.items() if found.column is sheet.columns[0]), 0)
    rows = []
    for number, cells in lines:
        if _is_remark(cells) or _is_remark(cells[first:]):
            continue
        row, bad = _read_line(sheet, places, number, cells, days)
        bad_rows += bad
        bad_rows += [
            BadRow(
                number, f"column {place + 1}", cell[:80], "This cell stands in a column that has no heading."
            )
            for place, cell in enumerate(cells)
            if cell and place not in places
        ]
        rows.append(row)
    if not rows and not bad_rows:
        bad_rows = [BadRow(heading_row, "", "", "There are headings but no rows below them.")]
    return rows, bad_rows


def _is_remark(cells: list[str]) -> bool:
    """A remark is "#" and a space, or "#" in the only cell that is filled; never an error of a spreadsheet."""
    if not cells or not cells[0].startswith(REMARK) or cells[0].upper() in SPREADSHEET_ERRORS:
        return False
    return cells[0].startswith(f"{REMARK} ") or not any(cells[1:])


class _Place(NamedTuple):
    column: Column
    # The unit that stands in brackets behind the heading, as in "water area (acres)"; "" where there is none.
    unit: str


def _match_headings(sheet: Sheet, number: int, headings: list[str]) -> tuple[dict[int, _Place], list[BadRow]]:
    by_key = {_heading_key(column.name): column for column in sheet.columns}
    places: dict[int, _Place] = {}
    bad_rows = []
    for place, heading in enumerate(headings):
        if not heading:
            continue
        column, unit = by_key.get(_heading_key(heading)), ""
        if column is None and (bracketed := _UNIT_IN_HEADING.match(heading)):
            column, unit = by_key.get(_heading_key(bracketed[1])), bracketed[2]
            if column is not None and not isinstance(column.parse, FigureWithUnit):
                column = None
        if column is None:
            names = ", ".join(known.name for known in sheet.columns)
            bad_rows.append(
                BadRow(number, heading[:80], heading[:80], f"No column of that name. There are: {names}.")
            )
            continue
        if column in (found.column for found in places.values()):
            bad_rows.append(BadRow(number, column.name, heading, "This heading stands twice; take one out."))
            continue
        if unit:
            try:
                column.parse.unit(unit)  # type: ignore[attr-defined]
            except ValueError as refused:
                bad_rows.append(BadRow(number, column.name, heading[:80], str(refused)))
        places[place] = _Place(column, unit)
    known = {found.column.name for found in places.values()}
    bad_rows += [
        BadRow(number, column.name, "", "This column is needed and is not in the sheet.")
        for column in sheet.columns
        if column.needed and column.name not in known
    ]
    return places, bad_rows


def _read_line(
    sheet: Sheet, places: dict[int, _Place], number: int, cells: list[str], days: str
) -> tuple[SheetRow, list[BadRow]]:
    values = {column.name: column.otherwise for column in sheet.columns}
    texts: dict[str, str] = {}
    bad = []
    for place, (column, unit) in places.items():
        cell = cells[place] if place < len(cells) else ""
        texts[column.name] = cell
        if not cell:
            if column.needed:
                bad.append(
                    BadRow(number, column.name, "", f"Needed, and nothing stands here: {column.meaning}.")
                )
            continue
        try:
            values[column.name] = _read_cell(column, cell, unit, days)
        except ValueError as refused:
            bad.append(BadRow(number, column.name, cell[:80], str(refused)))
    return SheetRow(number, values, texts), bad


def _read_cell(column: Column, cell: str, unit: str, days: str) -> Any:
    if UNPRINTABLE.search(cell):
        raise ValueError("There is a character in it that cannot be printed; type it again.")
    if cell.upper() in SPREADSHEET_ERRORS:
        raise ValueError(f"{cell} is a spreadsheet's word for a formula that failed; type what belongs here.")
    if cell.startswith("=") and not isinstance(column.parse, Text):
        raise ValueError(f"{cell[:40]} is a formula written as text; type what it comes to.")
    if isinstance(column.parse, Day):
        return column.parse(cell, days)
    if unit and isinstance(column.parse, FigureWithUnit):
        measured = column.parse(cell)
        heading = column.parse.unit(unit)
        if measured.unit not in ("", heading):
            raise ValueError(
                f"{cell} has another unit than its heading, which says {unit}; write one of the two."
            )
        return measured._replace(unit=heading)
    return column.parse(cell)


def _heading_key(heading: str) -> str:
    return name_key(heading.strip("* :").replace("_", " ").replace("-", " "))


def template_csv(sheet: Sheet) -> str:
    """Return the template as CSV text."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\r\n").writerows(sheet.template_rows())
    return written.getvalue()


def template_xlsx(sheet: Sheet) -> bytes:
    """Return the template as a workbook; every cell is text, so that days and codes stay as typed."""
    book = openpyxl.Workbook()
    page = book.active
    page.title = sheet.what
    for number, line in enumerate(sheet.template_rows(), start=1):
        for place, text in enumerate(line, start=1):
            cell = page.cell(row=number, column=place, value=text)
            cell.data_type = "s"
    page.freeze_panes = "A2"
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()
