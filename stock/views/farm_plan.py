"""The whole-farm plan: asked and answered by GET, sent as a sheet, and made into tasks by one POST."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.lists import GuardedExport
from ponds.models import Kind
from ponds.roles import SignedRequest, for_owner
from stock.farm_plan_advice import plan_farm
from stock.farm_plan_answer import PlanAnswer
from stock.farm_plan_pictures import ratios_chart
from stock.farm_plan_tasks import (
    SealBroken,
    changes_since,
    make_tasks,
    planned_tasks,
    seal,
    unseal,
    waiting,
)
from stock.farm_plan_yields import plan_yields
from stock.forms.farm_plan import DEFAULTS, PlanForm
from stock.forms.fields import KeyField, new_key
from stock.placing_answer import CannotAdvise
from stock.pond_facts import pond_kinds
from stock.tables.farm_plan import PlannedMoveTable
from stock.task_book import TaskRefused
from stock.templatetags.stock_format import number, signed
from stock.watch_page import WatchLine
from stock.watch_stops import stopped_ponds, stops_at

KEYS_KEPT = 20
SEE_OTHER = 303


@dataclass(frozen=True)
class Asked:
    """What a request asks, what could be answered of it, and the signals of its ponds that ask to stop moves."""

    form: PlanForm
    answer: PlanAnswer | None = None
    cannot: str = ""
    signals: Sequence[WatchLine] = ()


@require_http_methods(["GET"])
def farm_plan(request: SignedRequest) -> HttpResponse:
    """Ask for the plan, and answer; `?_export=csv` or `xlsx` sends its moves."""
    farm = the_farm()
    today = farm.today()
    asked = _asked(request.GET, today)
    export_format = request.GET.get("_export")
    if asked.answer is not None and GuardedExport.is_valid_format(export_format):
        table = PlannedMoveTable(list(asked.answer.moves))
        return GuardedExport(export_format, table, dataset_kwargs={"title": "farm plan"}).response(
            f"farm-plan_{today:%Y-%m-%d}.{export_format}"
        )
    context = {
        "form": asked.form,
        "farm": farm,
        "printed_on": today,
        "today": today,
        "cannot": asked.cannot,
        "longest": dict(asked.form.fields["seconds"].choices).get(asked.form["seconds"].value()),  # type: ignore[attr-defined]
    }
    if asked.answer is not None:
        context |= _shown(asked.form, asked.answer) | {"watch_stops": asked.signals}
    return render(request, "stock/farm_plan.html", context)


@for_owner
@require_http_methods(["POST"])
def farm_plan_tasks(request: SignedRequest) -> HttpResponse:
    """Make the tasks of the plan that was shown, once for each key."""
    today = the_farm().today()
    names = [name for name in PlanForm.base_fields if request.POST.get(name)]
    asked = urlencode([(name, request.POST[name]) for name in names])
    back = f"{reverse('stock:farm-plan')}{f'?{asked}' if asked else ''}"
    try:
        key = str(KeyField().clean(request.POST.get("key")))
        plan = unseal(request.POST.get("plan", ""))
    except ValidationError:
        messages.error(
            request, "This page had lost its key. Look the plan through and press the button again."
        )
        return _see(back)
    except SealBroken as broken:
        messages.error(request, f"No task was made. {broken.sentence}")
        return _see(back)
    made_before = request.session.get("farm_plan_keys", [])
    tasks_page = reverse("stock:task-list")
    if key in made_before:
        messages.info(request, "These tasks were made already; nothing was made twice.")
        return _see(tasks_page)
    if changed := changes_since(plan, today):
        told = " ".join(changed[:3]) + (f" And {len(changed) - 3} more." if len(changed) > 3 else "")
        messages.error(
            request,
            f"No task was made: the book has changed since this plan was made. {told} Below is the plan by the book "
            "of now.",
        )
        return _see(back)
    codes = {one.pond for one in plan.tasks}
    if stopped := stopped_ponds(codes, stops_at(codes, today)):
        messages.error(
            request,
            f"No task was made: since this plan was made the watch asks to stop all moves at {', '.join(stopped)}. "
            f"Below is the plan that leaves {'it' if len(stopped) == 1 else 'them'} alone.",
        )
        return _see(back)
    if waiting({one.kind for one in plan.tasks}) and request.POST.get("second") != "yes":
        messages.error(
            request,
            "No task was made: other tasks that add or take out heads of these kinds are still open. If these come on "
            "top of them, tick that below.",
        )
        return _see(f"{back}#do-it")
    try:
        made = make_tasks(plan, by=request.user, today=today)
    except TaskRefused as refused:
        messages.error(request, f"No task was made. {refused.sentence}")
        return _see(back)
    request.session["farm_plan_keys"] = [*made_before, key][-KEYS_KEPT:]
    ponds = len({task.pond_id for task in made})
    messages.success(
        request,
        f"{len(made)} {'task' if len(made) == 1 else 'tasks'} made for {ponds} {'pond' if ponds == 1 else 'ponds'}. "
        "Males first, then females.",
    )
    return _see(tasks_page)


def _see(address: str) -> HttpResponseRedirect:
    response = HttpResponseRedirect(address)
    response.status_code = SEE_OTHER
    return response


def _asked(given: Mapping[str, Any], today: dt.date) -> Asked:
    facts = pond_kinds(today)
    is_asked = any(name in given for name in DEFAULTS)
    kinds = list(Kind.objects.order_by("common_name"))
    form = PlanForm({name: given[name] for name in given} if is_asked else None, kinds=kinds, facts=facts)
    if not is_asked or not form.is_valid():
        return Asked(form)
    apart = set(Kind.not_with.through.objects.values_list("from_kind_id", "to_kind_id"))
    try:
        question = form.question()
        yields = plan_yields(question.kind_ids, today) if question.is_for_eggs else None
        asked_about = {one.pond_code for one in facts if one.kind_id in question.kind_ids}
        signals = stops_at(asked_about, today)
        stops = {
            pond: f"The watch: {line.sentence} {line.remedy}" for line in signals for pond, _ in line.ponds
        }
        answer = plan_farm(question, facts, kept_apart=apart, yields=yields, stops=stops)
        return Asked(form, answer, signals=signals)
    except CannotAdvise as refused:
        return Asked(form, cannot=refused.sentence)


def _kinds_of_heads(answer: PlanAnswer) -> str:
    """Say what the heads handled are, such as "120 moved between ponds, 30 males sold"."""
    plan = answer.plan
    parts = (
        (plan.handled - plan.sold - plan.bought, "moved between ponds"),
        (plan.sold, "males sold"),
        (plan.bought, "females bought"),
    )
    return ", ".join(f"{number(heads)} {what}" for heads, what in parts if heads) or "none"


def _asked_words(answer: PlanAnswer) -> str:
    """Say what was asked, for the print, which leaves the form out."""
    question = answer.question
    kinds = sorted({pond.facts.kind_name for pond in answer.ponds})
    said = [f"Asked for {question.aim}, of {', '.join(kinds)}"]
    if question.a_head:
        said.append(f"{question.taken_off} taken off for each head handled")
    said.append("males may be sold" if question.may_sell else "no males sold")
    said.append(
        f"{number(question.bought)} bought females at most" if question.bought else "no females bought"
    )
    if question.leave:
        said.append(f"left alone: {', '.join(question.leave)}")
    return f"{'; '.join(said)}."


def _eggs_gained(answer: PlanAnswer) -> str:
    """Say how many hatched eggs the plan adds to those without any move; "" where none are counted."""
    if answer.gained is None:
        return ""
    low, more, high = answer.gained
    if abs(more) < 0.5:
        return "as many as without any move"
    limits = (
        ""
        if low == high
        else f" (90 % limits {signed(low)} to {signed(high)}, by what is known of the ponds)"
    )
    each = ""
    if more > 0 and answer.gained_a_head is not None:
        each = f", {number(answer.gained_a_head, 1)} for each head handled on average"
    return f"{number(abs(more))} {'more' if more > 0 else 'fewer'} than without any move{limits}{each}"


def _shown(form: PlanForm, answer: PlanAnswer) -> dict[str, Any]:
    return {
        "answer": answer,
        "plan": answer.plan,
        "kinds_of_heads": _kinds_of_heads(answer),
        "eggs_gained": _eggs_gained(answer),
        "asked_words": _asked_words(answer),
        "unlearnt": {pond.facts.kind_name for pond in answer.ponds} - set(answer.learnt),
        "parameters": form.parameters(),
        "address": urlencode(form.parameters()),
        "several_kinds": len({pond.facts.kind_id for pond in answer.ponds}) > 1,
        "chart": ratios_chart(answer),
        "tasks": planned_tasks(answer),
        "waiting": waiting({pond.facts.kind_code for pond in answer.ponds}) if answer.moves else [],
        "sealed": seal(answer) if answer.moves else "",
        "key": new_key(),
    }
