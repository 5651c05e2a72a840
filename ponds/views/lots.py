"""Egg lots: the list, a new lot, one lot with what is due, its baskets."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from ponds import lot_book, season_choice
from ponds.computed_lists import ComputedListPage
from ponds.farm import the_farm
from ponds.hatch_list import HatchFilterForm, HatchTable
from ponds.hatch_log import PondHatch, by_pond
from ponds.incubation import DUES, INCUBATING
from ponds.lot_drafts import BasketDraft, next_code
from ponds.lot_forms import BasketKeyForm, BasketRows, LotFilterForm, LotForm
from ponds.lot_lines import LotLine, lot_lines
from ponds.lot_page import lot_page
from ponds.lot_sheet import lots_csv, lots_xlsx
from ponds.lot_state import LotRefused, LotState
from ponds.lot_table import LotTable
from ponds.lots import read_lot
from ponds.models import Basket, EggLot, Kind
from ponds.roles import SignedRequest, for_hand, role_of
from ponds.views.answers import UNPROCESSABLE, see_other
from ponds.views.sheets import XLSX_TYPE


class LotList(ComputedListPage):
    """The lots of the last seasons, or of those asked for, the most pressing first."""

    table_class = LotTable
    filter_form_class = LotFilterForm
    template_name = "ponds/lot_list.html"
    export_name = "egg-lots"
    search_label = "Lot, kind, pond, incubator or note"

    def get_rows(self) -> list[LotLine]:
        self.farm = the_farm()
        self.seasons = season_choice.seasons_of(EggLot.objects.standing(), "set_on")
        lines = lot_lines(self.farm.today(), seasons=season_choice.chosen(self.request.GET, self.seasons))
        self.waiting = _waiting(lines)
        return lines

    def words_of(self, row: LotLine) -> str:
        ponds = " ".join(f"pond {code}" for code in row.pond_codes)
        return f"{row.code} {row.kind} {ponds} {row.incubator} {row.note} {row.due}"

    def get_filter_form(self, rows: list[LotLine]) -> LotFilterForm:
        return LotFilterForm(self.request.GET, rows=rows, seasons=self.seasons)

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"temperature_unit": self.farm.temperature_unit}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(waiting=self.waiting, farm=self.farm, **kwargs)


class HatchList(ComputedListPage):
    """What became of each pond's eggs, the newest season first, and in it the most clear eggs."""

    table_class = HatchTable
    filter_form_class = HatchFilterForm
    template_name = "ponds/hatch_list.html"
    export_name = "hatch-by-pond"
    search_label = "Pond or kind"

    def get_rows(self) -> list[PondHatch]:
        self.names = dict(Kind.objects.values_list("code", "common_name"))
        self.seasons = season_choice.seasons_of(Basket.objects.standing(), "dug_on")
        rows = by_pond(seasons=season_choice.chosen(self.request.GET, self.seasons))
        return sorted(rows, key=lambda row: (-row.season, -(row.clear_share or 0)))

    def words_of(self, row: PondHatch) -> str:
        return f"pond {row.pond} {self.names.get(row.kind, row.kind)} {row.season}"

    def get_filter_form(self, rows: list[PondHatch]) -> HatchFilterForm:
        return HatchFilterForm(self.request.GET, rows=rows, names=self.names, seasons=self.seasons)

    def get_table_kwargs(self) -> dict[str, Any]:
        return {"names": self.names}


def _waiting(lines: list[LotLine]) -> list[tuple[str, int, int]]:
    """Return what is due, with how many lots and eggs left in them; what only incubates comes last."""
    shown = DUES[: DUES.index(INCUBATING) + 1]
    return [
        (what, len(found), sum(line.left for line in found))
        for what in shown
        if (found := [line for line in lines if line.due == what])
    ]


@require_safe
def lot_sheet(request: SignedRequest, form: str) -> HttpResponse:
    """Send every lot as a sheet that loads back."""
    if form == "csv":
        response = HttpResponse("\ufeff" + lots_csv(), content_type="text/csv; charset=utf-8")
    elif form == "xlsx":
        response = HttpResponse(lots_xlsx(), content_type=XLSX_TYPE)
    else:
        raise Http404("There is no such sheet.")
    response["Content-Disposition"] = f'attachment; filename="lots.{form}"'
    return response


def find_lot(code: str) -> LotState:
    """Return the lot of an address, or a 404."""
    state = read_lot(code.upper()[:40].replace("\0", ""))
    if state is None:
        raise Http404(f"There is no lot {code[:40]}.")
    return state


@require_safe
def lot_detail(request: SignedRequest, code: str) -> HttpResponse:
    """Show a lot: what is due, its baskets, every count."""
    state = find_lot(code)
    farm = the_farm()
    page = lot_page(state, by=request.user, farm=farm)
    may_write = role_of(request.user) != "reader"
    return render(
        request,
        "ponds/lot_detail.html",
        {"page": page, "lot": state.row, "farm": farm, "may_write": may_write},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def lot_new(request: SignedRequest) -> HttpResponse:
    """Set a new lot with its baskets."""
    farm = the_farm()
    today = farm.today()
    start = {"code": next_code(today), "set_on": today, "temperature_unit": farm.temperature_unit}
    form = LotForm(request.POST or None, initial=start)
    formset = _rows(request, today)
    if request.method == "POST" and _are_valid(form, formset):
        try:
            state = lot_book.open_lot(form.draft(tuple(_typed(formset))), by=request.user, today=today)
        except LotRefused as refused:
            _put(form, formset, refused)
        else:
            eggs, baskets = state.whole().eggs, len(state.baskets)
            messages.success(
                request,
                f"Lot {state.code} is set: {eggs} egg{'' if eggs == 1 else 's'} in {baskets} "
                f"basket{'' if baskets == 1 else 's'}.",
                extra_tags="undo:"
                + reverse("ponds:lot-row-take-back", args=[state.code, "lot", state.row.key]),
            )
            return see_other("ponds:lot-detail", state.code)
    return _show(request, "ponds/lot_new.html", {"form": form, "formset": formset, "farm": farm})


@require_http_methods(["GET", "HEAD", "POST"])
@for_hand
def lot_baskets(request: SignedRequest, code: str) -> HttpResponse:
    """Put more baskets into a lot."""
    state = find_lot(code)
    today = the_farm().today()
    form = BasketKeyForm(request.POST or None, initial={"key": uuid.uuid4()})
    formset = _rows(request, min(state.row.set_on, today))
    if request.method == "POST" and _are_valid(form, formset):
        drafts = list(_typed(formset))
        if not drafts:
            form.add_error(None, "No row holds a basket. Choose a pond, and write how many eggs are in it.")
        else:
            try:
                rows = lot_book.add_baskets(
                    lot=state.first,
                    key=form.cleaned_data["key"],
                    baskets=drafts,
                    by=request.user,
                    today=today,
                )
            except LotRefused as refused:
                _put(form, formset, refused)
            else:
                eggs = sum(row.eggs for row in rows)
                count = f"{len(rows)} basket{'' if len(rows) == 1 else 's'}"
                messages.success(request, f"{count} with {eggs} eggs put into lot {state.code}.")
                return see_other("ponds:lot-detail", state.code)
    return _show(request, "ponds/lot_baskets.html", {"form": form, "formset": formset, "state": state})


def _rows(request: SignedRequest, day: dt.date) -> Any:
    start: dict[str, Any] = {"dug_on": day}
    if pond := request.GET.get("pond", "").upper():
        start["pond"] = pond
    return BasketRows(request.POST or None, prefix="baskets", form_kwargs={"start": start})


def _typed(formset: Any) -> Iterator[BasketDraft]:
    for form in formset.forms:
        if form.is_filled:
            yield form.draft()


def _are_valid(form: Any, formset: Any) -> bool:
    # Both, so that all that is wrong is said at once.
    return all([form.is_valid(), formset.is_valid()])


def _put(form: Any, formset: Any, refused: LotRefused) -> None:
    """Put a refusal beside its field: of the basket it is about, or of the lot."""
    filled = [one for one in formset.forms if one.is_filled]
    place = refused.place
    if isinstance(place, tuple):
        place = place[2] if place[1] == "baskets" else None
    target = filled[place] if place is not None and place < len(filled) else form
    field = "temperature" if refused.field == "temperature_mk" else refused.field
    target.add_error(field if field in target.fields else None, str(refused))


def _show(request: SignedRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    form, formset = context["form"], context["formset"]
    is_wrong = form.is_bound and (form.errors or formset.total_error_count())
    return render(request, template, context, status=UNPROCESSABLE if is_wrong else 200)
