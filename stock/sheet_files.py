"""Printed sheets as an answer to download, the farm's name, code and licence at the foot of each page."""

from __future__ import annotations

from collections.abc import Iterable

from django.http import HttpResponse

from ponds.models import Farm
from ponds.svg_marks import day_text
from stock.printed import PrintedSheet, workbook_of
from stock.printed_pdf import pdf_of

PDF, XLSX = "pdf", "xlsx"
TYPES = {
    PDF: "application/pdf",
    XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def file_of(
    sheets: Iterable[PrintedSheet], farm: Farm, kind: str, name: str, *, is_wide: bool = False
) -> HttpResponse:
    """Return the sheets as a file to keep; `kind` is one of `TYPES`, `name` the file's without its end."""
    foot = foot_of(farm)
    content = pdf_of(sheets, title=name, footer=foot, is_wide=is_wide) if kind == PDF else workbook_of(sheets)
    response = HttpResponse(content, content_type=TYPES[kind])
    response["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return response


def foot_of(farm: Farm) -> str:
    """Return what stands at the foot of every page."""
    parts = (
        farm.name,
        f"farmer code {farm.code}" if farm.code else "",
        f"licence {farm.licence}" if farm.licence else "",
        f"made on {day_text(farm.today())}",
    )
    return ", ".join(part for part in parts if part)
