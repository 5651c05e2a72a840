"""Fields whose every refusal is a sentence: what is wrong, what was expected."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.models import Kind, Pond
from ponds.svg_marks import figure_text
from stock.drafts import MOST_HEADS
from stock.models import HeadClass

CLASS_CHOICES = [("FEMALE", "females"), ("MALE", "males"), ("UNSEXED", "unsexed"), ("JUVENILE", "juveniles")]
# What Unicode and keyboards offer for a minus, and the spaces people part thousands with.
MINUS = "-−–"
SPACES = re.compile(r"[\s\u202f\u00a0]+")
# Heads are whole, so a comma before each three figures can only part thousands; a point may be a decimal one.
THOUSANDS = re.compile(r"[1-9]\d{0,2}(,\d{3})+\Z", re.ASCII)


@dataclass(frozen=True)
class FarmChoices:
    """What the forms offer: ponds not retired and all kinds, read once a request."""

    ponds: tuple[Pond, ...]
    kinds: tuple[Kind, ...]

    @property
    def pond_choices(self) -> list[tuple[str, str]]:
        return [(pond.code, f"{pond.code} · {pond.name}" if pond.name else pond.code) for pond in self.ponds]

    @property
    def kind_choices(self) -> list[tuple[str, str]]:
        return [(kind.code, kind.common_name) for kind in self.kinds]

    def pond(self, code: str) -> Pond | None:
        return next((pond for pond in self.ponds if pond.code == code), None)

    def kind(self, code: str) -> Kind | None:
        return next((kind for kind in self.kinds if kind.code == code), None)


def farm_choices() -> FarmChoices:
    """Read the ponds in letter order and the kinds by name: two queries."""
    return FarmChoices(
        ponds=tuple(Pond.objects.not_retired().in_letter_order()),
        kinds=tuple(Kind.objects.order_by("common_name")),
    )


def cut(text: str, most: int = 30) -> str:
    """Shorten what was typed for quoting it.

    >>> cut("abc"), cut("x" * 50)
    ('abc', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…')
    """
    return text if len(text) <= most else f"{text[:most]}…"


class HeadsField(forms.Field):
    """A whole number of heads, None where nothing is typed; ``too_many`` says what holds no more than ``most``."""

    widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})

    def __init__(
        self,
        *,
        least: int = 0,
        most: int = MOST_HEADS,
        too_many: str = f"the {figure_text(MOST_HEADS)} heads one line can hold.",
        required: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(required=required, **kwargs)
        self.least, self.most, self.too_many = least, most, too_many
        self.error_messages["required"] = f"Give a whole number from {least} to {figure_text(most)}."

    def to_python(self, value: Any) -> int | None:
        typed = SPACES.sub("", str(value or ""))
        if not typed:
            return None
        if THOUSANDS.match(typed):
            typed = typed.replace(",", "")
        if typed[0] in MINUS and typed[1:].isdecimal():
            raise ValidationError(f"{cut(typed)} is below 0. Give a whole number from {self.least} up.")
        if not (typed.isascii() and typed.isdecimal()):
            raise ValidationError(f"“{cut(str(value).strip())}” is not a whole number. Write one such as 12.")
        if len(typed) > 9 or int(typed) > self.most:
            raise ValidationError(f"{cut(typed)} is more than {self.too_many}")
        if int(typed) < self.least:
            raise ValidationError(f"{typed} is too few. Give a whole number from {self.least} up.")
        return int(typed)


class DayField(forms.DateField):
    """A day, typed as year-month-day or chosen."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%d"], **kwargs)
        self.error_messages["required"] = "Give the day, such as 2026-07-31."

    def to_python(self, value: Any) -> dt.date | None:
        try:
            return super().to_python(value)
        except ValidationError:
            raise ValidationError(
                f"“{cut(str(value))}” is not a day. Write year, month and day, such as 2026-07-31."
            ) from None


class OneOfField(forms.ChoiceField):
    """A choice; what is not among them is quoted back."""

    def __init__(self, *, noun: str, blank: str | None = None, **kwargs: Any) -> None:
        self.noun = noun
        self.blank = blank
        # What is known and not on offer here: why not, by its value.
        self.not_offered: dict[str, str] = {}
        super().__init__(**kwargs)
        self.error_messages["required"] = f"Choose the {noun}."

    def offer(self, choices: list[tuple[str, str]]) -> None:
        """Set the choices, the blank one first where there is one."""
        self.choices = choices if self.blank is None else [("", self.blank), *choices]

    def validate(self, value: Any) -> None:
        forms.Field.validate(self, value)
        if value and not self.valid_value(value):
            if why_not := self.not_offered.get(str(value)):
                raise ValidationError(f"{why_not} Choose one from the list.")
            raise ValidationError(f"There is no {self.noun} “{cut(str(value))}”. Choose one from the list.")


class LineField(forms.CharField):
    """One line of text with a limit that is said in words, not cut by the browser."""

    def __init__(self, *, most: int, **kwargs: Any) -> None:
        super().__init__(required=kwargs.pop("required", False), **kwargs)
        self.most = most

    def validate(self, value: str) -> None:
        super().validate(value)
        if len(value) > self.most:
            raise ValidationError(
                f"This has {figure_text(len(value))} characters; at most {figure_text(self.most)} fit. "
                f"Shorten it, and post again."
            )


class KeyField(forms.UUIDField):
    """The key of a form that writes; a form that lost it gets a new one and is asked to be sent again."""

    widget = forms.HiddenInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=True, **kwargs)
        lost = "This page had lost its key. It has a new one now: look it through and press the button again."
        self.error_messages.update(required=lost, invalid=lost)


def new_key() -> uuid.UUID:
    return uuid.uuid4()


def class_field(**kwargs: Any) -> OneOfField:
    """Return the field of a class: females, males, unsexed, juveniles."""
    field = OneOfField(noun="class", label="Class", blank="Choose…", **kwargs)
    field.offer(CLASS_CHOICES)
    return field


CLASS_NAMES = dict(HeadClass.choices)
