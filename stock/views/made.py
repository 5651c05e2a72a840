"""Long files: one page that says how far they are while they are made, and where they are taken from."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

from django.http import FileResponse, Http404, HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import escape
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.models import Farm
from ponds.roles import for_everyone
from stock.extract import extracts_of
from stock.farm_year import ponds_of_year, year_rows, year_sheets
from stock.forms.extract import ExtractForm
from stock.made_files import made_file, new_file
from stock.pond_rows import ponds_of_days
from stock.printed import PrintedSheet, workbook_of
from stock.printed_pdf import pdf_pages
from stock.sheet_files import PDF, TYPES, foot_of

EXTRACT, YEAR = "extract", "year"
UNPROCESSABLE = 422
HERE = "(the progress stands here)"


@require_http_methods(["POST"])
@for_everyone  # type: ignore[arg-type]
def make_file(request: HttpRequest) -> HttpResponseBase:
    """Make the whole farm's extract or year as a file, saying pond by pond how far it is."""
    farm = the_farm()
    form = ExtractForm(request.POST, today=farm.today())
    what, kind = request.POST.get("what", ""), request.POST.get("as", "")
    if not form.is_valid() or what not in (EXTRACT, YEAR) or kind not in TYPES:
        return render(request, "stock/made_refused.html", {"form": form}, status=UNPROCESSABLE)
    first, last = form.cleaned_data["since"], form.cleaned_data["until"]
    ponds = ponds_of_year(last) if what == YEAR else list(ponds_of_days(first, last))
    name = f"year-to-{last}.{kind}" if what == YEAR else f"extract-{first}-to-{last}.{kind}"
    sheets = (
        year_sheets(ponds, year_rows(ponds, last), farm, last)
        if what == YEAR
        else extracts_of(ponds, farm, first, last)
    )
    page = render_to_string("stock/made.html", {"here": HERE, "ponds": len(ponds), "name": name}, request)
    before, after = page.split(HERE)
    target = new_file(name)
    answer = StreamingHttpResponse(
        _progress(before, after, sheets, target, farm, kind=kind, is_wide=what == EXTRACT)
    )
    answer["X-Accel-Buffering"] = "no"  # a proxy between passes each line on as it comes
    return answer


@require_safe
def made(request: HttpRequest, name: str) -> HttpResponseBase:
    """Send a file that was made within the last day."""
    path = made_file(name)
    if path is None:
        raise Http404("This file is not there any more: files are kept for a day. Make it again.")
    shown = path.name.partition("-")[2]
    return FileResponse(
        path.open("rb"), as_attachment=True, filename=shown, content_type=TYPES[shown.rpartition(".")[2]]
    )


def _progress(
    before: str,
    after: str,
    sheets: Iterator[PrintedSheet],
    target: Path,
    farm: Farm,
    *,
    kind: str,
    is_wide: bool,
) -> Iterator[str]:
    yield before
    try:
        passed: list[str] = []
        watched = _watched(sheets, passed)
        if kind == PDF:
            with target.open("wb") as written:
                for _ in pdf_pages(
                    watched,
                    written,
                    title=target.stem.partition("-")[2],
                    footer=foot_of(farm),
                    is_wide=is_wide,
                ):
                    yield f"{escape(passed[-1])} · "
        else:
            kept = []
            for sheet in watched:
                kept.append(sheet)
                yield f"{escape(passed[-1])} · "
            target.write_bytes(workbook_of(kept))
    except Exception:
        logging.getLogger("stock").exception("A file could not be made.")
        target.unlink(missing_ok=True)
        yield "</p><p role='alert'>It could not be made. Try again; tell the owner where it fails twice."
    else:
        address = reverse("stock:made", args=[target.name])
        yield f'done.</p><p class="buttons"><a class="button" href="{address}">Take the file along</a>'
    yield after


def _watched(sheets: Iterator[PrintedSheet], passed: list[str]) -> Iterator[PrintedSheet]:
    for sheet in sheets:
        passed.append(sheet.name)
        yield sheet
