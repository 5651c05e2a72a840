"""Where new females go: asked and answered by GET; the plan saved, and made into tasks, by one POST each."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.models import Kind
from ponds.roles import SignedRequest, for_owner
from stock import placing_book
from stock.advice import decided_words
from stock.forms.fields import KeyField, new_key
from stock.forms.new_females import BY_HAND, QuestionForm, Typed, read_by_hand
from stock.links import link, task_link
from stock.models import SavedPlacing
from stock.placing_advice import eggs_a_female, written_out
from stock.placing_answer import Advice, CannotAdvise, PondAdvice
from stock.placing_figures import (
    assumptions,
    figure_rows,
    how_known,
    males_to_leave,
    thin_males,
    yield_rows,
)
from stock.placing_grounds import mark_of
from stock.placing_hand import HandPlacing, judge
from stock.placing_pictures import gains_chart, heads_chart
from stock.placing_sheet import before_loading, lines_of_plan
from stock.placing_tasks import Source, leaving_from, waiting
from stock.placing_today import answer_today, own_tasks
from stock.pond_concerns import Concern
from stock.pond_facts import pond_kinds
from stock.pond_kind import PondKind
from stock.saved_placings import name_of, open_plans, state_word
from stock.task_book import TaskRefused
from stock.watch_stops import AFTER, IN_SPITE, stop_words, stopped_ponds, stops_at
from stock.watched_ponds import watched_on

PLANS_SHOWN = 6
PLAN = "plan"
"""The control that names the saved plan which is being changed."""


@dataclass(frozen=True)
class Row:
    """One pond as the page lists it."""

    pond: PondAdvice
    url: str
    known: str
    few_males: str
    males_leaving: int
    leaving_words: str
    leaving_url: str
    typed: str
    mistake: str
    stands: PondKind

    @property
    def worst(self) -> Concern | None:
        """What is worst of the pond beside its ratio, which the reason tells: by its facts, the watch, the season."""
        ratio = self.stands.ratio_verdict
        return next((one for one in self.stands.all_concerns if one.words != ratio), None)


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
    instead_of: SavedPlacing | None = None

    @property
    def parameters(self) -> list[tuple[str, str]]:
        """Return what was asked, for an address or hidden controls; the plan that is changed among it."""
        plan = [(PLAN, str(self.instead_of.key))] if self.instead_of else []
        return self.form.parameters() + plan


@require_http_methods(["GET"])
def new_females(request: SignedRequest) -> HttpResponse:
    """Ask where new females go, and answer."""
    farm = the_farm()
    today = farm.today()
    asked = _asked(request.GET, today)
    context = {
        "form": asked.form,
        "farm": farm,
        "printed_on": today,
        "today": today,
        "cannot": asked.cannot,
        "waiting": waiting(asked.facts, today),
        "note": request.GET.get("note", ""),
    }
    if asked.advice is None:
        # A plan by hand waits in the question until that can be answered.
        context["kept_by_hand"] = [
            (f"{BY_HAND}{code}", one.text) for code, one in (asked.typed or {}).items()
        ]
    if not asked.form.is_bound:
        context["open_plans"] = [(plan, name_of(plan), state_word(plan)) for plan in open_plans(PLANS_SHOWN)]
    if asked.advice is not None:
        context |= _answer(asked, asked.advice, today)
    return render(request, "stock/new_females.html", context)


@for_owner
@require_http_methods(["POST"])
def new_females_save(request: SignedRequest) -> HttpResponse:
    """Save the plan that was shown, once for each key."""
    return _keep(request, with_tasks=False)


@for_owner
@require_http_methods(["POST"])
def new_females_tasks(request: SignedRequest) -> HttpResponse:
    """Save the plan that was shown and make its tasks, once for each key."""
    return _keep(request, with_tasks=True)


def _keep(request: SignedRequest, *, with_tasks: bool) -> HttpResponse:
    page, today = reverse("stock:new-females"), the_farm().today()
    asked = _asked(request.POST, today)
    note = request.POST.get("note", "")
    noted = [("note", note)] if note else []
    parameters = asked.parameters + _typed_parameters(asked.typed or {}) + noted
    if asked.advice is None or asked.by_hand is None:
        messages.error(request, "Ask where the females should go first, then keep the answer.")
        return _see(f"{page}?{urlencode(parameters)}" if asked.form.is_bound else page)
    back = f"{page}?{urlencode(parameters)}"
    nothing = "No task was made." if with_tasks else "Nothing was saved."
    try:
        key = KeyField().clean(request.POST.get("key"))
    except ValidationError:
        messages.error(
            request, "This page had lost its key. Look the plan through and press the button again."
        )
        return _see(back)
    known = SavedPlacing.objects.filter(key=key).exists()
    if not known and (refusal := _why_not_kept(request, asked, today, with_tasks=with_tasks)):
        messages.error(request, f"{nothing} {refusal}")
        return _see(f"{back}#do-it")
    try:
        with transaction.atomic():
            placing, is_new = placing_book.save(
                asked.advice,
                asked.by_hand,
                key=key,
                note=note,
                instead_of=asked.instead_of,
                by=request.user,
                today=today,
            )
            made = (
                placing_book.make_tasks(placing, asked.advice, asked.source, by=request.user, today=today)
                if with_tasks and is_new
                else []
            )
    except (TaskRefused, placing_book.PlacingRefused) as refused:
        messages.error(request, f"{nothing} {refused.sentence}")
        return _see(back)
    if made:
        where = ", ".join(f"{task.heads} to {task.pond.code}" for task in made)
        messages.success(
            request,
            f"{len(made)} {'task' if len(made) == 1 else 'tasks'} made: females of {made[0].kind}, {where}.",
        )
    elif is_new:
        messages.success(request, "Saved. No task is made yet, and nothing is booked.")
    else:
        messages.info(request, "This plan was saved already: here it is. Nothing was made twice.")
    return _see(reverse("stock:placing-detail", args=[placing.key]))


def _why_not_kept(request: SignedRequest, asked: Asked, today: dt.date, *, with_tasks: bool) -> str:
    """Say why the plan sent cannot be kept; "" where it can."""
    advice, by_hand = asked.advice, asked.by_hand
    assert advice is not None  # noqa: S101 (the caller looked)
    assert by_hand is not None  # noqa: S101
    wrong = [typed.sentence for typed in (asked.typed or {}).values() if typed.sentence]
    wrong += by_hand.problems.values()
    if wrong or not by_hand.can_be_done:
        sentence = " ".join(wrong) or by_hand.sentence or "The plan places no females."
        return f"{sentence} The answer below is by the book of now."
    if len(request.POST.get("note", "").strip()) > placing_book.LONGEST_NOTE:
        return f"The note has more than {placing_book.LONGEST_NOTE} characters. Shorten it."
    if with_tasks and advice.decided and request.POST.get("second") != "yes":
        return (
            f"{_decided_words(advice)} If these come on top of them, tick that below; if the plan was changed, "
            "drop the earlier tasks first."
        )
    if request.POST.get("shown", "") not in ("", mark_of(advice)):
        return (
            "The ponds, or what is decided for them, changed since this page was made. Below is the answer by the "
            "book of now: look it through and press the button again."
        )
    codes = {code for code, heads in by_hand.heads.items() if heads} | {asked.source.code}
    if (
        with_tasks
        and request.POST.get(IN_SPITE) != "yes"
        and (stopped := stopped_ponds(codes, stops_at(codes, today)))
    ):
        return stop_words(stopped)
    if with_tasks and (not_yet := asked.source.not_yet(by_hand.placed)):
        return not_yet
    return ""


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
        return Asked(form, facts, typed=read_by_hand(given))
    kind = form.cleaned_data["kind"]
    earlier = _plan_asked(given, kind)
    try:
        advice, source = answer_today(
            form.question(), kind, facts, but_not=own_tasks(earlier) if earlier else ()
        )
    except CannotAdvise as refused:
        return Asked(form, facts, cannot=refused.sentence, typed=read_by_hand(given))
    typed = read_by_hand(given)
    return Asked(
        form,
        facts,
        advice,
        typed=typed,
        by_hand=judge(advice, {code: one.heads or 0 for code, one in typed.items()}) if typed else None,
        source=source,
        instead_of=earlier,
    )


def _plan_asked(given: Mapping[str, Any], kind: Kind) -> SavedPlacing | None:
    """Return the saved plan of this kind that is being changed, if it still may be."""
    try:
        key = uuid.UUID(str(given.get(PLAN, "")))
    except ValueError:
        return None
    return SavedPlacing.objects.filter(key=key, kind=kind, end=None).first()


def _answer(asked: Asked, advice: Advice, today: dt.date) -> dict[str, Any]:
    typed, by_hand = asked.typed or {}, asked.by_hand
    mistakes = {code: one.sentence for code, one in typed.items() if one.sentence}
    if by_hand:
        mistakes |= by_hand.problems
    shown = {pond.code for pond in advice.ponds}
    leave = any(males_to_leave(pond) for pond in advice.ponds)
    leaving = leaving_from(advice.kind.kind_code) if leave else {}
    watched = watched_on(today)
    stands = {one.pond_id: one for one in watched.of(pond.facts for pond in advice.ponds)}
    rows = [
        _row(
            pond,
            typed[pond.code].text if pond.code in typed else "" if typed else str(pond.given or ""),
            mistakes.get(pond.code, ""),
            leaving.get(pond.code, 0),
            stands[pond.facts.pond_id],
            today,
        )
        for pond in advice.ponds
    ]
    best = {pond.code: pond.given for pond in advice.getting}
    is_by_hand = bool(by_hand and by_hand.can_be_done and not mistakes)
    plan = {code: heads for code, heads in by_hand.heads.items() if heads} if by_hand and is_by_hand else best
    opened = advice.getting[0] if advice.getting else None
    lines = written_out(advice, opened) if opened else ()
    # A pond that gets females, gives them, or is asked to let males go.
    moving = {*plan, asked.source.code, *(row.pond.code for row in rows if row.males_leaving)} - {""}
    moved = {one.pond_id for one in asked.facts if one.pond_code in moving}
    stops = [
        line for line in watched.signals if line.asks_to_stop and moved & {pond for pond, _ in line.ponds}
    ]
    stopped = stopped_ponds({*plan, asked.source.code}, stops)
    return {
        "advice": advice,
        "watch_stops": stops,
        "stopped": stopped,
        "in_spite": IN_SPITE,
        "after": AFTER,
        "decided_words": _decided_words(advice),
        "source": asked.source,
        "rows": rows,
        "open_rows": [row for row in rows if row.pond.is_open],
        "closed_rows": [row for row in rows if not row.pond.is_open],
        "by_hand": by_hand,
        "hand_mistakes": [(code if code in shown else "", sentence) for code, sentence in mistakes.items()],
        "is_by_hand": is_by_hand,
        "hand_is_wrong": by_hand is not None and not is_by_hand,
        "best_url": f"{reverse('stock:new-females')}?{urlencode(asked.parameters)}",
        "load": lines_of_plan(advice, plan),
        "before": before_loading(asked.source, sum(plan.values()), stopped),
        "load_total": sum(plan.values()),
        "parameters": asked.parameters,
        "plan_parameters": [
            *((f"{BY_HAND}{code}", str(heads)) for code, heads in plan.items()),
            ("shown", mark_of(advice)),
        ],
        "instead_of": asked.instead_of,
        "not_yet": asked.source.not_yet(sum(plan.values())),
        "key": new_key(),
        "gains_chart": gains_chart(advice),
        "heads_chart": heads_chart(advice),
        "figures": figure_rows(advice.kind),
        "assumptions": assumptions(advice),
        "opened": opened,
        "lines": lines,
        "added": sum(line.added for line in lines),
        "a_female": opened.yields.middling if opened and opened.yields else eggs_a_female(advice.kind),
        "yield_rows": yield_rows(advice),
    }


def _row(pond: PondAdvice, typed: str, mistake: str, decided: int, stands: PondKind, today: dt.date) -> Row:
    needed, kind = males_to_leave(pond), pond.facts.kind_code
    leaving = max(0, needed - decided)
    why = pond.obstacles[0].sentence if needed else ""
    return Row(
        pond=pond,
        url=link("stock:pond-detail", pond.code),
        known=how_known(pond.facts, today),
        few_males=thin_males(pond),
        males_leaving=leaving,
        leaving_words=f"Males to take out: {decided_words(needed, decided, leaving)}."
        if needed and decided
        else "",
        leaving_url=task_link(pond.code, "TAKE_OUT", kind=kind, of_class="MALE", heads=leaving, why=why)
        if leaving
        else "",
        typed=typed,
        mistake=mistake,
        stands=stands,
    )


def _typed_parameters(typed: Mapping[str, Typed]) -> list[tuple[str, str]]:
    return [(f"{BY_HAND}{code}", one.text) for code, one in typed.items()]
