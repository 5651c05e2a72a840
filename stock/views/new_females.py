"""Where new females go: asked and answered by GET, and the plan made into tasks by one POST."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.models import Kind
from ponds.roles import SignedRequest, for_owner
from stock.forms.fields import KeyField, new_key
from stock.forms.new_females import BY_HAND, QuestionForm, Typed, read_by_hand
from stock.links import first_link, link, task_link
from stock.placing_advice import advise, eggs_a_female, written_out
from stock.placing_answer import Advice, CannotAdvise, PondAdvice
from stock.placing_figures import assumptions, figure_rows, how_known, males_to_leave, thin_males
from stock.placing_hand import HandPlacing, judge
from stock.placing_pictures import gains_chart, heads_chart
from stock.placing_tasks import Source, decided_for, make_tasks, source_of
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.task_book import TaskRefused

KEYS_KEPT = 20


@dataclass(frozen=True)
class Row:
    """One pond as the page lists it."""

    pond: PondAdvice
    url: str
    known: str
    few_males: str
    males_leaving: int
    leaving_url: str
    typed: str
    mistake: str


@dataclass(frozen=True)
class Asked:
    """What a request asks, and what could be answered of it."""

    form: QuestionForm
    facts: list[PondKind]
    advice: Advice | None = None
    cannot: str = ""
    typed: Mapping[str, Typed] | None = None
    by_hand: HandPlacing | None = None
    source: Source = field(default_factory=Source)


@require_http_methods(["GET"])
def new_females(request: SignedRequest) -> HttpResponse:
    """Ask where new females go, and answer."""
    farm = the_farm()
    today = farm.today()
    asked = _asked(request.GET, today)
    context = {"form": asked.form, "farm": farm, "printed_on": today, "today": today, "cannot": asked.cannot}
    if asked.advice is not None:
        context |= _answer(asked, asked.advice, today)
    return render(request, "stock/new_females.html", context)


@for_owner
@require_http_methods(["POST"])
def new_females_tasks(request: SignedRequest) -> HttpResponse:
    """Make the plan's tasks, once for each key."""
    page = reverse("stock:new-females")
    today = the_farm().today()
    asked = _asked(request.POST, today)
    if asked.advice is None or asked.by_hand is None:
        messages.error(request, "Ask where the females should go first, then make the tasks of the answer.")
        return _see(f"{page}?{urlencode(asked.form.parameters())}" if asked.form.is_bound else page)
    back = f"{page}?{urlencode(asked.form.parameters() + _typed_parameters(asked.typed or {}))}"
    try:
        key = str(KeyField().clean(request.POST.get("key")))
    except ValidationError:
        key = ""
    if not key:
        messages.error(
            request, "This page had lost its key. Look the plan through and press the button again."
        )
        return _see(back)
    made_before = request.session.get("new_females_keys", [])
    tasks_page = first_link("stock:task-list") or page
    if key in made_before:
        messages.info(request, "These tasks were made already; nothing was made twice.")
        return _see(tasks_page)
    if asked.advice.decided and request.POST.get("second") != "yes":
        messages.error(
            request,
            f"No task was made. {_decided_words(asked.advice)} If these come on top of them, tick that below; "
            "if the plan was changed, drop the earlier tasks first.",
        )
        return _see(f"{back}#do-it")
    wrong = [typed.sentence for typed in (asked.typed or {}).values() if typed.sentence]
    wrong += asked.by_hand.problems.values()
    if wrong or not asked.by_hand.can_be_done:
        sentence = " ".join(wrong) or asked.by_hand.sentence or "The plan places no females."
        messages.error(request, f"No task was made. {sentence} The answer below is by the book of now.")
        return _see(back)
    try:
        made = make_tasks(asked.advice, asked.by_hand.heads, asked.source, by=request.user, today=today)
    except TaskRefused as refused:
        messages.error(request, f"No task was made. {refused.sentence}")
        return _see(back)
    request.session["new_females_keys"] = [*made_before, key][-KEYS_KEPT:]
    where = ", ".join(f"{task.heads} to {task.pond.code}" for task in made)
    messages.success(
        request,
        f"{len(made)} {'task' if len(made) == 1 else 'tasks'} made: females of {made[0].kind}, {where}.",
    )
    return _see(tasks_page)


def _decided_words(advice: Advice) -> str:
    """Say what open tasks add already, such as "110 are already decided for C (open task)."; "" for none."""
    return " ".join(
        f"{pond.decided} {'is' if pond.decided == 1 else 'are'} already decided for {pond.code} (open task)."
        for pond in advice.decided
    )


def _see(address: str) -> HttpResponseRedirect:
    response = HttpResponseRedirect(address)
    response.status_code = 303
    return response


def _asked(given: Mapping[str, Any], today: dt.date) -> Asked:
    facts = pond_kinds(today)
    is_asked = any(name in given for name in ("heads", "kind"))
    kinds = list(Kind.objects.order_by("common_name"))
    form = QuestionForm({name: given[name] for name in given} if is_asked else None, kinds=kinds, facts=facts)
    if not is_asked or not form.is_valid():
        return Asked(form, facts)
    question, kind = form.question(), form.cleaned_data["kind"]
    apart = dict(Kind.objects.filter(not_with=kind).values_list("pk", "common_name"))
    try:
        advice = advise(question, facts, kept_apart=apart, decided=decided_for(kind.code))
    except CannotAdvise as refused:
        return Asked(form, facts, cannot=refused.sentence)
    typed = read_by_hand(given)
    return Asked(
        form,
        facts,
        advice,
        typed=typed,
        by_hand=judge(advice, {code: one.heads or 0 for code, one in typed.items()}) if typed else None,
        source=source_of(question.source, question.heads, advice.kind, facts),
    )


def _answer(asked: Asked, advice: Advice, today: dt.date) -> dict[str, Any]:
    typed, by_hand = asked.typed or {}, asked.by_hand
    mistakes = {code: one.sentence for code, one in typed.items() if one.sentence}
    if by_hand:
        mistakes |= by_hand.problems
    shown = {pond.code for pond in advice.ponds}
    rows = [
        _row(
            pond,
            typed[pond.code].text if pond.code in typed else "" if typed else str(pond.given or ""),
            mistakes.get(pond.code, ""),
            today,
        )
        for pond in advice.ponds
    ]
    best = {pond.code: pond.given for pond in advice.getting}
    is_by_hand = bool(by_hand and by_hand.can_be_done and not mistakes)
    plan = {code: heads for code, heads in by_hand.heads.items() if heads} if by_hand and is_by_hand else best
    opened = advice.getting[0] if advice.getting else None
    lines = written_out(advice, opened) if opened else ()
    return {
        "advice": advice,
        "decided_words": _decided_words(advice),
        "source": asked.source,
        "rows": rows,
        "open_rows": [row for row in rows if row.pond.is_open],
        "closed_rows": [row for row in rows if not row.pond.is_open],
        "by_hand": by_hand,
        "hand_mistakes": [(code if code in shown else "", sentence) for code, sentence in mistakes.items()],
        "is_by_hand": is_by_hand,
        "load": [(row, plan[row.pond.code]) for row in rows if plan.get(row.pond.code)],
        "load_total": sum(plan.values()),
        "parameters": asked.form.parameters(),
        "plan_parameters": [(f"{BY_HAND}{code}", heads) for code, heads in plan.items()],
        "key": new_key(),
        "gains_chart": gains_chart(advice),
        "heads_chart": heads_chart(advice),
        "figures": figure_rows(advice.kind),
        "assumptions": assumptions(advice),
        "opened": opened,
        "lines": lines,
        "added": sum(line.added for line in lines),
        "a_female": eggs_a_female(advice.kind),
    }


def _row(pond: PondAdvice, typed: str, mistake: str, today: dt.date) -> Row:
    leaving, kind = males_to_leave(pond), pond.facts.kind_code
    why = pond.obstacles[0].sentence if leaving else ""
    return Row(
        pond=pond,
        url=link("stock:pond-detail", pond.code),
        known=how_known(pond.facts, today),
        few_males=thin_males(pond),
        males_leaving=leaving,
        leaving_url=task_link(pond.code, "TAKE_OUT", kind=kind, of_class="MALE", heads=leaving, why=why)
        if leaving
        else "",
        typed=typed,
        mistake=mistake,
    )


def _typed_parameters(typed: Mapping[str, Typed]) -> list[tuple[str, str]]:
    return [(f"{BY_HAND}{code}", one.text) for code, one in typed.items()]
