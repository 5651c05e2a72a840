"""Forms of surveys: what belongs to one, a count accepted from it, a count taken back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from ponds.models import Kind
from stock.forms.fields import HeadsField, KeyField, LineField, OneOfField
from stock.models import Haul, Survey
from stock.survey_book import SurveyDraft

CLASS_WORDS = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}
MARKABLE = ("FEMALE", "MALE", "UNSEXED")
CHECKED = ("marks_both", "marks_first_only", "marks_second_only")


class SurveyForm(forms.Form):
    """Which hauls are read together, and what is known about marks."""

    key = KeyField()
    as_read = forms.CharField(required=False, widget=forms.HiddenInput)
    hauls = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        label="Hauls that are read together",
        error_messages={
            "required": "Tick at least one haul: a survey is read from hauls.",
            "invalid_choice": "One of the hauls ticked is not free any more: tick again below.",
        },
    )
    marks_both = HeadsField(label="Both marks still there")
    marks_first_only = HeadsField(label="Only the first mark there")
    marks_second_only = HeadsField(label="Only the second mark there")
    note = LineField(most=300, label="Note")

    def __init__(self, *args: Any, hauls: Sequence[Haul], kinds: Sequence[Kind], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["hauls"].choices = [(str(haul.pk), haul_words(haul)) for haul in hauls]
        self.kinds = kinds
        for kind in kinds:
            for of_class in MARKABLE:
                self.fields[marked_name(kind, of_class)] = HeadsField(
                    label=f"{kind.common_name} {CLASS_WORDS[of_class]}"
                )

    @property
    def marked_fields(self) -> list[forms.BoundField]:
        return [self[marked_name(kind, of_class)] for kind in self.kinds for of_class in MARKABLE]

    @property
    def checked_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in CHECKED]

    @property
    def marks_open(self) -> bool:
        """Whether something of the marks is typed or wrong, so that their fold must stand open."""
        return any(
            one.value() not in (None, "") or one.errors for one in (*self.marked_fields, *self.checked_fields)
        )

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        known = [name for name in CHECKED if typed.get(name) is not None]
        if known and not any(name in self.errors for name in CHECKED):
            for name in CHECKED:
                if typed.get(name) is None:
                    self.add_error(
                        name, "Give all three figures, 0 where there was none; or leave all three empty."
                    )
        return typed

    def draft(self) -> SurveyDraft:
        """Return what a valid form says."""
        typed = self.cleaned_data
        checked = tuple(typed[name] for name in CHECKED)
        return SurveyDraft(
            hauls=tuple(sorted(int(pk) for pk in typed["hauls"])),
            note=typed["note"],
            marked_before={
                (kind.code, of_class): typed[marked_name(kind, of_class)]
                for kind in self.kinds
                for of_class in MARKABLE
                if typed[marked_name(kind, of_class)]
            },
            marks_checked=None if checked[0] is None else checked,  # type: ignore[arg-type]
        )


class AcceptForm(forms.Form):
    """How a survey is read for a count, and whether the book follows it."""

    key = KeyField()
    as_read = forms.CharField(required=False, widget=forms.HiddenInput)
    method = OneOfField(noun="method", label="Accept by")
    method_reason = LineField(most=300, label="Why another method than the first one")
    resets_book = forms.BooleanField(required=False, label="Reset the book to this count")
    reason = LineField(most=300, label="Why the book is reset")

    def __init__(
        self,
        *args: Any,
        methods: Sequence[tuple[str, str]],
        drained: frozenset[str] = frozenset(),
        orders: Sequence[tuple[str, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.methods, self.drained = methods, drained
        if orders:
            order = OneOfField(noun="order", label="Were they before or after the haul?")
            order.widget = forms.RadioSelect()
            order.offer(list(orders))
            order.error_messages["required"] = "Say whether they came and went before or after the haul."
            self.fields["day_order"] = order
        self.fields["method"].widget = forms.RadioSelect()
        self.fields["method"].offer(list(methods))
        self.fields["method"].error_messages["required"] = "Choose by which method the count is accepted."

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        method = typed.get("method")
        if (
            method
            and self.methods
            and method != self.methods[0][0]
            and not typed.get("method_reason", "").strip()
        ):
            self._say(
                "method_reason",
                "Another method than the first needs a reason, written before its answer is liked: say why, "
                "or accept by the first.",
            )
        if typed.get("resets_book") and method not in self.drained and not typed.get("reason", "").strip():
            self._say(
                "reason",
                "Only a complete drain-down resets the book by itself. Give the reason for resetting it to an "
                "estimate, or untick it: the count then stands beside the book.",
            )
        return typed

    def _say(self, name: str, sentence: str) -> None:
        if name not in self.errors:
            self.add_error(name, sentence)


class TakeBackForm(forms.Form):
    """Why a count is taken back."""

    key = KeyField()
    reason = LineField(most=300, label="Why is it taken back?", required=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].error_messages["required"] = (
            "Say in a few words why the count is taken back; the reason stays beside it."
        )


def marked_name(kind: Kind, of_class: str) -> str:
    return f"marked-{kind.code}-{of_class}"


def haul_words(haul: Haul) -> str:
    """Return "4 Mar 2026, seine: 45 caught, 3 carrying marks, held out"."""
    lines = list(haul.lines.all())
    said = [f"{sum(line.caught for line in lines)} caught"]
    for name, words in (("carrying_marks", "carrying marks"), ("newly_marked", "newly marked")):
        if heads := sum(getattr(line, name) or 0 for line in lines):
            said.append(f"{heads} {words}")
    said += ["held out"] if haul.is_held_out else []
    said += ["drained to the last head"] if haul.is_complete else []
    return f"{haul.happened_on.day} {haul.happened_on:%b %Y}, {haul.get_method_display()}: {', '.join(said)}"


def start_of(survey: Survey, members: Sequence[Haul], rows: Mapping[tuple[str, str], int]) -> dict[str, Any]:
    """Return the starting values of the form of a survey as it is."""
    start: dict[str, Any] = {name: getattr(survey, name) for name in CHECKED}
    start.update(note=survey.note, hauls=[str(haul.pk) for haul in members])
    start.update({f"marked-{kind}-{of_class}": heads for (kind, of_class), heads in rows.items()})
    return start


def renew_key(form) -> None:
    """Give a form that lost its key a new one, so that it can be sent again."""
    if form.is_bound and "key" in form.errors:
        give_new_key(form)


def give_new_key(form) -> None:
    give(form, key=str(uuid.uuid4()))


def give(form, **hidden: str) -> None:
    """Put values in the hidden fields of a form that is shown again."""
    form.data = form.data.copy()
    for name, value in hidden.items():
        form.data[name] = value
