"""One turtle: its page, its card, and what is written about it: measures and photographs."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import segno
from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.roles import READER, SignedRequest, for_hand, role_of
from stock import photos, turtle_records
from stock import turtle_export as turtle_export_rows
from stock.forms.fields import new_key
from stock.forms.turtle import SHOWS, MeasureForm, PhotoForm, TakeBackForm, measure_start
from stock.marks.sexes import CERTAINTIES, METHODS, cue_of
from stock.models import Measure, NestOfTurtle, Photograph, Turtle
from stock.turtle_page import find_turtle, has_rim, turtle_page
from stock.turtle_records import TurtleRowRefused
from stock.turtle_sizes import kind_sizes

SEE_OTHER, UNPROCESSABLE = 303, 422
EXPORTS = {
    "turtles.csv": "text/csv; charset=utf-8",
    "turtles.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "darwin-core.zip": "application/zip",
}


@require_safe
def turtle(request: SignedRequest, number: int) -> HttpResponse:
    """Show one turtle."""
    found = _turtle(number)
    farm = the_farm()
    page = turtle_page(found, by=request.user, today=farm.today())
    context = {
        "page": page,
        "turtle": found,
        "farm": farm,
        "sexes": [
            (step, METHODS.get(step.method, ""), CERTAINTIES.get(step.certainty, "")) for step in page.sexes
        ],
        "cue": cue_of(found.kind.scientific_name),
        "may_write": role_of(request.user) != READER,
        "has_rim": has_rim(found),
    }
    return render(request, "stock/turtle.html", context)


@require_safe
def turtle_card(request: SignedRequest, number: int) -> HttpResponse:
    """Show a turtle's card and label to print, with a code that leads to its page."""
    found = _turtle(number)
    today = the_farm().today()
    page = turtle_page(found, by=request.user, today=today)
    address = request.build_absolute_uri(reverse("stock:turtle", args=[found.pk]))
    code = segno.make(address, error="m", micro=False)
    drawn = code.svg_inline(
        border=4, light="white", dark="black", svgclass="qr", lineclass=None, omitsize=True
    )
    context = {
        "page": page,
        "turtle": found,
        "address": address,
        "qr": drawn,
        "length": next((row for row in page.measures if row.row.what == "SCL_MAX"), None),
        "mass": next((row for row in page.measures if row.row.what == "MASS"), None),
    }
    return render(request, "stock/turtle_card.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_measure(request: SignedRequest, number: int) -> HttpResponse:
    """Enter the measures of one handling."""
    found = _turtle(number)
    today = the_farm().today()
    earlier = list(Measure.objects.standing().filter(turtle=found).order_by("measured_on", "pk"))
    start = measure_start(today, request.user.get_username(), earlier[-1] if earlier else None)
    form = MeasureForm(request.POST or None, initial=start, turtle=found, earlier=earlier)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            rows = turtle_records.record_measures(
                found,
                form.typed,
                measured_on=given["measured_on"],
                observer=given["observer"],
                note=given["note"],
                key=given["key"],
                by=request.user,
                today=today,
            )
        except TurtleRowRefused as refused:
            form.add_error(refused.field, refused.sentence)
        else:
            messages.success(request, f"{len(rows)} {'measure' if len(rows) == 1 else 'measures'} written.")
            for sentence in form.notes:
                messages.warning(request, sentence)
            return _back_to(found, "#measures")
    context = {"form": form, "turtle": found, "last": _last_of_each(earlier)}
    return _show(request, "stock/turtle_measure.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def measure_correct(request: SignedRequest, number: int, key: uuid.UUID) -> HttpResponse:
    """Write a measure in the place of a wrong one."""
    found = _turtle(number)
    today = the_farm().today()
    row = get_object_or_404(Measure.objects.standing(), turtle=found, key=key)
    start = {
        **measure_start(row.measured_on, row.observer, row),
        row.what: row.typed,
        "note": row.note,
    }
    earlier = list(Measure.objects.standing().filter(turtle=found).order_by("measured_on", "pk"))
    form = MeasureForm(request.POST or None, initial=start, turtle=found, only=row, earlier=earlier)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            turtle_records.correct_measure(
                row,
                form.typed[0],
                measured_on=given["measured_on"],
                observer=given["observer"],
                note=given["note"],
                key=given["key"],
                by=request.user,
                today=today,
            )
        except TurtleRowRefused as refused:
            form.add_error(refused.field, refused.sentence)
        else:
            messages.success(request, "Corrected. The wrong row stays behind it.")
            return _back_to(found, "#measures")
    return _show(request, "stock/turtle_measure.html", {"form": form, "turtle": found, "correcting": row})


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def row_take_back(request: SignedRequest, number: int, what: str, key: uuid.UUID) -> HttpResponse:
    """Take back a measure, a photograph or a linked nest that is wrong."""
    found = _turtle(number)
    today = the_farm().today()
    rows: Any = {"measure": Measure, "photo": Photograph, "nest": NestOfTurtle}.get(what)
    if rows is None:
        raise Http404("There is no such row.")
    row: Any = get_object_or_404(rows.objects.standing(), turtle=found, key=key)
    form = TakeBackForm(request.POST or None, initial={"key": new_key()})
    if request.method == "POST" and form.is_valid():
        try:
            turtle_records.take_back(row, key=form.cleaned_data["key"], by=request.user, today=today)
        except TurtleRowRefused as refused:
            form.add_error(refused.field, refused.sentence)
        else:
            messages.success(request, "Taken back. It is kept in the register and shown no more.")
            return _back_to(found)
    return _show(
        request, "stock/turtle_take_back.html", {"form": form, "turtle": found, "row": row, "what": what}
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_photo(request: SignedRequest, number: int) -> HttpResponse:
    """Keep a picture of a turtle."""
    found = _turtle(number)
    today = the_farm().today()
    is_sent = request.method == "POST"
    form = PhotoForm(
        request.POST if is_sent else None,
        request.FILES if is_sent else None,
        initial={"key": new_key(), "taken_on": today},
    )
    if is_sent and form.is_valid():
        given = form.cleaned_data
        try:
            turtle_records.record_photograph(
                found,
                given["picture"],
                taken_on=given["taken_on"],
                shows=given["shows"],
                note=given["note"],
                key=given["key"],
                by=request.user,
                today=today,
            )
        except TurtleRowRefused as refused:
            form.add_error(refused.field, refused.sentence)
        else:
            messages.success(request, "The picture is kept.")
            return _back_to(found, "#pictures")
    return _show(request, "stock/turtle_photo.html", {"form": form, "turtle": found, "shows": SHOWS})


@require_safe
def photo_file(request: SignedRequest, key: uuid.UUID, size: str) -> HttpResponseBase:
    """Send a picture that stands; the browser asks each time, so that nobody sees it signed out or taken back."""
    row = get_object_or_404(Photograph.objects.standing(), key=key)
    if size not in ("whole", "small"):
        raise Http404("There is no such picture.")
    file = photos.kept_file(turtle_records.photo_folder(), row.file, small=size == "small")
    if file is None:
        raise Http404("The picture is not where it was kept. Restore it from a backup.")
    # Its name is its sum, so what the browser has of that name is sent no second time.
    name = f'"{row.file}-{size}"'
    if (unchanged := get_conditional_response(request, etag=name)) is not None:
        return unchanged
    answer = FileResponse(file.open("rb"), content_type="image/jpeg")
    answer["Content-Disposition"] = 'inline; filename="turtle.jpg"'
    answer["Cache-Control"] = "private, no-cache"
    answer["ETag"] = name
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer


@require_safe
def turtle_sizes(request: SignedRequest) -> HttpResponse:
    """Show sizes by sex and growth, kind by kind."""
    return render(request, "stock/turtle_sizes.html", {"kinds": kind_sizes()})


@require_safe
def turtle_export(request: SignedRequest, form: str) -> HttpResponse:
    """Send the marked turtles: as a sheet that loads back, or as a Darwin Core archive; `?kind=` narrows."""
    farm = the_farm()
    if form not in EXPORTS:
        raise Http404("There is no such export.")
    lived = turtle_export_rows.lives(kind=request.GET.get("kind", "")[:40].replace("\0", ""))
    if form == "darwin-core.zip":
        content: str | bytes = turtle_export_rows.darwin_core_zip(lived, farm=farm.name, made_on=farm.today())
    elif form == "turtles.xlsx":
        content = turtle_export_rows.turtles_xlsx(turtle_export_rows.sheet_rows(lived))
    else:
        content = "\ufeff" + turtle_export_rows.turtles_csv(turtle_export_rows.sheet_rows(lived))
    response = HttpResponse(content, content_type=EXPORTS[form])
    response["Content-Disposition"] = f'attachment; filename="{form}"'
    return response


def _turtle(number: int) -> Turtle:
    found = find_turtle(number)
    if found is None:
        raise Http404(f"There is no turtle {number}.")
    return found


def _last_of_each(earlier: list[Measure]) -> dict[str, tuple[int, dt.date]]:
    return {row.what: (row.stored, row.measured_on) for row in earlier}


def _back_to(found: Turtle, place: str = "") -> HttpResponse:
    return HttpResponseRedirect(reverse("stock:turtle", args=[found.pk]) + place, status=SEE_OTHER)


def _show(request: SignedRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    form = context["form"]
    return render(request, template, context, status=UNPROCESSABLE if form.is_bound and form.errors else 200)
