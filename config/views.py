"""Pages that belong to no app: health."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_safe


@login_not_required
@require_safe
def up(request: HttpRequest) -> JsonResponse:
    """Answer that the program runs; says nothing about the farm."""
    return JsonResponse({"up": True})
