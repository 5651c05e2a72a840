"""Surveys: hauls put together and read side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.models import Kind, Pond
from ponds.roles import SignedRequest, for_hand
from stock import survey_book
from stock.count_book import STANDS, against_book, in_short, state_of, with_book
from stock.forms.fields import cut, farm_choices, new_key
from stock.forms.surveys import SurveyForm, give, renew_key, start_of
from stock.models import Count, CountHaul, Haul, Survey
from stock.survey_page import kind_part
from stock.surveys import (
    all_hauls,
    is_taken_back,
    open_survey,
    read,
    ungrouped_hauls,
)

SEE_OTHER = 303
APART_DAYS = 14
OFFERED_DAYS = 60
MOST_OFFERED = 40


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def survey_new(request: SignedRequest) -> HttpResponse:
    """Put hauls together: those of two weeks around the haul it began from are ticked beforehand."""
    haul, pond = _asked_for(request)
    if pond is None:
        return _choose_pond(request)
    if request.method != "POST" and haul is not None and not request.GET.get("new"):
        opened = open_survey(pond)
        if opened is not None and _is_near(opened, haul):
            address = f"{reverse('stock:survey-change', args=[opened.pk])}?haul={haul.pk}"
            return HttpResponseRedirect(address)
    offered = _offered(pond, haul, request.POST)
    kinds = _kinds(offered)
    if request.method == "POST":
        form = SurveyForm(request.POST, hauls=offered, kinds=kinds)
        if form.is_valid():
            try:
                survey = survey_book.begin(pond, form.draft(), key=form.cleaned_data["key"], by=request.user)
            except survey_book.SurveyRefused as refused:
                form.add_error(refused.field or None, refused.sentence)
            else:
                return _see(reverse("stock:survey-detail", args=[survey.pk]))
        renew_key(form)
    else:
        ticked = [str(one.pk) for one in offered if haul is None or _days_apart(one, haul) <= APART_DAYS]
        start = {"key": new_key(), "hauls": ticked if haul is not None else ticked[:1]}
        form = SurveyForm(initial=start, hauls=offered, kinds=kinds)
    context = {"form": form, "pond": pond, "survey": None, "offered": offered}
    return render(request, "stock/survey_form.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def survey_change(request: SignedRequest, pk: int) -> HttpResponse:
    """Change what belongs to a survey: hauls, marks at large before it, double marks, note."""
    survey = get_object_or_404(Survey.objects.select_related("pond"), pk=pk)
    haul, _ = _asked_for(request)
    members = all_hauls(survey)
    offered = [*_offered(survey.pond, haul or (members[-1] if members else None), request.POST), *members]
    offered.sort(key=lambda one: (one.happened_on, one.pk), reverse=True)
    marked = {(row.kind.code, row.of_class): row.heads for row in survey.marked_before.select_related("kind")}
    kinds = _kinds(offered)
    if request.method == "POST":
        form = SurveyForm(request.POST, hauls=offered, kinds=kinds)
        if form.is_valid():
            try:
                survey_book.change(survey, form.draft(), as_read=form.cleaned_data["as_read"])
            except survey_book.SurveyRefused as refused:
                form.add_error(refused.field or None, refused.sentence)
                give(form, as_read=survey_book.as_it_is(Survey.objects.filter(pk=pk).first() or survey))
            else:
                messages.success(request, "Kept. The survey is read again with what belongs to it now.")
                return _see(reverse("stock:survey-detail", args=[survey.pk]))
        renew_key(form)
    else:
        standing = [one for one in members if not is_taken_back(one)]
        start = start_of(survey, [*standing, *_to_tick(members, offered, haul)], marked)
        start |= {"key": new_key(), "as_read": survey_book.as_it_is(survey)}
        form = SurveyForm(initial=start, hauls=offered, kinds=kinds)
    context = {
        "form": form,
        "pond": survey.pond,
        "survey": survey,
        "offered": offered,
        "taken_back": [one for one in members if is_taken_back(one)],
        "asked_haul": haul,
        "has_counts": Count.objects.filter(survey=survey).exists(),
    }
    return render(request, "stock/survey_form.html", context)


@for_hand
@require_http_methods(["POST"])
def survey_drop(request: SignedRequest, pk: int) -> HttpResponse:
    """Give a survey up from which nothing was accepted; its hauls stay."""
    survey = get_object_or_404(Survey.objects.select_related("pond"), pk=pk)
    try:
        survey_book.give_up(survey)
    except survey_book.SurveyRefused as refused:
        messages.error(request, refused.sentence)
        return _see(reverse("stock:survey-detail", args=[pk]))
    messages.success(request, f"Given up: the survey of pond {survey.pond.code}. Its hauls stay in the book.")
    return _see(reverse("stock:count-list"))


@require_safe
def survey_detail(request: SignedRequest, pk: int) -> HttpResponse:
    """Show a survey read for each kind: methods side by side, what they assume, and what was accepted."""
    survey = get_object_or_404(
        Survey.objects.select_related("pond", "started_by").prefetch_related("marked_before__kind"), pk=pk
    )
    members = all_hauls(survey)
    standing = [haul for haul in members if not is_taken_back(haul)]
    counts = _counts_of(survey, {haul.pk for haul in standing})
    accepted = {row["count"].kind_id for row in counts if row["stands"]}
    parts = [kind_part(one) for one in read(survey)]
    context = {
        "survey": survey,
        "pond": survey.pond,
        "members": members,
        "shares_day": len({haul.happened_on for haul in standing}) < len(standing),
        "taken_back": [haul for haul in members if is_taken_back(haul)],
        "parts": parts,
        "counts": counts,
        "accepted_kinds": accepted,
        "marked_before": list(survey.marked_before.all()),
    }
    return render(request, "stock/survey_detail.html", context)


def _counts_of(survey: Survey, members: set[int]) -> list[dict]:
    counts = list(with_book(Count.objects.filter(survey=survey)).order_by("-pk"))
    read_from: dict[int, set[int]] = {count.pk: set() for count in counts}
    for count_id, haul_id in CountHaul.objects.filter(count__in=read_from).values_list("count_id", "haul_id"):
        read_from[count_id].add(haul_id)
    return [
        {
            "count": count,
            "how": in_short(count),
            "state": state_of(count),
            "stands": state_of(count) == STANDS,
            "against": against_book(count),
            "hauls_changed": read_from[count.pk] != members,
        }
        for count in counts
    ]


# What a form of hauls offers


def _asked_for(request: SignedRequest) -> tuple[Haul | None, Pond | None]:
    """Return the haul and the pond that the address or the sent form names."""
    asked = request.POST.get("haul") or request.GET.get("haul", "")
    if asked.isdecimal() and len(asked) < 18:
        haul = Haul.objects.select_related("pond").filter(pk=int(asked)).first()
        if haul is not None:
            return haul, haul.pond
    code = (request.POST.get("pond") or request.GET.get("pond", "")).strip().upper()
    return None, None if "\0" in code else Pond.objects.filter(code=code).first()


def _choose_pond(request: SignedRequest) -> HttpResponse:
    code = (request.POST.get("pond") or request.GET.get("pond", "")).strip()
    context = {"ponds": farm_choices().ponds, "unknown": cut(code)}
    return render(request, "stock/survey_pond.html", context)


def _offered(pond: Pond, around: Haul | None, sent: QueryDict) -> list[Haul]:
    """Return the pond's hauls that may be ticked: those near a haul, or the newest; and what was sent ticked."""
    free = ungrouped_hauls(pond)
    if around is not None:
        reach = dt.timedelta(days=OFFERED_DAYS)
        free = free.filter(
            Q(happened_on__range=(around.happened_on - reach, around.happened_on + reach))
            | Q(pk__in=_sent_hauls(sent))
        )
        return list(free[: MOST_OFFERED * 2])
    newest = list(free[:MOST_OFFERED])
    missing = _sent_hauls(sent) - {haul.pk for haul in newest}
    return newest + (list(free.filter(pk__in=missing)) if missing else [])


def _sent_hauls(sent: QueryDict) -> set[int]:
    return {int(pk) for pk in sent.getlist("hauls")[:200] if pk.isdecimal() and len(pk) < 18}


def _to_tick(members: Iterable[Haul], offered: Iterable[Haul], haul: Haul | None) -> list[Haul]:
    """Return what is ticked beside the members: the haul asked for and its fortnight, and corrections of members."""
    corrected = {
        replaced.pk for one in members if (replaced := getattr(one.move, "replaced_by", None)) is not None
    }
    return [
        one
        for one in offered
        if one.move_id in corrected or (haul is not None and _days_apart(one, haul) <= APART_DAYS)
        if not is_taken_back(one)
    ]


def _kinds(hauls: Iterable[Haul]) -> list[Kind]:
    found = {line.kind_id: line.kind for haul in hauls for line in haul.lines.all()}
    return sorted(found.values(), key=lambda kind: kind.common_name)


def _days_apart(one: Haul, other: Haul) -> int:
    return abs((one.happened_on - other.happened_on).days)


def _is_near(survey: Survey, haul: Haul) -> bool:
    days = [day for (day,) in survey.members.values_list("haul__happened_on")]
    return any(abs((day - haul.happened_on).days) <= APART_DAYS for day in days)


def _see(address: str) -> HttpResponse:
    return HttpResponseRedirect(address, status=SEE_OTHER)
