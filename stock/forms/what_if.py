"""The moves that are tried on a pond, read from the address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from ponds.svg_marks import figure_text
from stock.forms.fields import HeadsField, OneOfField
from stock.pond_kind import PondKind
from stock.what_if_answer import OUTSIDE, TriedMove, WhatIfQuestion

ROWS = (
    ("females_in", "females_from", "FEMALE", True),
    ("females_out", "females_to", "FEMALE", False),
    ("males_in", "males_from", "MALE", True),
    ("males_out", "males_to", "MALE", False),
)


class WhatIfForm(forms.Form):
    """Heads in and out by sex, and the pond at the other end; of one kind."""

    kind = OneOfField(noun="kind", label="Of which kind", required=False)
    females_in = HeadsField(label="Females in")
    females_from = OneOfField(noun="pond", label="From", blank="bought", required=False)
    females_out = HeadsField(label="Females out")
    females_to = OneOfField(noun="pond", label="To", blank="sold", required=False)
    males_in = HeadsField(label="Males in")
    males_from = OneOfField(noun="pond", label="From", blank="bought", required=False)
    males_out = HeadsField(label="Males out")
    males_to = OneOfField(noun="pond", label="To", blank="sold", required=False)

    def __init__(self, asked: Mapping[str, Any] | None, *, pond: str, facts: Sequence[PondKind]) -> None:
        here = [one for one in facts if one.pond_code == pond]
        # The kind most of which stands here is meant unless another is named.
        self.first = max(here, key=lambda one: one.heads.total, default=None)
        typed = (
            None
            if asked is None
            else {"kind": self.first.kind_code if self.first else ""}
            | {name: asked[name] for name in self.base_fields if asked.get(name)}
        )
        super().__init__(typed, initial={"kind": self.first.kind_code if self.first else ""})
        self.pond, self.facts = pond, facts
        self.kinds = {one.kind_code: one for one in here}
        self._offer("kind", [(code, one.kind_name) for code, one in self.kinds.items()])
        others = dict.fromkeys(one.pond_code for one in facts if one.pond_code != pond)
        for _, end, _, _ in ROWS:
            self._offer(end, [(code, f"pond {code}") for code in others])

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, OneOfField)  # noqa: S101 (says to the type checker which field it is)
        field.offer(choices)

    @property
    def has_kinds(self) -> bool:
        return len(self.kinds) > 1

    @property
    def rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Heads and the other end, row by row."""
        return [(self[heads], self[end]) for heads, end, _, _ in ROWS]

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if self.errors:
            return typed
        one = self.kinds.get(typed["kind"])
        if one is None:
            raise forms.ValidationError(
                "No kind stands in this pond and none is kept for it: nothing to try."
            )
        of_kind = {other.pond_code: other for other in self.facts if other.kind_id == one.kind_id}
        for heads, end, _, _ in ROWS:
            if typed[heads] and typed[end] and typed[end] not in of_kind:
                self.add_error(
                    end,
                    f"Pond {typed[end]} neither holds {one.kind_name} nor is kept for it. Choose another, or allow the "
                    "kind there under Settings.",
                )
        if self.errors:
            return typed
        question = self.question()
        for heads, end, of_class, is_in in ROWS:
            source = typed[end] if is_in else self.pond
            if not typed[heads] or source == OUTSIDE:
                continue
            stands = of_kind[source]
            held = stands.females_now if of_class == "FEMALE" else stands.males_now
            leaves = question.change(source, of_class)[1]
            if leaves > held:
                noun = "females" if of_class == "FEMALE" else "males"
                self.add_error(
                    heads,
                    f"{figure_text(leaves)} {noun} would leave pond {source}, which holds {figure_text(held)} "
                    f"by {stands.whose}. "
                    f"Give {figure_text(held)} or fewer.",
                )
        return typed

    def question(self) -> WhatIfQuestion:
        """Return what a valid form asks."""
        typed = self.cleaned_data
        return WhatIfQuestion(
            pond=self.pond,
            kind_id=self.kinds[typed["kind"]].kind_id,
            moves=tuple(
                TriedMove(of_class, is_in, typed[heads], typed[end])
                for heads, end, of_class, is_in in ROWS
                if typed[heads]
            ),
        )

    def parameters(self) -> list[tuple[str, str]]:
        """Return what was typed, name by name, for an address or a form that posts it."""
        return [(name, str(value)) for name in self.fields if (value := self[name].value())]
