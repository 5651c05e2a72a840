"""A sheet of facts and tables as plain values, written as a PDF or a workbook. No Django, no queries."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from reportlab.lib import colors
from reportlab.lib.pagesizes import landscape, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

Cell = str | int | float | None

MOST_PRINTED = 400
"""Rows of one table in a PDF; what is more is said, and stands in the workbook."""
_FONT, _BOLD = "Helvetica", "Helvetica-Bold"
_TEXT = ParagraphStyle("text", fontName=_FONT, fontSize=8, leading=9.6)
_NOTE = ParagraphStyle("note", parent=_TEXT, textColor=colors.HexColor("#444444"))
_HEAD = ParagraphStyle("head", parent=_TEXT, fontName=_BOLD)
_NUMBER = ParagraphStyle("number", parent=_TEXT, alignment=2)
_NUMBER_HEAD = ParagraphStyle("number head", parent=_HEAD, alignment=2)
_TITLE = ParagraphStyle("title", parent=_TEXT, fontName=_BOLD, fontSize=14, leading=17)
_SECTION = ParagraphStyle("section", parent=_TEXT, fontName=_BOLD, fontSize=9.5, leading=12, spaceBefore=7)
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
    """A title, pairs of words and facts, tables, and notes at the end."""

    name: str
    title: str
    facts: tuple[tuple[str, str], ...]
    tables: tuple[PrintedTable, ...]
    notes: tuple[str, ...] = ()


def pdf_of(sheets: Sequence[PrintedSheet], *, title: str, footer: str, is_wide: bool = False) -> bytes:
    """
    Return the sheets as one PDF on letter paper, each begun on a page of its own.

    Parameters
    ----------
    sheets : sequence of PrintedSheet
    title, footer : str
        The document's title, and what stands at the foot of each page, with its number.
    is_wide : bool
        Landscape, for tables of many columns.
    """
    written = io.BytesIO()
    size = landscape(letter) if is_wide else letter
    document = SimpleDocTemplate(
        written,
        pagesize=size,
        title=title,
        author="Scutebook",
        leftMargin=0.6 * inch,
        rightMargin=0.6 * inch,
        topMargin=0.55 * inch,
        bottomMargin=0.65 * inch,
    )
    story: list = []
    for place, sheet in enumerate(sheets):
        if place:
            story.append(PageBreak())
        story += _flowables(sheet, document.width)

    def foot(canvas: Canvas, _: object) -> None:
        canvas.saveState()
        canvas.setFont(_FONT, 7.5)
        canvas.drawString(document.leftMargin, 0.4 * inch, _latin(footer)[:150])
        canvas.drawRightString(size[0] - document.rightMargin, 0.4 * inch, f"page {canvas.getPageNumber()}")
        canvas.restoreState()

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return written.getvalue()


def workbook_of(sheets: Sequence[PrintedSheet]) -> bytes:
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
        for table in sheet.tables:
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
        _set_widths(page, sheet.tables)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _flowables(sheet: PrintedSheet, width: float) -> list:
    story: list = [Paragraph(_said(sheet.title), _TITLE), Spacer(1, 4)]
    if sheet.facts:
        rows = [
            [Paragraph(_said(words), _NOTE), Paragraph(_said(fact), _TEXT)] for words, fact in sheet.facts
        ]
        facts = Table(rows, colWidths=[width * 0.22, width * 0.78])
        facts.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(1)]))
        story.append(facts)
    for table in sheet.tables:
        story.append(Paragraph(_said(table.title), _SECTION))
        story.append(_table(table, width) if table.rows else Paragraph(_said(table.empty), _TEXT))
        if table.left:
            story.append(Paragraph(f"And {table.left:,} more rows, which stand in the workbook.", _NOTE))
        if table.note:
            story.append(Paragraph(_said(table.note), _NOTE))
    story.append(Spacer(1, 6))
    story += [Paragraph(_said(note), _NOTE) for note in sheet.notes]
    return story


def _table(table: PrintedTable, width: float) -> Table:
    heads = [
        Paragraph(_said(column), _NUMBER_HEAD if is_number else _HEAD) for column, is_number in table.headings
    ]
    rows = [
        [Paragraph(_said(cell), _NUMBER if is_number else _TEXT) for cell, is_number in row]
        for row in table.shown
    ]
    shares = table.widths or (1,) * len(table.columns)
    drawn = Table([heads, *rows], colWidths=[width * share / sum(shares) for share in shares], repeatRows=1)
    drawn.setStyle(
        TableStyle(
            [
                ("LINEABOVE", (0, 0), (-1, 0), 1, colors.black),
                ("LINEBELOW", (0, 0), (-1, 0), 0.75, colors.black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, colors.HexColor("#bbbbbb")),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                *_padding(2),
                # A figure set to the right must not touch the words of the next column.
                ("LEFTPADDING", (1, 0), (-1, -1), 7),
            ]
        )
    )
    return drawn


def _padding(points: float) -> Iterable[tuple]:
    return [
        (f"{side}PADDING", (0, 0), (-1, -1), points if side in ("TOP", "BOTTOM") else 2)
        for side in ("TOP", "BOTTOM", "LEFT", "RIGHT")
    ]


def _shown(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{cell:,.1f}"
    return f"{cell:,}" if isinstance(cell, int) else cell


def _said(words: str) -> str:
    return escape(_latin(words)).replace("\n", "<br/>")


def _latin(words: str) -> str:
    """Return what the PDF's own fonts can write; what they cannot is a question mark."""
    plain = (
        words.replace("\u2212", "-").replace("\u202f", " ").replace("\u2009", " ").replace("\u2026", "...")
    )
    return plain.encode("cp1252", "replace").decode("cp1252")


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
