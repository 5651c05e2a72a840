"""The survey planner: asked and answered by GET, nothing is kept."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from ponds.farm import the_farm
from ponds.roles import SignedRequest
from stock.book import by_pond_and_kind
from stock.forms.fields import FarmChoices, farm_choices
from stock.forms.planner import MARKS, PASSES, PlannerForm
from stock.planner_page import Answer, of_marks, of_passes, of_sexing
from stock.standing_facts import standings
from stock.templatetags.stock_format import number


@require_safe
def count_plan(request: SignedRequest) -> HttpResponse:
    """Ask how well a pond should be known, and answer how many to catch, mark, pass or sex."""
    choices = farm_choices()
    asked = request.GET.dict()
    filled = ""
    if asked:
        filled = _fill_in(asked, choices)
    form = PlannerForm(asked or None, ponds=choices.ponds, kinds=choices.kinds)
    answer = None
    if form.is_bound and form.is_valid():
        try:
            answer = _answer(form)
        except ValueError as error:
            form.add_error(None, str(error))
    context = {"form": form, "answer": answer, "filled": filled, "asked": form.is_bound}
    return render(request, "stock/count_plan.html", context)


def _fill_in(asked: dict[str, str], choices: FarmChoices) -> str:
    """Fill in the adults the pond is taken to hold, by its standing or else by the book, where none were typed."""
    pond = choices.pond(asked.get("pond", ""))
    if pond is None or asked.get("expected"):
        return ""
    kind, today = choices.kind(asked.get("kind", "")), the_farm().today()
    book, stands = by_pond_and_kind(today, pond_ids=[pond.pk]), standings(today, pond_ids=[pond.pk])
    kinds = {kind_id for _, kind_id in book} if kind is None else {kind.pk}
    adults, is_booked = 0.0, False
    for where in [(pond.pk, kind_id) for kind_id in kinds]:
        if (one := stands.get(where)) is not None:
            adults += one.females + one.males
        elif (heads := book.get(where)) is not None:
            adults += heads.females + heads.males + heads.unsexed
            is_booked = True
    asked["expected"] = str(round(adults))
    of_kind = f" of {kind.common_name}" if kind else ""
    words = f"{number(adults)} adults{of_kind}"
    if is_booked or not stands:
        return f"Pond {pond.code} holds {words} by the book; change it if you expect another."
    return f"Pond {pond.code} probably holds {words} by its counts, moves and losses; change it if you expect another."


def _answer(form: PlannerForm) -> Answer:
    asked = form.cleaned_data
    expected, half_width = asked["expected"], float(asked["within"]) / 100
    if asked["method"] == MARKS:
        return of_marks(expected, half_width, asked["marked"])
    if asked["method"] == PASSES:
        return of_passes(expected, half_width, float(asked["chance"]) / 100)
    return of_sexing(expected, half_width, float(asked["ratio"]))
