"""The list of egg lots: one row a lot."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ponds import incubation, units
from ponds.incubation import Due
from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.lot_lines import LotLine

TAGS = {
    incubation.LATE: "tag-bad",
    incubation.HATCH: "tag-warn",
    incubation.CANDLE: "tag-warn",
    incubation.DONE: "tag-good",
}


class LotTable(PlainTable):
    """Every lot that stands."""

    caption = "Egg lots"
    row_header = "code"
    code = tables.Column(verbose_name="Lot", attrs={"td": {"class": "day"}})
    due = tables.Column(verbose_name="Due", order_by=("urgency",))
    kind = tables.Column(verbose_name="Kind")
    ponds = tables.Column(verbose_name="Ponds", default="none")
    set_on = DayColumn(verbose_name="Set on", order_by=("set_on", "code"))
    incubator = tables.Column(verbose_name="Incubator", default="not said", visible=False)
    temperature = NumberColumn(verbose_name="Temperature", default="not said", visible=False)
    expected_on = DayColumn(verbose_name="Hatch expected", default="not known", visible=False)
    baskets = NumberColumn(verbose_name="Baskets", visible=False)
    eggs = NumberColumn(verbose_name="Eggs set")
    hatched = NumberColumn(verbose_name="Hatched")
    clear = NumberColumn(verbose_name="Clear")
    dead = NumberColumn(verbose_name="Dead")
    left = NumberColumn(verbose_name="Left")
    note = tables.Column(visible=False)

    class Meta(PlainTable.Meta):
        fields = ("code", "due", "kind", "ponds", "set_on", "incubator", "temperature", "expected_on", "baskets",
                  "eggs", "hatched", "clear", "dead", "left", "note")  # fmt: skip
        empty_text = "No egg lots for what is asked here."

    def __init__(self, *args: Any, temperature_unit: str = "F", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.temperature_unit = temperature_unit
        self.columns["temperature"].column.verbose_name = f"Set to, {units.symbol(temperature_unit)}"

    def render_code(self, record: LotLine) -> SafeString:
        return format_html(
            '<a href="{}">{}</a>', reverse("ponds:lot-detail", args=[record.code]), record.code
        )

    def value_code(self, record: LotLine) -> str:
        return record.code

    def render_due(self, record: LotLine) -> SafeString | str:
        tag = TAGS.get(record.waits.what)
        if not tag:
            return due_words(record.waits)
        since = due_words(record.waits).removeprefix(record.waits.what).lstrip(", ")
        return format_html('<span class="tag {}">{}</span> {}', tag, record.waits.what, since)

    def value_due(self, record: LotLine) -> str:
        return record.due

    def render_temperature(self, record: LotLine) -> str:
        return units.shown(record.temperature or 0, self.temperature_unit)

    def value_temperature(self, record: LotLine) -> float | None:
        if record.temperature is None:
            return None
        return float(units.shortest(record.temperature, self.temperature_unit))


def due_words(waits: Due) -> str:
    """Write what a lot waits for, with its day.

    >>> due_words(Due("candle", dt.date(2026, 5, 15)))
    'candle, since 15 May'
    """
    if waits.on is None:
        return waits.what
    preposition = "to" if waits.what == incubation.INCUBATING else "since"
    return f"{waits.what}, {preposition} {waits.on.day} {waits.on:%b}"
