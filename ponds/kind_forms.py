"""The form of a kind: its names, target, band and listing, and its seven figures each with a source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds import figures
from ponds.cell_values import Code
from ponds.form_fields import CountField, NoteField, NumberText, offer
from ponds.kinds import KindDraft, TypedFigure
from ponds.models import Kind, KindFigure

PARTS = ("low", "expected", "high")
RATIO_FIELDS = ("target", "band_low", "band_high", "space_a_head")


@dataclass(frozen=True)
class FigureGroup:
    """The controls of one figure: three numbers, the unit where there is a choice, the source."""

    title: str
    unit_words: str
    fields: list[forms.BoundField]
    source: forms.BoundField


class KindForm(forms.Form):
    """A kind. Every figure is kept as it is typed."""

    code = forms.CharField(
        max_length=40,
        help_text="Names the kind in sheets, such as river-cooter. It never changes.",
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off"}),
        error_messages={"required": "Write a code, such as river-cooter."},
    )
    common_name = NoteField(
        longest=80, label="Common name", required=True, ask="Write what the kind is called."
    )
    scientific_name = NoteField(longest=120, label="Scientific name")
    marginals_a_side = CountField(
        label="Marginal scutes a side",
        required=False,
        min_value=1,
        max_value=14,
        help_text="12 for most; 11 for mud and musk turtles; empty for softshells.",
    )
    target = NumberText(low=0.1, high=100, label="Target, females per male", initial="3")
    band_low = NumberText(low=0.1, high=100, label="Band from", initial="2.5")
    band_high = NumberText(low=0.1, high=100, label="Band to", initial="4.5")
    space_a_head = NumberText(
        low=0.01,
        high=100,
        label="Space a head",
        initial="1",
        help_text="How much of a pond's head limit one adult takes; 1 for a slider.",
    )
    listing = NoteField(longest=120, label="Listing", help_text="Protection that asks for papers.")
    listing_source = NoteField(longest=200, label="Where that is written")
    not_with = forms.MultipleChoiceField(
        label="Not kept together with", required=False, widget=forms.CheckboxSelectMultiple
    )
    note = NoteField(longest=4000, lines=4, label="Note")

    def __init__(self, *args: Any, kind: Kind | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.kind = kind
        others = Kind.objects.order_by("name_key")
        if kind is not None:
            del self.fields["code"]
            others = others.exclude(pk=kind.pk)
        offer(self, "not_with", list(others.values_list("code", "common_name")))
        self._plain = list(self.fields)
        for name in KindFigure.Name.values:
            self._add_figure(name)

    def _add_figure(self, name: str) -> None:
        for part, label in zip(PARTS, ("Low (5 % point)", "Expected", "High (95 % point)"), strict=True):
            self.fields[f"{name}_{part}"] = NumberText(label=label, max_length=20)
        choices = figures.units_of(name)
        if len(choices) > 1:
            self.fields[f"{name}_unit"] = forms.ChoiceField(label="Given in", choices=choices)
        self.fields[f"{name}_source"] = NoteField(
            longest=300,
            lines=2,
            label="Source",
            required=True,
            ask="Name the paper, your own records, or write: assumption.",
        )

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self._plain]

    @property
    def figure_groups(self) -> list[FigureGroup]:
        groups = []
        for name in KindFigure.Name:
            choices = figures.units_of(name)
            names = [f"{name}_{part}" for part in (*PARTS, "unit")]
            groups.append(
                FigureGroup(
                    title=str(name.label),
                    unit_words="" if len(choices) > 1 else choices[0][1],
                    fields=[self[field] for field in names if field in self.fields],
                    source=self[f"{name}_source"],
                )
            )
        return groups

    def clean_code(self) -> str:
        try:
            code = Code()(self.cleaned_data["code"].strip())
        except ValueError as refused:
            raise ValidationError(str(refused)) from None
        if taken := Kind.objects.filter(code=code).first():
            raise ValidationError(f"{code} is the code of {taken.common_name} already. Choose another.")
        return code

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        low, target, high = (cleaned.get(name) for name in ("band_low", "target", "band_high"))
        if low and target and high and not float(low) <= float(target) <= float(high):
            self.add_error("target", f"The target {target} does not lie in the band from {low} to {high}.")
        for name in KindFigure.Name.values:
            self._clean_figure(name, cleaned)
        return cleaned

    def _clean_figure(self, name: str, cleaned: dict[str, Any]) -> None:
        unit = cleaned.get(f"{name}_unit", figures.PLAIN)
        sound = True
        for part in PARTS:
            text = cleaned.get(f"{name}_{part}")
            if not text:
                sound = False
                continue
            try:
                figures.read_figure(name, text, unit)
            except ValueError as refused:
                self.add_error(f"{name}_{part}", str(refused))
                sound = False
        if not sound:
            return
        try:
            low, expected, high = (cleaned[f"{name}_{part}"] for part in PARTS)
            figures.read_range(name, low, expected, high, unit)
        except ValueError as refused:
            self.add_error(f"{name}_expected", str(refused))

    def draft(self) -> KindDraft:
        """Return the kind as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        fields = {
            name: cleaned[name]
            for name in (
                "common_name",
                "scientific_name",
                "marginals_a_side",
                "listing",
                "listing_source",
                "note",
            )
        }
        fields |= {name: float(cleaned[name]) for name in RATIO_FIELDS}
        typed = {
            name: TypedFigure(
                low=cleaned[f"{name}_low"],
                expected=cleaned[f"{name}_expected"],
                high=cleaned[f"{name}_high"],
                unit=cleaned.get(f"{name}_unit", figures.PLAIN),
                source=cleaned[f"{name}_source"],
            )
            for name in KindFigure.Name.values
        }
        code = self.kind.code if self.kind else cleaned["code"]
        return KindDraft(code, fields, typed, tuple(cleaned["not_with"]))


def kind_initial(kind: Kind) -> dict[str, Any]:
    """Return what a kind's form shows first: every figure as it was typed."""
    initial = {
        name: getattr(kind, name)
        for name in (
            "common_name",
            "scientific_name",
            "marginals_a_side",
            "listing",
            "listing_source",
            "note",
        )
    }
    initial |= {name: f"{getattr(kind, name):g}" for name in RATIO_FIELDS}
    initial["not_with"] = [other.code for other in kind.not_with.all()]
    for figure in kind.figures.all():
        initial |= {f"{figure.name}_{part}": getattr(figure, f"{part}_typed") for part in PARTS}
        initial[f"{figure.name}_unit"] = figure.unit_typed
        initial[f"{figure.name}_source"] = figure.source
    return initial
