"""Settings: the index, and the farm itself."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from ponds.farm import the_farm
from ponds.forms import FarmForm
from ponds.models import Kind, Pond
from ponds.roles import for_owner
from ponds.views.answers import see_other, show_form


@require_safe
def settings_page(request: HttpRequest) -> HttpResponse:
    """Show the farm's settings and the ways to each."""
    context = {
        "farm": the_farm(),
        "kinds": Kind.objects.count(),
        "ponds": Pond.objects.not_retired().count(),
    }
    return render(request, "ponds/settings.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def farm_edit(request: HttpRequest) -> HttpResponse:
    """Change the farm's name, identifiers, time zone and units."""
    form = FarmForm(request.POST or None, instance=the_farm())
    if request.method == "POST" and form.is_valid():
        farm = form.save()
        messages.success(request, f"{farm.name} is changed.")
        return see_other("ponds:settings")
    return show_form(request, "ponds/farm_edit.html", {"form": form})
