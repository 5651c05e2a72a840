"""The lists of counts accepted and of surveys: tables and filters."""

from __future__ import annotations

import datetime as dt
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django import forms
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.html import format_html

from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.models import Kind, Pond
from stock.count_book import STANDS, against_book, in_short, plus_or_minus, state_of
from stock.models import Count, Survey
from stock.tables.moves import DAY_INPUT, PondColumnTable
from stock.templatetags.stock_format import number


class CountTable(PondColumnTable):
    """One row a count that was accepted, also one that was taken back."""

    caption = "Counts accepted"
    row_header = "as_of"

    as_of = DayColumn(verbose_name="Day", order_by=("as_of", "pk"))
    pond = tables.Column(accessor="pond__code", verbose_name="Pond")
    kind = tables.Column(
        accessor="kind__common_name", verbose_name="Kind", order_by=("kind__common_name", "-as_of", "pk")
    )
    how = tables.Column(verbose_name="How", empty_values=(), order_by=("method", "how_known", "pk"))
    females = NumberColumn(verbose_name="Females", empty_values=())
    females_half = NumberColumn(
        verbose_name="Females plus or minus", visible=False, empty_values=(), orderable=False
    )
    males = NumberColumn(verbose_name="Males", empty_values=())
    males_half = NumberColumn(
        verbose_name="Males plus or minus", visible=False, empty_values=(), orderable=False
    )
    unsexed = NumberColumn(verbose_name="Unsexed", visible=False, orderable=False)
    juveniles = NumberColumn(verbose_name="Juveniles", visible=False, orderable=False)
    book = tables.Column(verbose_name="Against the book", empty_values=(), orderable=False)
    by_name = tables.Column(verbose_name="Accepted by")
    state = tables.Column(verbose_name="State", empty_values=(), orderable=False)

    class Meta(PlainTable.Meta):
        model = Count
        fields = (
            "as_of", "pond", "kind", "how", "females", "females_half", "males", "males_half", "unsexed",
            "juveniles", "book", "by_name", "state",
        )  # fmt: skip
        empty_text = "No counts here. Read hauls together, and accept what they say."

    def render_as_of(self, record: Count) -> str:
        day = f"{record.as_of.day} {record.as_of:%b %Y}"
        return format_html('<a href="{}">{}</a>', reverse("stock:count-detail", args=[record.pk]), day)

    def value_as_of(self, record: Count) -> dt.date:
        return record.as_of

    def render_how(self, record: Count) -> str:
        return in_short(record)

    def value_how(self, record: Count) -> str:
        return in_short(record)

    def render_females(self, record: Count) -> str:
        return _with_doubt(record.females, record.females_se)

    def value_females(self, record: Count) -> float | None:
        return record.females

    def render_males(self, record: Count) -> str:
        return _with_doubt(record.males, record.males_se)

    def value_males(self, record: Count) -> float | None:
        return record.males

    def value_females_half(self, record: Count) -> float | None:
        return plus_or_minus(record.females_se)

    def value_males_half(self, record: Count) -> float | None:
        return plus_or_minus(record.males_se)

    def render_book(self, record: Count) -> str:
        return self.value_book(record)

    def value_book(self, record: Count) -> str:
        found = against_book(record)
        return "the opening" if found is None else found.words

    def render_state(self, record: Count) -> str:
        words = state_of(record)
        return words if words == STANDS else format_html('<span class="tag tag-bad">{}</span>', words)

    def value_state(self, record: Count) -> str:
        return state_of(record)


class CountFilter(filters.FilterSet):
    """Filters of counts."""

    pond = filters.ModelChoiceFilter(
        queryset=Pond.objects.in_letter_order(), to_field_name="code", empty_label="any"
    )
    kind = filters.ModelChoiceFilter(
        queryset=Kind.objects.order_by("common_name"), to_field_name="code", empty_label="any"
    )
    how = filters.ChoiceFilter(
        label="How",
        choices=[("SURVEY", "read from hauls"), ("DRAINED", "drained"), ("SEINED", "seined"),
                 ("NOTEBOOK", "from the notebook"), ("GUESS", "a guess")],
        empty_label="any", method="by_how",
    )  # fmt: skip
    since = filters.DateFilter(label="From day", field_name="as_of", lookup_expr="gte", widget=DAY_INPUT)
    until = filters.DateFilter(label="To day", field_name="as_of", lookup_expr="lte", widget=DAY_INPUT)
    standing = filters.BooleanFilter(
        label="Leave out what does not stand", widget=forms.CheckboxInput, method="by_standing"
    )

    class Meta:
        model = Count
        fields = ("pond", "kind", "how", "since", "until", "standing")

    def by_how(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return rows.exclude(method="") if value == "SURVEY" else rows.filter(how_known=value)

    def by_standing(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        if not value:
            return rows
        return rows.filter(has_fallen=False, reversed_by=None, move__reversed_by=None)


class SurveyTable(PondColumnTable):
    """One row a survey."""

    caption = "Surveys"
    row_header = "last_on"

    last_on = DayColumn(verbose_name="Last haul", order_by=("last_on", "pk"), empty_values=())
    pond = tables.Column(accessor="pond__code", verbose_name="Pond")
    first_on = DayColumn(verbose_name="First haul", order_by=("first_on", "pk"))
    haul_count = NumberColumn(verbose_name="Hauls", order_by=("haul_count", "pk"))
    note = tables.Column(verbose_name="Note", orderable=False)
    state = tables.Column(verbose_name="Count", empty_values=(), orderable=False)

    class Meta(PlainTable.Meta):
        model = Survey
        fields = ("last_on", "pond", "first_on", "haul_count", "note", "state")
        empty_text = "No surveys here. Log hauls, then read them together."

    def render_last_on(self, record: Survey, value: dt.date | None) -> str:
        words = f"{value.day} {value:%b %Y}" if value else "no haul yet"
        return format_html('<a href="{}">{}</a>', reverse("stock:survey-detail", args=[record.pk]), words)

    def value_last_on(self, value: dt.date | None) -> dt.date | None:
        return value

    def render_state(self, record: Survey) -> str:
        words = self.value_state(record)
        return format_html('<span class="tag {}">{}</span>', "tag-good" if words == "accepted" else "", words)

    def value_state(self, record: Survey) -> str:
        return "accepted" if record.is_accepted else "open"  # type: ignore[attr-defined]


class SurveyFilter(filters.FilterSet):
    """Filters of surveys."""

    pond = filters.ModelChoiceFilter(
        queryset=Pond.objects.in_letter_order(), to_field_name="code", empty_label="any"
    )
    state = filters.ChoiceFilter(
        label="Count",
        choices=[("open", "open"), ("accepted", "accepted")],
        empty_label="any",
        method="by_state",
    )
    since = filters.DateFilter(label="From day", field_name="last_on", lookup_expr="gte", widget=DAY_INPUT)
    until = filters.DateFilter(label="To day", field_name="last_on", lookup_expr="lte", widget=DAY_INPUT)

    class Meta:
        model = Survey
        fields = ("pond", "state", "since", "until")

    def by_state(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return rows.filter(Q(is_accepted=value == "accepted"))


def _with_doubt(heads: float | None, se: float | None) -> str:
    if heads is None:
        return "not counted"
    half = plus_or_minus(se)
    return number(heads) if not half else f"{number(heads)} ± {number(half)}"
