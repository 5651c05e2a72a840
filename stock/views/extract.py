"""The extract for an inspector: on the screen, as a PDF and as a workbook, one pond or the whole farm."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from ponds.farm import the_farm
from ponds.models import Pond
from stock.extract import extract_of, extracts_of
from stock.extract_words import NOT_ADVICE, RETENTION
from stock.forms.extract import ExtractForm
from stock.pond_rows import ponds_of_days
from stock.sheet_files import TYPES, file_of

UNPROCESSABLE = 422


@require_safe
def extract(request: HttpRequest) -> HttpResponse:
    """Choose the days and the pond, or take the whole farm as one file."""
    farm = the_farm()
    form = ExtractForm(request.GET, today=farm.today())
    ponds = list(Pond.objects.in_letter_order())
    if form.is_valid() and (kind := request.GET.get("as")) in TYPES and ponds:
        first, last = form.cleaned_data["since"], form.cleaned_data["until"]
        sheets = list(extracts_of(list(ponds_of_days(first, last)), farm, first, last))
        return file_of(sheets, farm, kind or "", f"extract-{first}-to-{last}", is_wide=True)
    context = {
        "form": form,
        "ponds": ponds,
        "asked": _asked(form),
        "retention": RETENTION,
        "not_advice": NOT_ADVICE,
    }
    return render(request, "stock/extract.html", context, status=200 if form.is_valid() else UNPROCESSABLE)


@require_safe
def extract_pond(request: HttpRequest, code: str) -> HttpResponse:
    """Show one pond's extract, or send it as a file."""
    farm = the_farm()
    pond = get_object_or_404(Pond, code=code)
    form = ExtractForm(request.GET, today=farm.today())
    if not form.is_valid():
        return render(request, "stock/extract_pond.html", {"form": form, "pond": pond}, status=UNPROCESSABLE)
    first, last = form.cleaned_data["since"], form.cleaned_data["until"]
    sheet = extract_of(pond, farm, first, last)
    if (kind := request.GET.get("as")) in TYPES:
        name = f"extract-pond-{pond.code}-{first}-to-{last}"
        return file_of([sheet], farm, kind or "", name, is_wide=True)
    context = {"form": form, "pond": pond, "sheet": sheet, "asked": _asked(form)}
    return render(request, "stock/extract_pond.html", context)


def _asked(form: ExtractForm) -> str:
    if not form.is_valid():
        return ""
    return f"since={form.cleaned_data['since']}&until={form.cleaned_data['until']}"
