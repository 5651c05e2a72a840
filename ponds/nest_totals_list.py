"""The list of the nest book's sums: its filters and its table."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django import forms

from ponds.computed_lists import RowFilterForm
from ponds.form_fields import offer
from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.nest_totals import ALL_PONDS, SEASON, WEEK, NestTotal
from ponds.seasons import Season
from ponds.svg_marks import day_text

EVERY = "every"


class TotalsFilterForm(RowFilterForm):
    """By week or season, of which season, each pond or all together."""

    by = forms.ChoiceField(label="By", choices=[(WEEK, "week"), (SEASON, "season")], required=False)
    season = forms.ChoiceField(label="Season", required=False)
    ponds = forms.ChoiceField(
        label="Ponds", choices=[("", "all together"), (EVERY, "each by itself")], required=False
    )
    kind = forms.ChoiceField(label="Kind", required=False)

    def __init__(self, *args: Any, seasons: list[int], kinds: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = [(str(year), f"{year} (from {day_text(Season(year).starts_on)})") for year in seasons]
        offer(self, "season", [("", "newest, or all"), (EVERY, "all"), *named])
        offer(self, "kind", [("", "any"), *((kind, kind) for kind in kinds)])

    def admits(self, row: NestTotal) -> bool:
        return self.cleaned_data["kind"] in ("", row.kind)


class TotalsTable(PlainTable):
    """Sums of the nest book."""

    caption = "Sums of the nest book"
    row_header = "starts_on"
    starts_on = DayColumn(verbose_name="From", order_by=("starts_on", "pond", "kind"))
    season = NumberColumn(verbose_name="Season", order_by=("season", "week", "pond", "kind"))
    week = NumberColumn(default="all", verbose_name="Week")
    pond = tables.Column(verbose_name="Pond")
    kind = tables.Column(verbose_name="Kind")
    nests = NumberColumn(verbose_name="Nests")
    eggs = NumberColumn(verbose_name="Eggs")
    broken = NumberColumn(verbose_name="Broken")
    eggs_a_nest = NumberColumn(decimals=1, verbose_name="Eggs a nest", default="not counted")

    class Meta(PlainTable.Meta):
        fields = ("starts_on", "season", "week", "pond", "kind", "nests", "eggs", "broken", "eggs_a_nest")
        empty_text = "No nests in the book for what is asked here."

    def render_season(self, value: int) -> str:
        return str(value)

    def render_pond(self, value: str) -> str:
        return "all ponds" if value == ALL_PONDS else value
