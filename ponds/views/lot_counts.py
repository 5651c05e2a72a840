"""What is counted in a lot: log a candling, a hatch or a temperature; correct a row, take one back."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from ponds import lot_book
from ponds.farm import the_farm
from ponds.forms import TakeBackForm
from ponds.lot_forms import WHOLE, BasketMendForm, CandlingForm, EggTemperatureForm, HatchForm, LotForm
from ponds.lot_state import LotRefused, LotState
from ponds.mending import why_not_mended
from ponds.models import Basket, Candling, EggLot, EggTemperature, Hatch
from ponds.roles import SignedRequest, for_hand
from ponds.views.answers import see_other, show_form
from ponds.views.lots import find_lot


@dataclass(frozen=True)
class Sort:
    """One sort of row: its model, its name, the form that corrects it, and what that form shows first."""

    model: Any
    words: str
    form: Callable[..., forms.Form]
    names: tuple[str, ...]

    def initial(self, row: Any) -> dict[str, Any]:
        found = {name: getattr(row, name) for name in self.names}
        if "temperature_unit" in found:
            found["temperature"] = row.temperature_typed
            found["temperature_unit"] = row.temperature_unit or None
        for name in ("kind", "pond"):
            if name in found:
                found[name] = found[name].code
        return found


SORTS = {
    "lot": Sort(
        EggLot,
        "lot",
        lambda *args, state, **more: LotForm(*args, is_new=False, **more),
        ("kind", "set_on", "incubator", "temperature_unit", "note"),
    ),
    "basket": Sort(
        Basket,
        "basket",
        lambda *args, state, **more: BasketMendForm(*args, **more),
        ("pond", "dug_on", "eggs", "container", "note"),
    ),
    "candling": Sort(
        Candling,
        "candling",
        lambda *args, **more: CandlingForm(*args, is_mend=True, **more),
        CandlingForm.facts,
    ),
    "hatch": Sort(
        Hatch, "hatch", lambda *args, **more: HatchForm(*args, is_mend=True, **more), HatchForm.facts
    ),
    "temperature": Sort(
        EggTemperature,
        "temperature",
        lambda *args, state, **more: EggTemperatureForm(*args, **more),
        ("measured_on", "temperature_unit", "probe", "note"),
    ),
}


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def lot_candle(request: SignedRequest, code: str) -> HttpResponse:
    """Log what candling found, basket after basket."""
    return _log(request, code, CandlingForm, lot_book.candle, "candling", "candled_on")


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def lot_hatch(request: SignedRequest, code: str) -> HttpResponse:
    """Log what hatched, basket after basket."""
    return _log(request, code, HatchForm, lot_book.log_hatch, "hatch", "hatched_on")


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def lot_temperature(request: SignedRequest, code: str) -> HttpResponse:
    """Log a temperature read beside the eggs."""
    state = find_lot(code)
    farm = the_farm()
    latest = state.temperatures[-1] if state.temperatures else None
    start = {
        "measured_on": request.GET.get("day") or farm.today(),
        "temperature_unit": farm.temperature_unit,
        "probe": latest.probe if latest else "",
    }
    form = EggTemperatureForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            row = lot_book.log_temperature(
                lot=state.first,
                key=form.cleaned_data["key"],
                draft=form.draft(),
                by=request.user,
                today=farm.today(),
            )
        except LotRefused as refused:
            _refuse(form, refused)
        else:
            messages.success(
                request, f"Lot {state.code}: {row}.", extra_tags=_undo(state, "temperature", row)
            )
            return see_other("ponds:lot-detail", state.code)
    return show_form(request, "ponds/lot_temperature.html", {"form": form, "state": state})


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def row_correct(request: SignedRequest, code: str, what: str, key: uuid.UUID) -> HttpResponse:
    """Put a corrected row in the place of one; the old one stays in the log."""
    state, sort, row = _found(code, what, key)
    today = the_farm().today()
    if request.method != "POST" and (why_not := why_not_mended(row, request.user, today, book=lot_book.BOOK)):
        return _not_yours(request, state, why_not)
    form = sort.form(request.POST or None, initial=sort.initial(row), state=state)
    if request.method == "POST" and form.is_valid():
        try:
            mended = lot_book.mend(
                row=row,
                key=form.cleaned_data["key"],
                changes=form.changes(),  # type: ignore[attr-defined]
                by=request.user,
                today=today,
            )
        except LotRefused as refused:
            _refuse(form, refused)
        else:
            messages.success(
                request, f"Corrected, lot {state.code}: {mended}.", extra_tags=_undo(state, what, mended)
            )
            return see_other("ponds:lot-detail", state.code)
    return show_form(
        request, "ponds/lot_row_correct.html", {"form": form, "state": state, "row": row, "what": what}
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def row_take_back(request: SignedRequest, code: str, what: str, key: uuid.UUID) -> HttpResponse:
    """Take a row back; it stays in the log, and counts for nothing."""
    state, sort, row = _found(code, what, key)
    today = the_farm().today()
    if request.method != "POST" and (why_not := why_not_mended(row, request.user, today, book=lot_book.BOOK)):
        return _not_yours(request, state, why_not)
    form = TakeBackForm(request.POST or None, initial={"key": uuid.uuid4()})
    if request.method == "POST" and form.is_valid():
        try:
            lot_book.take_back(
                row=row,
                key=form.cleaned_data["key"],
                note=form.cleaned_data["note"],
                by=request.user,
                today=today,
            )
        except LotRefused as refused:
            _refuse(form, refused)
        else:
            messages.success(request, f"Taken back, lot {state.code}: {row}.")
            if what == "lot":
                return see_other("ponds:lot-list")
            return see_other("ponds:lot-detail", state.code)
    return show_form(
        request, "ponds/lot_row_take_back.html", {"form": form, "state": state, "row": row, "what": what}
    )


def _log(
    request: SignedRequest, code: str, form_class: Any, record: Callable[..., Any], what: str, day: str
) -> HttpResponse:
    state = find_lot(code)
    today = the_farm().today()
    start = {day: request.GET.get("day") or today, "basket": _first_basket(request, state, what)}
    form = form_class(request.POST or None, initial=start, state=state)
    if request.method == "POST" and form.is_valid():
        try:
            row = record(
                lot=state.first,
                key=form.cleaned_data["key"],
                draft=form.draft(),
                by=request.user,
                today=today,
            )
        except LotRefused as refused:
            _refuse(form, refused)
        else:
            of = f", basket {row.basket.number}" if row.basket else ""
            messages.success(request, f"Lot {state.code}{of}: {row}.", extra_tags=_undo(state, what, row))
            following = _next_basket(state, row)
            if following is None:
                return see_other("ponds:lot-detail", state.code)
            address = reverse(f"ponds:lot-{'candle' if what == 'candling' else what}", args=[state.code])
            return see_other(f"{address}?basket={following}&day={_day(row):%Y-%m-%d}")
    context = {"form": form, "state": state, "whole": state.whole()}
    return show_form(request, f"ponds/lot_{'candle' if what == 'candling' else what}.html", context)


def _first_basket(request: SignedRequest, state: LotState, what: str) -> str:
    """Return the basket the form shows first: the one asked for, else the first that still waits for such a count."""
    asked = request.GET.get("basket", "")
    if asked:
        return asked if asked.isdecimal() else WHOLE
    rows = state.candlings if what == "candling" else state.hatches
    if not state.baskets or (rows and all(row.basket is None for row in rows)):
        return WHOLE
    seen = {row.basket.number for row in rows if row.basket}
    tallies = state.tallies()
    waiting = [
        number for number, tally in tallies.items() if number not in seen and tally.left and not tally.is_last
    ]
    return str(min(waiting)) if waiting else WHOLE


def _next_basket(state: LotState, row: Candling | Hatch) -> int | None:
    if row.basket is None:
        return None
    return min((number for number in state.by_number if number > row.basket.number), default=None)


def _day(row: Candling | Hatch) -> dt.date:
    return row.candled_on if isinstance(row, Candling) else row.hatched_on


def _found(code: str, what: str, key: uuid.UUID) -> tuple[LotState, Sort, Any]:
    sort = SORTS.get(what)
    if sort is None:
        raise Http404("There is no such row.")
    related: tuple[str, ...] = ("by",) if what == "lot" else ("by", "lot")
    related += {"lot": ("kind",), "basket": ("pond",)}.get(what, ())
    row = get_object_or_404(sort.model.objects.select_related(*related), key=key)
    first = row if what == "lot" else row.lot
    if first.code != code.upper():
        raise Http404("There is no such row in this lot.")
    return _state_of(first), sort, row


def _state_of(lot: EggLot) -> LotState:
    """Return the lot, also one that was taken back, which the door then says."""
    from ponds.lots import read_lot

    return read_lot(lot.code) or LotState(first=lot, row=lot)


def _not_yours(request: SignedRequest, state: LotState, why_not: str) -> HttpResponse:
    messages.error(request, why_not)
    return see_other("ponds:lot-detail", state.code)


def _refuse(form: Any, refused: LotRefused) -> None:
    form.add_error(refused.field if refused.field in form.fields else None, str(refused))


def _undo(state: LotState, what: str, row: Any) -> str:
    return "undo:" + reverse("ponds:lot-row-take-back", args=[state.code, what, row.key])
