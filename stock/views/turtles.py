"""Turtles: the list with its searches, a head marked in a pond, notch schemes confirmed."""

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
from ponds.roles import SignedRequest, for_hand, for_owner
from stock import turtle_book
from stock.forms.fields import farm_choices, new_key
from stock.forms.turtle_list import ConfirmSchemeForm, HalfReadForm, NewTurtleForm
from stock.ledger import schemes_in_use
from stock.marks import shell
from stock.marks.notch import LETTER_SCHEME, SCHEMES, Scheme
from stock.models import Cell, SchemeConfirmation, Turtle
from stock.tables.turtles import TurtleFilter, TurtleTable, last_in_hand
from stock.turtle_histories import shares_of_marks, survival_by_sex
from stock.turtle_search import Found, free_code, half_read, is_called, search
from stock.views.turtle_forms import Done, Page, answer, page_of

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
        context["half"] = self.half if self.asks_rim else HalfReadForm()
        context["asks_rim"] = self.asks_rim
        context["rim_sentence"] = self.rim_sentence
        context["found_notes"] = self.found.notes
        # A number that no turtle has is said by the search; it is no tag that a new one could carry.
        context["found_none"] = bool(
            self.search_text and not self.found.ids and not is_called(self.search_text)
        )
        return context


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def turtle_new(request: SignedRequest) -> HttpResponse:
    """Mark a head that stands in a pond already: it becomes a turtle of the register."""
    today = the_farm().today()
    choices = farm_choices()
    asked = {
        name: request.GET[name][:40]
        for name in ("pond", "kind", "of_class", "number")
        if request.GET.get(name)
    }
    start = {"form": "TAG", "scheme": LETTER_SCHEME.key, **asked}
    form = NewTurtleForm(request.POST or None, choices=choices, today=today, initial=start)

    def write(given: dict[str, Any]) -> Done:
        turtle, receipt = turtle_book.register(
            **{name: given[name] for name in ("key", "kind", "of_class", "pond", "day", "batch", "note")},
            put_on=form.put_on,
            sex=form.sex,
            by=request.user,
            today=today,
        )
        says = f"Turtle {turtle.pk} is in the register. Its number stays its own for ever."
        return Done(says, page_of(turtle), (*form.notes, *receipt.warnings))

    def beside() -> dict[str, Any]:
        return {"free": _free_codes(choices, request.GET.get("kind", ""))}

    return answer(request, form, write, Page("stock/turtle_new.html", beside, form.beside))


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


def _free_codes(choices, asked: str) -> list[tuple[str, str]]:
    """Return the next free three-notch code of each kind that ponds ever held and whose rim can be notched."""
    if LETTER_SCHEME.key not in schemes_in_use():
        return []
    found = []
    kept = set(Cell.objects.filter(pond__isnull=False).values_list("kind", flat=True))
    for kind in choices.kinds:
        if kind.pk not in kept or (asked and kind.code != asked):
            continue
        try:
            found.append((kind.common_name, free_code(LETTER_SCHEME, kind)))
        except ValueError:
            continue  # a softshell, or the scheme is full
    return found
