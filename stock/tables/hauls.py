"""The list of hauls and the list of batches: tables and filters."""

from __future__ import annotations

import datetime as dt
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django import forms
from django.db.models import F, QuerySet
from django.urls import reverse
from django.utils.html import format_html

from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.models import Kind, Pond
from stock.models import Batch, Haul
from stock.tables.moves import DAY_INPUT, PondColumnTable


class HaulTable(PondColumnTable):
    """One row a haul and kind, with its catch by class."""

    caption = "Hauls"
    row_header = "happened_on"

    happened_on = DayColumn(verbose_name="Day", order_by=("happened_on", "pk"))
    pond = tables.Column(accessor="pond__code", verbose_name="Pond")
    kind = tables.Column(verbose_name="Kind", default="none caught", order_by=("kind", "happened_on", "pk"))
    method = tables.Column(verbose_name="How")
    females = NumberColumn(verbose_name="Females")
    males = NumberColumn(verbose_name="Males")
    unsexed = NumberColumn(verbose_name="Unsexed")
    juveniles = NumberColumn(verbose_name="Juveniles")
    marked = NumberColumn(verbose_name="Carrying marks")
    state = tables.Column(verbose_name="State", empty_values=(), orderable=False)

    class Meta(PlainTable.Meta):
        model = Haul
        fields = (
            "happened_on", "pond", "kind", "method", "females", "males", "unsexed", "juveniles", "marked", "state",
        )  # fmt: skip
        empty_text = "No hauls here. Log what a haul brought, and it stands here."

    def render_happened_on(self, record: Haul) -> str:
        day = f"{record.happened_on.day} {record.happened_on:%b %Y}"
        return format_html('<a href="{}">{}</a>', reverse("stock:haul-detail", args=[record.pk]), day)

    def value_happened_on(self, record: Haul) -> dt.date:
        return record.happened_on

    def order_marked(self, rows: QuerySet, is_descending: bool) -> tuple[QuerySet, bool]:
        """Put hauls in which nobody looked for marks last either way, on every database."""
        marked = F("marked").desc(nulls_last=True) if is_descending else F("marked").asc(nulls_last=True)
        return rows.order_by(marked, "-happened_on", "-pk"), True

    def render_state(self, record: Haul) -> str:
        if self.value_state(record) == "stands":
            return "stands"
        return format_html('<span class="tag tag-bad">{}</span>', "taken back")

    def value_state(self, record: Haul) -> str:
        return "taken back" if getattr(record.move, "reversed_by", None) else "stands"


class HaulFilter(filters.FilterSet):
    """Filters of hauls."""

    pond = filters.ModelChoiceFilter(
        queryset=Pond.objects.in_letter_order(), to_field_name="code", empty_label="any"
    )
    kind = filters.ModelChoiceFilter(
        queryset=Kind.objects.order_by("common_name"),
        to_field_name="code",
        empty_label="any",
        label="Kind caught",
        method="by_kind",
    )
    method = filters.ChoiceFilter(label="How", choices=Haul.Method.choices, empty_label="any")
    since = filters.DateFilter(
        label="From day", field_name="happened_on", lookup_expr="gte", widget=DAY_INPUT
    )
    until = filters.DateFilter(label="To day", field_name="happened_on", lookup_expr="lte", widget=DAY_INPUT)
    standing = filters.BooleanFilter(
        label="Leave out what was taken back", widget=forms.CheckboxInput, method="by_standing"
    )

    class Meta:
        model = Haul
        fields = ("pond", "kind", "method", "since", "until", "standing")

    def by_kind(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        return rows.filter(kind_pk=value.pk)

    def by_standing(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        return rows.filter(move__reversed_by__isnull=True) if value else rows


class BatchTable(PlainTable):
    """One row a batch."""

    caption = "Batches"
    row_header = "code"

    code = tables.Column(verbose_name="Batch")
    arrived_on = DayColumn(verbose_name="Arrived")
    source = tables.Column(verbose_name="Where from")
    party = tables.Column(verbose_name="Seller or place")
    generation = tables.Column(verbose_name="Generation")
    heads_in = NumberColumn(verbose_name="Heads arrived")
    papers_count = NumberColumn(verbose_name="Papers")
    origin = tables.Column(verbose_name="Origin", empty_values=(), orderable=False)

    class Meta(PlainTable.Meta):
        model = Batch
        fields = ("code", "arrived_on", "source", "party", "generation", "heads_in", "papers_count", "origin")
        empty_text = "No batches here. Heads that arrive together are a batch."

    def render_code(self, record: Batch) -> str:
        return format_html(
            '<a href="{}">{}</a>', reverse("stock:batch-detail", args=[record.code]), record.code
        )

    def value_code(self, record: Batch) -> str:
        return record.code

    def render_origin(self, record: Batch) -> str:
        words = self.value_origin(record)
        return (
            words
            if words in ("papered", TAKEN_BACK)
            else format_html('<span class="tag tag-warn">{}</span>', words)
        )

    def value_origin(self, record: Batch) -> str:
        return origin_words(record)


class BatchFilter(filters.FilterSet):
    """Filters of batches."""

    source = filters.ChoiceFilter(label="Where from", choices=Batch.Source.choices, empty_label="any")
    generation = filters.ChoiceFilter(choices=Batch.Generation.choices, empty_label="any")
    since = filters.DateFilter(label="From day", field_name="arrived_on", lookup_expr="gte", widget=DAY_INPUT)
    unpapered = filters.BooleanFilter(
        label="Without papers only", widget=forms.CheckboxInput, method="by_papers"
    )

    class Meta:
        model = Batch
        fields = ("source", "generation", "since", "unpapered")

    def by_papers(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        return rows.filter(papers_count=0, heads_in__gt=0) if value else rows


TAKEN_BACK = "taken back: nothing came in"


def origin_words(batch: Any) -> str:
    """Say whether the origin of a batch, with `heads_in` and `papers_count`, is papered."""
    if batch.papers_count:
        return "papered"
    if not batch.heads_in:
        return TAKEN_BACK
    return "not known, before the register" if batch.source == Batch.Source.OPENING else "not papered yet"
