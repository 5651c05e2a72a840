"""What is asked of the years ahead, read from the address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds import units
from ponds.form_fields import NumberText
from ponds.models import Farm, Kind
from stock.advisor.replacements import MOST_YEARS
from stock.forms.fields import HeadsField, OneOfField
from stock.pond_kind import PondKind
from stock.replacements_advice import figures_of
from stock.replacements_answer import AheadQuestion, WhatIf

COLDEST_C, WARMEST_C = 20, 36
DEFAULTS = {"share": "90"}
SHARES = ("first_year", "juvenile", "adult")


class AheadForm(forms.Form):
    """The kind and how many to hold; what if; the incubator; and the figures, all of which may be left empty."""

    kind = OneOfField(noun="kind", label="Of which kind", required=False)
    wanted = HeadsField(label="Females to hold", help_text="As many as stand now, if left empty.")
    kept = HeadsField(
        label="Female hatchlings kept back a year", help_text="As many as hold them, if left empty."
    )
    sold = HeadsField(label="Males sold")
    lost = OneOfField(noun="pond", label="A pond lost", required=False, blank="None")
    juvenile_more = NumberText(
        label="Juveniles survive better by",
        low=-50,
        high=50,
        required=False,
        help_text="Points of percent a year.",
    )
    adult_more = NumberText(
        label="Adults survive better by",
        low=-50,
        high=50,
        required=False,
        help_text="Points of percent a year.",
    )
    share = NumberText(label="Share of females wanted, %", low=0, high=100, required=False)
    temperature = forms.CharField(
        label="Temperature beside the eggs",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    first_year = NumberText(label="First year, % surviving", low=0, high=100, required=False)
    juvenile = NumberText(label="Juveniles, % surviving a year", low=0, high=100, required=False)
    adult = NumberText(label="Adults, % surviving a year", low=0, high=100, required=False)
    female_years = HeadsField(label="Years until females breed", least=1)
    male_years = HeadsField(label="Years until males breed", least=1)

    def __init__(
        self, asked: Mapping[str, Any], *, farm: Farm, kinds: Sequence[Kind], facts: Sequence[PondKind]
    ) -> None:
        self.facts = facts
        self.unit = farm.temperature_unit
        heads: dict[int, int] = {}
        for one in facts:
            heads[one.kind_id] = heads.get(one.kind_id, 0) + one.heads.total
        self.kinds = {kind.code: kind for kind in kinds if kind.pk in heads}
        most = max(self.kinds.values(), key=lambda kind: heads[kind.pk], default=None)
        defaults = DEFAULTS | ({"kind": most.code} if most else {})
        super().__init__(defaults | {name: asked[name] for name in asked if asked[name]})
        self._offer("kind", [(code, kind.common_name) for code, kind in self.kinds.items()])
        self.fields["kind"].not_offered = {
            kind.code: f"{kind.common_name} stands in no pond, and none is kept for it: there is nothing to replace."
            for kind in kinds
            if kind.code not in self.kinds
        }
        ponds = {one.pond_code: one for one in facts}
        self._offer("lost", [(code, f"Pond {code}") for code in ponds])
        self.fields["temperature"].label = f"Temperature beside the eggs, {units.symbol(self.unit)}"

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, OneOfField)  # noqa: S101 (says to the type checker which field it is)
        field.offer(choices)

    def _bound(self, *names: str) -> list[forms.BoundField]:
        return [self[name] for name in names]

    @property
    def main_fields(self) -> list[forms.BoundField]:
        return self._bound("kind", "wanted", "kept")

    @property
    def what_if_fields(self) -> list[forms.BoundField]:
        return self._bound("sold", "lost", "juvenile_more", "adult_more")

    @property
    def incubation_fields(self) -> list[forms.BoundField]:
        return self._bound("share", "temperature")

    @property
    def figure_fields(self) -> list[forms.BoundField]:
        return self._bound(*SHARES, "female_years", "male_years")

    @property
    def figures_are_typed(self) -> bool:
        """Whether the folded figures need to be seen: typed, or wrong."""
        return any(one.value() or one.errors for one in self.figure_fields)

    def clean_temperature(self) -> float | None:
        """Return degrees C, None where nothing is typed."""
        text = self.cleaned_data["temperature"]
        if not text.strip():
            return None
        try:
            stored = units.measure(text, self.unit).stored
        except units.UnitRefused as refused:
            raise ValidationError(str(refused)) from None
        low, high = (units.to_stored(limit, "C") for limit in (COLDEST_C, WARMEST_C))
        if not low <= stored <= high:
            symbol = units.symbol(self.unit)
            raise ValidationError(
                f"{text.strip()} {symbol} is not between {units.shown(low, self.unit)} and "
                f"{units.shown(high, self.unit)} {symbol}, where eggs develop; look at the figure and its unit."
            )
        return float(units.from_stored(stored, "C"))

    def _years(self, name: str) -> int | None:
        years = self.cleaned_data[name]
        if years is not None and years > MOST_YEARS:
            raise ValidationError(f"{years} years is more than {MOST_YEARS}; look at the figure.")
        return years

    def clean_female_years(self) -> int | None:
        return self._years("female_years")

    def clean_male_years(self) -> int | None:
        return self._years("male_years")

    def question(self) -> AheadQuestion | None:
        """Return what a valid form asks, None on a farm without kinds in ponds."""
        asked = self.cleaned_data
        kind = self.kinds.get(asked["kind"])
        if kind is None:
            return None
        facts = next(one for one in self.facts if one.kind_id == kind.pk)
        figures = figures_of(facts, kind.scientific_name)
        typed = {name: (float(asked[name]) / 100,) * 3 for name in SHARES if asked[name]}
        figures = replace(
            figures,
            first_year=typed.get("first_year", figures.first_year),
            juvenile=typed.get("juvenile", figures.juvenile),
            adult=typed.get("adult", figures.adult),
            female_years=asked["female_years"] or figures.female_years,
            male_years=asked["male_years"] or figures.male_years,
            typed=frozenset(typed) | {name for name in ("female_years", "male_years") if asked[name]},
        )
        return AheadQuestion(
            kind_id=kind.pk,
            scientific_name=kind.scientific_name,
            figures=figures,
            wanted=asked["wanted"],
            kept=asked["kept"],
            what_if=WhatIf(
                sold_males=asked["sold"] or 0,
                lost_pond=asked["lost"],
                juvenile_more=float(asked["juvenile_more"] or 0) / 100,
                adult_more=float(asked["adult_more"] or 0) / 100,
            ),
            share=float(asked["share"] or DEFAULTS["share"]) / 100,
            temperature_c=asked["temperature"],
        )
