"""The farm's year: every pond's opening, flow and closing, on screen and as one print with a page a pond."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.http import HttpResponse

from ponds.computed_lists import ComputedListPage, RowFilterForm
from ponds.farm import the_farm
from stock.farm_year import YearRow, begins_on, kindless_nests, ponds_of_year, year_rows, year_sheets
from stock.forms.fields import DayField
from stock.pond_facts import year_before
from stock.sheet_files import TYPES, file_of
from stock.tables.years import YearTable
from stock.templatetags.stock_format import day as day_words

YEARS_OFFERED = 4


class YearForm(RowFilterForm):
    """The last day of the year that is asked for."""

    until = DayField(label="The 365 days to", required=False)

    def __init__(self, asked: Any, *, today: dt.date, begins_on: dt.date) -> None:
        super().__init__({"until": asked.get("until") or today.isoformat()})
        self.today, self.begins_on = today, begins_on

    def clean_until(self) -> dt.date:
        until = self.cleaned_data["until"] or self.today
        if until > self.today:
            raise forms.ValidationError(
                f"{day_words(until)} is after today, {day_words(self.today)}. Give today or an earlier day."
            )
        if until < self.begins_on:
            raise forms.ValidationError(
                f"The register begins on {day_words(self.begins_on)}; it cannot tell the year to {day_words(until)}. "
                "Give that day or a later one."
            )
        return until

    def admits(self, row: YearRow) -> bool:
        return True


class FarmYear(ComputedListPage):
    """Every pond and kind of the year to a day; `?as=pdf` or `xlsx` sends it with a page for each pond."""

    table_class = YearTable
    filter_form_class = YearForm
    template_name = "stock/farm_year.html"
    search_label = "Pond or kind"

    def get_rows(self) -> list[YearRow]:
        self.farm = the_farm()
        self.today = self.farm.today()
        self.begins_on = begins_on(self.today)
        self.form = YearForm(self.request.GET, today=self.today, begins_on=self.begins_on)
        self.last = self.form.cleaned_data["until"] if self.form.is_valid() else self.today
        self.export_name = f"year-to-{self.last}"
        self.ponds = ponds_of_year(self.last)
        return year_rows(self.ponds, self.last)

    def get_filter_form(self, rows: list[YearRow]) -> YearForm:
        return self.form

    def words_of(self, row: YearRow) -> str:
        return f"pond {row.pond} {row.facts.pond_name} {row.kind} {row.verdict}"

    def get(self, request, *args: Any, **kwargs: Any) -> HttpResponse:
        if (kind := request.GET.get("as", "")) in TYPES:
            rows = self.get_rows()
            if self.form.is_valid():
                return file_of(
                    year_sheets(self.ponds, rows, self.farm, self.last), self.farm, kind, self.export_name
                )
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        ends = [dt.date(self.today.year - back, 12, 31) for back in range(1, YEARS_OFFERED + 1)]
        return super().get_context_data(
            first=year_before(self.last),
            kindless=kindless_nests(self.ponds, self.last),
            last=self.last,
            today=self.today,
            ends=[self.today, *(end for end in ends if end >= self.begins_on)],
            begins_on=self.begins_on if self.begins_on > year_before(self.last) else None,
            **kwargs,
        )
