"""Posts that were refused: they wait here to be mended, or are set aside with a reason."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds.roles import OWNER, SignedRequest, for_hand, for_owner, role_of
from stock.models import RefusedPost
from stock.refused import LONGEST_REASON, NotSetAside, lately_set_aside, set_aside, still_refused

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


def _show_refused(request: SignedRequest, **asked: object) -> HttpResponse:
    context = {
        "rows": list(still_refused()[:REFUSED_SHOWN]),
        "aside": list(lately_set_aside()[:ASIDE_SHOWN]),
        "may_set_aside": role_of(request.user) == OWNER,
        "longest": LONGEST_REASON,
        **asked,
    }
    return render(request, "stock/refused_list.html", context, status=UNPROCESSABLE if asked else 200)
