"""What is typed on the Turtles page and its own pages: a rim half read, a new turtle, a scheme confirmed."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from stock.drafts import PutOn, SexDraft
from stock.forms.fields import CLASS_CHOICES, FarmChoices, KeyField, LineField, OneOfField, new_key
from stock.forms.turtle_marks import MarkForm
from stock.marks.notch import LETTER_SCHEME, SCHEMES
from stock.marks.sexes import METHODS
from stock.turtle_search import typed_scutes

SEX_OF_CLASS = {"FEMALE": "FEMALE", "MALE": "MALE"}


class HalfReadForm(forms.Form):
    """A rim of which some notches are clear and some are in doubt."""

    rim = forms.ChoiceField(
        label="Scheme", required=False, choices=[(key, one.title) for key, one in SCHEMES.items()]
    )
    clear = LineField(
        label="Notches that are clear", most=60, help_text="Letters or positions: B K, or R2 R11."
    )
    faint = LineField(label="Scutes in doubt", most=60, help_text="Faint, broken or missing: O, or L10.")

    @property
    def scheme(self):
        return SCHEMES.get(self.cleaned_data.get("rim") or "", LETTER_SCHEME)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name in ("clear", "faint"):
            try:
                cleaned[f"{name}_scutes"] = typed_scutes(cleaned.get(name) or "", self.scheme)
            except ValueError as error:
                self.add_error(name, str(error))
        return cleaned


class NewTurtleForm(MarkForm):
    """A head that stands in a pond already, and the mark put on it."""

    pond = OneOfField(noun="pond", label="Pond", blank="Choose…")
    kind = OneOfField(noun="kind", label="Kind", blank="Choose…")
    of_class = OneOfField(noun="class", label="Class", blank="Choose…")
    # Nothing is chosen beforehand: how it was told is a fact about this animal.
    method = OneOfField(noun="method", label="How its sex was told", blank="not said", required=False)
    batch = LineField(label="Batch it came with, if known", most=24)

    field_order = ("key", "pond", "kind", "of_class", "method", "day", "form")

    def __init__(self, *args: Any, choices: FarmChoices, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {})
        kwargs["initial"] = {"key": new_key(), "day": today, **kwargs["initial"]}
        super().__init__(*args, **kwargs)
        self.fields["pond"].offer(choices.pond_choices)
        self.fields["kind"].offer(choices.kind_choices)
        self.fields["of_class"].offer(CLASS_CHOICES)
        self.fields["method"].offer(list(METHODS.items()))
        self.order_fields(self.field_order)

    @property
    def sex(self) -> SexDraft | None:
        """The sex that follows from the class; None for unsexed heads and juveniles."""
        sex = SEX_OF_CLASS.get(self.cleaned_data["of_class"])
        return SexDraft(sex, self.cleaned_data.get("method") or "NOT_KNOWN") if sex else None

    @property
    def put_on(self) -> tuple[PutOn, ...]:
        put_on = self.cleaned_data.get("put_on")
        return (put_on,) if put_on is not None else ()


class ConfirmSchemeForm(forms.Form):
    """A scheme held against its printed figure."""

    key = KeyField()
    against = LineField(
        label="The printed figure it was held against: author, year, page", most=200, required=True
    )
    is_same = forms.BooleanField(
        label="Every scute in the drawing carries the same letter or number as in the figure",
        error_messages={
            "required": "Tick this once you have compared every scute; else do not use the scheme."
        },
    )
