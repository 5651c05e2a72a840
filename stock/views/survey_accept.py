"""A count accepted from a survey: what it means is said first, then it is one call of the ledger."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds.farm import the_farm
from ponds.roles import SignedRequest, for_owner
from stock import ledger
from stock.book import ClassHeads, by_pond_and_kind
from stock.count_facts import last_count_before
from stock.count_standing import before_and_after
from stock.drafts import content_sha256
from stock.forms.fields import cut, new_key
from stock.forms.surveys import CLASS_WORDS, AcceptForm, give, give_new_key, renew_key
from stock.models import Count, CountHaul, Reason, Survey
from stock.refusals import KeyReused, LedgerRefusal
from stock.survey_flows import AFTER, BEFORE, LOGGED, flows_of
from stock.survey_page import Preview, previews
from stock.surveys import DRAIN_DOWN, KindSurvey, code_of, read
from stock.templatetags.stock_format import heads

SEE_OTHER = 303
ORDER_WORDS = {
    LOGGED: "Some before and some after it, in the order they were logged",
    BEFORE: "Before the haul, so what came was there to be caught and what went was not",
    AFTER: "After the haul",
}


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
    renew_key(form)
    context = {
        "survey": survey,
        "pond": survey.pond,
        "one": one,
        "form": form,
        "rows": rows,
        "has_juveniles": bool(book.juveniles) or any(row.figures.juveniles for row in rows),
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
    give(form, as_read=now)


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
        give_new_key(form)
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


def _see(address: str) -> HttpResponse:
    return HttpResponseRedirect(address, status=SEE_OTHER)
