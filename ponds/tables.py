"""The lists of this app."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from ponds import units
from ponds.clutches import clutch_line
from ponds.lists import DayColumn, NumberColumn, PlainTable
from ponds.models import Farm, Kind, KindFigure, NestDay, Pond, PondState
from ponds.nest_book import clutches_of
from ponds.nest_words import words_of
from ponds.templatetags.pond_units import in_unit


def _expected(kind: Kind, name: str) -> float | None:
    return next((figure.expected for figure in kind.figures.all() if figure.name == name), None)


class KindTable(PlainTable):
    """Every kind, with what is expected of one laying female."""

    caption = "Kinds"
    row_header = "common_name"
    common_name = tables.Column(verbose_name="Kind", order_by="name_key")
    scientific_name = tables.Column(verbose_name="Scientific name")
    target = NumberColumn(decimals=1, verbose_name="Target")
    band = tables.Column(
        empty_values=(),
        order_by=("band_low", "band_high"),
        attrs={"td": {"class": "num"}, "th": {"class": "num"}},
    )
    nests = NumberColumn(empty_values=(), orderable=False, verbose_name="Nests a season")
    eggs = NumberColumn(empty_values=(), orderable=False, verbose_name="Eggs a nest")
    listing = tables.Column(default="not listed")
    code = tables.Column(verbose_name="Code")

    class Meta(PlainTable.Meta):
        model = Kind
        fields = ("common_name", "scientific_name", "target", "band", "nests", "eggs", "listing", "code")
        order_by = ("common_name",)
        empty_text = "No kinds yet. Add the shipped ones, or one of your own."

    def render_common_name(self, record: Kind) -> SafeString:
        return format_html(
            '<a href="{}">{}</a>', reverse("ponds:kind-detail", args=[record.code]), record.common_name
        )

    def value_common_name(self, record: Kind) -> str:
        return record.common_name

    def render_band(self, record: Kind) -> str:
        return f"{record.band_low:g} to {record.band_high:g}"

    def render_nests(self, record: Kind) -> str:
        return _written(_expected(record, KindFigure.Name.NESTS))

    def value_nests(self, record: Kind) -> float | None:
        return _expected(record, KindFigure.Name.NESTS)

    def render_eggs(self, record: Kind) -> str:
        return _written(_expected(record, KindFigure.Name.EGGS))

    def value_eggs(self, record: Kind) -> float | None:
        return _expected(record, KindFigure.Name.EGGS)


def _written(value: float | None) -> str:
    return "not known" if value is None else f"{value:g}"


def _links(of_what: object, spoken: str, links: list[tuple[str, str]]) -> SafeString:
    """Return links to what can be done with a row; `spoken` tells them apart by ear."""
    drawn = format_html_join(
        " · ",
        '<a href="{}">{}<span class="visually-hidden">{}</span></a>',
        ((reverse(name, args=[of_what]), words, spoken) for words, name in links),
    )
    return format_html("<span>{}</span>", drawn)


class PondSettingsTable(PlainTable):
    """Every pond as it is set up, retired ones too."""

    caption = "Ponds as set up"
    row_header = "code"
    code = tables.Column(verbose_name="Pond", order_by=("code_length", "code"))
    name = tables.Column(default="")
    state = tables.Column(accessor="state_now", verbose_name="Used as", default="not said")
    water = NumberColumn(accessor="water_area_cm2", verbose_name="Water", default="not known")
    head_limit = NumberColumn(verbose_name="Head limit", default="none")
    kinds = tables.Column(empty_values=(), orderable=False, verbose_name="Kinds allowed")
    opened_on = DayColumn(verbose_name="Opened")
    change = tables.Column(empty_values=(), orderable=False, exclude_from_export=True, verbose_name="Change")

    class Meta(PlainTable.Meta):
        model = Pond
        fields = ("code", "name", "state", "water", "head_limit", "kinds", "opened_on", "change")
        order_by = ("code",)
        empty_text = "No ponds yet. Add the first one."

    def __init__(self, *args, farm: Farm, is_owner: bool, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.farm = farm
        self.columns["water"].column.verbose_name = f"Water, {units.symbol(farm.area_unit)}"
        self.links = [("State", "ponds:pond-state")]
        if is_owner:
            self.links.insert(0, ("Edit", "ponds:pond-edit"))

    def render_code(self, record: Pond) -> str:
        return f"Pond {record.code}"

    def value_code(self, record: Pond) -> str:
        return record.code

    def render_state(self, record: Pond) -> str:
        return self.value_state(record)

    def value_state(self, record: Pond) -> str:
        if record.retired_on:
            return f"retired {record.retired_on.day} {record.retired_on:%b %Y}"
        state = getattr(record, "state_now", None) or ""
        words = dict(PondState.State.choices).get(state, "not said")
        ends_on = getattr(record, "state_ends_on", None)
        return f"{words} until {ends_on.day} {ends_on:%b %Y}" if ends_on else str(words)

    def render_water(self, record: Pond) -> str:
        return in_unit(record.water_area_cm2, self.farm.area_unit)

    def value_water(self, record: Pond) -> float | None:
        if record.water_area_cm2 is None:
            return None
        if record.water_area_typed and record.water_area_unit == self.farm.area_unit:
            return float(record.water_area_typed)
        return float(units.shortest(record.water_area_cm2, self.farm.area_unit))

    def render_kinds(self, record: Pond) -> str:
        return self.value_kinds(record) or "any"

    def value_kinds(self, record: Pond) -> str:
        return ", ".join(sorted(kind.common_name for kind in record.kinds_allowed.all()))

    def render_change(self, record: Pond) -> SafeString:
        return _links(record.code, f" of pond {record.code}", self.links)


class NestTable(PlainTable):
    """The nest book: every row that stands."""

    caption = "Nest book"
    row_header = "dug_on"
    dug_on = DayColumn(verbose_name="Day", order_by=("dug_on", "pk"))
    pond = tables.Column(accessor="pond__code", verbose_name="Pond", order_by=("pond__code", "dug_on", "pk"))
    kind = tables.Column(
        accessor="kind__common_name",
        verbose_name="Kind",
        default="not known",
        order_by=("kind__name_key", "dug_on", "pk"),
    )
    nests = NumberColumn(order_by=("nests", "pk"))
    eggs = NumberColumn(default="not counted", order_by=("eggs", "pk"))
    broken = NumberColumn(default="", order_by=("broken", "pk"))
    eggs_a_nest = NumberColumn(empty_values=(), orderable=False, verbose_name="Eggs a nest")
    by_clutch = tables.Column(empty_values=(), orderable=False, visible=False, verbose_name="By clutch")
    note = tables.Column(empty_values=(), orderable=False)
    by = tables.Column(
        accessor="by__username", verbose_name="Entered by", default="not signed", orderable=False
    )
    change = tables.Column(empty_values=(), orderable=False, exclude_from_export=True, verbose_name="Change")

    class Meta(PlainTable.Meta):
        model = NestDay
        fields = (
            "dug_on",
            "pond",
            "kind",
            "nests",
            "eggs",
            "broken",
            "eggs_a_nest",
            "by_clutch",
            "note",
            "by",
            "change",
        )
        order_by = ("-dug_on",)
        empty_text = "No nests in the book for what is asked here."

    def __init__(
        self, *args: Any, may_mend: Callable[[NestDay], bool] = lambda row: True, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.may_mend = may_mend

    def render_by_clutch(self, record: NestDay) -> str:
        return clutch_line(clutches_of(record))

    def render_note(self, record: NestDay) -> str | SafeString:
        line = clutch_line(clutches_of(record))
        words = ". ".join(part for part in (f"By clutch: {line}" if line else "", record.note) if part)
        if record.replaces_id:
            words = format_html('<span class="tag">corrected</span> {}', words)
        said = self.said.get(record.pk)
        # In one piece: on a phone a cell's parts are pushed apart.
        return format_html("<span>{} {}</span>", words, said) if said else words

    @cached_property
    def said(self) -> dict[int, SafeString]:
        """What others know of the rows of this page, by id."""
        return words_of([row.record.pk for row in self.paginated_rows])

    def value_note(self, record: NestDay) -> str:
        return f"corrected. {record.note}".strip() if record.replaces_id else record.note

    def render_eggs_a_nest(self, record: NestDay) -> str:
        found = self.value_eggs_a_nest(record)
        return "" if found is None else f"{found:.1f}"

    def value_eggs_a_nest(self, record: NestDay) -> float | None:
        if record.eggs is None or not record.nests:
            return None
        return round(record.eggs / record.nests, 2)

    def render_change(self, record: NestDay) -> SafeString | str:
        if not self.may_mend(record):
            return ""
        what = f" {record.nests} nests on {record.dug_on.day} {record.dug_on:%b %Y}"
        links = [("Correct", "ponds:nest-correct"), ("Take back", "ponds:nest-take-back")]
        return _links(record.key, what, links)
