"""Rows of the Log: what became of the heads of one kind and class, and what came in."""

from __future__ import annotations

from typing import Any

from django import forms

from stock.forms.fields import CLASS_CHOICES, FarmChoices, HeadsField, LineField, OneOfField, class_field
from stock.models import Batch, Cause
from stock.move_words import class_words

MOST_ROWS = 60
GOES = ("back", "moved", "dead", "sold", "culled", "escaped")
MARKS = ("carrying_marks", "newly_marked")
MORE = ("cause", "sold", "culled", "escaped", "sexed_as", *MARKS)


class RowForm(forms.Form):
    """Heads of one kind and class, and where they went. What was caught is their sum."""

    fixed = forms.BooleanField(required=False, widget=forms.HiddenInput)
    kind = OneOfField(noun="kind", label="Kind", blank="Choose…", required=False)
    of_class = class_field(required=False)
    back = HeadsField(label="Went back")
    dead = HeadsField(label="Dead")
    moved = HeadsField(label="Moved")
    target = OneOfField(noun="pond", label="to pond", blank="Choose…", required=False)
    cause = OneOfField(noun="cause", label="Cause of death", required=False, blank="not known")
    sold = HeadsField(label="Sold")
    culled = HeadsField(label="Culled")
    escaped = HeadsField(label="Escaped")
    sexed_as = OneOfField(noun="class", label="Sexed as", required=False, blank="as they are")
    carrying_marks = HeadsField(
        label="Carrying marks", help_text="0 where none did; empty where nobody looked."
    )
    newly_marked = HeadsField(label="Newly marked")

    def __init__(
        self, *args: Any, choices: FarmChoices, book: dict[tuple[str, str], int], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.choices, self.book = choices, book
        self.fields["kind"].offer(choices.kind_choices)
        self.fields["target"].offer(choices.pond_choices)
        self.fields["cause"].offer([choice for choice in Cause.choices if choice[0] != "NOT_KNOWN"])
        self.fields["sexed_as"].offer(CLASS_CHOICES[:3])

    @property
    def typed(self) -> dict[str, Any]:
        return getattr(self, "cleaned_data", {})

    @property
    def is_blank(self) -> bool:
        return all(self.typed.get(name) is None for name in (*GOES, *MARKS)) and not self.errors

    @property
    def heads(self) -> int:
        """All heads of the row: what was caught, or handled."""
        return sum(self.typed.get(name) or 0 for name in GOES)

    @property
    def leaving(self) -> int:
        return self.heads - (self.typed.get("back") or 0)

    @property
    def class_after(self) -> str:
        return self.typed.get("sexed_as") or self.typed.get("of_class", "")

    @property
    def cell(self) -> tuple[str, str]:
        """The kind's code and class as given, also of a row not posted yet."""
        return (str(self["kind"].value() or ""), str(self["of_class"].value() or ""))

    @property
    def name(self) -> str:
        """Return "Slider females", or "" where kind and class are not chosen."""
        kind = self.choices.kind(self.cell[0])
        known = dict(CLASS_CHOICES)
        return f"{kind.common_name} {known[self.cell[1]]}" if kind and self.cell[1] in known else ""

    @property
    def is_prepared(self) -> bool:
        """Whether the row's kind and class stand fast, so that they are shown as its heading."""
        return bool(self["fixed"].value()) and bool(self.name)

    @property
    def by_book(self) -> int:
        return self.book.get(self.cell, 0)

    @property
    def listing(self) -> str:
        kind = self.choices.kind(self.cell[0])
        return kind.listing if kind else ""

    @property
    def shows_more(self) -> bool:
        """Whether the folded part holds something typed or wrong, so that it must stand open."""
        return any(self[name].value() or self[name].errors for name in MORE)

    def is_used(self) -> bool:
        """Whether an own row (not a prepared one) holds something, so that its fold must stand open."""
        return any(self[name].value() for name in self.fields if name != "fixed") or bool(self.errors)

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        numbers = [name for name in (*GOES, *MARKS) if typed.get(name) is not None]
        if not numbers and not self.errors:
            if typed.get("target") or typed.get("sexed_as") or typed.get("cause"):
                self.add_error("back", "Say how many heads, or clear the other choices of this row.")
            return typed
        if not typed.get("kind") and "kind" not in self.errors:
            self.add_error("kind", "Choose the kind.")
        if not typed.get("of_class") and "of_class" not in self.errors:
            self.add_error("of_class", "Choose females, males, unsexed or juveniles.")
        if typed.get("moved") and not typed.get("target") and "target" not in self.errors:
            self.add_error("target", f"Say which pond the {typed['moved']} went to.")
        if typed.get("target") and not typed.get("moved") and "moved" not in self.errors:
            self.add_error("moved", f"Say how many went to pond {typed['target']}, or clear the pond.")
        if typed.get("cause") and not typed.get("dead") and "dead" not in self.errors:
            self.add_error("dead", "A cause of death is chosen: say how many were dead.")
        self._check_sexing(typed)
        marked = sum(typed.get(name) or 0 for name in MARKS)
        if marked > self.heads and not self.errors:
            self.add_error(
                "carrying_marks",
                f"{marked} marked, but {self.heads} caught in this row. Mend the marks, or what went where.",
            )
        return typed

    def _check_sexing(self, typed: dict[str, Any]) -> None:
        now, was = typed.get("sexed_as"), typed.get("of_class")
        if not now or not was or "sexed_as" in self.errors:
            return
        allowed = {"UNSEXED": ("FEMALE", "MALE"), "JUVENILE": ("FEMALE", "MALE", "UNSEXED")}.get(was, ())
        if now not in allowed:
            self.add_error(
                "sexed_as",
                f"{class_words(was, 2).capitalize()} are not sexed as {class_words(now, 2)}. "
                "Unsexed become females or males; juveniles mature.",
            )


class ArrivalRowForm(forms.Form):
    """Heads of one kind and class that came in."""

    kind = OneOfField(noun="kind", label="Kind", blank="Choose…", required=False)
    of_class = class_field(required=False)
    heads = HeadsField(label="Heads", least=1)

    def __init__(self, *args: Any, choices: FarmChoices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choices = choices
        self.fields["kind"].offer(choices.kind_choices)

    @property
    def is_blank(self) -> bool:
        return getattr(self, "cleaned_data", {}).get("heads") is None and not self.errors

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if "heads" in self.errors or not any(typed.get(name) for name in ("kind", "of_class", "heads")):
            return typed
        for name, sentence in (
            ("kind", "Choose the kind that came in."),
            ("of_class", "Choose females, males, unsexed or juveniles."),
            ("heads", "Say how many came in, or clear the row."),
        ):
            if not typed.get(name) and name not in self.errors:
                self.add_error(name, sentence)
        return typed


class BatchForm(forms.Form):
    """What came in as one batch: where from, and its papers."""

    source = OneOfField(noun="origin", label="Where from", required=False, blank="Choose…")
    code = LineField(most=24, label="Batch code", help_text="Proposed; change it if the farm has its own.")
    party = LineField(most=120, label="Seller, or the place")
    generation = OneOfField(noun="generation", label="Generation", required=False)
    licence = LineField(most=60, label="Their licence number")
    document = LineField(most=120, label="Document and number")
    note = LineField(most=300, label="Note on the batch")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["source"].offer(
            [("BOUGHT", "bought"), ("RAISED", "raised here"), ("WILD", "from the wild")]
        )
        self.fields["generation"].offer(list(Batch.Generation.choices))


class SaleForm(forms.Form):
    """The papers of what went out: sold heads above all."""

    party = LineField(most=120, label="Buyer")
    licence = LineField(most=60, label="Buyer's licence number")
    document = LineField(most=120, label="Document and number")
    purpose = LineField(most=120, label="Purpose")
    disposal = LineField(most=120, label="Means of disposal", help_text="For heads culled.")


RowSet = forms.formset_factory(
    RowForm, extra=0, max_num=MOST_ROWS, absolute_max=MOST_ROWS + 40, validate_max=True
)
ArrivalSet = forms.formset_factory(
    ArrivalRowForm, extra=0, max_num=MOST_ROWS, absolute_max=MOST_ROWS + 40, validate_max=True
)
