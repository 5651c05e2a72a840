"""Months: which are closed, and closing the next one."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.roles import OWNER, SignedRequest, for_owner, role_of
from stock import ledger
from stock.months import months, next_to_close
from stock.refusals import LedgerRefusal
from stock.review_rows import unsigned_codes
from stock.timeline import next_month

SEE_OTHER = 303
UNPROCESSABLE = 422


@require_safe
def month_list(request: SignedRequest) -> HttpResponse:
    """Show every month, newest first, and an owner the button of the next one to close."""
    rows = months(the_farm().today())
    to_close = next((month for month in rows if month.is_next), None)
    is_owner = role_of(request.user) == OWNER
    opens = ledger.first_open_booking_day() if any(month.close for month in rows) else None
    return render(
        request,
        "stock/month_list.html",
        {"rows": rows, "to_close": to_close if is_owner else None, "opens": opens},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def month_close(request: SignedRequest) -> HttpResponse:
    """Say what closing the next month means, and close it."""
    today = the_farm().today()
    refusal = ""
    note = request.POST.get("note", "").replace("\r\n", "\n").strip()
    if request.method == "POST":
        try:
            month = dt.date.fromisoformat(f"{request.POST.get('month', '')}-01")
        except ValueError:
            refusal = "The page did not say which month. Read again what is closed, then press the button."
        else:
            try:
                ledger.close_month(month, by=request.user, today=today, note=note)
            except LedgerRefusal as refused:
                refusal = refused.sentence
            else:
                messages.success(request, f"{month:%B %Y} is closed.")
                return HttpResponseRedirect(reverse("stock:month-list"), status=SEE_OTHER)
    to_close = next_to_close(today)
    if to_close is None:
        messages.error(request, refusal or "No month is over and open: there is nothing to close now.")
        return HttpResponseRedirect(reverse("stock:month-list"), status=SEE_OTHER)
    context = {
        "month": to_close,
        "opens": next_month(to_close),
        "refusal": refusal,
        "note": note,
        "unsigned": unsigned_codes(to_close),
    }
    return render(request, "stock/month_close.html", context, status=UNPROCESSABLE if refusal else 200)
