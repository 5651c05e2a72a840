"""The list of what became of each pond's eggs: its filters and its table."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django import forms

from ponds import season_choice
from ponds.computed_lists import RowFilterForm
from ponds.form_fields import offer
from ponds.hatch_log import PondHatch
from ponds.lists import NumberColumn, PlainTable


class ShareColumn(NumberColumn):
    """A share, shown as percent and exported as 0 to 1."""

    def render(self, value: float) -> str:
        return f"{value * 100:.0f} %" if not 0 < value < 0.005 else "less than 1 %"


class HatchFilterForm(RowFilterForm):
    """Of which season, kind and pond."""

    season = forms.ChoiceField(label="Season dug", required=False)
    kind = forms.ChoiceField(label="Kind", required=False)
    pond = forms.ChoiceField(label="Pond", required=False)

    def __init__(
        self, *args: Any, rows: list[PondHatch], names: dict[str, str], seasons: list[int], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "season", season_choice.choices(seasons))
        kinds = sorted({row.kind for row in rows}, key=lambda code: names.get(code, code))
        offer(self, "kind", [("", "any"), *((code, names.get(code, code)) for code in kinds)])
        ponds = sorted({row.pond for row in rows}, key=lambda code: (len(code), code))
        offer(self, "pond", [("", "any"), *((code, f"Pond {code}") for code in ponds)])

    def admits(self, row: PondHatch) -> bool:
        asked = self.cleaned_data
        return (
            asked["season"] in ("", season_choice.ALL, str(row.season))
            and asked["kind"] in ("", row.kind)
            and asked["pond"] in ("", row.pond)
        )


class HatchTable(PlainTable):
    """What became of each pond's eggs, by kind and season."""

    caption = "Hatch by pond"
    row_header = "pond"
    pond = tables.Column(
        verbose_name="Pond", order_by=("pond", "season", "kind"), attrs={"td": {"class": "day"}}
    )
    season = NumberColumn(verbose_name="Season", order_by=("season", "pond", "kind"))
    kind = tables.Column(verbose_name="Kind")
    eggs_set = NumberColumn(verbose_name="Eggs set")
    eggs_followed = NumberColumn(verbose_name="Followed")
    hatched = NumberColumn(verbose_name="Hatched")
    hatch_share = ShareColumn(verbose_name="Hatch share", default="not known")
    clear = NumberColumn(verbose_name="Clear")
    clear_share = ShareColumn(verbose_name="Clear share", default="not known")
    dead = NumberColumn(verbose_name="Dead")
    eggs_open = NumberColumn(verbose_name="Still in")
    eggs_untraced = NumberColumn(verbose_name="Not traced")

    class Meta(PlainTable.Meta):
        fields = ("pond", "season", "kind", "eggs_set", "eggs_followed", "hatched", "hatch_share", "clear",
                  "clear_share", "dead", "eggs_open", "eggs_untraced")  # fmt: skip
        empty_text = "No eggs were set for what is asked here."

    def __init__(self, *args: Any, names: dict[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.names = names

    def render_pond(self, value: str) -> str:
        return f"Pond {value}"

    def value_pond(self, value: str) -> str:
        return value

    def render_season(self, value: int) -> str:
        return str(value)

    def render_kind(self, value: str) -> str:
        return self.names.get(value, value)

    def value_kind(self, value: str) -> str:
        return self.names.get(value, value)
