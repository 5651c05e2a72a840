"""What is asked of a season, its hatchery, and the weight of the published ranges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from ponds import units
from ponds.computed_lists import RowFilterForm
from ponds.form_fields import DayField, NumberText, offer
from ponds.seasons import Season
from ponds.svg_marks import day_text
from stock.advisor.hatchery import BASKETS_A_CONTAINER, FARTHEST_C, NEAREST_C
from stock.season_now import PondSeason
from stock.season_shelf import ShelfWeek

BEHIND = "behind"
EGGS_A_BASKET = 60
LEAST_WEIGHT, MOST_WEIGHT = 0.1, 50.0


class SeasonForm(RowFilterForm):
    """Which season, on which day it is looked at, which kind."""

    season = forms.ChoiceField(
        label="Season",
        required=False,
        error_messages={"invalid_choice": "“%(value)s” is not in the list. Choose one from it."},
    )
    on = DayField(label="As on the day", required=False)
    kind = forms.ChoiceField(label="Kind", required=False)
    show = forms.ChoiceField(
        label="Ponds", required=False, choices=[("", "every pond"), (BEHIND, "those that fall behind")]
    )

    def __init__(
        self,
        asked: Mapping[str, Any],
        *,
        seasons: Sequence[Season],
        kinds: Sequence[tuple[str, str]],
        today: dt.date,
    ) -> None:
        super().__init__(asked)
        self.today = today
        offer(self, "season", [("", "this one"), *((str(one.year), str(one.year)) for one in seasons)])
        offer(self, "kind", [("", "every kind"), *kinds])

    def clean_on(self) -> dt.date | None:
        on = self.cleaned_data["on"]
        if on is not None and on > self.today:
            raise forms.ValidationError(
                f"{day_text(on)} is after today, {day_text(self.today)}. Give today or an earlier "
                "day, or leave it empty."
            )
        if on is not None and on.year < 1991:
            raise forms.ValidationError(f"{day_text(on)} is before any book. Give a day from 1991 on.")
        return on

    def clean(self) -> dict[str, Any]:
        found = super().clean() or self.cleaned_data
        on, year = found.get("on"), found.get("season")
        if on and year and on < Season(int(year)).starts_on:
            self.add_error(
                "on",
                f"{day_text(on)} is before season {year}, which began on "
                f"{day_text(Season(int(year)).starts_on)}. Give a later day, or "
                "choose another season.",
            )
        return found

    def admits(self, row: PondSeason) -> bool:
        chosen = self.cleaned_data
        return (not chosen["kind"] or row.kind_code == chosen["kind"]) and (
            chosen["show"] != BEHIND or row.is_behind
        )


class ShelfForm(RowFilterForm):
    """How eggs are set: what is left empty is the farm's usual, or an assumption that says so."""

    kind = forms.ChoiceField(label="Kind", required=False)
    basket = NumberText(label="Eggs a basket", low=1, high=500, required=False, help_text="60 if left empty.")
    container = NumberText(
        label="Baskets a container",
        low=1,
        high=20,
        required=False,
        help_text=f"{BASKETS_A_CONTAINER} if empty.",
    )
    water = NumberText(
        label="Water a container, liters", low=0, high=100, required=False, help_text="May be left empty."
    )
    share = NumberText(
        label="Eggs set, of those picked, %", low=0, high=100, required=False, help_text="100 if left empty."
    )
    temperature = forms.CharField(
        label="Temperature beside the eggs",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="Each kind's own if left empty.",
    )

    def __init__(self, asked: Mapping[str, Any], *, kinds: Sequence[tuple[str, str]], unit: str) -> None:
        super().__init__(asked)
        self.unit = unit
        offer(self, "kind", [("", "every kind"), *kinds])

    def number(self, name: str, otherwise: float) -> float:
        """Return a number that was typed; another where none was, or it cannot be read."""
        typed = self.cleaned_data.get(name, "") if self.is_bound else ""
        return float(units.read_number(typed)) if typed else otherwise

    def clean_temperature(self) -> float | None:
        typed = self.cleaned_data["temperature"].strip()
        if not typed:
            return None
        low, high = (
            units.shown(round((c + 273.15) * 1000), self.unit, places=0) for c in (NEAREST_C, FARTHEST_C)
        )
        try:
            found = units.measure(typed, self.unit).stored / 1000 - 273.15
        except ValueError as refused:
            raise forms.ValidationError(str(refused)) from refused
        if not NEAREST_C <= found <= FARTHEST_C:
            raise forms.ValidationError(
                f"{typed} is no temperature that eggs are kept at. Give {low} to {high}, beside the eggs."
            )
        return found

    def admits(self, row: ShelfWeek) -> bool:
        return not self.cleaned_data["kind"] or row.kind_code == self.cleaned_data["kind"]


class WeightForm(forms.Form):
    """How much the published ranges count."""

    weight = NumberText(
        label="Seasons of one pond that they count as much as",
        low=LEAST_WEIGHT,
        high=MOST_WEIGHT,
        required=False,
        help_text="Empty: by their own width. 0.1 lets the farm's own books rule from the first season; 20 hardly "
        "lets them speak.",
    )

    @property
    def value(self) -> float | None:
        typed = self.cleaned_data["weight"]
        return float(units.read_number(typed)) if typed else None
