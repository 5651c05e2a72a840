"""Ponds as they are set up: the list, a new one, a change, a state, retiring. The stock in them is elsewhere."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import OuterRef, QuerySet, Subquery
from django.db.models.functions import Length
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_http_methods

from ponds import retiring
from ponds.farm import the_farm
from ponds.filters import PondSettingsFilter
from ponds.forms import PondForm, RetireForm, StateForm, pond_initial
from ponds.lists import ListPage
from ponds.models import Pond, PondState
from ponds.places import add_state, change_pond, open_pond, proposed_code, state_on
from ponds.roles import OWNER, for_everyone, for_owner, refusal, role_of
from ponds.svg_marks import day_text
from ponds.tables import PondSettingsTable
from ponds.views.answers import put_beside, see_other, show_form

FIELD_OF = {
    "kinds_allowed": "kinds",
    "water_area_cm2": "water_area",
    "bank_area_cm2": "bank_area",
    "water_area_typed": "water_area",
    "bank_area_typed": "bank_area",
}


class PondSettingsList(ListPage):
    """Every pond as it is set up, retired ones too."""

    model = Pond
    table_class = PondSettingsTable
    filterset_class = PondSettingsFilter
    template_name = "ponds/pond_settings.html"
    search_fields = ("code", "name", "note")
    search_label = "Search"
    export_name = "ponds"

    def get_queryset(self) -> QuerySet:
        self.farm = the_farm()
        latest = PondState.objects.filter(pond=OuterRef("pk"), from_on__lte=self.farm.today()).order_by(
            "-from_on", "-id"
        )
        return (
            super()
            .get_queryset()
            .annotate(
                code_length=Length("code"),
                state_now=Subquery(latest.values("state")[:1]),
                state_ends_on=Subquery(latest.values("ends_on")[:1]),
            )
            .prefetch_related("kinds_allowed")
            .order_by("code_length", "code")
        )

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"farm": self.farm, "is_owner": role_of(self.request.user) == OWNER}


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def pond_new(request: HttpRequest) -> HttpResponse:
    """Add a pond; the next free code is proposed."""
    farm = the_farm()
    initial = {
        "code": proposed_code(),
        "opened_on": farm.today(),
        "water_area_unit": farm.area_unit,
        "bank_area_unit": farm.area_unit,
    }
    form = PondForm(request.POST or None, initial=initial, today=farm.today())
    if request.method == "POST" and form.is_valid():
        try:
            pond = open_pond(form.draft(), by=request.user)
        except ValidationError as refused:
            put_beside(form, refused, FIELD_OF)
        else:
            messages.success(request, f"Pond {pond.code} is added, in use from {day_text(pond.opened_on)}.")
            return see_other("ponds:pond-settings")
    return show_form(request, "ponds/pond_form.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def pond_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a pond's name, areas, limit and kinds."""
    pond = get_object_or_404(Pond, code=code.upper())
    farm = the_farm()
    form = PondForm(request.POST or None, initial=pond_initial(pond, farm), pond=pond, today=farm.today())
    if request.method == "POST" and form.is_valid():
        try:
            change_pond(form.draft())
        except ValidationError as refused:
            put_beside(form, refused, FIELD_OF)
        else:
            messages.success(request, f"Pond {pond.code} is changed.")
            return see_other("ponds:pond-settings")
    return show_form(request, "ponds/pond_form.html", {"form": form, "pond": pond})


@require_http_methods(["GET", "HEAD", "POST"])
@for_everyone
def pond_state(request: HttpRequest, code: str) -> HttpResponse:
    """Show what a pond was used as and when; an owner says what it is from a day on."""
    if request.method == "POST" and role_of(request.user) != OWNER:
        raise refusal(request.user, (OWNER,))
    pond = get_object_or_404(Pond, code=code.upper())
    today = the_farm().today()
    now = state_on(pond, today)
    form = StateForm(request.POST or None, initial={"from_on": today, "state": now.state if now else None})
    if request.method == "POST" and form.is_valid():
        try:
            row = add_state(pond=pond, by=request.user, today=today, **form.cleaned_data)
        except ValidationError as refused:
            put_beside(form, refused)
        else:
            until = f", due to end {day_text(row.ends_on)}" if row.ends_on else ""
            messages.success(request, f"Pond {pond.code}: {row}{until}.")
            return see_other("ponds:pond-state", pond.code)
    context = {
        "form": form,
        "pond": pond,
        "now": now,
        "history": pond.states.select_related("by").order_by("-from_on", "-id"),
    }
    return show_form(request, "ponds/pond_state.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def pond_retire(request: HttpRequest, code: str) -> HttpResponse:
    """Retire a pond for good."""
    pond = get_object_or_404(Pond, code=code.upper())
    today = the_farm().today()
    form = RetireForm(request.POST or None, initial={"last_day": today}, pond=pond)
    if request.method == "POST" and form.is_valid():
        try:
            retiring.retire(pond=pond, on=form.cleaned_data["last_day"], today=today)
        except retiring.RetiringRefused as refused:
            for reason in refused.reasons:
                form.add_error(None, reason)
        else:
            messages.success(request, f"Pond {pond.code} is retired. Its code is never used again.")
            return see_other("ponds:pond-settings")
    return show_form(request, "ponds/pond_retire.html", {"form": form, "pond": pond})
