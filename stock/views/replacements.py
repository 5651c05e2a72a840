"""Replacements: how many hatchlings to keep back, and from which room. Asked and answered by GET."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.models import Kind
from ponds.roles import SignedRequest
from stock.forms.replacements import AheadForm
from stock.placing_answer import CannotAdvise
from stock.pond_facts import pond_kinds
from stock.replacements_advice import look_ahead
from stock.replacements_answer import AheadAnswer
from stock.replacements_pictures import ahead_chart, sex_chart
from stock.replacements_rows import (
    bridge_words,
    figure_lines,
    growth_at_most,
    incubation_cautions,
    incubation_words,
    side_by_side,
    warmth_words,
    what_if_words,
)


@require_http_methods(["GET"])
def replacements(request: SignedRequest) -> HttpResponse:
    """Answer for the kind most of which stands here, unless another is asked for."""
    farm = the_farm()
    today = farm.today()
    facts = pond_kinds(today)
    kinds = list(Kind.objects.order_by("common_name"))
    form = AheadForm(request.GET, farm=farm, kinds=kinds, facts=facts)
    context: dict[str, Any] = {"form": form, "farm": farm, "printed_on": today, "today": today}
    if form.is_valid():
        question = form.question()
        if question is None:
            context["cannot"] = (
                "No pond is kept for any kind yet. Lay out a pond and say which kinds it may hold."
            )
        else:
            try:
                context |= _shown(look_ahead(question, facts), farm.temperature_unit)
            except CannotAdvise as refused:
                context["cannot"] = refused.sentence
    return render(request, "stock/replacements.html", context)


def _shown(answer: AheadAnswer, unit: str) -> dict[str, Any]:
    for_females = answer.incubation.for_females
    return {
        "answer": answer,
        "here": answer.as_it_is,
        "bridge": bridge_words(answer),
        "rows": side_by_side(answer, unit),
        "what_if_words": what_if_words(answer),
        "figures": figure_lines(answer),
        "at_most": growth_at_most(answer),
        "ahead_chart": ahead_chart(answer),
        "sex_chart": sex_chart(answer, unit),
        "incubation_words": incubation_words(answer, unit),
        "incubation_cautions": incubation_cautions(answer, unit),
        "female_room": warmth_words(for_females, unit) if for_females else "",
    }
