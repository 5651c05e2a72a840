"""The table of every pond at a glance: one row a pond and kind."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from ponds.lists import DayColumn, NumberColumn, PlainTable
from stock.links import link
from stock.of_pond_kind import OfPondKind
from stock.pond_kind import PondKind
from stock.strips import ratio_strip
from stock.tables.how_it_stands import HowItStandsColumn
from stock.tasks import OpenTask
from stock.templatetags.stock_format import age, percent, ratio_interval
from stock.templatetags.stock_format import ratio as ratio_words


@dataclass(frozen=True)
class PondRow(OfPondKind):
    """A pond and kind with what stands beside it in the table."""

    facts: PondKind
    tasks: tuple[OpenTask, ...]
    place: int

    @property
    def ratio(self) -> float | None:
        """Females per male by the book; infinite without males, None with neither."""
        if self.females and not self.males:
            return math.inf
        return self.facts.by_book.ratio if self.females or self.males else None

    @property
    def standing(self) -> float | None:
        """Females per male by the standing; None without one."""
        return self.facts.standing.ratio if self.facts.standing else None

    @property
    def standing_low(self) -> float | None:
        return self.facts.standing.ratio_limits[0] if self.facts.standing else None

    @property
    def standing_high(self) -> float | None:
        return self.facts.standing.ratio_limits[1] if self.facts.standing else None

    @property
    def standing_females(self) -> float | None:
        return self.facts.standing.females if self.facts.standing else None

    @property
    def standing_males(self) -> float | None:
        return self.facts.standing.males if self.facts.standing else None

    @property
    def counted(self) -> int | None:
        """Days since the last count of any kind; None where nobody ever counted."""
        return self.facts.last_count.age_days if self.facts.last_count else None

    @property
    def basis(self) -> str:
        return self.facts.basis

    @property
    def seine(self) -> float | None:
        return self.facts.last_haul.ratio.value if self.facts.last_haul else None

    @property
    def seine_low(self) -> float | None:
        return self.facts.last_haul.ratio.lower if self.facts.last_haul else None

    @property
    def seine_high(self) -> float | None:
        return self.facts.last_haul.ratio.upper if self.facts.last_haul else None

    @property
    def limit_use(self) -> float | None:
        return self.facts.head_use / self.facts.head_limit if self.facts.head_limit else None

    @property
    def deaths(self) -> int:
        return self.facts.deaths.total

    @property
    def last_haul(self) -> Any:
        return self.facts.last_haul.day if self.facts.last_haul else None

    @property
    def state(self) -> str:
        return self.facts.use.words

    @property
    def open_tasks(self) -> int:
        return len(self.tasks)

    @cached_property
    def rank(self) -> tuple[int, int]:
        return self.facts.rank, self.place


class PondKindTable(PlainTable):
    """Every pond and kind; the columns of figures are narrow so that all stand side by side on a desk."""

    caption = "Every pond"
    row_header = "pond"

    pond = tables.Column(order_by=("place",))
    kind = tables.Column(order_by=("kind", "place"), attrs={"td": {"class": "wide kind"}})
    verdict = HowItStandsColumn(order_by=("rank",))
    basis = tables.Column(verbose_name="Ratio by", visible=False)
    standing = tables.Column(
        verbose_name="Standing, 90 % limits", empty_values=(), attrs={"td": {"class": "wide"}}
    )
    standing_low = tables.Column(verbose_name="Standing, at least", visible=False)
    standing_high = tables.Column(verbose_name="Standing, at most", visible=False)
    standing_females = NumberColumn(verbose_name="Standing, females", visible=False)
    standing_males = NumberColumn(verbose_name="Standing, males", visible=False)
    counted = NumberColumn(verbose_name="Counted", empty_values=(), attrs={"td": {"class": "num wide"}})
    ratio = NumberColumn(verbose_name="By the book", attrs={"td": {"class": "num wide"}})
    females = NumberColumn(verbose_name="Females")
    males = NumberColumn(verbose_name="Males")
    unsexed = NumberColumn(verbose_name="Unsexed")
    juveniles = NumberColumn(verbose_name="Juv.")
    seine = tables.Column(verbose_name="Last haul", visible=False)
    seine_low = tables.Column(verbose_name="Last haul, at least", visible=False)
    seine_high = tables.Column(verbose_name="Last haul, at most", visible=False)
    last_haul = DayColumn(verbose_name="Last haul on", visible=False)
    limit_use = NumberColumn(verbose_name="Of limit")
    deaths = NumberColumn(verbose_name="Deaths, 12 mo.")
    state = tables.Column(visible=False)
    open_tasks = NumberColumn(verbose_name="Tasks")

    class Meta(PlainTable.Meta):
        order_by = ("verdict",)
        attrs = {"class": "table cards dense"}
        empty_text = "No pond and kind is like that. Show all to see the rest."

    def render_pond(self, record: PondRow) -> SafeString:
        name = (
            format_html(' <span class="note also">{}</span>', record.facts.pond_name)
            if record.facts.pond_name
            else ""
        )
        use = record.facts.use
        state = ""
        if use.code != "IN_USE":
            css = "tag tag-warn" if use.in_quarantine else "tag"
            state = format_html(' <span class="{}">{}</span>', css, use.words)
        return format_html(
            '<a href="{}" aria-label="Pond {}">{}</a>{}{}',
            link("stock:pond-detail", record.pond),
            record.pond,
            record.pond,
            name,
            state,
        )

    def value_pond(self, record: PondRow) -> str:
        return record.pond

    def render_ratio(self, record: PondRow) -> str:
        return ratio_words(record.ratio)

    def value_ratio(self, record: PondRow) -> float | str:
        return _exported(record.ratio)

    def render_standing(self, record: PondRow) -> SafeString | str:
        stands = record.facts.standing
        if stands is None:
            haul = record.facts.last_haul
            last = f"; last haul {ratio_interval(haul.ratio.lower, haul.ratio.upper)}" if haul else ""
            return format_html('<span class="note">none{}</span>', last)
        limits = ratio_interval(*stands.ratio_limits)
        words = f"{stands.females:.0f} females, {stands.males:.0f} males probably"
        strip = ratio_strip(
            f"Pond {record.pond}, {record.kind}: standing",
            f"{words}: {ratio_words(stands.ratio)}, limits {limits}.",
            stands.ratio,
            *stands.ratio_limits,
            band=record.facts.band,
        )
        return format_html(
            '<span class="strip">{}</span><span class="note">{}<span class="narrow-only">,</span><br> {}</span>',
            mark_safe(strip),  # noqa: S308 - our own renderer, which escapes every word
            ratio_words(stands.ratio),
            limits,
        )

    def value_standing(self, record: PondRow) -> float | str:
        return _exported(record.standing)

    def value_standing_low(self, record: PondRow) -> float | str:
        return _exported(record.standing_low)

    def value_standing_high(self, record: PondRow) -> float | str:
        return _exported(record.standing_high)

    def render_counted(self, record: PondRow) -> str:
        count = record.facts.last_count
        return age(count.as_of if count else None, record.facts.day).removesuffix(" ago")

    def value_counted(self, record: PondRow) -> int | str:
        return "" if record.counted is None else record.counted

    def value_seine(self, record: PondRow) -> float | str:
        return _exported(record.seine)

    def value_seine_low(self, record: PondRow) -> float | str:
        return _exported(record.seine_low)

    def value_seine_high(self, record: PondRow) -> float | str:
        return _exported(record.seine_high)

    def render_limit_use(self, record: PondRow) -> str:
        return percent(record.limit_use)

    def value_limit_use(self, record: PondRow) -> float | str:
        return _exported(record.limit_use)

    def value_state(self, record: PondRow) -> str:
        return record.state

    def render_open_tasks(self, record: PondRow) -> SafeString | str:
        if not record.tasks:
            return "0"
        return format_html(
            '<a href="{}#tasks" aria-label="{} open tasks of pond {}">{}</a>',
            link("stock:pond-detail", record.pond),
            len(record.tasks),
            record.pond,
            len(record.tasks),
        )

    def value_open_tasks(self, record: PondRow) -> int:
        return len(record.tasks)


def _exported(figure: float | None) -> float | str:
    if figure is None:
        return ""
    return "no males" if math.isinf(figure) else figure
