"""The question before anybody goes into the water: how many to catch, mark or sex, or how many passes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from ponds.form_fields import NumberText
from ponds.models import Kind, Pond
from stock.forms.fields import HeadsField, OneOfField

MARKS, PASSES, SEXING = "marks", "passes", "sexing"
METHODS = [
    (MARKS, "mark and catch again: two hauls"),
    (PASSES, "hold out: several passes"),
    (SEXING, "sex a sample: the ratio only"),
]
DEFAULTS = {"method": MARKS, "within": "25", "chance": "30", "ratio": "3"}
SEXING_WITHIN = "10"


class PlannerForm(forms.Form):
    """What is planned, of which pond, and how well it should be known."""

    method = OneOfField(noun="method", label="How will it be counted?")
    pond = OneOfField(noun="pond", label="Pond", blank="none in particular", required=False)
    kind = OneOfField(noun="kind", label="Kind", blank="all its adults", required=False)
    expected = HeadsField(label="Adults expected", least=0, required=True)
    within = NumberText(
        label="Wanted: plus or minus, %",
        low=0.1,
        high=100,
        help_text="Of the heads; for sexing, points of a hundred of the share of females.",
    )
    marked = HeadsField(label="Carrying marks already", help_text="For mark and catch again.")
    chance = NumberText(
        label="Caught in one pass, %", low=0.1, high=99.9, help_text="Of those in the pond. For passes."
    )
    ratio = NumberText(label="Females per male expected", low=0, high=1000, help_text="For sexing.")

    def __init__(
        self, asked: Mapping[str, Any] | None, *, ponds: Sequence[Pond], kinds: Sequence[Kind]
    ) -> None:
        given = (
            None if asked is None else {**DEFAULTS, **{name: asked[name] for name in asked if asked[name]}}
        )
        if given is not None and asked is not None and given["method"] == SEXING and not asked.get("within"):
            given["within"] = SEXING_WITHIN
        super().__init__(given, initial=dict(DEFAULTS))
        self.fields["method"].widget = forms.RadioSelect()
        self.fields["method"].offer(METHODS)
        self.fields["pond"].offer(
            [(pond.code, f"{pond.code} · {pond.name}" if pond.name else pond.code) for pond in ponds]
        )
        self.fields["kind"].offer([(kind.code, kind.common_name) for kind in kinds])
        self.fields["expected"].error_messages["required"] = (
            "Say how many adults you expect in the pond: a guess will do, the plan shows what it hangs on."
        )

    @property
    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("method", "pond", "kind", "expected", "within")]

    @property
    def own_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("marked", "chance", "ratio")]
