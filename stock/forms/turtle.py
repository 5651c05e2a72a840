"""What is typed about one turtle: measures of a handling, a photograph, taking a row back."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.units import UnitRefused
from stock import photos
from stock.forms.fields import DayField, KeyField, LineField, OneOfField, new_key
from stock.marks.asking import Earlier, taken
from stock.marks.measures import DEFINITIONS, UNITS_OF, Typed, read_measure
from stock.marks.plausible import Question
from stock.measures_asked import known_of
from stock.models import Measure, Turtle
from stock.turtle_records import LONGEST_NOTE, LONGEST_OBSERVER, measure_key

UNIT_WORDS = {"MM": "mm", "CM": "cm", "INCH": "in", "G": "g", "KG": "kg", "LB": "lb", "OZ": "oz"}
SHOWS = ("upper shell", "lower shell", "head", "notches", "whole animal", "injury")


class MeasureForm(forms.Form):
    """The measures of one handling; odd ones are asked about once, with what was typed kept."""

    key = KeyField()
    measured_on = DayField(label="Day")
    observer = LineField(label="Measured by", most=LONGEST_OBSERVER)
    length_unit = OneOfField(noun="unit", label="Lengths in")
    mass_unit = OneOfField(noun="unit", label="Mass in")

    def __init__(
        self,
        *args: Any,
        turtle: Turtle,
        only: Measure | None = None,
        last: Iterable[Measure] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.turtle, self.only = turtle, only
        self.fields["length_unit"].offer([(code, UNIT_WORDS[code]) for code in UNITS_OF["length"]])
        self.fields["mass_unit"].offer([(code, UNIT_WORDS[code]) for code in UNITS_OF["mass"]])
        # What is taken most comes first: on a phone the others are a long way below.
        self.codes = (
            [only.what] if only else sorted(DEFINITIONS, key=lambda code: code not in ("SCL_MAX", "MASS"))
        )
        was = {row.what: taken(Earlier(row.what, row.stored, row.measured_on)) for row in last}
        for code in self.codes:
            definition = DEFINITIONS[code]
            self.fields[code] = forms.CharField(
                required=only is not None,
                max_length=40,
                label=definition.title,
                help_text=definition.meaning + (f" Last time {was[code]}." if code in was else ""),
                widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
            )
        self.fields["note"] = LineField(label="Note", most=LONGEST_NOTE)
        if only:
            del self.fields["mass_unit" if only.what != "MASS" else "length_unit"]
        self.asked: tuple[Question, ...] = ()
        self.typed: list[Typed] = []

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for code in self.codes:
            text = (cleaned.get(code) or "").strip()
            if not text:
                continue
            unit = cleaned.get("mass_unit" if code == "MASS" else "length_unit") or ""
            try:
                self.typed.append(read_measure(code, text, unit))
            except UnitRefused as refused:
                self.add_error(code, str(refused))
        if not self.errors and not self.typed:
            raise ValidationError("No measure is given. Fill in at least one.")
        if not self.errors:
            self._ask(cleaned)
        return cleaned

    def _ask(self, cleaned: dict[str, Any]) -> None:
        """Ask about what looks odd; the same questions are not asked again once they were answered."""
        # Sent a second time, it is not held against what it wrote itself.
        key = cleaned["key"]
        mine = {key, *(measure_key(key, code) for code in self.codes)}
        if self.only is not None:
            mine.add(self.only.key)
        known = known_of([self.turtle.pk], but=mine)[self.turtle.pk]
        self.asked = known.asked(
            self.typed, on=cleaned["measured_on"], observer=cleaned.get("observer") or ""
        )
        wanted = self.answer()
        if any(not one.is_note for one in self.asked) and self.data.get("right") != wanted:
            for one in self.asked:
                field = "measured_on" if one.code == "before" else one.measure
                self.add_error(field if field in self.fields else None, one.sentence)

    def answer(self) -> str:
        """Return what the tick "these are right" sends: it holds for these very questions."""
        words = "|".join(one.sentence for one in self.asked)
        return hashlib.sha256(words.encode()).hexdigest()[:16] if words else ""

    @property
    def notes(self) -> list[str]:
        """What is only pointed out, for after the writing."""
        return [one.sentence for one in self.asked if one.is_note]

    @property
    def may_be_right(self) -> str:
        """The answer to send where nothing but odd measures stands in the way; "" otherwise."""
        if not self.is_bound or not self.asked:
            return ""
        said = {one.sentence for one in self.asked}
        found = [sentence for sentences in self.errors.values() for sentence in sentences]
        return self.answer() if all(sentence in said for sentence in found) else ""


class PhotoForm(forms.Form):
    """A picture of a turtle."""

    key = KeyField()
    picture = forms.FileField(
        label="Picture",
        help_text="JPEG, PNG or WebP. It is drawn anew: the place where it was taken does not come along.",
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        error_messages={
            "required": "Choose a picture.",
            "empty": "This file is empty. Choose the picture again.",
            "invalid": "Choose a picture.",
        },
    )
    taken_on = DayField(label="Taken on")
    shows = LineField(label="What it shows", most=60, help_text="Such as notches, upper shell, injury.")
    note = LineField(label="Note", most=LONGEST_NOTE)

    def clean_picture(self) -> photos.Photo:
        upload = self.cleaned_data["picture"]
        if upload.size > photos.MOST_BYTES:
            raise ValidationError(
                f"This file has {upload.size / 1_048_576:.1f} MB; {photos.MOST_BYTES // 1_048_576} MB is the most. "
                "Take or save it smaller."
            )
        try:
            return photos.read_photo(upload.read())
        except photos.PhotoRefused as refused:
            raise ValidationError(str(refused)) from None


class TakeBackForm(forms.Form):
    """Only the key: what is taken back stands on the page."""

    key = KeyField()


def measure_start(today: dt.date, observer: str, last: Measure | None = None) -> dict[str, Any]:
    """Return what a new measure form begins with; units are those typed last."""
    units = {"length_unit": "MM", "mass_unit": "G"}
    if last is not None:
        units["mass_unit" if last.what == "MASS" else "length_unit"] = last.unit
    return {"key": new_key(), "measured_on": today, "observer": observer, **units}
