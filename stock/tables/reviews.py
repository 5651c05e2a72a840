"""The table of a month: one row a pond and kind."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import django_tables2 as tables
from django import forms
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ponds.computed_lists import RowFilterForm
from ponds.lists import NumberColumn, PlainTable
from stock.links import link
from stock.of_pond_kind import OfPondKind
from stock.pond_kind import PondKind
from stock.review import KindMonth, PondMonth
from stock.review_rows import Nests
from stock.tables.how_it_stands import HowItStandsColumn
from stock.templatetags.stock_format import age
from stock.templatetags.stock_format import ratio as ratio_words

SIGNED, UNSIGNED, TO_EXPLAIN = "signed", "unsigned", "to-explain"


@dataclass(frozen=True)
class MonthRow(OfPondKind):
    """A pond and kind of a month as the table shows it."""

    month: str
    pond_month: PondMonth
    kind_month: KindMonth
    place: int

    @property
    def facts(self) -> PondKind:  # type: ignore[override] # read only, as a frozen row's field is
        return self.kind_month.facts

    @property
    def opening(self) -> int:
        return self.kind_month.total.opening

    @property
    def came(self) -> int:
        return self.kind_month.total.came

    @property
    def went(self) -> int:
        return self.kind_month.total.went

    @property
    def dead(self) -> int:
        return self.kind_month.total.dead

    @property
    def closing(self) -> int:
        return self.kind_month.total.closing

    @property
    def ratio(self) -> float | None:
        if self.females and not self.males:
            return math.inf
        return self.females / self.males if self.males else None

    @property
    def probably(self) -> float | None:
        standing = self.kind_month.facts.standing
        return standing.ratio if standing is not None else None

    @property
    def ratio_counted(self) -> float | None:
        standing = self.kind_month.facts.standing
        return standing.count_ratio if standing is not None else None

    @property
    def count_age(self) -> int | None:
        standing = self.kind_month.facts.standing
        return standing.age_days if standing is not None else None

    @property
    def nests(self) -> int:
        return self._nests("month").nests

    @property
    def eggs(self) -> int:
        return self._nests("month").eggs

    @property
    def hatched_share(self) -> float | None:
        lots = self.kind_month.lots
        return lots.hatch_share if lots is not None else None

    @property
    def clear_share(self) -> float | None:
        lots = self.kind_month.lots
        return lots.clear_share if lots is not None else None

    @property
    def nests_before(self) -> int:
        return self._nests("year_before").nests

    @property
    def to_explain(self) -> int:
        return len(self.kind_month.to_explain)

    @property
    def decisions(self) -> int:
        return len(self.pond_month.decisions)

    @property
    def signed_by(self) -> str:
        return self.pond_month.signature.by_name if self.pond_month.signature else ""

    @cached_property
    def rank(self) -> tuple[int, int]:
        return self.kind_month.facts.rank, self.place

    def _nests(self, span: str) -> Nests:
        nests = self.kind_month.nests
        return getattr(nests, span) if nests is not None else Nests()


class MonthTable(PlainTable):
    """Every pond and kind of a month, in the order of what needs a decision."""

    caption = "Every pond's month"
    row_header = "pond"

    pond = tables.Column(order_by=("place",))
    kind = tables.Column(order_by=("kind", "place"), attrs={"td": {"class": "wide kind"}})
    verdict = HowItStandsColumn(order_by=("rank",))
    opening = NumberColumn(verbose_name="Opening")
    came = NumberColumn(verbose_name="Came")
    went = NumberColumn(verbose_name="Went")
    dead = NumberColumn(verbose_name="Dead")
    closing = NumberColumn(verbose_name="Closing")
    females = NumberColumn(verbose_name="Females", visible=False)
    males = NumberColumn(verbose_name="Males", visible=False)
    ratio = NumberColumn(verbose_name="By the book")
    probably = NumberColumn(verbose_name="Probably", attrs={"td": {"class": "num wide"}})
    ratio_counted = NumberColumn(verbose_name="At its count", visible=False)
    count_age = NumberColumn(verbose_name="Days since count", visible=False)
    nests = NumberColumn(verbose_name="Nests")
    eggs = NumberColumn(verbose_name="Eggs")
    hatched_share = NumberColumn(verbose_name="Hatched of lots due", visible=False)
    clear_share = NumberColumn(verbose_name="Clear of lots due", visible=False)
    nests_before = NumberColumn(verbose_name="Nests, year before", visible=False)
    to_explain = NumberColumn(verbose_name="To explain")
    decisions = NumberColumn(verbose_name="Decided", visible=False)
    signed_by = tables.Column(verbose_name="Signed by", empty_values=(), attrs={"td": {"class": "wide"}})

    class Meta(PlainTable.Meta):
        order_by = ("verdict",)
        attrs = {"class": "table cards dense"}
        empty_text = "No pond and kind is like that in this month. Show all to see the rest."

    def render_pond(self, record: MonthRow) -> SafeString:
        return format_html(
            '<a href="{}" aria-label="Review pond {}">{}</a>',
            link("stock:review-pond", record.month, record.pond),
            record.pond,
            record.pond,
        )

    def value_pond(self, record: MonthRow) -> str:
        return record.pond

    def render_ratio(self, record: MonthRow) -> str:
        return ratio_words(record.ratio)

    def value_ratio(self, record: MonthRow) -> float | str:
        return _plain_ratio(record.ratio)

    def render_probably(self, record: MonthRow) -> SafeString:
        """Show the standing's ratio with where it drifted from: the ratio counted, and how long ago."""
        stands = record.facts.standing
        return format_html(
            '<span>{} <span class="note also">{}</span> <span class="note also">{}</span></span>',
            ratio_words(record.probably),
            f"was {ratio_words(record.ratio_counted)}" if record.ratio_counted is not None else "counted",
            age(stands.count.as_of if stands else None, record.facts.day),
        )

    def value_probably(self, record: MonthRow) -> float | str:
        return _plain_ratio(record.probably)

    def value_ratio_counted(self, record: MonthRow) -> float | str:
        return _plain_ratio(record.ratio_counted)

    def render_signed_by(self, record: MonthRow) -> SafeString | str:
        if record.signed_by:
            return record.signed_by
        return format_html('<span class="tag tag-warn">{}</span>', "not signed")

    def value_signed_by(self, record: MonthRow) -> str:
        return record.signed_by


def _plain_ratio(value: float | None) -> float | str:
    if value is None or math.isnan(value):
        return ""
    return "no males" if math.isinf(value) else value


class MonthFilterForm(RowFilterForm):
    """Which of the month's rows are shown."""

    show = forms.ChoiceField(
        label="Show",
        required=False,
        choices=[
            ("", "every pond"),
            (UNSIGNED, "not signed yet"),
            (SIGNED, "signed"),
            (TO_EXPLAIN, "with something to explain"),
        ],
    )

    def admits(self, row: MonthRow) -> bool:
        chosen = self.cleaned_data["show"]
        return {
            "": True,
            SIGNED: row.pond_month.signature is not None,
            UNSIGNED: row.pond_month.signature is None,
            TO_EXPLAIN: bool(row.kind_month.to_explain),
        }[chosen]
