"""A sheet of facts, charts and tables as plain values, and the same as a workbook. No Django, no queries."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from ponds.svg_marks import figure_text
from stock.small_charts import SmallChart

Cell = str | int | float | None

MOST_PRINTED = 400
"""Rows of one table in a PDF; what is more is said, and stands in the workbook."""
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_LONGEST_NAME = 31
_WIDEST = 60


@dataclass(frozen=True)
class PrintedTable:
    """
    One table of a sheet.

    Parameters
    ----------
    title : str
    columns : tuple of str
    rows : tuple of tuples
        Text, numbers or None; numbers are set to the right.
    note : str
        What the reader must know of it.
    empty : str
        What is said where there are no rows.
    widths : tuple of float
        Shares of the page's width, one a column; equal ones where none are given.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    empty: str = "None."
    widths: tuple[float, ...] = ()

    @property
    def numeric(self) -> tuple[bool, ...]:
        """Which columns hold numbers alone."""
        return tuple(
            bool(self.rows)
            and all(isinstance(row[place], int | float) or row[place] in (None, "") for row in self.rows)
            and any(isinstance(row[place], int | float) for row in self.rows)
            for place in range(len(self.columns))
        )

    @property
    def headings(self) -> list[tuple[str, bool]]:
        """The columns, each with whether it holds numbers."""
        return list(zip(self.columns, self.numeric, strict=True))

    @property
    def shown(self) -> list[list[tuple[str, bool]]]:
        """The rows to print, each cell as text with whether its column holds numbers."""
        numeric = self.numeric
        return [
            [(_shown(cell), is_number) for cell, is_number in zip(row, numeric, strict=True)]
            for row in self.rows[:MOST_PRINTED]
        ]

    @property
    def left(self) -> int:
        """Rows beyond those printed; they stand in the workbook."""
        return max(0, len(self.rows) - MOST_PRINTED)


@dataclass(frozen=True)
class PrintedSheet:
    """
    A title, pairs of words and facts, small charts, tables, and notes at the end.

    Parameters
    ----------
    charts : tuple of tuples of SmallChart
        Rows of charts that stand side by side.
    is_one_page : bool
        Made smaller rather than run on to a second page.
    is_wide : bool
        On pages laid crosswise, for tables of many columns.
    follows : bool
        Begun below the sheet before it where there is room, not on a page of its own.
    """

    name: str
    title: str
    facts: tuple[tuple[str, str], ...]
    tables: tuple[PrintedTable, ...]
    notes: tuple[str, ...] = ()
    charts: tuple[tuple[SmallChart, ...], ...] = ()
    is_one_page: bool = False
    is_wide: bool = False
    follows: bool = False

    @property
    def chart_tables(self) -> tuple[PrintedTable, ...]:
        """The figures of the charts; those of one shape are one table."""
        found: dict[tuple[str, ...], list[tuple[Cell, ...]]] = {}
        for chart in (chart for row in self.charts for chart in row):
            rows: list[tuple[Cell, ...]] = [(chart.name, *row) for row in chart.rows]
            found.setdefault(chart.columns, []).extend(rows)
        return tuple(
            PrintedTable("As drawn", ("Chart", *columns), tuple(rows)) for columns, rows in found.items()
        )


def workbook_of(sheets: Iterable[PrintedSheet]) -> bytes:
    """Return the sheets as an XLSX workbook, one a sheet, its tables one below the other, each whole."""
    book = Workbook()
    book.remove(book.active)
    names: set[str] = set()
    for sheet in sheets:
        page = book.create_sheet(_name_of(sheet.name, names))
        page.append([_plain(sheet.title)])
        page.cell(page.max_row, 1).font = Font(bold=True, size=14)
        for words, fact in sheet.facts:
            page.append([_plain(words), _plain(fact)])
        for table in (*sheet.tables, *sheet.chart_tables):
            page.append([])
            page.append([_plain(table.title)])
            page.cell(page.max_row, 1).font = Font(bold=True)
            page.append([_plain(column) for column in table.columns])
            for cell in page[page.max_row]:
                cell.font = Font(bold=True)
            for row in table.rows:
                page.append([_plain(cell) for cell in row])
            if not table.rows:
                page.append([_plain(table.empty)])
            if table.note:
                page.append([_plain(table.note)])
        page.append([])
        for note in sheet.notes:
            page.append([_plain(note)])
        _set_widths(page, (*sheet.tables, *sheet.chart_tables))
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _shown(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return figure_text(cell, 1)
    return figure_text(cell) if isinstance(cell, int) else cell


def _plain(cell: Cell) -> Cell:
    """Return a cell that is no formula and that a workbook can hold."""
    if not isinstance(cell, str):
        return cell
    kept = _NOT_IN_XML.sub("", cell)
    return f"'{kept}" if kept.startswith(_FORMULA) else kept


def _name_of(name: str, taken: set[str]) -> str:
    kept = re.sub(r"[\[\]:*?/\\]", " ", name)[:_LONGEST_NAME] or "sheet"
    number = 2
    unique = kept
    while unique.casefold() in taken:
        tail = f" {number}"
        unique, number = kept[: _LONGEST_NAME - len(tail)] + tail, number + 1
    taken.add(unique.casefold())
    return unique


def _set_widths(page, tables: Sequence[PrintedTable]) -> None:
    for place in range(max((len(table.columns) for table in tables), default=1)):
        longest = max(
            (
                len(_shown(row[place]))
                for table in tables
                for row in ((table.columns, *table.rows) if place < len(table.columns) else ())
            ),
            default=10,
        )
        page.column_dimensions[get_column_letter(place + 1)].width = min(max(longest + 2, 10), _WIDEST)
