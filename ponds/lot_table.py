"""The list of egg lots: one row a lot."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ponds import incubation, units
from ponds.hatch_log import LotHatch
from ponds.incubation import Due, HatchWindow
from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.seasons import season_of

TAGS = {
    incubation.LATE: "tag-bad",
    incubation.HATCH: "tag-warn",
    incubation.CANDLE: "tag-warn",
    incubation.DONE: "tag-good",
}


@dataclass(frozen=True)
class LotLine:
    """A lot with its sums, when it should hatch and what is due."""

    sums: LotHatch
    window: HatchWindow | None
    waits: Due

    @property
    def code(self) -> str:
        return self.sums.lot.code

    @property
    def kind(self) -> str:
        return self.sums.lot.kind.common_name

    @property
    def kind_code(self) -> str:
        return self.sums.lot.kind.code

    @property
    def pond_codes(self) -> tuple[str, ...]:
        return self.sums.ponds

    @property
    def ponds(self) -> str:
        return " ".join(self.sums.ponds)

    @property
    def set_on(self) -> dt.date:
        return self.sums.lot.set_on

    @property
    def season(self) -> int:
        return season_of(self.set_on).year

    @property
    def incubator(self) -> str:
        return self.sums.lot.incubator

    @property
    def temperature(self) -> int | None:
        return self.sums.lot.temperature_mk

    @property
    def baskets(self) -> int:
        return self.sums.baskets

    @property
    def eggs(self) -> int:
        return self.sums.eggs

    @property
    def hatched(self) -> int:
        return self.sums.hatched

    @property
    def clear(self) -> int:
        return self.sums.clear

    @property
    def dead(self) -> int:
        return self.sums.dead

    @property
    def left(self) -> int:
        return self.sums.left

    @property
    def expected_on(self) -> dt.date | None:
        return self.window.expected_on if self.window else None

    @property
    def due(self) -> str:
        return self.waits.what

    @property
    def note(self) -> str:
        return self.sums.lot.note

    @property
    def urgency(self) -> tuple[int, int]:
        """Orders the most pressing first: what is due, then since when; of the rest, the newest first."""
        place = incubation.DUES.index(self.waits.what)
        if place <= incubation.DUES.index(incubation.CANDLE) and self.waits.on:
            return place, self.waits.on.toordinal()
        return place, -self.set_on.toordinal()


class LotTable(PlainTable):
    """Every lot that stands."""

    caption = "Egg lots"
    row_header = "code"
    code = tables.Column(verbose_name="Lot", attrs={"td": {"class": "day"}})
    due = tables.Column(verbose_name="Due", order_by=("urgency",))
    kind = tables.Column(verbose_name="Kind")
    ponds = tables.Column(verbose_name="Ponds", default="none")
    set_on = DayColumn(verbose_name="Set on", order_by=("set_on", "code"))
    incubator = tables.Column(verbose_name="Incubator", default="not said")
    temperature = NumberColumn(verbose_name="Temperature", default="not said", visible=False)
    expected_on = DayColumn(verbose_name="Hatch expected", default="not known")
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
        words = due_words(record.waits)
        tag = TAGS.get(record.waits.what)
        return format_html('<span class="tag {}">{}</span>', tag, words) if tag else words

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
