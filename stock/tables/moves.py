"""The list of moves: its table and its filters, which read entries."""

from __future__ import annotations

from typing import Any

import django_filters as filters
import django_tables2 as tables
from django import forms
from django.contrib.auth.models import User
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Length
from django.urls import reverse
from django.utils.html import format_html
from django_tables2.paginators import LazyPaginator

from ponds.lists import DayColumn, PlainTable
from ponds.models import Kind, Pond
from stock.models import Entry, HeadClass, Move, Reason
from stock.moves_read import move_sentence, state_of

FEW_ENTRIES = 20_000
"""Of a reason with at most so many entries the moves are found by the entries, else entries by the moves."""

DAY_INPUT = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class UncountedPaginator(LazyPaginator):
    """Turn pages without counting the rows of the whole farm's life first."""

    count = None


class PondColumnTable(PlainTable):
    """A table with a pond column, sorted as the map is: A to Z, then AA."""

    def order_pond(self, rows: QuerySet, is_descending: bool) -> tuple[QuerySet, bool]:
        if is_descending:
            return rows.order_by(Length("pond__code").desc(), F("pond__code").desc(), "-pk"), True
        return rows.order_by(Length("pond__code"), F("pond__code"), "-pk"), True


class MoveTable(PondColumnTable):
    """One row a move."""

    caption = "Moves"
    row_header = "happened_on"

    happened_on = DayColumn(verbose_name="Day", order_by=("happened_on", "pk"))
    pond = tables.Column(verbose_name="Pond", accessor="pond__code", default="")
    what = tables.Column(verbose_name="What", empty_values=(), orderable=False)
    by_name = tables.Column(verbose_name="Signed by")
    state = tables.Column(verbose_name="State", empty_values=(), orderable=False)

    class Meta(PlainTable.Meta):
        model = Move
        fields = ("happened_on", "pond", "what", "by_name", "state")
        empty_text = "No moves here. Log a haul, or show all."

    def render_happened_on(self, record: Move) -> str:
        day = f"{record.happened_on.day} {record.happened_on:%b %Y}"
        return format_html('<a href="{}">{}</a>', _address(record), day)

    def render_what(self, record: Move) -> str:
        said = move_sentence(record)
        if any(entry.reason == Reason.BEYOND_BOOK for entry in record.entries.all()):
            return format_html('<span>{} <span class="tag tag-warn">beyond the book</span></span>', said)
        return said

    def render_state(self, record: Move) -> str:
        words, tag = state_of(record)
        return format_html('<span class="tag {}">{}</span>', tag, words) if tag else words


class MoveFilter(filters.FilterSet):
    """Filters of moves. Pond, kind, class and reason hold of one and the same entry."""

    pond = filters.ModelChoiceFilter(
        label="Pond",
        queryset=Pond.objects.in_letter_order(),
        to_field_name="code",
        empty_label="any",
        method="by_entry",
    )
    kind = filters.ModelChoiceFilter(
        label="Kind",
        queryset=Kind.objects.order_by("common_name"),
        to_field_name="code",
        empty_label="any",
        method="by_entry",
    )
    of_class = filters.ChoiceFilter(
        label="Class", choices=HeadClass.choices, empty_label="any", method="by_entry"
    )
    reason = filters.ChoiceFilter(
        label="Reason", choices=Reason.choices, empty_label="any", method="by_entry"
    )
    since = filters.DateFilter(
        label="From day", field_name="happened_on", lookup_expr="gte", widget=DAY_INPUT
    )
    until = filters.DateFilter(label="To day", field_name="happened_on", lookup_expr="lte", widget=DAY_INPUT)
    person = filters.ChoiceFilter(label="Signed by", field_name="by_name", empty_label="anybody")
    beyond = filters.BooleanFilter(
        label="Beyond the book only", widget=forms.CheckboxInput, method="by_entry"
    )

    class Meta:
        model = Move
        fields = ("pond", "kind", "of_class", "reason", "since", "until", "person", "beyond")

    def __init__(self, *args: Any, words: list[str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = words or []
        self.filters["person"].extra["choices"] = _people

    def by_entry(self, rows: QuerySet, name: str, value: Any) -> QuerySet:
        """Leave the rows alone: what is asked of entries is asked at once, in `filter_queryset`."""
        return rows

    def entry_conditions(self) -> Q:
        """Return what one entry must meet."""
        asked = self.form.cleaned_data if self.form.is_bound and self.form.is_valid() else {}
        wanted = Q()
        if pond := asked.get("pond"):
            wanted &= Q(source__pond=pond) | Q(target__pond=pond)
        if kind := asked.get("kind"):
            wanted &= Q(source__kind=kind)
        if of_class := asked.get("of_class"):
            wanted &= Q(source__of_class=of_class) | Q(target__of_class=of_class)
        if reason := asked.get("reason"):
            wanted &= Q(reason=reason)
        if asked.get("beyond"):
            wanted &= Q(reason=Reason.BEYOND_BOOK)
        return wanted

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        rows = super().filter_queryset(queryset)
        wanted = self.entry_conditions()
        if wanted:
            found = Q(Exists(Entry.objects.filter(wanted, move=OuterRef("pk"))))
            asked = self.form.cleaned_data
            if asked.get("pond") and not any(
                asked.get(name) for name in ("kind", "of_class", "reason", "beyond")
            ):
                # A haul of which everything went back has no entries, but it was made in that pond.
                found |= Q(pond=asked["pond"])
            rows = rows.filter(found)
            reason = Reason.BEYOND_BOOK if asked.get("beyond") else asked.get("reason")
            if reason and _is_rare(reason):
                rows = rows.filter(pk__in=Entry.objects.filter(reason=reason).values("move_id"))
        return rows

    @property
    def qs(self) -> QuerySet:
        rows = super().qs
        for word in self.words:
            in_batch = Entry.objects.filter(move=OuterRef("pk"), batch__code__icontains=word)
            rows = rows.filter(Q(note__icontains=word) | Exists(in_batch))
        return rows


def _is_rare(reason: str) -> bool:
    """Whether so few entries have a reason that newest moves first would mean reading moves without end."""
    of_reason = Entry.objects.filter(reason=reason).order_by("happened_on")
    return not of_reason[FEW_ENTRIES : FEW_ENTRIES + 1].exists()


def _people() -> list[tuple[str, str]]:
    # Asked of the few people, each by the index of who signed: the moves are all that the farm ever made.
    signed = Exists(Move.objects.filter(by=OuterRef("pk")))
    names = User.objects.filter(signed).order_by("username").values_list("username", flat=True)
    return [(name, name) for name in names]


def _address(move: Move) -> str:
    return reverse("stock:move-detail", args=[move.key])
