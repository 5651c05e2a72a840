"""Logs that were typed where there is no signal: the page's worker, and where what waited on a phone is sent.

A phone keeps a log until an answer repeats its key. What is answered here is therefore never a page and never a
redirect to one: `state` is "saved" (booked, now or before), or "refused" (kept on the server, to be mended there).
"""

from __future__ import annotations

import uuid
from pathlib import Path

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from ponds.roles import SignedRequest, for_hand
from stock import ledger
from stock.forms.log import digest
from stock.forms.log_unusual import unusual
from stock.log_page import cautions_of, log_entry, posted_under, untouched
from stock.refused import keep_refused, refused_of
from stock.views.log import write_entry

MOST_TOLD, LONGEST_WHY = 5, 400
WORKER = Path(__file__).resolve().parent.parent / "static/stock/worker.js"


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def send(request: SignedRequest) -> JsonResponse:
    """
    Answer who is signed in and with which token to send; or book one log that waited, and repeat its key.

    Asked with `?refused`, it also tells what of this person waits on the server to be mended.
    """
    if request.method != "POST":
        said = {"author": request.user.get_username(), "token": get_token(request)}
        return JsonResponse({**said, "refused": _refused_of(request) if "refused" in request.GET else []})
    sent = request.POST
    key = sent.get("key", "")
    entry = log_entry(pond_code=sent.get("pond", ""), sent=sent)
    was_posted = posted_under(key) is not None
    sentences: list[str] = []
    if entry.is_valid():
        # Nobody stands there to be asked again: what is unusual waits on the server for a yes.
        sentences = [] if was_posted else unusual(entry)
        if sentences and sent.get("confirmed") == digest(sentences):
            sentences = []
        if not sentences:
            cautions = cautions_of(entry)
            receipt = write_entry(
                entry, lambda draft: ledger.record(draft, by=request.user, today=entry.today)
            )
            if receipt is not None:
                moved_to = reverse("stock:move-detail", args=[receipt.key])
                status = 200 if receipt.is_replay else 201
                told = [] if receipt.is_replay else [*cautions, *untouched(entry, receipt.key)]
                saved = {"key": key, "state": "saved", "href": moved_to}
                if told:
                    saved["why"] = " ".join(told)
                return JsonResponse(saved, status=status)
    sentences = sentences or [fault.sentence for fault in entry.faults()]
    refused = keep_refused(
        key=_uuid(key), pond=entry.pond, sentence=" ".join(sentences), sent=sent, by=request.user
    )
    mend = f"{reverse('stock:log')}?refused={refused.pk}" if refused else reverse("stock:log")
    said = {"key": key, "state": "refused", "href": mend, "why": " ".join(sentences)}
    return JsonResponse(said, status=422)


def _refused_of(request: SignedRequest) -> list[dict[str, str]]:
    return [
        {
            "pond": row.pond_code,
            "at": row.refused_at.isoformat(),
            "why": row.sentence[:LONGEST_WHY],
            "href": f"{reverse('stock:log')}?refused={row.pk}",
        }
        for row in refused_of(request.user)[:MOST_TOLD]
    ]


@require_safe
@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """Return the script that answers for the Log page while there is no signal; it may speak for every address."""
    response = HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
    response["Service-Worker-Allowed"] = "/"
    response["Cache-Control"] = "no-cache"
    return response


@require_safe
@for_hand
def no_signal(request: HttpRequest) -> HttpResponse:
    """Show what stands in for a page that this phone has not kept."""
    return render(request, "stock/no_signal.html")


def _uuid(key: str) -> uuid.UUID:
    try:
        return uuid.UUID(key)
    except ValueError:
        return uuid.uuid4()
