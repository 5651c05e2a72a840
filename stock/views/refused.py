"""Posts that were refused: they wait here to be mended, or are set aside with a reason."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.models import Pond
from ponds.roles import OWNER, SignedRequest, for_hand, for_owner, role_of
from stock.log_page import posted_under
from stock.models import RefusedPost
from stock.phone_copy import MOST_BYTES, NotACopy, PhoneLog, read_copy
from stock.refused import (
    LONGEST_REASON,
    NotSetAside,
    keep_refused,
    lately_set_aside,
    set_aside,
    still_refused,
)

SEE_OTHER, UNPROCESSABLE = 303, 422
REFUSED_SHOWN = 200
ASIDE_SHOWN = 50


@require_safe
@for_hand
def refused_list(request: SignedRequest) -> HttpResponse:
    """Show the posts that were refused and not posted since, with what was typed."""
    return _show_refused(request)


@require_http_methods(["POST"])
@for_owner
def refused_aside(request: SignedRequest, pk: int) -> HttpResponse:
    """Set a refused post aside, with a reason."""
    refused = get_object_or_404(RefusedPost, pk=pk)
    reason = request.POST.get("reason", "")
    try:
        set_aside(refused, reason, by=request.user)
    except NotSetAside as wrong:
        return _show_refused(request, of=pk, reason=reason, wrong=wrong.sentence)
    messages.success(request, "Set aside. What was typed stays below, with the reason.")
    return HttpResponseRedirect(reverse("stock:refused-list"), status=SEE_OTHER)


@require_http_methods(["POST"])
@for_hand
def refused_copy(request: SignedRequest) -> HttpResponse:
    """Let the logs of a phone's copy wait here, each under its own key, so that none is booked twice."""
    given = request.FILES.get("copy")
    try:
        if given is None:
            raise NotACopy("Choose the file that the phone saved: unsent-logs.json.")
        logs = read_copy(given.read(MOST_BYTES + 1))
    except NotACopy as wrong:
        return _show_refused(request, wrong=wrong.sentence)
    booked = [log for log in logs if posted_under(str(log.key)) is not None]
    kept = [_keep(log, request) for log in logs if log not in booked]
    waiting = still_refused().filter(pk__in=[row.pk for row in kept if row is not None]).count()
    messages.success(request, _read_words(len(logs), len(booked), waiting))
    return HttpResponseRedirect(reverse("stock:refused-list"), status=SEE_OTHER)


def _keep(log: PhoneLog, request: SignedRequest) -> RefusedPost | None:
    sent = QueryDict(mutable=True)
    for name, value in log.typed:
        sent.appendlist(name, value)
    return keep_refused(
        key=log.key,
        pond=Pond.objects.filter(code=sent.get("pond", "")).first(),
        sentence="Read from a copy that a phone saved: look through it, then post it.",
        sent=sent,
        by=request.user,
        typed_by=log.author,
    )


def _read_words(logs: int, booked: int, waiting: int) -> str:
    read = f"{logs} log{'s' if logs != 1 else ''} read"
    if booked == logs:
        return f"{read}: all of it is booked already." if logs else "The copy holds no log."
    done = f" {booked} {'is' if booked == 1 else 'are'} booked already;" if booked else ""
    return f"{read}:{done} {waiting} {'waits' if waiting == 1 else 'wait'} below to be looked through and posted."


def _show_refused(request: SignedRequest, **asked: object) -> HttpResponse:
    context = {
        "rows": list(still_refused()[:REFUSED_SHOWN]),
        "aside": list(lately_set_aside()[:ASIDE_SHOWN]),
        "may_set_aside": role_of(request.user) == OWNER,
        "longest": LONGEST_REASON,
        **asked,
    }
    return render(request, "stock/refused_list.html", context, status=UNPROCESSABLE if asked else 200)
