"""One turtle: its page, its card, and what is written about it: measures and photographs."""

from __future__ import annotations

import uuid
from typing import Any

import segno
from django.http import FileResponse, Http404, HttpResponse
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
from stock.turtle_nests import row_now
from stock.turtle_page import has_rim, turtle_page
from stock.turtle_sizes import kind_sizes
from stock.views.turtle_forms import Done, Page, answer, page_of, turtle_or_404

EXPORTS = {
    "turtles.csv": "text/csv; charset=utf-8",
    "marks.csv": "text/csv; charset=utf-8",
    "turtles.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "darwin-core.zip": "application/zip",
}


@require_safe
def turtle(request: SignedRequest, number: int) -> HttpResponse:
    """Show one turtle."""
    found = turtle_or_404(number)
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
    found = turtle_or_404(number)
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
    found = turtle_or_404(number)
    today = the_farm().today()
    earlier = _measures(found)
    start = measure_start(today, request.user.get_username(), earlier[-1] if earlier else None)
    form = MeasureForm(request.POST or None, initial=start, turtle=found, last=earlier)

    def write(given: dict[str, Any]) -> Done:
        rows = turtle_records.record_measures(
            found, form.typed, **_handled(given), by=request.user, today=today
        )
        says = f"{len(rows)} {'measure' if len(rows) == 1 else 'measures'} written."
        return Done(says, page_of(found, "#measures"), tuple(form.notes))

    return answer(request, form, write, Page("stock/turtle_measure.html", lambda: {"turtle": found}))


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def measure_correct(request: SignedRequest, number: int, key: uuid.UUID) -> HttpResponse:
    """Write a measure in the place of a wrong one."""
    found = turtle_or_404(number)
    row = _mendable(Measure, found, key, request)
    start = {**measure_start(row.measured_on, row.observer, row), row.what: row.typed, "note": row.note}
    form = MeasureForm(request.POST or None, initial=start, turtle=found, only=row)

    def write(given: dict[str, Any]) -> Done:
        turtle_records.correct_measure(
            row, form.typed[0], **_handled(given), by=request.user, today=the_farm().today()
        )
        return Done("Corrected. The wrong row stays behind it.", page_of(found, "#measures"))

    return answer(
        request, form, write, Page("stock/turtle_measure.html", lambda: {"turtle": found, "correcting": row})
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def row_take_back(request: SignedRequest, number: int, what: str, key: uuid.UUID) -> HttpResponse:
    """Take back a measure, a photograph or a linked nest that is wrong."""
    found = turtle_or_404(number)
    rows: Any = {"measure": Measure, "photo": Photograph, "nest": NestOfTurtle}.get(what)
    if rows is None:
        raise Http404("There is no such row.")
    row = _mendable(rows, found, key, request)
    form = TakeBackForm(request.POST or None, initial={"key": new_key()})

    def write(given: dict[str, Any]) -> Done:
        turtle_records.take_back(row, key=given["key"], by=request.user, today=the_farm().today())
        return Done("Taken back. It is kept in the register and shown no more.", page_of(found))

    return answer(
        request,
        form,
        write,
        Page(
            "stock/turtle_take_back.html",
            lambda: {
                "turtle": found,
                "row": row,
                "what": what,
                "dug_on": row_now(row.nest_day).dug_on if what == "nest" else None,
            },
        ),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_photo(request: SignedRequest, number: int) -> HttpResponse:
    """Keep a picture of a turtle."""
    found = turtle_or_404(number)
    today = the_farm().today()
    is_sent = request.method == "POST"
    form = PhotoForm(
        request.POST if is_sent else None,
        request.FILES if is_sent else None,
        initial={"key": new_key(), "taken_on": today},
    )

    def write(given: dict[str, Any]) -> Done:
        picture = given.pop("picture")
        turtle_records.record_photograph(found, picture, **given, by=request.user, today=today)
        return Done("The picture is kept.", page_of(found, "#pictures"))

    return answer(
        request, form, write, Page("stock/turtle_photo.html", lambda: {"turtle": found, "shows": SHOWS})
    )


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
    """Send the marked turtles: as sheets that load back, or as a Darwin Core archive; `?kind=` narrows."""
    farm = the_farm()
    if form not in EXPORTS:
        raise Http404("There is no such export.")
    lived = turtle_export_rows.lives(kind=request.GET.get("kind", "")[:40].replace("\0", ""))
    if form == "darwin-core.zip":
        content: str | bytes = turtle_export_rows.darwin_core_zip(lived, farm=farm.name, made_on=farm.today())
    elif form == "turtles.xlsx":
        content = turtle_export_rows.turtles_xlsx(
            turtle_export_rows.sheet_rows(lived), turtle_export_rows.mark_rows(lived)
        )
    else:
        rows = turtle_export_rows.mark_rows if form == "marks.csv" else turtle_export_rows.sheet_rows
        content = "\ufeff" + turtle_export_rows.sheet_csv(rows(lived))
    response = HttpResponse(content, content_type=EXPORTS[form])
    response["Content-Disposition"] = f'attachment; filename="{form}"'
    return response


def _handled(given: dict[str, Any]) -> dict[str, Any]:
    return {name: given[name] for name in ("measured_on", "observer", "note", "key")}


def _measures(found: Turtle) -> list[Measure]:
    return list(Measure.objects.standing().filter(turtle=found).order_by("measured_on", "pk"))


def _mendable(rows: Any, found: Turtle, key: uuid.UUID, request: SignedRequest) -> Any:
    """Return a row that stands, or that this very form mended already: it was sent a second time."""
    row = get_object_or_404(rows.objects.select_related("replaced_by"), turtle=found, key=key, is_void=False)
    later = getattr(row, "replaced_by", None)
    if later is not None and str(later.key) != request.POST.get("key"):
        raise Http404("This row was mended already.")
    return row
