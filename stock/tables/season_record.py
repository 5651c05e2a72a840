"""The season record's tables: ponds, egg lots, batches."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables

from ponds.lists import DayColumn, NumberColumn, PlainTable

WIDE = {"td": {"class": "wide"}}


class LimitsColumn(tables.Column):
    """A figure with its limits: "1.90 (1.70 to 2.10)"; exported as the figure, its limits in columns of their own."""

    def __init__(self, *args: Any, percent: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, attrs={"th": {"class": "num"}, "td": {"class": "num"}}, **kwargs)
        self.percent = percent

    def render(self, value: Any) -> str:
        if self.percent:
            return f"{value.value:.0%} ({value.lower:.0%} to {value.upper:.0%})"
        return f"{value.value:.2f} ({value.lower:.2f} to {value.upper:.2f})"

    def value(self, value: Any) -> float | None:
        return value.value if value is not None else None


def limit(of: str, end: str, words: str) -> NumberColumn:
    """Return a column of one limit, "lower" or "upper", that only exports show."""
    said = "at least" if end == "lower" else "at most"
    return NumberColumn(accessor=f"{of}__{end}", verbose_name=f"{words}, {said}", decimals=2, visible=False)


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
    settled = NumberColumn(verbose_name="Settled females")
    nests = NumberColumn(verbose_name="Nests")
    against = tables.Column(verbose_name="Against forecast", attrs=WIDE)
    expected_low = NumberColumn(verbose_name="Forecast, at least")
    expected_high = NumberColumn(verbose_name="At most")
    before = NumberColumn(verbose_name="Season before")
    nests_each = LimitsColumn(verbose_name="Nests a female", order_by=("nests_each__value",))
    nests_each_low = limit("nests_each", "lower", "Nests a female")
    nests_each_high = limit("nests_each", "upper", "Nests a female")
    share = LimitsColumn(verbose_name="Hatch share", percent=True, order_by=("share__value",))
    share_low = limit("share", "lower", "Hatch share")
    share_high = limit("share", "upper", "Hatch share")
    followed = NumberColumn(verbose_name="Of eggs")
    hatchlings_each = LimitsColumn(verbose_name="Hatchlings a female", order_by=("hatchlings_each__value",))
    hatchlings_each_low = limit("hatchlings_each", "lower", "Hatchlings a female")
    hatchlings_each_high = limit("hatchlings_each", "upper", "Hatchlings a female")
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
    standing = tables.Column(verbose_name="Did it do well?", attrs=WIDE)
    set_on = DayColumn(verbose_name="Set")
    ponds = tables.Column(verbose_name="Ponds")
    eggs = NumberColumn(verbose_name="Eggs")
    hatched = NumberColumn(verbose_name="Hatched")
    clear = NumberColumn(verbose_name="Clear")
    dead = NumberColumn(verbose_name="Dead")
    raw = NumberColumn(verbose_name="Share as counted", decimals=2)
    share = LimitsColumn(verbose_name="Hatch share, compared", percent=True, order_by=("share__lower",))
    share_low = limit("share", "lower", "Hatch share")
    share_high = limit("share", "upper", "Hatch share")


class BatchRecordTable(RecordTable):
    """What each batch's ponds gave."""

    caption = "Batches among the laying females"
    row_header = "code"

    code = tables.Column(verbose_name="Batch")
    kind = tables.Column(attrs=WIDE)
    told = tables.Column(verbose_name="Can it be told?", attrs=WIDE)
    nests_each = LimitsColumn(verbose_name="Nests a female", order_by=("nests_each__value",))
    nests_each_low = limit("nests_each", "lower", "Nests a female")
    nests_each_high = limit("nests_each", "upper", "Nests a female")
    share = LimitsColumn(verbose_name="Hatch share", percent=True, order_by=("share__value",))
    share_low = limit("share", "lower", "Hatch share")
    share_high = limit("share", "upper", "Hatch share")
    females = NumberColumn(verbose_name="Females, expected")
    at_least = NumberColumn(verbose_name="At least")
    at_most = NumberColumn(verbose_name="At most")
    where = tables.Column(verbose_name="Share of its ponds' females")
    arrived_on = DayColumn(verbose_name="Arrived")
    party = tables.Column(verbose_name="From")
    source = tables.Column(attrs=WIDE)
