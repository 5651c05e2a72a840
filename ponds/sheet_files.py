"""Read an uploaded sheet, CSV or XLSX, into rows of text within set limits. Knows nothing of what they mean.

A sheet comes from outside, so nothing in it is believed: sizes are counted while reading, never taken
from a header, and a workbook is looked through before the spreadsheet library sees it.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import PurePath

import openpyxl

from ponds.lists import unguard_text

MEGABYTE = 1024 * 1024
MOST_BYTES = 5 * MEGABYTE
MOST_MEMBERS = 50
MOST_UNPACKED = 50 * MEGABYTE
MOST_RATIO = 100
MOST_ROWS = 50_000
MOST_COLUMNS = 60
LONGEST_CELL = 32_767
CHUNK = 64 * 1024
DELIMITERS = (",", ";", "\t")


class SheetUnreadable(ValueError):
    """A file cannot be read as a sheet; the message says why and what to do."""


def read_rows(name: str, content: bytes) -> list[tuple[int, list[str]]]:
    """
    Read a sheet file into numbered rows of text.

    Parameters
    ----------
    name : str
        The file's name; its ending says what it is.
    content : bytes
        The whole file, at most 5 MB.

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
        return _limited(name, _xlsx_rows(name, content))
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
            raise SheetUnreadable(f"{name} has more than {MOST_ROWS:,} rows. Split it into several sheets.")
        if len(cells) > MOST_COLUMNS and any(cells[MOST_COLUMNS:]):
            raise SheetUnreadable(
                f"{name} has more than {MOST_COLUMNS} columns in row {number}. Take the template and fill that."
            )
        for place, cell in enumerate(cells, start=1):
            if len(cell) > LONGEST_CELL:
                raise SheetUnreadable(
                    f"{name}, row {number}, column {place}: {len(cell):,} characters stand in one cell; "
                    f"{LONGEST_CELL:,} is the most."
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
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
            yield [_clean(cell) for cell in record]
    except csv.Error as refused:
        raise SheetUnreadable(
            f"{name} cannot be read as CSV ({refused}). Look for a quote that is not closed, or save it again "
            "from the spreadsheet program."
        ) from refused


def _decoded(name: str, content: bytes) -> str:
    if b"\0" in content:
        raise SheetUnreadable(
            f"{name} holds characters that no text file has. Save it as CSV (UTF-8) and try again."
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError:
        raise SheetUnreadable(
            f"{name} is written in letters that are not known here. Save it as CSV (UTF-8) and try again."
        ) from None


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


def _xlsx_rows(name: str, content: bytes) -> Iterator[list[str]]:
    _look_through(name, content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(
                io.BytesIO(content), read_only=True, data_only=True, keep_links=False
            )
            if not book.worksheets:
                raise SheetUnreadable(f"{name} has no sheet in it.")
            sheet = book.worksheets[0]
            # The size a workbook says it has may be a lie; without it only the rows that are there are read.
            sheet.reset_dimensions()
            for cells in sheet.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True):
                texts = [_as_text(value) for value in cells]
                while texts and not texts[-1]:
                    texts.pop()
                yield texts
    except SheetUnreadable:
        raise
    # The library raises whatever its parsers met; every one of them means the same to the person.
    except Exception as refused:
        raise SheetUnreadable(
            f"{name} is not a sound workbook ({type(refused).__name__}). Open it in a spreadsheet program, save it "
            "again as XLSX, and try again."
        ) from refused


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
