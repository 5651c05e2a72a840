"""One turtle's marks and sex: a mark put on, what became of one, how the sex was told."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.roles import SignedRequest, for_hand
from stock import turtle_book
from stock.forms.fields import new_key
from stock.forms.turtle_marks import MarkEventForm, MarkForm, NestForm, SexForm
from stock.marks import notch, shell
from stock.marks.sexes import cue_of, sexing_questions
from stock.models import Mark, Measure, NestOfTurtle, Turtle
from stock.refusals import LedgerRefusal
from stock.scute_links import code_of, scute_links, tapped
from stock.turtle_page import find_turtle, has_rim, mark_words

SEE_OTHER, UNPROCESSABLE = 303, 422
NESTS_OFFERED = 60
FIELDS = {
    "nest_day": "nest",
    "mark": "code",
    "scheme": "scheme",
    "day": "day",
    "happened_on": "day",
    "what": "what",
    "sex": "sex",
}


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_mark(request: SignedRequest, number: int) -> HttpResponse:
    """Put a mark on a turtle; scutes are tapped on the drawing, or the code is typed."""
    found = _turtle(number)
    today = the_farm().today()
    scheme = notch.SCHEMES.get(request.GET.get("scheme", ""), notch.LETTER_SCHEME)
    chosen = tapped(request.GET.get("at", ""), scheme.usable_mask)
    kind_of_mark = request.GET.get("form", "NOTCH" if chosen or "at" in request.GET else "TAG")
    start = {
        "day": today,
        "form": kind_of_mark if kind_of_mark in ("NOTCH", "TAG", "PAINT", "OTHER") else "TAG",
        "scheme": scheme.key,
        "code": code_of(scheme, chosen),
    }
    form = MarkForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            mark = turtle_book.put_mark(
                found, given["put_on"], day=given["day"], by=request.user, today=today
            )
        except LedgerRefusal as refused:
            _put_beside(form, refused, "number" if given["form"] == "TAG" else "code")
        else:
            _, code, _ = mark_words(mark)
            messages.success(request, f"The mark {code} is written.")
            for sentence in form.notes:
                messages.warning(request, sentence)
            return _back_to(found, "#marks")
    page = reverse("stock:turtle-mark", args=[found.pk])
    links = scute_links(page, "at", chosen, scheme.usable_mask, {"form": "NOTCH", "scheme": scheme.key})
    context = {
        "form": form,
        "turtle": found,
        "shell": mark_safe(  # noqa: S308 (drawn by us, every word escaped)
            shell.draw_shell(
                scheme, chosen, code=code_of(scheme, chosen), name=f"turtle {found.pk}", links=links
            )
        ),
        "scheme": scheme,
        "schemes": [(one, f"{page}?form=NOTCH&scheme={one.key}&at=#shell") for one in notch.SCHEMES.values()],
        "has_rim": has_rim(found),
        "chosen": notch.in_words(chosen) if chosen else "",
    }
    return _show(request, "stock/turtle_mark.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def mark_event(request: SignedRequest, number: int, pk: int) -> HttpResponse:
    """Note what became of a mark; faint scutes are tapped on the drawing."""
    found = _turtle(number)
    today = the_farm().today()
    mark = get_object_or_404(Mark.objects.filter(turtle=found), pk=pk)
    faint = tapped(request.GET.get("faint", ""), mark.mask or 0)
    start = {"key": new_key(), "day": today, "what": "WORN" if faint else "READ", "faint": " ".join(faint)}
    form = MarkEventForm(request.POST or None, initial=start, mark=mark)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            turtle_book.note_mark(
                mark,
                given["what"],
                key=given["key"],
                day=given["day"],
                by=request.user,
                today=today,
                faint_mask=given["faint_mask"],
                note=given["note"],
            )
        except LedgerRefusal as refused:
            _put_beside(form, refused, "what")
        else:
            messages.success(request, "Written. The mark itself stays as it was put on.")
            return _back_to(found, "#marks")
    title, code, words = mark_words(mark)
    scheme = notch.SCHEMES.get(mark.scheme)
    drawing = ""
    if scheme is not None and mark.mask:
        page = reverse("stock:turtle-mark-event", args=[found.pk, mark.pk])
        clear = [one for one in notch.positions_in(mark.mask) if one not in faint]
        links = scute_links(page, "faint", faint, mark.mask, {})
        drawing = shell.draw_shell(
            scheme, clear, doubtful=faint, code=code, name=f"turtle {found.pk}", links=links
        )
    context = {
        "form": form,
        "turtle": found,
        "mark": mark,
        "title": title,
        "code": code,
        "words": words,
        "shell": mark_safe(drawing),  # noqa: S308 (drawn by us, every word escaped)
    }
    return _show(request, "stock/turtle_mark_event.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_sex(request: SignedRequest, number: int) -> HttpResponse:
    """Note how a turtle's sex was told."""
    found = _turtle(number)
    today = the_farm().today()
    form = SexForm(request.POST or None, initial={"day": today, "sex": found.sex, "certainty": "PROBABLE"})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            turtle_book.note_sex(
                found, given["told"], day=given["day"], by=request.user, today=today, note=given["note"]
            )
        except LedgerRefusal as refused:
            _put_beside(form, refused, "sex")
        else:
            messages.success(request, "Written. What was taken for its sex before stays on the page.")
            for one in sexing_questions(
                found.kind.scientific_name, given["sex"], given["method"], _length_near(found, given["day"])
            ):
                messages.warning(request, one.sentence)
            return _back_to(found, "#sex")
    context = {"form": form, "turtle": found, "cue": cue_of(found.kind.scientific_name)}
    return _show(request, "stock/turtle_sex.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_nest(request: SignedRequest, number: int) -> HttpResponse:
    """Link a nest of the nest book to the female that was seen to dig it."""
    found = _turtle(number)
    nests = {str(row.pk): row for row in turtle_book.free_nests(found)[:NESTS_OFFERED]}
    offered = [
        (
            pk,
            f"{row.dug_on:%Y-%m-%d}, pond {row.pond.code}: {row.nests - row.linked} of {row.nests} not linked",
        )
        for pk, row in nests.items()
    ]
    form = NestForm(request.POST or None, initial={"key": new_key()}, offered=offered)
    is_valid = request.method == "POST" and form.is_valid()
    key = form.cleaned_data.get("key") if form.is_bound else None
    if key and NestOfTurtle.objects.filter(turtle=found, key=key).exists():
        return _back_to(found, "#nests")  # sent a second time
    if is_valid:
        given = form.cleaned_data
        try:
            turtle_book.link_nest(
                found,
                nests[given["nest"]],
                by=request.user,
                eggs=given["eggs"],
                note=given["note"],
                key=given["key"],
            )
        except LedgerRefusal as refused:
            _put_beside(form, refused, "nest")
        else:
            messages.success(request, "The nest is hers.")
            return _back_to(found, "#nests")
    context = {"form": form, "turtle": found, "has_nests": bool(nests)}
    return _show(request, "stock/turtle_nest.html", context)


def _length_near(found: Turtle, day: dt.date) -> float | None:
    """Return the carapace length measured nearest to a day, in mm."""
    rows = (
        Measure.objects.standing().filter(turtle=found, what="SCL_MAX").values_list("measured_on", "stored")
    )
    return min(rows, key=lambda row: abs((row[0] - day).days))[1] if rows else None


def _turtle(number: int) -> Turtle:
    found = find_turtle(number)
    if found is None:
        raise Http404(f"There is no turtle {number}.")
    return found


def _put_beside(form: Any, refused: LedgerRefusal, otherwise: str) -> None:
    name = FIELDS.get(refused.field, otherwise)
    if name == "code":
        name = otherwise
    form.add_error(name if name in form.fields else None, refused.sentence)


def _back_to(found: Turtle, place: str) -> HttpResponse:
    return HttpResponseRedirect(reverse("stock:turtle", args=[found.pk]) + place, status=SEE_OTHER)


def _show(request: SignedRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    form = context["form"]
    return render(request, template, context, status=UNPROCESSABLE if form.is_bound and form.errors else 200)
