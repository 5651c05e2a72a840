"""The table of the farm's year: one row a pond and kind."""

from __future__ import annotations

import math

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ponds.lists import NumberColumn, PlainTable
from stock.farm_year import YearRow
from stock.links import link
from stock.tables.how_it_stands import HowItStandsColumn
from stock.templatetags.stock_format import ratio as ratio_words


class YearTable(PlainTable):
    """Every pond and kind of the year, in letter order."""

    caption = "Every pond's year"
    row_header = "pond"

    pond = tables.Column(order_by=("place",))
    kind = tables.Column(order_by=("kind", "place"), attrs={"td": {"class": "wide kind"}})
    opening = NumberColumn(verbose_name="Opening")
    came = NumberColumn(verbose_name="Came")
    went = NumberColumn(verbose_name="Went")
    dead = NumberColumn(verbose_name="Dead")
    closing = NumberColumn(verbose_name="Closing")
    females = NumberColumn(verbose_name="Females")
    males = NumberColumn(verbose_name="Males")
    unsexed = NumberColumn(verbose_name="Unsexed", visible=False)
    juveniles = NumberColumn(verbose_name="Juveniles", visible=False)
    ratio = NumberColumn(verbose_name="By the book")
    nests = NumberColumn(verbose_name="Nests")
    eggs = NumberColumn(verbose_name="Eggs")
    beyond = NumberColumn(verbose_name="Beyond the book")
    verdict = HowItStandsColumn(order_by=("rank",))

    class Meta(PlainTable.Meta):
        order_by = ("pond",)
        attrs = {"class": "table cards dense"}
        empty_text = "No pond and kind is like that in this year."

    def render_pond(self, record: YearRow) -> SafeString:
        address = link("stock:pond-detail", record.pond, on=record.facts.day.isoformat())
        return format_html('<a href="{}" aria-label="Pond {}">{}</a>', address, record.pond, record.pond)

    def value_pond(self, record: YearRow) -> str:
        return record.pond

    def render_ratio(self, record: YearRow) -> str:
        return ratio_words(record.ratio)

    def value_ratio(self, record: YearRow) -> float | str:
        if record.ratio is None:
            return ""
        return "no males" if math.isinf(record.ratio) else record.ratio
