"""The season record's tables: ponds, egg lots, batches."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables

from ponds.lists import DayColumn, NumberColumn, PlainTable
from stock.season_record import BatchRecord
from stock.templatetags.stock_format import percent

WIDE = {"td": {"class": "wide"}}
WIDE_NUMBER = {"th": {"class": "num"}, "td": {"class": "num wide"}}
WORDS = {"td": {"class": "wide words"}}


class LimitsColumn(tables.Column):
    """A figure with its limits: "1.90 (1.70 to 2.10)"; exported as the figure, its limits in columns of their own."""

    def __init__(self, *args: Any, percent: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, attrs={"th": {"class": "num"}, "td": {"class": "num wide"}}, **kwargs)
        self.percent = percent

    def render(self, value: Any) -> str:
        if self.percent:
            return f"{percent(value.value)} ({percent(value.lower)} to {percent(value.upper)})"
        return f"{value.value:.2f} ({value.lower:.2f} to {value.upper:.2f})"

    def value(self, value: Any) -> float | None:
        return value.value if value is not None else None


def with_limits(
    of: str, words: str, *, percent: bool = False, by: str = "value", compared: str = ""
) -> tuple[LimitsColumn, NumberColumn, NumberColumn]:
    """Return the column of a figure, sorted by its value or a limit, and its two limits, which only exports show."""
    shown = LimitsColumn(verbose_name=words + compared, percent=percent, order_by=(f"{of}__{by}",))
    low, high = (
        NumberColumn(accessor=f"{of}__{end}", verbose_name=f"{words}, {said}", decimals=2, visible=False)
        for end, said in (("lower", "at least"), ("upper", "at most"))
    )
    return shown, low, high


class RecordTable(PlainTable):
    class Meta(PlainTable.Meta):
        attrs = {"class": "table cards dense"}
        empty_text = "Nothing in the books of this season."


class PondRecordTable(RecordTable):
    """What each pond's females gave."""

    caption = "By pond and settled female"
    row_header = "pond"

    pond = tables.Column(order_by=("place",))
    kind = tables.Column(order_by=("kind", "place"), attrs=WIDE)
    settled = NumberColumn(verbose_name="Settled females, by the book", attrs=WIDE_NUMBER)
    nests = NumberColumn(verbose_name="Nests")
    against = tables.Column(verbose_name="Against forecast", attrs=WIDE)
    expected_low = NumberColumn(verbose_name="Forecast, at least")
    expected_high = NumberColumn(verbose_name="At most")
    before = NumberColumn(verbose_name="Season before")
    nests_each, nests_each_low, nests_each_high = with_limits("nests_each", "Nests a female")
    share, share_low, share_high = with_limits("share", "Hatch share", percent=True)
    followed = NumberColumn(verbose_name="Of eggs")
    hatchlings_each, hatchlings_each_low, hatchlings_each_high = with_limits(
        "hatchlings_each", "Hatchlings a female"
    )
    eggs = NumberColumn(verbose_name="Eggs counted", visible=False)
    eggs_each = NumberColumn(verbose_name="Eggs a female", decimals=1, visible=False)
    hatched = NumberColumn(verbose_name="Hatched of the eggs followed", visible=False)

    class Meta(RecordTable.Meta):
        order_by = ("pond",)


class LotRecordTable(RecordTable):
    """What each lot came to."""

    caption = "Egg lots"
    row_header = "code"

    code = tables.Column(verbose_name="Lot")
    kind = tables.Column(attrs=WIDE)
    standing = tables.Column(verbose_name="Did it do well?", attrs=WORDS)
    set_on = DayColumn(verbose_name="Set")
    ponds = tables.Column(verbose_name="Ponds")
    eggs = NumberColumn(verbose_name="Eggs")
    hatched = NumberColumn(verbose_name="Hatched")
    clear = NumberColumn(verbose_name="Clear")
    dead = NumberColumn(verbose_name="Dead")
    raw = NumberColumn(verbose_name="Share as counted", decimals=2)
    share, share_low, share_high = with_limits(
        "share", "Hatch share", percent=True, by="lower", compared=", compared"
    )

    class Meta(RecordTable.Meta):
        """The rows come in their order."""


class BatchRecordTable(RecordTable):
    """What each batch's ponds gave."""

    caption = "Batches among the laying females"
    row_header = "code"

    code = tables.Column(verbose_name="Batch")
    kind = tables.Column(attrs=WIDE)
    told = tables.Column(verbose_name="Can it be told?", attrs=WORDS)
    nests_each, nests_each_low, nests_each_high = with_limits("nests_each", "Nests a female")
    share, share_low, share_high = with_limits("share", "Hatch share", percent=True)
    females = NumberColumn(verbose_name="Females, expected")
    at_least = NumberColumn(verbose_name="At least")
    at_most = NumberColumn(verbose_name="At most")
    where = tables.Column(verbose_name="Share of its ponds' females")
    arrived_on = DayColumn(verbose_name="Arrived")
    party = tables.Column(verbose_name="From", empty_values=(), attrs=WIDE)
    source = tables.Column(visible=False)

    class Meta(RecordTable.Meta):
        """The rows come in their order."""

    def render_party(self, record: BatchRecord) -> str:
        return record.party or record.source

    def value_party(self, record: BatchRecord) -> str:
        return record.party
