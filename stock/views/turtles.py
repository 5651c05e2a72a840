"""Turtles: the list with its searches, notch schemes confirmed."""

from __future__ import annotations

from typing import Any

from django.db.models import Case, IntegerField, QuerySet, Value, When
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.roles import SignedRequest, for_owner
from stock import turtle_book
from stock.forms.fields import new_key
from stock.forms.turtle_list import ConfirmSchemeForm, HalfReadForm
from stock.ledger import schemes_in_use
from stock.marks import shell
from stock.marks.notch import SCHEMES, Scheme
from stock.models import SchemeConfirmation, Turtle
from stock.tables.turtles import TurtleFilter, TurtleTable, last_in_hand
from stock.turtle_histories import shares_of_marks, survival_by_sex
from stock.turtle_search import Found, half_read, is_called, search
from stock.views.rim_tapped import half_read_rim
from stock.views.turtle_forms import Done, Page, answer

HALF_READ_NAMES = ("rim", "clear", "faint")


class TurtleList(ListPage):
    """Every marked turtle, found by any mark in any form, by scan, or by a rim half read."""

    model = Turtle
    table_class = TurtleTable
    filterset_class = TurtleFilter
    template_name = "stock/turtle_list.html"
    search_label = "Scan a tag, or type a mark or number"
    export_name = "turtles"
    found = Found(frozenset())
    rim_sentence = ""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.half = HalfReadForm(request.GET)
        self.asks_rim = bool(request.GET.get("clear") or request.GET.get("faint"))
        if self.search_text:
            self.found = search(self.search_text)
            # A scan ends with Enter: what only one turtle carries opens that turtle.
            others = {name for name, value in request.GET.items() if value} - {"q"}
            if len(self.found.ids) == 1 and not others:
                address = reverse("stock:turtle", args=[next(iter(self.found.ids))])
                return HttpResponseRedirect(address)
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet:
        rows = (
            super()
            .get_queryset()
            .select_related("kind", "cell__pond", "batch")
            .prefetch_related("marks")
            .annotate(in_hand_on=last_in_hand())
            .order_by("pk")
        )
        if self.search_text:
            rows = rows.filter(pk__in=self.found.ids)
        if self.asks_rim and self.half.is_valid():
            given = self.half.cleaned_data
            read = half_read(self.half.scheme, given["clear_scutes"], given["faint_scutes"])
            self.rim_sentence = read.sentence
            place = Case(
                *(When(pk=pk, then=Value(at)) for at, pk in enumerate(read.ids[:200])),
                default=Value(len(read.ids)),
                output_field=IntegerField(),
            )
            rows = rows.filter(pk__in=read.ids).order_by(place, "pk")
        return rows

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        context["search_label"] = self.search_label
        context["half"] = self.half if self.asks_rim or "rim" in self.request.GET else HalfReadForm()
        # Open too while a rim is tapped, and where another scheme was chosen for it.
        context["asks_rim"] = self.asks_rim or "rim" in self.request.GET
        given = self.half.cleaned_data if self.half.is_valid() else {}
        context["rim"] = half_read_rim(
            self.half.scheme,
            given.get("clear_scutes", ()),
            given.get("faint_scutes", ()),
            reverse("stock:turtle-list"),
        )
        context["rim_sentence"] = self.rim_sentence
        context["found_notes"] = self.found.notes
        # A number that no turtle has is said by the search; it is no tag that a new one could carry.
        context["found_none"] = bool(
            self.search_text and not self.found.ids and not is_called(self.search_text)
        )
        return context


@require_safe
def turtle_survival(request: SignedRequest) -> HttpResponse:
    """Show survival by sex from recaptures beside what counts say, and the share of marks against the book."""
    today = the_farm().today()
    context = {"survival": survival_by_sex(today), "shares": shares_of_marks(today)}
    return render(request, "stock/turtle_survival.html", context)


@require_safe
def scheme_list(request: SignedRequest) -> HttpResponse:
    """Show the notch schemes, each with its drawing and who held it against the printed figure."""
    in_use = schemes_in_use()
    confirmed = {row.scheme: row for row in SchemeConfirmation.objects.order_by("pk")}
    rows = [(scheme, key in in_use, confirmed.get(key), _drawn(scheme)) for key, scheme in SCHEMES.items()]
    return render(request, "stock/scheme_list.html", {"rows": rows})


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def scheme_confirm(request: SignedRequest, scheme: str) -> HttpResponse:
    """Note that a scheme was held against its printed figure, scute by scute."""
    found = SCHEMES.get(scheme)
    if found is None:
        raise Http404(f"There is no notch scheme {scheme[:20]}.")
    form = ConfirmSchemeForm(request.POST or None, initial={"key": new_key()})

    def write(given: dict[str, Any]) -> Done:
        turtle_book.confirm_scheme(
            scheme, against=given["against"], key=given["key"], by=request.user, today=the_farm().today()
        )
        return Done(f"{found.title} may be used now.", reverse("stock:scheme-list"))

    page = Page("stock/scheme_confirm.html", lambda: {"scheme": found, "shell": _drawn(found)})
    return answer(request, form, write, page)


def _drawn(scheme: Scheme) -> str:
    return mark_safe(shell.draw_shell(scheme, (), name=scheme.title))  # noqa: S308 (drawn by us, every word escaped)
