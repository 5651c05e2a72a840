"""The question which moves bring every pond into band, read from the address."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.form_fields import NumberText
from ponds.models import Kind
from ponds.svg_marks import figure_text
from stock.advisor.farm_plan import FEWEST_HEADS, MOST_EGGS
from stock.farm_plan_answer import PlanQuestion
from stock.forms.fields import HeadsField, LineField, OneOfField, cut
from stock.pond_kind import PondKind

EVERY_KIND = "every"
AIMS = (("heads", "fewest heads handled"), ("eggs", "most eggs, five seasons"))
AIM_OF = {"heads": FEWEST_HEADS, "eggs": MOST_EGGS}
SECONDS = (("2", "2 seconds"), ("5", "5 seconds"), ("10", "10 seconds"), ("20", "20 seconds"))
DEFAULTS = {"kind": EVERY_KIND, "aim": "heads", "seconds": "5", "a_head": "5"}
"""Five eggs over five seasons: for any gain, eight times the heads were moved for a third more, on a made farm."""
MOST_BOUGHT = 10_000


class PlanForm(forms.Form):
    """Which kind, what for, what is allowed, which ponds stay as they are, and for how long to look."""

    kind = OneOfField(noun="kind", label="Of which kind", required=False)
    aim = OneOfField(noun="aim", label="Aim for", required=False)
    seconds = OneOfField(
        noun="time",
        label="Look for at most",
        required=False,
        help_text="When time runs out the best plan so far is shown, with how much better any plan could be.",
    )
    sell = forms.BooleanField(label="Males may be sold", required=False)
    bought = HeadsField(
        label="Bought females, at most",
        help_text="How many could be had; none if left empty.",
        most=MOST_BOUGHT,
        too_many=f"{figure_text(MOST_BOUGHT)} females; look at the figure.",
    )
    a_head = NumberText(
        label="A head moved must bring",
        required=False,
        low=0,
        high=1000,
        help_text="Eggs hatched in five seasons, for most eggs: so many are taken off for each head handled. Heads "
        "that a band needs are moved whatever they bring. 0: any gain counts.",
    )
    leave = LineField(
        label="Leave these ponds alone",
        most=400,
        help_text="Their letters, such as C, D. Nothing leaves or joins them.",
    )

    def __init__(
        self, asked: Mapping[str, Any] | None, *, kinds: Sequence[Kind], facts: Sequence[PondKind]
    ) -> None:
        typed = None if asked is None else DEFAULTS | {name: asked[name] for name in asked if asked[name]}
        super().__init__(typed, initial=dict(DEFAULTS))
        here = {one.kind_id for one in facts}
        self.kinds = {kind.code: kind for kind in kinds if kind.pk in here}
        self.ponds = {one.pond_code for one in facts}
        named = [(code, kind.common_name) for code, kind in self.kinds.items()]
        self._offer("kind", [(EVERY_KIND, "Every kind"), *named])
        self._offer("aim", list(AIMS))
        self._offer("seconds", list(SECONDS))

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, OneOfField)  # noqa: S101 (says to the type checker which field it is)
        field.offer(choices)

    @property
    def main_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("kind", "aim", "seconds")]

    @property
    def more_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("sell", "bought", "a_head", "leave")]

    def clean_bought(self) -> int:
        return self.cleaned_data["bought"] or 0

    def clean_leave(self) -> tuple[str, ...]:
        codes = [code.upper() for code in re.split(r"[\s,;]+", self.cleaned_data["leave"]) if code]
        unknown = [code for code in codes if code not in self.ponds]
        if unknown:
            raise ValidationError(
                f"There is no pond {cut(', '.join(unknown), 60)} in use. Write pond letters with commas between, such "
                "as C, D."
            )
        return tuple(sorted(set(codes)))

    def question(self) -> PlanQuestion:
        """Return what a valid form asks."""
        asked = self.cleaned_data
        every = asked["kind"] == EVERY_KIND
        return PlanQuestion(
            kind_ids=tuple(
                sorted(kind.pk for code, kind in self.kinds.items() if every or code == asked["kind"])
            ),
            aim=AIM_OF[asked["aim"]],
            may_sell=asked["sell"],
            bought=asked["bought"],
            leave=asked["leave"],
            a_head=float(asked["a_head"] or 0) if AIM_OF[asked["aim"]] == MOST_EGGS else 0.0,
            seconds=float(asked["seconds"]),
        )

    def parameters(self) -> list[tuple[str, str]]:
        """Return what was typed, name by name, for an address."""
        found = []
        for name in self.fields:
            value = self[name].value()
            if value not in (None, "", False):
                found.append((name, "on" if value is True else str(value)))
        return found
