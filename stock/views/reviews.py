"""Review: what happened in a month, pond by pond, and what is decided."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.computed_lists import ComputedListPage
from ponds.farm import the_farm
from ponds.models import Pond
from ponds.roles import OWNER, SignedRequest, for_owner, role_of
from stock import review_book
from stock.advice import Decided, aims_of, males_first
from stock.aim_links import AimLinks, with_links
from stock.forms.reviews import SignForm
from stock.links import task_link
from stock.months import months
from stock.review import (
    KindMonth,
    PondMonth,
    as_signed_words,
    month_review,
    pond_month,
    signed_figures,
)
from stock.review_later import closed_at, logged_later
from stock.review_print import review_sheets
from stock.review_rows import CORRECTIONS
from stock.sheet_files import TYPES, file_of
from stock.standing_page import drift_words
from stock.tables.reviews import MonthFilterForm, MonthRow, MonthTable
from stock.tasks import decided_heads, done_heads, open_tasks
from stock.timeline import next_month
from stock.watch_page import noted_since
from stock.watch_stops import stops_at

SEE_OTHER = 303
UNPROCESSABLE = 422


@require_safe
def review_latest(request: HttpRequest) -> HttpResponse:
    """Lead to the latest month that is over, or the running one on a farm of this month."""
    found = months(the_farm().today())
    month = next((month for month in found if not month.is_running), found[0])
    return HttpResponseRedirect(reverse("stock:review", args=[f"{month.first_day:%Y-%m}"]))


class ReviewMonth(ComputedListPage):
    """The farm's month: every pond in the order of what needs a decision."""

    table_class = MonthTable
    filter_form_class = MonthFilterForm
    template_name = "stock/review_month.html"
    search_label = "Pond or kind"

    def get_rows(self) -> list[MonthRow]:
        self.month = _month(self.kwargs["month"])
        self.farm = the_farm()
        self.today = self.farm.today()
        self.review = month_review(self.month, self.today)
        self.export_name = f"review-{self.month:%Y-%m}"
        rows = [(pond, kind) for pond in self.review.ponds for kind in pond.kinds]
        return [MonthRow(f"{self.month:%Y-%m}", pond, kind, place) for place, (pond, kind) in enumerate(rows)]

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        kind = request.GET.get("as", "")
        if kind not in TYPES:
            return super().get(request, *args, **kwargs)
        self.get_rows()
        found = months(self.today)
        closing = next((one for one in found if one.first_day == self.month), None)
        close = closing.close if closing else None
        ids = [pond.pond_id for pond in self.review.ponds]
        later = logged_later(self.month, ids, closed_at(self.month, found), self.farm)
        return file_of(review_sheets(self.review, self.farm, close, later), self.farm, kind, self.export_name)

    def words_of(self, row: MonthRow) -> str:
        return f"pond {row.pond} {row.pond_month.pond_name} {row.kind} {row.verdict}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = months(self.today)
        closing = next((one for one in found if one.first_day == self.month), None)
        close = closing.close if closing else None
        since = closed_at(self.month, found)
        ids = [pond.pond_id for pond in self.review.ponds]
        return super().get_context_data(
            review=self.review,
            month=self.month,
            close=close,
            is_closed=since is not None,
            may_close=closing is not None and closing.is_next and role_of(self.request.user) == OWNER,
            before=_word(self.month - dt.timedelta(days=1), self.today),
            after=_word(next_month(self.month), self.today),
            later=logged_later(self.month, ids, since, self.farm),
            most_corrections=CORRECTIONS,
            first_unsigned=self.review.unsigned[0].pond_code if self.review.unsigned else "",
            **kwargs,
        )


@require_http_methods(["GET", "HEAD"])
def review_pond(request: SignedRequest, month: str, code: str) -> HttpResponse:
    """Show one pond's month, with what would mend it and the form that signs it."""
    first = _month(month)
    pond = get_object_or_404(Pond, code=code)
    return _show_pond(request, pond, first, SignForm())


@require_http_methods(["POST"])
@for_owner
def review_sign(request: SignedRequest, month: str, code: str) -> HttpResponse:
    """Sign one pond's month and go on to the next pond that is not signed."""
    first, today = _month(month), the_farm().today()
    pond = get_object_or_404(Pond, code=code)
    form = SignForm(request.POST)
    if form.is_valid():
        try:
            review_book.sign(
                pond,
                first,
                words=form.cleaned_data["words"],
                key=form.cleaned_data["key"],
                by=request.user,
                today=today,
                figures=_figures(pond, first, today),
            )
        except review_book.NotSigned as refused:
            form.add_error(refused.field or None, refused.sentence)
        else:
            left = month_review(first, today).unsigned
            messages.success(request, f"Pond {pond.code}: {first:%B %Y} is signed. {_left_words(left)}")
            to = reverse("stock:review-pond", args=[month, left[0].pond_code]) if left else ""
            return HttpResponseRedirect(to or reverse("stock:review", args=[month]), status=SEE_OTHER)
    return _show_pond(request, pond, first, form, status=UNPROCESSABLE)


@dataclass(frozen=True)
class KindPart:
    """One kind of the page: its month, and the remedies with their links."""

    month: KindMonth
    drift: str
    males_first: str
    aims: tuple[AimLinks, ...]
    recount_url: str
    as_signed: str


def _show_pond(
    request: SignedRequest, pond: Pond, first: dt.date, form: SignForm, *, status: int = 200
) -> HttpResponse:
    farm = the_farm()
    today = farm.today()
    ponds = month_review(first, today).ponds
    codes = [one.pond_code for one in ponds]
    at = codes.index(pond.code) if pond.code in codes else None
    # A pond that was retired before is not among the month's, but its own page still tells of it.
    found = ponds[at] if at is not None else pond_month(pond, first, today)
    if found is None:
        raise Http404
    since = closed_at(first, months(today))
    is_closed = since is not None
    is_over = next_month(first) <= today
    is_owner = role_of(request.user) == OWNER
    # Nothing is to be done at a retired pond any more; a month it was still open in is signed like any other.
    may_decide = is_owner and pond.retired_on is None
    here = request.path.removesuffix("sign/")
    last = min(next_month(first) - dt.timedelta(days=1), today)
    # A task is for the days to come: today's signals stop it, and the month's own until they are noted.
    stops = stops_at({pond.code}, today, looked_back_on=last)
    opened, done = open_tasks([pond.pk]), done_heads(pond.pk, last)
    context = {
        "farm": farm,
        "pond": pond,
        "month": first,
        "last": last,
        "is_running": not is_over,
        "found": found,
        "parts": [
            _part(
                found,
                kind,
                first,
                here,
                decided_heads(opened, pond.code, kind.facts.kind_code),
                done.get(kind.facts.kind_code, {}),
                may_decide=may_decide,
                may_move=not stops,
            )
            for kind in found.kinds
        ],
        "watch_stops": stops,
        "noted_since": noted_since(pond.pk, last, today),
        "form": form,
        "may_sign": is_owner and at is not None and is_over and not is_closed,
        "is_closed": is_closed,
        "decide_url": _decide(pond.code, "", first, here) if may_decide else "",
        "before": codes[at - 1] if at else "",
        "after": codes[at + 1] if at is not None and at + 1 < len(codes) else "",
        "most_corrections": CORRECTIONS,
        "later": logged_later(first, [pond.pk], since, farm),
    }
    return render(request, "stock/review_pond.html", context, status=status)


def _figures(pond: Pond, first: dt.date, today: dt.date) -> dict[str, dict[str, Any]]:
    found = pond_month(pond, first, today)
    return signed_figures(found) if found else {}


def _part(
    found: PondMonth,
    kind: KindMonth,
    month: dt.date,
    here: str,
    decided: Decided,
    done: Decided,
    *,
    may_decide: bool,
    may_move: bool,
) -> KindPart:
    one = kind.facts
    why = f"Review of {month:%B %Y}: {one.heads.females} females to {one.heads.males} males by the book."
    aims = tuple(
        with_links(
            aim,
            one,
            why=why,
            may_decide=may_decide and may_move,
            back=lambda address: _back(address, month, here),
        )
        for aim in aims_of(one, decided, done)
    )
    recount = _decide(one.pond_code, "RECOUNT", month, here, kind=one.kind_code) if may_decide else ""
    return KindPart(
        kind, drift_words(one), males_first(one, decided, done), aims, recount, as_signed_words(found, kind)
    )


def _decide(code: str, verb: str, month: dt.date, here: str, *, kind: str = "") -> str:
    """Return the address of a task that is decided in a review and comes back to it."""
    return _back(task_link(code, verb, kind=kind), month, here)


def _back(address: str, month: dt.date, here: str) -> str:
    return f"{address}&review={month:%Y-%m}&next={here}"


def _left_words(left: list[PondMonth]) -> str:
    if not left:
        return "Every pond is signed: the month can be closed."
    return f"{len(left)} pond{'s' if len(left) > 1 else ''} to go."


def _month(text: str) -> dt.date:
    """Return the first day of a month written as 2026-10; a page not found for what is none, or not begun."""
    try:
        first = dt.date.fromisoformat(f"{text}-01")
    except ValueError:
        raise Http404 from None
    if len(text) != len("2026-10") or first > the_farm().today() or first.year < 1990:
        raise Http404
    return first


def _word(day: dt.date, today: dt.date) -> str:
    """Return the month of a day as the address says it, "" for one not begun or before any book."""
    return f"{day:%Y-%m}" if day <= today and day.year >= 1990 else ""
