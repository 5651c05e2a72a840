"""Saved plans of new females: the list, one plan opened again, its load sheet, its tasks, and its end."""

from __future__ import annotations

import datetime as dt
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.lists import ListPage
from ponds.roles import SignedRequest, for_owner
from stock import placing_book
from stock.forms.new_females import BY_HAND
from stock.forms.tasks import CancelPlanForm
from stock.models import SavedPlacing
from stock.placing_sheet import before_loading, lines_of_saved
from stock.placing_today import Looked, look_again
from stock.pond_facts import pond_kinds
from stock.saved_placings import (
    CANCELLED,
    DONE,
    REPLACED,
    SAVED,
    name_of,
    posted_for,
    state_word,
    with_state,
)
from stock.tables.placings import PlacingFilter, PlacingTable
from stock.task_book import TaskRefused
from stock.watch_stops import AFTER, IN_SPITE, stop_words, stopped_ponds, stops_at

SEE_OTHER = 303
OVER = (DONE, CANCELLED, REPLACED)


class PlacingList(ListPage):
    """Every plan of new females that was saved, newest first."""

    model = SavedPlacing
    table_class = PlacingTable
    filterset_class = PlacingFilter
    template_name = "stock/placing_list.html"
    search_fields = ("note", "by_name", "kind__common_name", "stops__pond__code")
    search_label = "Search note, person, kind or pond"
    export_name = "plans of new females"

    def get_queryset(self):
        return (
            with_state(super().get_queryset()).select_related("kind").distinct().order_by("-saved_on", "-pk")
        )


@require_safe
def placing_detail(request: SignedRequest, key: UUID) -> HttpResponse:
    """Open a saved plan again: how far it is, what changed since, what it would give today."""
    placing, looked, today = _look(key)
    return render(request, "stock/placing_detail.html", _shown(placing, looked, today))


@require_safe
def placing_sheet(request: SignedRequest, key: UUID) -> HttpResponse:
    """Show the load sheet: what the truck takes to which pond, on one page."""
    placing, looked, today = _look(key)
    lines = lines_of_saved(looked.stops, looked.advice, looked.grounds)
    total = sum(line.heads for line in lines)
    codes = _moving(looked)
    context = {
        "placing": placing,
        "name": name_of(placing),
        "lines": lines,
        "load_total": total,
        "source": placing.source,
        "before": before_loading(looked.source, total, stopped_ponds(codes, stops_at(codes, today))),
        "is_over": _state(placing) in OVER,
        "state": state_word(placing),
        "printed_on": today,
    }
    return render(request, "stock/placing_sheet.html", context)


@for_owner
@require_http_methods(["POST"])
def placing_tasks(request: SignedRequest, key: UUID) -> HttpResponse:
    """Make the tasks of what is left: those that stand already are made no second time."""
    placing, looked, today = _look(key)
    here = reverse("stock:placing-detail", args=[placing.key])
    if looked.advice is None:
        messages.error(
            request, f"No task was made. {looked.cannot or 'Nothing of this plan is left to be done.'}"
        )
        return _see(here)
    if looked.advice.decided and request.POST.get("second") != "yes":
        messages.error(
            request,
            "No task was made. Open tasks add females to these ponds already. If these come on top of them, tick "
            "that below.",
        )
        return _see(f"{here}#do-it")
    codes = _moving(looked)
    if request.POST.get(IN_SPITE) != "yes" and (stopped := stopped_ponds(codes, stops_at(codes, today))):
        messages.error(request, f"No task was made. {stop_words(stopped)}")
        return _see(f"{here}#do-it")
    try:
        made = placing_book.make_tasks(placing, looked.advice, looked.source, by=request.user, today=today)
    except (TaskRefused, placing_book.PlacingRefused) as refused:
        messages.error(request, f"No task was made. {refused.sentence}")
        return _see(here)
    if made:
        where = ", ".join(f"{task.heads} to {task.pond.code}" for task in made)
        messages.success(request, f"{len(made)} {'task' if len(made) == 1 else 'tasks'} made: {where}.")
    else:
        messages.info(request, "Every pond with heads left has its task already; nothing was made twice.")
    return _see(here)


@for_owner
@require_http_methods(["GET", "HEAD", "POST"])
def placing_cancel(request: SignedRequest, key: UUID) -> HttpResponse:
    """Ask why a plan is cancelled, and cancel it."""
    placing = get_object_or_404(with_state(_rows()), key=key)
    here = reverse("stock:placing-detail", args=[placing.key])
    form = CancelPlanForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            dropped = placing_book.cancel(placing, why=form.cleaned_data["why"], by=request.user)
        except placing_book.PlacingRefused as refused:
            form.add_error(None, refused.sentence)
        else:
            tasks = f" {dropped} open task{'s' if dropped > 1 else ''} dropped." if dropped else ""
            messages.success(request, f"Cancelled.{tasks} What was brought already stays booked.")
            return _see(here)
    context = {"form": form, "placing": placing, "name": name_of(placing)}
    return render(request, "stock/placing_cancel.html", context)


def _rows():
    return SavedPlacing.objects.select_related("kind", "source", "end__replaced_by")


def _state(placing: SavedPlacing) -> str:
    return placing.state  # type: ignore[attr-defined]


def _look(key: UUID) -> tuple[SavedPlacing, Looked, dt.date]:
    placing = get_object_or_404(with_state(_rows()), key=key)
    today = the_farm().today()
    is_over = _state(placing) in OVER
    facts = [] if is_over else pond_kinds(today)
    return placing, look_again(placing, facts, is_over=is_over), today


def _moving(looked: Looked) -> set[str]:
    """Return the ponds that heads still leave or come to; none once the plan is over."""
    coming = {stop.pond for stop in looked.stops if stop.left} if looked.advice or looked.cannot else set()
    return coming | {looked.source.code} - {""} if coming else set()


def _shown(placing: SavedPlacing, looked: Looked, today: dt.date) -> dict[str, Any]:
    grounds, state = looked.grounds, _state(placing)
    left = {stop.pond: stop.left for stop in looked.stops if stop.left}
    best_now = {pond.code: pond.given for pond in looked.advice.getting} if looked.advice else {}
    return {
        "placing": placing,
        "name": name_of(placing),
        "state": state,
        "state_word": state_word(placing),
        "is_over": state in OVER,
        "is_only_saved": state == SAVED,
        "looked": looked,
        "rows": [
            (stop, grounds.pond(stop.pond), looked.advice and looked.advice.pond(stop.pond))
            for stop in looked.stops
        ],
        "grounds": grounds,
        "posted": posted_for(placing),
        "today": today,
        "printed_on": today,
        "best_now": list(best_now.items()),
        "is_best_now": best_now == left,
        "change_url": _change(placing, looked, left),
        "decided": looked.advice.decided if looked.advice else [],
        "end": getattr(placing, "end", None),
        "watch_stops": stops_at(_moving(looked), today),
        "in_spite": IN_SPITE,
        "after": AFTER,
    }


def _change(placing: SavedPlacing, looked: Looked, left: dict[str, int]) -> str:
    """Return the address that asks again for the heads left, with the plan's heads filled in by hand."""
    grounds = looked.grounds
    asked = [
        ("heads", sum(left.values())),
        ("kind", placing.kind.code),
        *([("source", placing.source.code)] if placing.source else []),
        ("seasons", grounds.seasons),
        ("full_to", f"{grounds.full_to:g}"),
        ("exponent", f"{grounds.exponent:g}"),
        ("in_doubt", "yes" if grounds.in_doubt else "no"),
        ("within", f"{100 * grounds.within:g}"),
        *((f"{BY_HAND}{code}", heads) for code, heads in left.items()),
        ("plan", placing.key),
    ]
    return f"{reverse('stock:new-females')}?{urlencode(asked)}#by-hand"


def _see(address: str) -> HttpResponseRedirect:
    return HttpResponseRedirect(address, status=SEE_OTHER)
