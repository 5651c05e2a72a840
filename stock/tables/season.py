"""The tables of a season: each pond's, and the weeks of its hatchery."""

from __future__ import annotations

from urllib.parse import urlencode

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ponds.lists import DayColumn, NumberColumn, PlainTable
from stock.links import link
from stock.season_now import PondSeason


class SeasonTable(PlainTable):
    """One row a pond and kind."""

    caption = "Every pond's season"
    row_header = "pond"

    pond = tables.Column()
    kind_name = tables.Column(verbose_name="Kind", attrs={"td": {"class": "wide kind"}})
    females = NumberColumn(verbose_name="Settled females, probably")
    before = NumberColumn(accessor="before__nests__expected", verbose_name="Nests expected before")
    before_low = NumberColumn(
        accessor="before__nests__low", verbose_name="Nests before, at least", visible=False
    )
    before_high = NumberColumn(
        accessor="before__nests__high", verbose_name="Nests before, at most", visible=False
    )
    dug = NumberColumn(verbose_name="Dug")
    by_now = NumberColumn(verbose_name="Should be by now", default="not known")
    against = NumberColumn(decimals=2, verbose_name="Dug for each that should be", default="too early")
    nests = NumberColumn(accessor="now__nests__expected", verbose_name="Nests expected now")
    nests_low = NumberColumn(accessor="now__nests__low", verbose_name="at least")
    nests_high = NumberColumn(accessor="now__nests__high", verbose_name="at most")
    eggs = NumberColumn(accessor="now__eggs__expected", verbose_name="Eggs expected now")
    eggs_low = NumberColumn(accessor="now__eggs__low", verbose_name="Eggs, at least", visible=False)
    eggs_high = NumberColumn(accessor="now__eggs__high", verbose_name="Eggs, at most", visible=False)
    hatched = NumberColumn(accessor="now__hatched__expected", verbose_name="Hatched expected now")
    hatched_low = NumberColumn(accessor="now__hatched__low", verbose_name="Hatched, at least", visible=False)
    hatched_high = NumberColumn(accessor="now__hatched__high", verbose_name="Hatched, at most", visible=False)
    is_behind = tables.Column(verbose_name="Falls behind", order_by=("-is_behind", "chance"))

    class Meta(PlainTable.Meta):
        attrs = {"class": "table cards dense"}
        empty_text = "No pond is like that in this season."

    def render_pond(self, record: PondSeason) -> SafeString:
        asked = {name: self.request.GET[name] for name in ("season", "on") if self.request.GET.get(name)}
        address = link("stock:season-pond", record.pond, record.kind_code)
        query = f"?{urlencode(asked)}" if asked else ""
        return format_html('<a href="{}{}">Pond {}</a>', address, query, record.pond)

    def value_pond(self, record: PondSeason) -> str:
        return record.pond

    def render_is_behind(self, value: bool) -> SafeString | str:
        return SafeString('<span class="tag tag-bad">falls behind</span>') if value else "no"

    def value_is_behind(self, value: bool) -> str:
        return "yes" if value else "no"


class ShelfTable(PlainTable):
    """One row a week and kind."""

    caption = "The hatchery by week and kind"
    row_header = "starts_on"

    starts_on = DayColumn(verbose_name="Week from", order_by=("starts_on", "kind"))
    kind = tables.Column(attrs={"td": {"class": "wide kind"}})
    eggs = NumberColumn(verbose_name="Eggs to set")
    baskets = NumberColumn(verbose_name="Baskets")
    containers = NumberColumn(verbose_name="Containers filled")
    shelf_places = NumberColumn(verbose_name="Shelf places taken")
    water_liters = NumberColumn(verbose_name="Water, liters", default="not asked")
    hatching = NumberColumn(verbose_name="Eggs that hatch")
    hatch_from = DayColumn(verbose_name="These hatch from", default="none set")
    hatch_until = DayColumn(verbose_name="until", default="none set")

    class Meta(PlainTable.Meta):
        attrs = {"class": "table cards dense"}
        empty_text = "No eggs are expected."
