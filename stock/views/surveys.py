"""Surveys: hauls put together, read side by side, and accepted as a count."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.models import Kind, Pond
from ponds.roles import SignedRequest, for_hand, for_owner
from stock import ledger, survey_book
from stock.book import ClassHeads, by_pond_and_kind
from stock.count_book import STANDS, against_book, in_short, state_of, with_book
from stock.count_facts import last_count_before
from stock.count_standing import before_and_after
from stock.drafts import content_sha256
from stock.forms.fields import cut, farm_choices, new_key
from stock.forms.surveys import CLASS_WORDS, AcceptForm, SurveyForm, start_of
from stock.models import Count, CountHaul, Haul, Reason, Survey
from stock.refusals import KeyReused, LedgerRefusal
from stock.survey_flows import AFTER, BEFORE, LOGGED, flows_of
from stock.survey_page import Preview, kind_part, previews
from stock.surveys import (
    DRAIN_DOWN,
    KindSurvey,
    all_hauls,
    code_of,
    is_taken_back,
    open_survey,
    read,
    ungrouped_hauls,
)
from stock.templatetags.stock_format import heads

SEE_OTHER = 303
APART_DAYS = 14
OFFERED_DAYS = 60
MOST_OFFERED = 40
ORDER_WORDS = {
    LOGGED: "Some before and some after it, in the order they were logged",
    BEFORE: "Before the haul, so what came was there to be caught and what went was not",
    AFTER: "After the haul",
}


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
        _renew_key(form)
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
                _give(form, as_read=survey_book.as_it_is(Survey.objects.filter(pk=pk).first() or survey))
            else:
                messages.success(request, "Kept. The survey is read again with what belongs to it now.")
                return _see(reverse("stock:survey-detail", args=[survey.pk]))
        _renew_key(form)
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


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def survey_accept(request: SignedRequest, pk: int, kind: str) -> HttpResponse:
    """Say what accepting a survey's count means, and accept it by one call of the ledger."""
    survey = get_object_or_404(Survey.objects.select_related("pond").prefetch_related("marked_before"), pk=pk)
    back = reverse("stock:survey-detail", args=[pk])
    one = next((found for found in read(survey) if found.kind.code == kind), None)
    if one is None:
        messages.error(
            request, f"This survey caught none of the kind “{cut(kind)}”: there is nothing to accept."
        )
        return _see(back)
    if not one.can_be_accepted:
        messages.error(request, f"There is nothing to accept. {one.refusal}".strip())
        return _see(back)
    orders = _orders(one)
    one = orders.get(request.POST.get("day_order", ""), one)
    book = by_pond_and_kind(one.as_of, pond_ids=[survey.pond_id]).get(
        (survey.pond_id, one.kind.pk), ClassHeads()
    )
    last = last_count_before(survey.pond_id, one.kind.pk, one.as_of)
    flows = flows_of(survey.pond, last.as_of, one.as_of) if last else []
    rows = previews(one, last, (flow for flow in flows if flow.kind_id == one.kind.pk), book)
    existing = _standing_count(one)
    form = _accept_form(request, one, rows, orders)
    if request.method == "POST" and existing is None:
        _tell_change(form, one, orders.values())
    if (
        request.method == "POST"
        and form.is_valid()
        and (answer := _accept(request, survey, one, form, existing))
    ):
        return answer
    _renew_key(form)
    context = {
        "survey": survey,
        "pond": survey.pond,
        "one": one,
        "form": form,
        "rows": rows,
        "first": rows[0],
        "last": last,
        "other_moves": _other_words(one),
        "standing_count": existing,
        "standing": before_and_after(one, rows[0].figures),
    }
    return render(request, "stock/survey_accept.html", context)


def _read_now(one: KindSurvey) -> str:
    """Return the digest of all that is accepted from: the hauls, the marks before them and the figures shown."""
    shown = [(code_of(reading), one.figures(reading)) for reading in one.can_be_accepted]
    return content_sha256([haul.pk for haul in one.hauls], one.marked_before, shown)


def _tell_change(form, one: KindSurvey, orders: Iterable[KindSurvey]) -> None:
    """Refuse figures the owner did not see; the page shows those of now, with what was typed."""
    seen, now = form.data.get("as_read"), _read_now(one)
    if seen == now:
        return
    form.is_valid()
    if seen in {_read_now(other) for other in orders}:
        form.add_error(
            None,
            "You chose another order of the day than the one shown. Nothing was accepted yet: the figures below are "
            "by your order now; look them through and press again.",
        )
    else:
        form.add_error(
            None,
            "The survey changed since you read it: its hauls, their catch, the marks before them or what was booked. "
            "Nothing was accepted. The figures below are those of now; look them through and press again.",
        )
    _give(form, as_read=now)


def _orders(one: KindSurvey) -> dict[str, KindSurvey]:
    """Return the survey by each order that its haul's day may have had, as logged first; none where none matters."""
    sides = {is_before for _, is_before in one.other_moves()}
    if not sides:
        return {}
    codes = (
        [LOGGED, BEFORE, AFTER] if len(sides) == 2 else [BEFORE, AFTER] if True in sides else [AFTER, BEFORE]
    )
    orders = {code: one if code == codes[0] else one.ordered(code) for code in codes}
    return {code: other for code, other in orders.items() if other.can_be_accepted}


def _accept_form(
    request: SignedRequest, one: KindSurvey, rows: list[Preview], orders: Mapping[str, KindSurvey]
) -> AcceptForm:
    methods = [(row.code, f"{row.words}: {heads(row.figures.adults)}") for row in rows]
    drained = frozenset(row.code for row in rows if row.is_drained)
    if request.method == "POST":
        return AcceptForm(request.POST, methods=methods, drained=drained, orders=_order_words(orders))
    start = {
        "key": new_key(),
        "as_read": _read_now(one),
        "day_order": next(iter(orders), ""),
        "method": rows[0].code,
        "resets_book": rows[0].is_drained,
    }
    return AcceptForm(initial=start, methods=methods, drained=drained, orders=_order_words(orders))


def _other_words(one: KindSurvey) -> list[str]:
    """Return "20 females came (bought)" for each class and reason of a haul's day, the survey's own hauls left out."""
    summed: dict[tuple[str, str, bool], int] = {}
    for flow, _ in one.other_moves():
        what = (flow.of_class, flow.reason, flow.heads > 0)
        summed[what] = summed.get(what, 0) + abs(flow.heads)
    return [
        f"{total} {CLASS_WORDS[of_class]} {'came' if came else 'went'} ({Reason(reason).label})"
        for (of_class, reason, came), total in summed.items()
    ]


def _order_words(orders: Mapping[str, KindSurvey]) -> list[tuple[str, str]]:
    """Return what may be chosen of the order of a day, each with the heads the count then says."""
    found = []
    for code, one in orders.items():
        says = one.figures(one.can_be_accepted[0]).adults
        found.append((code, f"{ORDER_WORDS[code]}: the count says {heads(says)}"))
    return found


def _accept(
    request: SignedRequest, survey: Survey, one: KindSurvey, form: AcceptForm, existing: Count | None
) -> HttpResponse | None:
    """Post the count; None where the page is to be shown again with what is wrong."""
    typed = form.cleaned_data
    if existing is not None and existing.key != typed["key"]:
        form.add_error(
            None,
            f"A count of {one.kind.common_name} was accepted from these hauls already, as of {existing.as_of}, and "
            "stands. A haul speaks once: take that count back first.",
        )
        return None
    reading = one.named(typed["method"])
    assert reading is not None  # noqa: S101 (offered by the form)
    is_drained = reading.method == DRAIN_DOWN
    draft = one.figures(reading).draft(
        pond=survey.pond.code,
        kind=one.kind.code,
        as_of=one.as_of,
        how_known="DRAINED" if is_drained else "SEINED",
    )
    try:
        count = ledger.accept_count(
            draft,
            key=typed["key"],
            by=request.user,
            today=the_farm().today(),
            hauls=one.hauls,
            survey=survey,
            method=typed["method"],
            method_reason=typed["method_reason"],
            resets_book=typed["resets_book"],
            reason=typed["reason"],
        )
    except KeyReused:
        form.add_error(
            None, "This page was sent before, with other choices: see Counts. Press again to accept these."
        )
        _give_new_key(form)
        return None
    except LedgerRefusal as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.sentence)
        return None
    messages.success(request, f"Accepted: {one.kind.common_name} in pond {survey.pond.code}.")
    return _see(reverse("stock:count-detail", args=[count.pk]))


def _standing_count(one: KindSurvey) -> Count | None:
    """Return the newest count of the kind that stands and was read from any of these hauls."""
    read_from = CountHaul.objects.filter(haul__in=one.hauls).values("count")
    return Count.objects.standing().filter(kind=one.kind, pk__in=read_from).order_by("-pk").first()


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


def _renew_key(form) -> None:
    """Give a form that lost its key a new one, so that it can be sent again."""
    if form.is_bound and "key" in form.errors:
        _give_new_key(form)


def _give_new_key(form) -> None:
    _give(form, key=str(uuid.uuid4()))


def _give(form, **hidden: str) -> None:
    """Put values in the hidden fields of a form that is shown again."""
    form.data = form.data.copy()
    for name, value in hidden.items():
        form.data[name] = value


def _see(address: str) -> HttpResponse:
    return HttpResponseRedirect(address, status=SEE_OTHER)
