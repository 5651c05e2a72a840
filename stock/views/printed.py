"""Sheets to take along: a pond on one page, every pond as one picture, each on screen and as a file."""

from __future__ import annotations

import datetime as dt

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from ponds.farm import the_farm
from ponds.models import Farm, Pond
from stock.forms.ponds import DayForm
from stock.pond_facts import pond_kinds
from stock.pond_pictures import panels_of, rows_of_panels
from stock.pond_print import sheets_of
from stock.printed import PrintedSheet
from stock.sheet_files import PDF, TYPES, file_of
from stock.templatetags.stock_format import day as day_words

UNPROCESSABLE = 422
MOST_ON_A_PAGE = 66
SAME_SCALE = (
    "Every panel has the same scales: ratios by the share of females, the band shaded; bars are the dead of each "
    "month, the line heads of breeding size at month ends."
)


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
    facts = pond_kinds(day)
    panels = panels_of(facts)
    if is_read and (kind := request.GET.get("as", "")) in TYPES:
        return file_of([picture_sheet(panels, farm, day)], farm, kind, f"every-pond-{day}")
    context = {
        "form": form,
        "panels": [(panel, panel.rows[0]) for panel in panels],
        "columns": panels[0].columns if panels else (),
        "day": day,
        "is_today": day == today,
        "printed_on": today,
        "ponds": len({one.pond_id for one in facts}),
        "to_look_at": len({one.pond_id for one in facts if one.concerns}),
        "same_scale": SAME_SCALE,
    }
    return render(request, "stock/picture.html", context, status=200 if is_read else UNPROCESSABLE)


def picture_sheet(panels, farm: Farm, day: dt.date) -> PrintedSheet:
    """Arrange the farm's picture as a sheet; on one page where sixty panels or so are to stand on it."""
    return PrintedSheet(
        name="Every pond",
        title=f"{farm.name}: every pond on {day_words(day)}",
        facts=(),
        tables=(),
        notes=(SAME_SCALE,),
        charts=rows_of_panels(panels),
        is_one_page=len(panels) <= MOST_ON_A_PAGE,
    )
