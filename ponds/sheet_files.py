"""Read an uploaded sheet, CSV or XLSX, into rows of text within set limits. Knows nothing of what they mean.

A sheet comes from outside, so nothing in it is believed: sizes are counted while reading, never taken
from a header, and a workbook is looked through before the spreadsheet library sees it.
"""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Collection, Iterable, Iterator
from itertools import islice
from pathlib import PurePath
from typing import Any

import openpyxl

from ponds.lists import unguard_text
from ponds.svg_marks import figure_text

MEGABYTE = 1024 * 1024
MOST_BYTES = 5 * MEGABYTE
MOST_MEMBERS = 50
MOST_UNPACKED = 50 * MEGABYTE
MOST_RATIO = 100
MOST_ROWS = 50_000
MOST_COLUMNS = 60
LONGEST_CELL = 32_767
CHUNK = 64 * 1024
# What a worksheet's XML says of itself; no pattern crosses from one tag into the next, so that each reads in one go.
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\b[^<>]*?\bref=[\"'](([A-Z]+)(\d+)(?::[A-Z]+\d+)?)[\"']")
_HIDDEN_ROW = re.compile(
    rb"<(?:\w+:)?row\b(?=[^<>]*\bhidden=[\"'](?:1|true)[\"'])[^<>]*?\br=[\"'](\d{1,7})[\"']"
)
_HIDDEN_COLUMN = re.compile(
    rb"<(?:\w+:)?col\b(?=[^<>]*\bhidden=[\"'](?:1|true)[\"'])(?=[^<>]*\bmin=[\"'](\d{1,5})[\"'])"
    rb"[^<>]*?\bmax=[\"'](\d{1,5})[\"']"
)
_FORMULA_WITHOUT_RESULT = re.compile(
    rb"<(?:\w+:)?c\b([^<>]*)>\s*<(?:\w+:)?f\b[^<>]*(?:/>|>[^<]*</(?:\w+:)?f>)\s*"
    rb"(<(?:\w+:)?v\s*/>|<(?:\w+:)?v></(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_CELL_NAME = re.compile(rb"\br=[\"']([A-Z]{1,3})(\d{1,7})[\"']")
DELIMITERS = (",", ";", "\t")


class SheetUnreadable(ValueError):
    """A file cannot be read as a sheet; the message says why and what to do."""


def read_rows(
    name: str, content: bytes, *, titled: str = "", beside: Collection[str] = ()
) -> list[tuple[int, list[str]]]:
    """
    Read a sheet file into numbered rows of text.

    Parameters
    ----------
    name : str
        The file's name; its ending says what it is.
    content : bytes
        The whole file, at most 5 MB.
    titled : str, optional
        The title of the sheet that is read of a workbook with several.
    beside : collection of str
        Titles that such sheets may have beside it: each is known to be something else.

    Returns
    -------
    list of (int, list of str)
        Row number as a spreadsheet shows it (from 1) and the row's cells, spaces at their ends taken off.
        Rows with nothing in them are left out.

    Raises
    ------
    SheetUnreadable
        If the file is of another sort, too big, damaged, or not what its name says.
    """
    ending = PurePath(name).suffix.lower()
    if len(content) > MOST_BYTES:
        raise SheetUnreadable(
            f"{name} is {len(content) / MEGABYTE:.1f} MB; a sheet may be {MOST_BYTES // MEGABYTE} MB. "
            "Split it into several."
        )
    if not content.strip():
        raise SheetUnreadable(f"{name} is empty.")
    if ending == ".xlsx":
        return _limited(name, _xlsx_rows(name, content, titled, beside))
    if ending in (".csv", ".txt", ".tsv"):
        if content.startswith(b"PK\x03\x04"):
            raise SheetUnreadable(f"{name} is a workbook, not a CSV file. Name it .xlsx and try again.")
        return _limited(name, _csv_rows(name, content))
    raise SheetUnreadable(
        f"{name} is not a sheet that can be read. Save it as CSV or as XLSX without macros and try again."
    )


def _limited(name: str, rows: Iterable[list[str]]) -> list[tuple[int, list[str]]]:
    kept = []
    for number, cells in enumerate(rows, start=1):
        if number > MOST_ROWS:
            raise SheetUnreadable(
                f"{name} has more than {figure_text(MOST_ROWS)} rows. Split it into several sheets."
            )
        if len(cells) > MOST_COLUMNS and any(cells[MOST_COLUMNS:]):
            raise SheetUnreadable(
                f"{name} has more than {MOST_COLUMNS} columns in row {number}. Take the template and fill that."
            )
        for place, cell in enumerate(cells, start=1):
            if len(cell) > LONGEST_CELL:
                raise SheetUnreadable(
                    f"{name}, row {number}, column {place}: {figure_text(len(cell))} characters stand in one cell; "
                    f"{figure_text(LONGEST_CELL)} is the most."
                )
        if any(cells):
            kept.append((number, cells[:MOST_COLUMNS]))
    return kept


# ---- CSV ----


def _csv_rows(name: str, content: bytes) -> Iterator[list[str]]:
    text = _decoded(name, content)
    lines = text.split("\n", 2)
    first = lines[0].strip().lower()
    if first.startswith("sep=") and len(first) == len("sep=") + 1:
        # A spreadsheet program's own note of its delimiter; it still counts as row 1.
        delimiter = lines[0].strip()[-1]
        yield []
        text = text.split("\n", 1)[1] if "\n" in text else ""
    else:
        delimiter = _delimiter(text)
    read = 1 if first.startswith("sep=") else 0
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            read += 1
            yield [_clean(cell) for cell in record]
    except csv.Error as refused:
        raise SheetUnreadable(
            f"{name} cannot be read as CSV from row {read + 1} on: a quote there is not closed, or a cell has no end. "
            "Mend it, or save it again from the spreadsheet program."
        ) from refused


def _decoded(name: str, content: bytes) -> str:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _decoded_utf16(name, content)
    if b"\0" in content:
        raise SheetUnreadable(
            f"{name} holds characters that no text file has, in line {_line_of(content, content.index(0))}. "
            "Save it as CSV (UTF-8) and try again."
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError as refused:
        raise SheetUnreadable(
            f"{name} is written in letters that are not known here, in line {_line_of(content, refused.start)}. "
            "Save it as CSV (UTF-8) and try again."
        ) from None


def _line_of(content: bytes, place: int) -> int:
    return content.count(b"\n", 0, place) + 1


def _decoded_utf16(name: str, content: bytes) -> str:
    """Read what spreadsheet programs call "Unicode text"; the mark at its start says that it is so."""
    try:
        text = content.decode("utf-16")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise SheetUnreadable(
            f"{name} says that it is written in UTF-16 and is not sound. Save it as CSV (UTF-8) and try again."
        )
    return text


def _delimiter(text: str) -> str:
    """Return the delimiter that stands most often in the heading line, outside quotes."""
    counted = dict.fromkeys(DELIMITERS, 0)
    quoted = False
    for letter in text.lstrip():
        if letter == '"':
            quoted = not quoted
        elif letter == "\n" and not quoted:
            break
        elif letter in counted and not quoted:
            counted[letter] += 1
    return max(DELIMITERS, key=lambda delimiter: counted[delimiter])


# ---- XLSX ----


def _xlsx_rows(name: str, content: bytes, titled: str, beside: Collection[str]) -> Iterator[list[str]]:
    _look_through(name, content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(
                io.BytesIO(content), read_only=True, data_only=True, keep_links=False
            )
            sheet = _the_sheet(name, book, titled, beside)
            yield from _rows_of(name, content, sheet)
    except SheetUnreadable:
        raise
    # The library raises whatever its parsers met; every one of them means the same to the person.
    except Exception as refused:
        raise SheetUnreadable(
            f"{name} is not a sound workbook ({type(refused).__name__}). Open it in a spreadsheet program, save it "
            "again as XLSX, and try again."
        ) from refused


def _rows_of(name: str, content: bytes, sheet: Any) -> Iterator[list[str]]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        part = packed.read(sheet._worksheet_path)
    _refuse_merged(name, part)
    _refuse_formulas_without_result(name, part)
    hidden_rows = {int(number) for number in _HIDDEN_ROW.findall(part)}
    hidden_columns = [(int(first), int(last)) for first, last in _HIDDEN_COLUMN.findall(part)]
    rows = sheet.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True)
    for number, cells in enumerate(rows, start=1):
        texts = [_as_text(value) for value in cells]
        while texts and not texts[-1]:
            texts.pop()
        if texts and number in hidden_rows:
            raise SheetUnreadable(
                f"{name}, row {number}: the row is hidden or filtered out. Show it if it counts, delete it if not."
            )
        for first, last in hidden_columns:
            if any(texts[first - 1 : last]):
                raise SheetUnreadable(
                    f"{name}, row {number}, column {first}: the column is hidden. Show it if it counts, "
                    "delete it if not."
                )
        yield texts


def _the_sheet(name: str, book: Any, titled: str, beside: Collection[str]) -> Any:
    """Return the one sheet that is shown and has something in it, or is titled so; a hidden one is never read."""
    shown = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    for sheet in book.worksheets:
        # The size a workbook says it has may be a lie; without it only the rows that are there are read.
        sheet.reset_dimensions()
    if not shown:
        raise SheetUnreadable(f"{name} has no sheet in it that is shown.")
    if len(shown) == 1:
        return shown[0]
    filled = [sheet for sheet in shown if _has_something(sheet)]
    if len(filled) > 1:
        titles = [str(sheet.title).strip().lower() for sheet in filled]
        if titles.count(titled) == 1 and all(title in beside for title in titles):
            return filled[titles.index(titled)]
        names = ", ".join(f"“{sheet.title}”" for sheet in filled)
        raise SheetUnreadable(
            f"{name} has {len(filled)} filled sheets, {names}. Save each as a file of its own."
        )
    return filled[0] if filled else shown[0]


def _has_something(sheet: Any) -> bool:
    rows = islice(sheet.iter_rows(max_col=MOST_COLUMNS, values_only=True), MOST_ROWS)
    return any(value not in (None, "") for cells in rows for value in cells)


def _refuse_merged(name: str, part: bytes) -> None:
    if merged := _MERGED.search(part):
        column, row = merged[2].decode(), merged[3].decode()
        raise SheetUnreadable(
            f"{name}, row {row}, column {column}: the cells {merged[1].decode()} are merged, so it is not clear which "
            "rows they speak for. Take the merging off and fill each cell."
        )


def _refuse_formulas_without_result(name: str, part: bytes) -> None:
    """A formula is read as the result it shows; one never worked out would be read as an empty cell."""
    for found in _FORMULA_WITHOUT_RESULT.finditer(part):
        if found[2] and re.search(rb"\bt=[\"']str[\"']", found[1]):
            continue  # Its result is a text without letters.
        cell = _CELL_NAME.search(found[1])
        where = f", row {cell[2].decode()}, column {cell[1].decode()}" if cell else ""
        raise SheetUnreadable(
            f"{name}{where}: a formula stands there whose result is not in the file. Open it in a spreadsheet program, "
            "put the values in its place, and save it again."
        )


def _look_through(name: str, content: bytes) -> None:
    """Refuse a workbook that is no ZIP, has macros, or unpacks to too much."""
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetUnreadable(
            f"{name} is an old or a locked workbook. Save it as XLSX without a password and try again."
        )
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            _look_through_members(name, packed, len(content))
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as refused:
        raise SheetUnreadable(
            f"{name} is not a sound workbook. Open it in a spreadsheet program, save it again as XLSX, "
            "and try again."
        ) from refused


def _look_through_members(name: str, packed: zipfile.ZipFile, size: int) -> None:
    members = packed.infolist()
    if len(members) > MOST_MEMBERS:
        raise SheetUnreadable(
            f"{name} is made of {len(members)} parts; {MOST_MEMBERS} is the most. "
            "Copy the rows alone into a new workbook."
        )
    if any("vba" in member.filename.lower() for member in members):
        raise SheetUnreadable(f"{name} holds macros. Save it as XLSX without macros and try again.")
    most = min(MOST_UNPACKED, MOST_RATIO * size)
    unpacked = 0
    for member in members:
        start = b""
        with packed.open(member) as part:
            while chunk := part.read(CHUNK):
                start = start or chunk
                unpacked += len(chunk)
                if unpacked > most:
                    raise SheetUnreadable(
                        f"{name} unpacks to more than {most / MEGABYTE:.0f} MB, far too much for its size. "
                        "Copy the rows alone into a new workbook."
                    )
        if member.filename == "[Content_Types].xml" and b"macroEnabled" in start:
            raise SheetUnreadable(f"{name} holds macros. Save it as XLSX without macros and try again.")


def _as_text(value: object) -> str:
    """Return a cell as it would be typed: 3 for 3.0, 2026-05-01 for a day."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        # 15 digits are what a spreadsheet program itself keeps and shows.
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else f"{value:.15g}"
    if isinstance(value, dt.datetime):
        is_day = value.time() == dt.time(0)
        return value.date().isoformat() if is_day else value.isoformat(sep=" ", timespec="seconds")
    return _clean(str(value))


def _clean(cell: str) -> str:
    return unguard_text(cell.strip(" \r\n\t\u00a0"))
