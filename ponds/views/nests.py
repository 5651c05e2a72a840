"""The nest book: the list, a quick entry, a correction, taking a row back."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds import nest_book
from ponds.clutches import clutch_line
from ponds.farm import the_farm
from ponds.filters import NestFilter
from ponds.forms import NestForm, TakeBackForm
from ponds.lists import ListPage
from ponds.mending import why_not_mended
from ponds.models import NestDay, Pond
from ponds.nest_checks import nests_text
from ponds.nest_doubts import doubts_about
from ponds.nest_words import words_of
from ponds.open_pages import OpenPaginator
from ponds.roles import for_hand, role_of
from ponds.svg_marks import day_text, figure_text
from ponds.tables import NestTable
from ponds.views.answers import UNPROCESSABLE, see_other, show_form

ROWS_SHOWN = 10


class NestList(ListPage):
    """Every row of the nest book that stands."""

    model = NestDay
    table_class = NestTable
    filterset_class = NestFilter
    template_name = "ponds/nest_list.html"
    search_fields = ("note", "pond__code", "pond__name", "kind__common_name", "by__username")
    search_label = "Search"
    export_name = "nest-book"
    paginator_class = OpenPaginator

    def get_queryset(self) -> QuerySet:
        standing = super().get_queryset().filter(replaced_by=None, is_void=False)
        return (
            standing.select_related("pond", "kind", "by")
            .prefetch_related("clutches")
            .order_by("-dug_on", "-pk")
        )

    def get_table_kwargs(self) -> dict[str, Any]:
        if role_of(self.request.user) == "reader":
            return {"exclude": ("change",)}
        today = the_farm().today()
        return {"may_mend": lambda row: not why_not_mended(row, self.request.user, today)}


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def nest_new(request: HttpRequest) -> HttpResponse:
    """Enter one pond's nests of one kind on one day."""
    today = the_farm().today()
    form = NestForm(request.POST or None, initial=_start(request, today))
    if request.method == "POST" and form.is_valid():
        row = _book(form, partial(nest_book.record, by=request.user, today=today))
        if row is not None:
            messages.success(request, _said(row), extra_tags=_undo(row))
            return see_other(f"{reverse('ponds:nest-new')}?day={row.dug_on:%Y-%m-%d}")
    latest = (
        NestDay.objects.standing()
        .select_related("pond", "kind", "by")
        .prefetch_related("clutches")
        .order_by("-recorded_at", "-pk")[:ROWS_SHOWN]
    )
    return _show(request, "ponds/nest_new.html", {"form": form, "latest": latest})


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def nest_correct(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Put a corrected row in the place of one; the old one stays in the book."""
    row = get_object_or_404(NestDay.objects.select_related("pond", "kind", "by"), key=key)
    if request.method != "POST" and (why_not := why_not_mended(row, request.user, the_farm().today())):
        return _not_yours(request, why_not)
    initial = {name: getattr(row, name) for name in ("kind", "dug_on", "nests", "eggs", "broken", "note")}
    initial["kind"] = row.kind.code if row.kind else None
    initial["clutches"] = clutch_line(nest_book.clutches_of(row))
    form = NestForm(request.POST or None, initial=initial, row=row)
    if request.method == "POST" and form.is_valid():
        mended = _book(form, partial(nest_book.replace, row=row, by=request.user, today=the_farm().today()))
        if mended is not None:
            messages.success(request, f"Corrected: {_said(mended)}", extra_tags=_undo(mended))
            return see_other("ponds:nest-list")
    said = words_of([row.pk]).get(row.pk)
    return _show(request, "ponds/nest_correct.html", {"form": form, "row": row, "said": said})


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def nest_take_back(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """Take a row back; it stays in the book, and counts for nothing."""
    row = get_object_or_404(NestDay.objects.select_related("pond", "kind", "by"), key=key)
    if request.method != "POST" and (why_not := why_not_mended(row, request.user, the_farm().today())):
        return _not_yours(request, why_not)
    form = TakeBackForm(request.POST or None, initial={"key": uuid.uuid4()})
    if request.method == "POST" and form.is_valid():
        try:
            nest_book.take_back(
                row=row,
                key=form.cleaned_data["key"],
                note=form.cleaned_data["note"],
                by=request.user,
                today=the_farm().today(),
            )
        except nest_book.NestRefused as refused:
            _refuse(form, refused)
        else:
            messages.success(request, f"Taken back: {_said(row)}")
            return see_other("ponds:nest-list")
    said = words_of([row.pk]).get(row.pk)
    return show_form(request, "ponds/nest_take_back.html", {"form": form, "row": row, "said": said})


def _book(form: NestForm, write: Callable[..., NestDay]) -> NestDay | None:
    """Write what was typed; None where it is refused, or odd and not confirmed yet: then nothing is written.

    What is odd is asked once: the same figures sent again with the tick stand.
    """
    entry = form.entry()
    is_sent_again = NestDay.objects.filter(key=entry["key"]).exists()
    try:
        with transaction.atomic():
            row = write(**entry)
            if not is_sent_again:
                form.questions += doubts_about(row)
                form.is_asking = bool(form.questions) and not form.is_confirmed
                transaction.set_rollback(form.is_asking)
    except nest_book.NestRefused as refused:
        _refuse(form, refused)
        return None
    return None if form.is_asking else row


def _show(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    answer = show_form(request, template, context)
    if context["form"].is_asking:
        answer.status_code = UNPROCESSABLE
    return answer


def _start(request: HttpRequest, today) -> dict[str, Any]:
    """Return what the form shows first: today, and the pond and its only kind where `?pond=` names one."""
    start: dict[str, Any] = {"dug_on": request.GET.get("day") or today}
    code = request.GET.get("pond", "").upper()
    pond = Pond.objects.prefetch_related("kinds_allowed").filter(code=code).first() if code else None
    if pond:
        start["pond"] = pond.code
        kinds = list(pond.kinds_allowed.all())
        if len(kinds) == 1:
            start["kind"] = kinds[0].code
    return start


def _not_yours(request: HttpRequest, why_not: str) -> HttpResponse:
    messages.error(request, why_not)
    return see_other("ponds:nest-list")


def _refuse(form, refused: nest_book.NestRefused) -> None:
    form.add_error(refused.field if refused.field in form.fields else None, str(refused))


def _said(row: NestDay) -> str:
    eggs = (
        "eggs not counted"
        if row.eggs is None
        else f"{figure_text(row.eggs)} egg{'' if row.eggs == 1 else 's'}"
    )
    kind = row.kind.common_name if row.kind else "kind not known"
    return f"pond {row.pond.code}, {kind}, {day_text(row.dug_on)}: {nests_text(row.nests)}, {eggs}."


def _undo(row: NestDay) -> str:
    return "undo:" + reverse("ponds:nest-take-back", args=[row.key])
