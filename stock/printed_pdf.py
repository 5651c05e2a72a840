"""Printed sheets as a PDF on letter paper, written page by page so that long work can tell how far it is."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from typing import BinaryIO
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import landscape, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Frame, KeepInFrame, Paragraph, Spacer, Table, TableStyle

from ponds.svg_marks import figure_text
from stock.printed import PrintedSheet, PrintedTable
from stock.printed_charts import drawing_of, plain
from stock.small_charts import SmallChart

_FONT, _BOLD = "Helvetica", "Helvetica-Bold"
_TEXT = ParagraphStyle("text", fontName=_FONT, fontSize=8, leading=9.6)
_NOTE = ParagraphStyle("note", parent=_TEXT, textColor=colors.HexColor("#444444"))
_HEAD = ParagraphStyle("head", parent=_TEXT, fontName=_BOLD)
_NUMBER = ParagraphStyle("number", parent=_TEXT, alignment=2)
_NUMBER_HEAD = ParagraphStyle("number head", parent=_HEAD, alignment=2)
_TITLE = ParagraphStyle("title", parent=_TEXT, fontName=_BOLD, fontSize=14, leading=17)
_SECTION = ParagraphStyle(
    "section", parent=_TEXT, fontName=_BOLD, fontSize=9.5, leading=12, spaceBefore=7, keepWithNext=1
)
_LEFT, _TOP, _BOTTOM = 0.6 * inch, 0.55 * inch, 0.65 * inch
_SMALL = 125.0
_WIDER = (1.0, 1.1, 1.2, 1.3, 1.4, 1.6, 1.8)
_WIDOW = 58.0
"""Points that must be left under a heading, so that it never stands alone at the foot of a page."""


def pdf_of(sheets: Iterable[PrintedSheet], *, title: str, footer: str, is_wide: bool = False) -> bytes:
    """
    Return the sheets as one PDF on letter paper.

    Parameters
    ----------
    sheets : iterable of PrintedSheet
    title, footer : str
        The document's title, and what stands at the foot of each page, with its number.
    is_wide : bool
        All sheets on pages laid crosswise.
    """
    written = io.BytesIO()
    for _ in pdf_pages(sheets, written, title=title, footer=footer, is_wide=is_wide):
        pass
    return written.getvalue()


def pdf_pages(
    sheets: Iterable[PrintedSheet], target: BinaryIO, *, title: str, footer: str, is_wide: bool = False
) -> Iterator[int]:
    """Write the sheets to `target` one after the other; yields the pages begun so far after each."""
    book = _Book(target, title, footer, landscape(letter) if is_wide else letter)
    for sheet in sheets:
        book.add(sheet)
        yield book.pages
    book.close()


class _Book:
    """The pages of a PDF, filled from the top."""

    def __init__(self, target: BinaryIO, title: str, footer: str, size: tuple[float, float]) -> None:
        self.canvas = Canvas(target, pagesize=size)
        self.canvas.setTitle(title)
        self.canvas.setAuthor("Scutebook")
        self.footer, self.size, self.usual = plain(footer)[:150], size, size
        self.width, self.height = size[0] - 2 * _LEFT, size[1] - _TOP - _BOTTOM
        self.pages = 0
        self.frame: Frame | None = None

    def add(self, sheet: PrintedSheet) -> None:
        self._lay(landscape(letter) if sheet.is_wide else self.usual)
        story = self._on_one_page(sheet) if sheet.is_one_page else _flowables(sheet, self.width)
        if self.frame is None or not sheet.follows:
            self._turn()
        else:
            story.insert(0, Spacer(1, 10))
        while story:
            self._place(story)

    def _lay(self, size: tuple[float, float]) -> None:
        """Turn to pages of another size; the page that is begun is finished as it is."""
        if size == self.size:
            return
        if self.frame is not None:
            self._finish()
            self.frame = None
        self.size = size
        self.width, self.height = size[0] - 2 * _LEFT, size[1] - _TOP - _BOTTOM

    def close(self) -> None:
        if self.frame is None:
            self._turn()
        self._finish()
        self.canvas.save()

    def _on_one_page(self, sheet: PrintedSheet) -> list[Flowable]:
        """Return a sheet set so wide that it is a page high once it is shrunk to the page's width."""
        for wider in _WIDER:
            story = _flowables(sheet, self.width * wider)
            high = sum(
                piece.wrap(self.width * wider, 1e6)[1] + piece.getSpaceBefore() + piece.getSpaceAfter()
                for piece in story
            )
            if high <= self.height * wider:
                break
        return [KeepInFrame(self.width, self.height, story, mode="shrink")]

    def _place(self, story: list[Flowable]) -> None:
        """Put the first piece of a story on the page, or what of it fits, or turn the page for it."""
        piece = story.pop(0)
        frame = self.frame or self._turn()
        is_heading = getattr(getattr(piece, "style", None), "keepWithNext", 0)
        if is_heading and self._room(frame) < _WIDOW:
            frame = self._turn()
        if frame.add(piece, self.canvas):
            return
        parts = frame.split(piece, self.canvas)
        if len(parts) > 1 and frame.add(parts[0], self.canvas):
            story[:0] = parts[1:]
            self._turn()
        elif self._room(frame) < self.height - 1:
            self._turn()
            story.insert(0, piece)
        else:
            # Taller than a page in one piece, such as a note without end.
            frame.add(KeepInFrame(self.width, self.height, [piece], mode="shrink"), self.canvas)

    @staticmethod
    def _room(frame: Frame) -> float:
        # The frame keeps its pen and its foot to itself; there is no other way to ask how much is left.
        return frame._y - frame._y1p

    def _turn(self) -> Frame:
        if self.frame is not None:
            self._finish()
        self.pages += 1
        self.canvas.setPageSize(self.size)
        self.frame = Frame(
            _LEFT,
            _BOTTOM,
            self.width,
            self.height,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )
        return self.frame

    def _finish(self) -> None:
        self.canvas.setFont(_FONT, 7.5)
        self.canvas.drawString(_LEFT, 0.4 * inch, self.footer)
        self.canvas.drawRightString(self.size[0] - _LEFT, 0.4 * inch, f"page {self.pages}")
        self.canvas.showPage()


def _flowables(sheet: PrintedSheet, width: float) -> list:
    story: list = [Paragraph(_said(sheet.title), _TITLE), Spacer(1, 4)]
    if sheet.facts:
        rows = [
            [Paragraph(_said(words), _NOTE), Paragraph(_said(fact), _TEXT)] for words, fact in sheet.facts
        ]
        facts = Table(rows, colWidths=[width * 0.22, width * 0.78])
        facts.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(1)]))
        story.append(facts)
    columns = max((len(row) for row in sheet.charts), default=1)
    # Three kinds' charts below each other leave room for their tables only where they are small.
    widest = _SMALL if sheet.tables and columns <= 3 <= len(sheet.charts) else width
    story += [_side_by_side(row, width, columns, widest) for row in sheet.charts]
    for table in sheet.tables:
        story.append(Paragraph(_said(table.title), _SECTION))
        story.append(_table(table, width) if table.rows else Paragraph(_said(table.empty), _TEXT))
        if table.left:
            story.append(
                Paragraph(f"And {figure_text(table.left)} more rows, which stand in the workbook.", _NOTE)
            )
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


def _side_by_side(charts: Sequence[SmallChart], width: float, columns: int, most: float) -> Table:
    each = width / columns
    cells = [drawing_of(chart, min(each - 8, most)) for chart in charts]
    row = Table([[*cells, *[""] * (columns - len(cells))]], colWidths=[each] * columns)
    row.setStyle(
        TableStyle(
            [
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return row


def _said(words: str) -> str:
    return escape(plain(words)).replace("\n", "<br/>")
