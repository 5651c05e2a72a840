"""Entries as CSV or a workbook, row by row, so that a farm's whole life never stands in memory."""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from collections.abc import Iterator
from typing import Any

from django.db.models import Q, QuerySet, TextChoices
from django.http import FileResponse, HttpResponseBase, StreamingHttpResponse
from openpyxl import Workbook

from ponds.farm import the_farm
from ponds.lists import NOT_IN_XML, guard_cell
from stock.models import Cause, Entry, HeadClass, Move, Reason
from stock.move_words import OUTSIDE_WORDS

ROWS_AT_ONCE = 2000
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
COLUMNS = (
    ("move", "move__key"),
    ("happened on", "happened_on"),
    ("booked on", "booked_on"),
    ("reason", "reason"),
    ("kind", "source__kind__code"),
    ("class", "source__of_class"),
    ("class after", "target__of_class"),
    ("heads", "heads"),
    ("from pond", "source__pond__code"),
    ("from outside", "source__outside"),
    ("to pond", "target__pond__code"),
    ("to outside", "target__outside"),
    ("cause", "cause"),
    ("batch", "batch__code"),
    ("made as", "move__made_as"),
    ("reverses", "move__reverses__key"),
    ("replaces", "move__replaces__key"),
    ("reversed by", "move__reversed_by__key"),
    ("signed by", "move__by_name"),
    ("recorded at, farm time", "move__recorded_at"),
    ("note", "move__note"),
)


def _words(choices: type[TextChoices]) -> dict[str, str]:
    return {code: str(label) for code, label in choices.choices}


WORDS = {
    "reason": _words(Reason),
    "class": _words(HeadClass),
    "class after": _words(HeadClass),
    "from outside": OUTSIDE_WORDS,
    "to outside": OUTSIDE_WORDS,
    "cause": _words(Cause),
    "made as": _words(Move.MadeAs),
}
"""What stands in a column for a code, by its heading."""


def export_entries(moves: QuerySet[Move], wanted: Q, export_format: str, filename: str) -> HttpResponseBase:
    """Return the entries of some moves that meet a condition, newest day first, one row an entry."""
    entries = Entry.objects.filter(wanted, move__in=moves.values("pk")).order_by(
        "-happened_on", "-move_id", "line"
    )
    rows = entries.values_list(*(field for _, field in COLUMNS)).iterator(chunk_size=ROWS_AT_ONCE)
    zone = the_farm().tzinfo
    if export_format == "xlsx":
        return _workbook(rows, filename, zone)
    response = StreamingHttpResponse(_lines(rows, zone), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{filename}"'
    return response


def _cells(row: tuple, zone: dt.tzinfo) -> list[Any]:
    cells = []
    for (heading, _), cell in zip(COLUMNS, row, strict=True):
        if heading in WORDS:
            cell = WORDS[heading].get(cell, cell)
        elif isinstance(cell, dt.datetime):
            cell = cell.astimezone(zone)
        cells.append(guard_cell(cell))
    return cells


class _Echo:
    """A file whose written lines are handed straight on."""

    def write(self, text: str) -> str:
        return text


def _lines(rows: Iterator[tuple], zone: dt.tzinfo) -> Iterator[str]:
    writer = csv.writer(_Echo())
    yield writer.writerow([heading for heading, _ in COLUMNS])
    for row in rows:
        yield writer.writerow(_cells(row, zone))


def _workbook(rows: Iterator[tuple], filename: str, zone: dt.tzinfo) -> FileResponse:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("entries")
    sheet.append([heading for heading, _ in COLUMNS])
    for row in rows:
        sheet.append(
            [NOT_IN_XML.sub("", cell) if isinstance(cell, str) else cell for cell in _cells(row, zone)]
        )
    kept = tempfile.TemporaryFile()  # noqa: SIM115 (the response closes it)
    book.save(kept)
    kept.seek(0)
    return FileResponse(kept, as_attachment=True, filename=filename, content_type=XLSX_TYPE)
