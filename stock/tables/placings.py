"""The list of saved placings: its table and its filters."""

from __future__ import annotations

import django_filters as filters
import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.models import Kind
from stock.models import SavedPlacing
from stock.saved_placings import DONE, PART_DONE, STATE_WORDS, STATES
from stock.templatetags.stock_format import day as day_words

TAGS = {DONE: "tag-good", PART_DONE: "tag-warn"}


class PlacingTable(PlainTable):
    """One row a saved placing, newest first."""

    caption = "Saved plans"
    row_header = "saved_on"

    saved_on = DayColumn(verbose_name="Saved", order_by=("saved_on", "pk"))
    by_name = tables.Column(verbose_name="Saved by")
    kind = tables.Column(accessor="kind__common_name", verbose_name="Kind")
    placed = NumberColumn(verbose_name="Females")
    ponds = NumberColumn(verbose_name="Ponds")
    done = NumberColumn(verbose_name="Brought")
    state = tables.Column(verbose_name="State")
    note = tables.Column(verbose_name="Note", orderable=False)

    class Meta(PlainTable.Meta):
        model = SavedPlacing
        fields = ("saved_on", "by_name", "kind", "placed", "ponds", "done", "state", "note")
        empty_text = "No plans here. Ask where new females should go, and save the answer."

    def render_saved_on(self, record: SavedPlacing) -> str:
        return format_html(
            '<a href="{}">{}</a>',
            reverse("stock:placing-detail", args=[record.key]),
            day_words(record.saved_on),
        )

    def render_state(self, record: SavedPlacing, value: str) -> str:
        css = TAGS.get(value)
        return (
            format_html('<span class="tag {}">{}</span>', css, STATE_WORDS[value])
            if css
            else STATE_WORDS[value]
        )

    def value_state(self, value: str) -> str:
        return STATE_WORDS[value]


class PlacingFilter(filters.FilterSet):
    """Which saved placings are listed."""

    state = filters.ChoiceFilter(label="State", choices=STATES, empty_label="all")
    kind = filters.ModelChoiceFilter(
        queryset=Kind.objects.order_by("common_name"), to_field_name="code", empty_label="any"
    )

    class Meta:
        model = SavedPlacing
        fields = ("state", "kind")
