"""The tables of a page, read back from its HTML, as CSV or a workbook: whatever is shown can be taken along.

Lists export themselves, all their pages at once (`ponds.lists`); this is for every other table, those beside the
charts among them. What a reader sees is what is written: text, and figures as numbers.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

from openpyxl import Workbook
from openpyxl.styles import Font

from ponds.lists import NOT_IN_XML, guard_cell

FORMATS = ("csv", "xlsx")
LONGEST_NAME = 31
_NUMBER = re.compile(r"[-\u2212+]?\d{1,3}(?:[\u202f\u00a0,]\d{3})*(?:\.\d+)?|[-\u2212+]?\d+(?:\.\d+)?")
_VOID = {"area", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


@dataclass
class PageTable:
    """One table of a page: what it is called, and its rows, the headings the first of them."""

    name: str = ""
    rows: list[list[str]] = field(default_factory=list)


class _Reader(HTMLParser):
    """Reads captions and cells; what is marked `data-no-tables` and what lies in a drawing is passed over."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: list[PageTable] = []
        self._words: list[str] | None = None
        self._is_caption = False
        self._span = 1
        self._passed_over: list[str] = []
        self._heading = ""
        self._heading_words: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if self._passed_over:
            if tag not in _VOID:
                self._passed_over.append(tag)
            return
        if "data-no-tables" in given or tag in ("svg", "script", "template"):
            self._passed_over.append(tag)
        elif tag == "table":
            self.tables.append(PageTable(self._heading))
        elif tag in ("h2", "h3"):
            self._heading_words = []
        elif tag == "tr" and self.tables:
            self.tables[-1].rows.append([])
        elif tag in ("td", "th", "caption") and self.tables:
            self._words, self._is_caption = [], tag == "caption"
            span = given.get("colspan") or "1"
            self._span = min(int(span), 100) if span.isdecimal() else 1
        elif tag == "br" and self._words is not None:
            self._words.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if self._passed_over:
            if tag in self._passed_over:
                while self._passed_over.pop() != tag:
                    pass
            return
        if tag in ("h2", "h3") and self._heading_words is not None:
            self._heading, self._heading_words = _said(self._heading_words), None
        elif tag in ("td", "th", "caption") and self._words is not None:
            said, self._words = _said(self._words), None
            table = self.tables[-1]
            if self._is_caption:
                table.name = said or table.name
            elif table.rows:
                table.rows[-1] += [said] + [""] * (self._span - 1)

    def handle_data(self, words: str) -> None:
        if self._passed_over:
            return
        if self._words is not None:
            self._words.append(words)
        if self._heading_words is not None:
            self._heading_words.append(words)


def tables_of(html: str) -> list[PageTable]:
    """Return the tables of a page that have rows, each named by its caption or the heading above it."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return [table for table in reader.tables if any(table.rows)]


def cell_of(words: str) -> str | int | float:
    """
    Return a cell as a number where it is one, else as text that no spreadsheet takes for a formula.

    >>> [cell_of(words) for words in ("1\u202f234", "\u22123", "+4", "2.5", "3.00 : 1", "=1+1", "007", "")]
    [1234, -3, 4, 2.5, '3.00 : 1', "'=1+1", '007', '']
    """
    if _NUMBER.fullmatch(words):
        plain = re.sub("[\u202f\u00a0,]", "", words).replace("\u2212", "-")
        if not re.match(r"[-+]?0\d", plain):
            return float(plain) if "." in plain else int(plain)
    return guard_cell(words)


def as_csv(tables: list[PageTable]) -> bytes:
    """Return the tables one below the other, each under its name, an empty line between."""
    written = io.StringIO()
    writer = csv.writer(written)
    for place, table in enumerate(tables):
        if place:
            writer.writerow([])
        writer.writerow([guard_cell(table.name)])
        writer.writerows([cell_of(words) for words in row] for row in table.rows)
    return written.getvalue().encode()


def as_workbook(tables: list[PageTable]) -> bytes:
    """Return the tables as a workbook, one a sheet."""
    book = Workbook()
    book.remove(book.active)
    taken: set[str] = set()
    for table in tables:
        sheet = book.create_sheet(_sheet_name(table.name, taken))
        sheet.append([_clean(guard_cell(table.name))])
        sheet["A1"].font = Font(bold=True)
        for row in table.rows:
            sheet.append([_clean(cell_of(words)) for words in row])
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _said(words: list[str]) -> str:
    return re.sub(r"[ \t\r\n]+", " ", "".join(words)).strip()


def _clean(cell: str | int | float) -> str | int | float:
    return NOT_IN_XML.sub("", cell) if isinstance(cell, str) else cell


def _sheet_name(name: str, taken: set[str]) -> str:
    kept = re.sub(r"[\[\]:*?/\\]", " ", NOT_IN_XML.sub("", name))[:LONGEST_NAME].strip("' ") or "table"
    unique, number = kept, 2
    while unique.casefold() in taken:
        tail = f" {number}"
        unique, number = kept[: LONGEST_NAME - len(tail)] + tail, number + 1
    taken.add(unique.casefold())
    return unique
