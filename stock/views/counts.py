"""Counts: those accepted, with the surveys still open; one count; and taking one back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.roles import SignedRequest, for_owner
from stock import ledger
from stock.count_book import STANDS, against_book, in_short, is_opening, plus_or_minus, state_of, with_book
from stock.count_facts import since_last_count
from stock.count_standing import around
from stock.forms.fields import new_key
from stock.forms.surveys import TakeBackForm
from stock.models import Count, Haul, Survey
from stock.refusals import LedgerRefusal
from stock.survey_rows import with_hauls
from stock.tables.counts import CountFilter, CountTable, SurveyFilter, SurveyTable

SEE_OTHER = 303
OPEN_SHOWN = 12
FIGURES = (("Females", "females"), ("Males", "males"), ("Unsexed", "unsexed"), ("Juveniles", "juveniles"))


class CountList(ListPage):
    """Every count that was accepted, newest first, below the surveys still open."""

    model = Count
    table_class = CountTable
    filterset_class = CountFilter
    template_name = "stock/count_list.html"
    search_fields = ("pond__code", "kind__common_name", "by_name", "reason", "method_reason")
    search_label = "Search pond, kind, person or reason"
    export_name = "counts"

    def get_queryset(self):
        return with_book(super().get_queryset()).order_by("-as_of", "-pk")

    def get_context_data(self, **kwargs):
        opened = with_hauls(Survey.objects.all()).filter(is_accepted=False, haul_count__gt=0)
        surveys = list(opened.order_by("-last_on", "-pk")[: OPEN_SHOWN + 1])
        return {
            **super().get_context_data(**kwargs),
            "open_surveys": surveys[:OPEN_SHOWN],
            "has_more": len(surveys) > OPEN_SHOWN,
        }


class SurveyList(ListPage):
    """Every survey, the newest hauls first."""

    model = Survey
    table_class = SurveyTable
    filterset_class = SurveyFilter
    template_name = "stock/survey_list.html"
    search_fields = ("pond__code", "note")
    search_label = "Search pond or note"
    export_name = "surveys"

    def get_queryset(self):
        return with_hauls(super().get_queryset()).order_by("-last_on", "-pk")


@require_safe
def count_detail(request: SignedRequest, pk: int) -> HttpResponse:
    """Show one count: what it says, how it was read, and what it said against the book."""
    return _show_count(request, pk, TakeBackForm(initial={"key": new_key()}))


@for_owner
@require_http_methods(["POST"])
def count_take_back(request: SignedRequest, pk: int) -> HttpResponse:
    """Take an accepted count back with a reason; the book's reset goes with it."""
    count = get_object_or_404(Count, pk=pk)
    form = TakeBackForm(request.POST)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            ledger.take_back_count(
                count, key=typed["key"], by=request.user, today=the_farm().today(), reason=typed["reason"]
            )
        except LedgerRefusal as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, refusal.sentence)
        else:
            messages.success(request, "Taken back. The count and the reason stay in the list.")
            return HttpResponseRedirect(reverse("stock:count-detail", args=[pk]), status=SEE_OTHER)
    return _show_count(request, pk, form)


def _show_count(request: SignedRequest, pk: int, form: TakeBackForm) -> HttpResponse:
    count = get_object_or_404(with_book(Count.objects.all()), pk=pk)
    if form.is_bound and "key" in form.errors:
        form.data = {**form.data.dict(), "key": str(new_key())}  # type: ignore[attr-defined]
    evidence = Haul.objects.filter(counted_in__count=count).select_related("move__reversed_by")
    context = {
        "count": count,
        "how": in_short(count),
        "state": state_of(count),
        "stands": state_of(count) == STANDS,
        "can_be_taken_back": _can_be_taken_back(count),
        "against": against_book(count),
        "figures": [
            (name, getattr(count, field), plus_or_minus(getattr(count, f"{field}_se")))
            for name, field in FIGURES
        ],
        "hauls": evidence.order_by("happened_on", "pk"),
        "since": None if is_opening(count) else since_last_count(count),
        "is_opening": is_opening(count),
        "standing": around(count) if state_of(count) == STANDS and not is_opening(count) else (),
        "form": form,
    }
    return render(request, "stock/count_detail.html", context)


def _can_be_taken_back(count: Count) -> bool:
    """Say whether a take-back has something left to do: a count that fell with a haul leaves its reset standing."""
    if is_opening(count) or getattr(count, "reversed_by", None) is not None:
        return False
    return count.move is None or getattr(count.move, "reversed_by", None) is None
