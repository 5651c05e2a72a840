"""Sheets to take along: a pond on one page, every pond as one picture, each on screen and as a file."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from ponds.farm import the_farm
from ponds.models import Pond
from stock.forms.ponds import DayForm
from stock.pond_facts import pond_kinds
from stock.pond_pictures import panels_of
from stock.pond_print import SAME_SCALE, WHOSE_HEADS, picture_sheet, sheets_of
from stock.sheet_files import PDF, TYPES, file_of
from stock.watched_ponds import watched_on

UNPROCESSABLE = 422


@require_safe
def pond_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Send one pond's sheet as a file; `?on=` is its day, `?as=` PDF (one page) or XLSX."""
    farm = the_farm()
    pond = get_object_or_404(Pond, code=code)
    form = DayForm(request.GET, today=farm.today(), opened_on=pond.opened_on)
    if not form.is_valid():
        return render(request, "stock/sheet_refused.html", {"form": form, "pond": pond}, status=UNPROCESSABLE)
    day = form.cleaned_data["on"] or farm.today()
    kind = request.GET.get("as", PDF)
    kind = kind if kind in TYPES else PDF
    return file_of(sheets_of([pond], farm, day), farm, kind, f"pond-{pond.code}-{day}")


@require_safe
def farm_picture(request: HttpRequest) -> HttpResponse:
    """Show every pond as a panel of one page; `?on=` is the day, `?as=` sends it as a file."""
    farm = the_farm()
    today = farm.today()
    form = DayForm(request.GET, today=today, opened_on=dt.date(1990, 1, 1))
    is_read = form.is_valid()
    day = (is_read and form.cleaned_data["on"]) or today
    facts = watched_on(day).of(pond_kinds(day))
    panels = panels_of(facts)
    if is_read and (kind := request.GET.get("as", "")) in TYPES:
        return file_of([picture_sheet(panels, farm, day)], farm, kind, f"every-pond-{day}")
    context = {
        "form": form,
        "panels": [(panel, panel.rows_in_words[0]) for panel in panels],
        "columns": panels[0].columns if panels else (),
        "day": day,
        "is_today": day == today,
        "printed_on": today,
        "ponds": len({one.pond_id for one in facts}),
        "to_look_at": len({one.pond_id for one in facts if one.all_concerns}),
        "same_scale": SAME_SCALE,
        "whose_heads": WHOSE_HEADS,
    }
    return render(request, "stock/picture.html", context, status=200 if is_read else UNPROCESSABLE)
