"""What if: moves tried on a pond without booking them, asked and answered by GET; tasks of them by one POST."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.models import Kind, Pond
from ponds.roles import SignedRequest, for_owner
from stock.charts import Interval, interval_strip
from stock.forms.what_if import WhatIfForm
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.task_book import TaskRefused
from stock.watch_stops import stops_at
from stock.what_if import ratio_words, try_moves
from stock.what_if_answer import WhatIfAnswer
from stock.what_if_tasks import make_tasks
from stock.yield_book import yield_book

SEE_OTHER = 303


@require_http_methods(["GET", "HEAD"])
def what_if(request: SignedRequest, code: str) -> HttpResponse:
    """Try moves: the address holds them, nothing is written."""
    farm = the_farm()
    today = farm.today()
    pond = _pond(code)
    facts = pond_kinds(today)
    is_asked = any(name in request.GET for name in WhatIfForm.base_fields)
    form = WhatIfForm(request.GET if is_asked else None, pond=pond.code, facts=facts)
    context: dict[str, Any] = {"form": form, "pond": pond, "farm": farm, "printed_on": today, "today": today}
    if is_asked and form.is_valid() and form.question().moves:
        answer = _answer(form, facts, today)
        context |= {
            "answer": answer,
            "chart": _chart(answer),
            "words": [(one, ratio_words(one.now), ratio_words(one.then)) for one in answer.ponds],
            "parameters": form.parameters(),
            "address": urlencode(form.parameters()),
            "watch_stops": stops_at({one.code for one in answer.ponds}, today),
        }
    elif is_asked and not form.errors:
        context["nothing"] = True
    return render(request, "stock/what_if.html", context)


@for_owner
@require_http_methods(["POST"])
def what_if_tasks(request: SignedRequest, code: str) -> HttpResponse:
    """Make the tried moves tasks; the same ones sent again on the same day make none twice."""
    today = the_farm().today()
    pond = _pond(code)
    facts = pond_kinds(today)
    form = WhatIfForm(request.POST, pond=pond.code, facts=facts)
    back = f"{reverse('stock:what-if', args=[pond.code])}?{urlencode(form.parameters())}"
    if not form.is_valid():
        messages.error(
            request, "No task was made: the ponds have changed, or the moves cannot be made. See below."
        )
        return _see(back)
    if not form.question().moves:
        messages.error(request, "No task was made: give at least one head to move.")
        return _see(back)
    answer = _answer(form, facts, today)
    if request.POST.get("in_spite") != "yes" and (
        answer.warnings or stops_at({one.code for one in answer.ponds}, today)
    ):
        messages.error(
            request,
            "No task was made: something stands against these moves, see below. If they are to be made all the same, "
            "tick that below.",
        )
        return _see(f"{back}#do-it")
    try:
        made = make_tasks(answer, by=request.user, today=today)
    except TaskRefused as refused:
        messages.error(request, f"No task was made. {refused.sentence}")
        return _see(back)
    ponds = sorted({task.pond.code for task in made})
    messages.success(
        request,
        f"{len(made)} {'task' if len(made) == 1 else 'tasks'} made, at {', '.join(ponds)}. Each opens the Log with "
        "its task ticked.",
    )
    return _see(f"{reverse('stock:pond-detail', args=[pond.code])}#tasks")


def _pond(code: str) -> Pond:
    pond = Pond.objects.not_retired().filter(code=code).first()
    if pond is None:
        raise Http404(f"There is no pond {code[:20]} in use.")
    return pond


def _answer(form: WhatIfForm, facts: list[PondKind], today) -> WhatIfAnswer:
    apart = set(Kind.not_with.through.objects.values_list("from_kind_id", "to_kind_id"))
    return try_moves(form.question(), facts, yield_book(today), kept_apart=apart)


def _chart(answer: WhatIfAnswer):
    """Draw the ratios before and after with their intervals against the band."""
    rows = []
    for pond in answer.ponds:
        for when, one in (("now", pond.now), ("then", pond.then)):
            stands = one.standing
            value = stands.ratio if stands is not None else one.verdict.ratio
            if value is None or not one.females_now:
                continue
            low, high = stands.ratio_limits if stands is not None else (value, value)
            rows.append(Interval(f"{pond.code}, {when}", value, low, high))
    if not rows:
        return None
    first = answer.pond.now
    return interval_strip(
        "Females per male, now and then", rows, band=first.band, target=first.target, unit="females per male"
    )


def _see(address: str) -> HttpResponseRedirect:
    response = HttpResponseRedirect(address)
    response.status_code = SEE_OTHER
    return response
