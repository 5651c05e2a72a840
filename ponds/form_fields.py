"""Form fields whose refusals are sentences, shared by the forms of this app."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds import units
from ponds.svg_marks import day_text

EARLIEST_DAY = dt.date(1900, 1, 1)


def offer(form: forms.BaseForm, name: str, choices: list) -> None:
    """Set what a choice field offers, where that is only known when the form is made."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)  # noqa: S101  (says to the type checker which field it is)
    field.choices = choices


class CodedChoiceField(forms.ModelChoiceField):
    """A choice of the database by its code. A code with a NUL is no choice; PostgreSQL would not even look."""

    def to_python(self, value: Any) -> Any:
        if "\0" in str(value):
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")
        return super().to_python(value)


class DayField(forms.DateField):
    """A day, from the calendar of the browser or typed as year-month-day."""

    default_error_messages = {
        "required": "Say which day.",
        "invalid": "This is not a day; write it as year-month-day, such as 2026-05-31.",
    }

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", "min": EARLIEST_DAY.isoformat()})
        super().__init__(input_formats=["%Y-%m-%d"], widget=kwargs.pop("widget", widget), **kwargs)

    def clean(self, value: Any) -> Any:
        day = super().clean(value)
        if day and day < EARLIEST_DAY:
            raise ValidationError(f"{day_text(day)} is before {day_text(EARLIEST_DAY)}; look at the year.")
        return day


class CountField(forms.IntegerField):
    """A whole number from 0; keeps what was typed and opens the number pad of a phone."""

    default_error_messages = {
        "required": "Write a whole number; 0 where there is none.",
        "invalid": "This is not a whole number; write one such as 14.",
        "min_value": "This is below %(limit_value)s; write %(limit_value)s or more.",
        "max_value": "This is more than %(limit_value)s; look at the figure.",
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("min_value", 0)
        # A text control with a number pad: a number control drops what it cannot read.
        widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        super().__init__(widget=kwargs.pop("widget", widget), **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {}


class NoteField(forms.CharField):
    """Words of a person, of a greatest length that the refusal names."""

    def __init__(self, *, longest: int, lines: int = 0, **kwargs: Any) -> None:
        widget = forms.Textarea(attrs={"rows": lines}) if lines else forms.TextInput()
        super().__init__(
            required=kwargs.pop("required", False),
            max_length=longest,
            widget=widget,
            error_messages={
                "max_length": f"This has %(show_value)s characters; {longest} is the most. Shorten it.",
                "required": kwargs.pop("ask", "Write something here."),
            },
            **kwargs,
        )


class NumberText(forms.CharField):
    """A decimal number kept as it was typed; `cleaned_data` holds the text."""

    def __init__(self, *, low: float | None = None, high: float | None = None, **kwargs: Any) -> None:
        self.low, self.high = low, high
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        kwargs.setdefault("error_messages", {"required": "Write a number, such as 2.5."})
        super().__init__(widget=widget, **kwargs)

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if not text:
            return text
        try:
            number = units.read_number(text)
        except units.UnitRefused as refused:
            raise ValidationError(str(refused)) from None
        if (self.low is not None and number < self.low) or (self.high is not None and number > self.high):
            raise ValidationError(f"{text} is not between {self.low:g} and {self.high:g}.")
        return text
