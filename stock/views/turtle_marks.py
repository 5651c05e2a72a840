"""One turtle's marks and sex: a mark put on, what became of one, how the sex was told, a nest she dug."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.roles import SignedRequest, for_hand
from ponds.svg_marks import day_text
from stock import turtle_book, turtle_nests
from stock.forms.fields import farm_choices, new_key
from stock.forms.turtle_list import AddMarkForm
from stock.forms.turtle_marks import MarkEventForm, SexForm
from stock.forms.turtle_nest import AskedNestForm, NestSearchForm
from stock.marks import notch, shell
from stock.marks.sexes import cue_of, sexing_questions
from stock.models import Mark, Measure, Turtle
from stock.scute_links import scute_links, tapped
from stock.turtle_page import has_rim, mark_words
from stock.views.rim_tapped import tapped_rim
from stock.views.turtle_forms import Done, Page, answer, page_of, turtle_or_404

NESTS_OFFERED = 60


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_mark(request: SignedRequest, number: int) -> HttpResponse:
    """Put a mark on a turtle; scutes are tapped on the drawing, or the code is typed."""
    found = turtle_or_404(number)
    today = the_farm().today()
    rim = tapped_rim(
        request.GET.dict(), reverse("stock:turtle-mark", args=[found.pk]), f"turtle {found.pk}", {}
    )
    kind_of_mark = request.GET.get("form", "NOTCH" if "at" in request.GET else "TAG")
    start = {
        "key": new_key(),
        "day": today,
        "form": kind_of_mark if kind_of_mark in ("NOTCH", "TAG", "PAINT", "OTHER") else "TAG",
        "scheme": rim.scheme.key,
        "code": rim.code,
    }
    form = AddMarkForm(request.POST or None, initial=start, turtle=found)

    def write(given: dict[str, Any]) -> Done:
        mark = turtle_book.put_mark(
            found, given["put_on"], day=given["day"], key=given["key"], by=request.user, today=today
        )
        return Done(
            f"The mark {mark_words(mark)[1]} is written.",
            page_of(found, "#marks"),
            (*form.notes, *_same_words(mark)),
        )

    def beside() -> dict[str, Any]:
        return {"turtle": found, "rim": rim, "has_rim": has_rim(found)}

    return answer(request, form, write, Page("stock/turtle_mark.html", beside, form.beside))


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def mark_event(request: SignedRequest, number: int, pk: int) -> HttpResponse:
    """Note what became of a mark; faint scutes are tapped on the drawing."""
    found = turtle_or_404(number)
    mark = get_object_or_404(Mark.objects.filter(turtle=found), pk=pk)
    today = the_farm().today()
    faint = tapped(request.GET.get("faint", ""), mark.mask or 0)
    start = {"key": new_key(), "day": today, "what": "WORN" if faint else "READ", "faint": " ".join(faint)}
    form = MarkEventForm(request.POST or None, initial=start, mark=mark)

    def write(given: dict[str, Any]) -> Done:
        written = {name: given[name] for name in ("key", "day", "faint_mask", "note")}
        turtle_book.note_mark(mark, given["what"], **written, by=request.user, today=today)
        return Done("Written. The mark itself stays as it was put on.", page_of(found, "#marks"))

    def beside() -> dict[str, Any]:
        title, code, words = mark_words(mark)
        scheme = notch.SCHEMES.get(mark.scheme)
        drawing = ""
        if scheme is not None and mark.mask:
            page = reverse("stock:turtle-mark-event", args=[found.pk, mark.pk])
            clear = [one for one in notch.positions_in(mark.mask) if one not in faint]
            drawing = _drawn(
                scheme, clear, faint, code, found, scute_links(page, "faint", faint, mark.mask, {})
            )
        return {
            "turtle": found, "mark": mark, "title": title, "code": code, "words": words, "shell": drawing,
        }  # fmt: skip

    return answer(request, form, write, Page("stock/turtle_mark_event.html", beside))


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_sex(request: SignedRequest, number: int) -> HttpResponse:
    """Note how a turtle's sex was told."""
    found = turtle_or_404(number)
    today = the_farm().today()
    kind = found.kind.scientific_name
    start = {"key": new_key(), "day": today, "sex": found.sex, "certainty": "PROBABLE"}
    form = SexForm(request.POST or None, initial=start)

    def write(given: dict[str, Any]) -> Done:
        written = {name: given[name] for name in ("key", "day", "note")}
        turtle_book.note_sex(found, given["told"], **written, by=request.user, today=today)
        asked = sexing_questions(kind, given["sex"], given["method"], _length_near(found, given["day"]))
        return Done(
            "Written. What was taken for its sex before stays on the page.",
            page_of(found, "#sex"),
            tuple(one.sentence for one in asked),
        )

    return answer(
        request, form, write, Page("stock/turtle_sex.html", lambda: {"turtle": found, "cue": cue_of(kind)})
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_nest(request: SignedRequest, number: int) -> HttpResponse:
    """Link a nest of the nest book to the female that was seen to dig it."""
    found = turtle_or_404(number)
    searched = NestSearchForm(request.GET, ponds=farm_choices().pond_choices)
    free = turtle_nests.free_nests(found)
    offered = free
    if searched.is_valid():
        day, pond = searched.cleaned_data["day"], searched.cleaned_data["pond"]
        offered = offered.filter(dug_on=day) if day else offered
        offered = offered.filter(pond__code=pond) if pond else offered
    rows = list(offered[: NESTS_OFFERED + 1])
    chosen = request.POST.get("nest", "")
    if chosen.isascii() and chosen.isdecimal() and chosen not in {str(row.pk) for row in rows}:
        rows = [*free.filter(pk=int(chosen[:18])), *rows]  # chosen among those of another day
    has_more = len(rows) > NESTS_OFFERED
    nests = {str(row.pk): row for row in rows[:NESTS_OFFERED]}
    form = AskedNestForm(request.POST or None, initial={"key": new_key()}, nests=nests, turtle=found)

    def write(given: dict[str, Any]) -> Done:
        turtle_nests.link_nest(
            found,
            form.nests[given["nest"]],
            **{name: given[name] for name in ("eggs", "note", "key")},
            by=request.user,
        )
        return Done("The nest is hers.", page_of(found, "#nests"))

    beside = {"turtle": found, "has_nests": bool(nests), "searched": searched, "has_more": has_more}
    return answer(request, form, write, Page("stock/turtle_nest.html", lambda: beside))


def _same_words(mark: Mark) -> tuple[str, ...]:
    """Say that a turtle carries these words already: paint may be put on again, or was typed twice."""
    alike = Mark.objects.filter(turtle=mark.turtle_id, form=mark.form, text=mark.text).exclude(pk=mark.pk)
    first = alike.order_by("pk").first() if mark.text else None
    if first is None:
        return ()
    return (
        f"“{mark.text}” was put on before, on {day_text(first.put_on_on)}, and both stand on the page. If it "
        "was typed twice, open one of them and write “typed by mistake”.",
    )


def _length_near(found: Turtle, day: dt.date) -> float | None:
    """Return the carapace length measured nearest to a day, in mm."""
    rows = (
        Measure.objects.standing().filter(turtle=found, what="SCL_MAX").values_list("measured_on", "stored")
    )
    return min(rows, key=lambda row: abs((row[0] - day).days))[1] if rows else None


def _drawn(scheme: Any, clear: Any, faint: Any, code: str, found: Turtle, links: Any) -> str:
    drawing = shell.draw_shell(
        scheme, clear, doubtful=faint, code=code, name=f"turtle {found.pk}", links=links
    )
    return mark_safe(drawing)  # noqa: S308 (drawn by us, every word escaped)
