"""The question where new females go, and a placing by hand, read from the address or from a post."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.form_fields import NumberText
from ponds.models import Kind
from ponds.svg_marks import figure_text
from stock.forms.fields import HeadsField, OneOfField, cut
from stock.placing_answer import Curves, Question
from stock.pond_kind import PondKind

MOST_FEMALES = 10_000
MOST_SEASONS = 15
DEFAULTS = {"seasons": "5", "full_to": "5", "exponent": "1", "in_doubt": "yes", "within": "1"}
BY_HAND = "pond-"


class QuestionForm(forms.Form):
    """How many females, of which kind, from where, how far ahead; and the small assumed settings."""

    heads = HeadsField(
        label="How many females",
        least=1,
        most=MOST_FEMALES,
        too_many=f"{figure_text(MOST_FEMALES)}, the most that can be placed at once. Look at the figure, or "
        f"place them in parts.",
        required=True,
    )
    kind = OneOfField(noun="kind", label="Of which kind", blank="Choose…")
    source = OneOfField(
        noun="pond",
        label="They stand in",
        required=False,
        blank="Not here yet: bought or raised",
    )
    seasons = HeadsField(label="Seasons to look ahead", least=1, required=True)
    full_to = NumberText(
        label="Full fertility up to",
        low=1,
        high=50,
        help_text="Females to a male. An assumption: no curve is published for pond turtles.",
    )
    exponent = NumberText(
        label="How steeply it falls beyond",
        low=0,
        high=5,
        help_text="1: twice the females to a male, half the fertile eggs each. 0: it never falls. An assumption.",
    )
    in_doubt = OneOfField(
        noun="choice",
        label="Doubt about where it ends",
        help_text="Drawn: it may end two fifths sooner or three fifths later. Not drawn: as if it were known.",
    )
    within = NumberText(
        label="As good means within, %",
        low=0,
        high=20,
        help_text="For how often the advice holds: how far below the best a placing may lie.",
    )

    def __init__(
        self, asked: Mapping[str, Any] | None, *, kinds: Sequence[Kind], facts: Sequence[PondKind]
    ) -> None:
        typed = (
            None if asked is None else {**DEFAULTS, **{name: asked[name] for name in asked if asked[name]}}
        )
        super().__init__(typed, initial=dict(DEFAULTS))
        self.kinds = {kind.code: kind for kind in kinds}
        here = {one.kind_id for one in facts}
        kept = [(kind.code, kind.common_name) for kind in kinds if kind.pk in here]
        others = [(kind.code, kind.common_name) for kind in kinds if kind.pk not in here]
        ask = (
            f"Say how many females there are to place: a whole number from 1 to {figure_text(MOST_FEMALES)}."
        )
        self.fields["heads"].error_messages["required"] = ask
        choices: list[Any] = [*kept, *([("No pond is kept for these", others)] if others else [])]
        field("kind", self).offer(choices)
        if len(kept) == 1:
            self.initial["kind"] = kept[0][0]
        field("in_doubt", self).offer([("yes", "drawn with the rest"), ("no", "not drawn")])
        ponds = {one.pond_code: one for one in facts}
        field("source", self).offer([(code, _place_words(one)) for code, one in ponds.items()])
        self.here = here

    @property
    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("heads", "kind", "source", "seasons")]

    @property
    def small_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("full_to", "exponent", "in_doubt", "within")]

    @property
    def small_print_is_changed(self) -> bool:
        """Whether the folded settings need to be seen: changed, or wrong."""
        return any(
            one.errors or (one.value() or DEFAULTS[one.name]) != DEFAULTS[one.name]
            for one in self.small_fields
        )

    def clean_seasons(self) -> int:
        seasons = self.cleaned_data["seasons"]
        if seasons > MOST_SEASONS:
            raise ValidationError(f"{seasons} is more than {MOST_SEASONS}; nobody can look that far ahead.")
        return seasons

    def clean_kind(self) -> Kind:
        kind = self.kinds[self.cleaned_data["kind"]]
        if kind.pk not in self.here:
            raise ValidationError(
                f"No pond is kept for {kind.common_name} and none stands in any. Allow the kind in a pond first, "
                "on that pond's page under Settings."
            )
        return kind

    def question(self) -> Question:
        """Return what a valid form asks."""
        asked = self.cleaned_data
        return Question(
            kind_id=asked["kind"].pk,
            heads=asked["heads"],
            seasons=asked["seasons"],
            source=asked["source"],
            curves=Curves(
                float(asked["full_to"]),
                float(asked["exponent"]),
                float(asked["within"]) / 100,
                in_doubt=asked["in_doubt"] == "yes",
            ),
        )

    def parameters(self) -> list[tuple[str, str]]:
        """Return what was typed, name by name, for an address or hidden controls."""
        return [(name, str(value)) for name in self.fields if (value := self[name].value()) not in (None, "")]


def field(name: str, form: forms.Form) -> OneOfField:
    return form.fields[name]  # type: ignore[return-value]


def _place_words(one: PondKind) -> str:
    name = f"Pond {one.pond_code}{f' · {one.pond_name}' if one.pond_name else ''}"
    if one.use.in_quarantine:
        ends = f" to {one.use.ends_on.day} {one.use.ends_on:%b %Y}" if one.use.ends_on else ""
        return f"{name} (quarantine{ends})"
    return name


@dataclass(frozen=True)
class Typed:
    """Heads typed for one pond: the text as it came, the number (None where it is none), and what is wrong."""

    text: str
    heads: int | None
    sentence: str = ""


def read_by_hand(asked: Mapping[str, Any]) -> dict[str, Typed]:
    """Return pond code -> what was typed for it, for every control of a placing by hand; empty where there is none."""
    found = {}
    reader = HeadsField(
        most=MOST_FEMALES,
        too_many=f"{figure_text(MOST_FEMALES)}, the most that can be placed at once. Look at the figure.",
    )
    for name in asked:
        if not name.startswith(BY_HAND) or len(name) > len(BY_HAND) + 3:
            continue
        text, code = str(asked[name]).strip(), name.removeprefix(BY_HAND)
        try:
            found[code] = Typed(text, reader.clean(text) or 0)
        except ValidationError as error:
            found[code] = Typed(cut(text, 60), None, f"Pond {code}: {' '.join(error.messages)}")
    return found
