"""What is typed about a turtle's marks and sex: a mark put on, what became of one, how the sex was told."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.models import NestDay
from stock import turtle_book
from stock.drafts import PutOn, SexDraft
from stock.forms.fields import DayField, KeyField, LineField, OneOfField
from stock.marks import notch, tag
from stock.marks.sexes import CERTAINTIES, METHODS, SEXES, check_certainty
from stock.models import Mark, MarkEvent, NestOfTurtle
from stock.turtle_records import LONGEST_NOTE

FORMS = [("NOTCH", "notch code"), ("TAG", "microchip or tag"), ("PAINT", "paint"), ("OTHER", "other mark")]
ANYWHERE = 40


class MarkForm(forms.Form):
    """A mark put on a turtle: notches, a tag, or another."""

    key = KeyField()
    day = DayField(label="Put on on")
    form = OneOfField(noun="sort of mark", label="What it is")
    scheme = OneOfField(noun="notch scheme", label="Notch scheme", required=False)
    code = LineField(
        label="Notch code", most=ANYWHERE, help_text="Letters or numbers as the scheme writes them."
    )
    number = LineField(
        label="Tag", most=80, help_text="15 digits, or as the reader sends it: scan into this field."
    )
    text = LineField(label="Other mark", most=ANYWHERE, help_text="In words, such as white 5 on the shell.")
    site = LineField(label="Where on the body", most=ANYWHERE)
    is_conflict = forms.BooleanField(
        label="It came with this code, and another turtle has it too: keep both as a conflict", required=False
    )
    note = LineField(label="Note", most=LONGEST_NOTE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["form"].offer(FORMS)
        self.fields["scheme"].offer(
            [(key, f"{scheme.title} ({key})") for key, scheme in notch.SCHEMES.items()]
        )
        self.notes: list[str] = []

    @property
    def beside(self) -> dict[str, str]:
        """Beside which field a refusal of the mark stands."""
        return {"mark": {"TAG": "number", "NOTCH": "code"}.get(self.data.get("form", ""), "text")}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        read = {"NOTCH": self._notch, "TAG": self._tag}.get(cleaned.get("form", ""), self._other)
        if cleaned.get("form"):
            cleaned["put_on"] = read(cleaned)
        return cleaned

    def _notch(self, cleaned: dict[str, Any]) -> PutOn | None:
        scheme = notch.SCHEMES.get(cleaned.get("scheme") or "")
        if scheme is None:
            self.add_error("scheme", "Choose the scheme that the code is written in.")
            return None
        typed = cleaned.get("code") or ""
        if not typed:
            self.add_error("code", "Tap the notched scutes, or type the code.")
            return None
        try:
            mask = notch.mask_of(notch.decode(scheme, notch.normalize(scheme, typed)))
        except ValueError as refused:
            self.add_error("code", str(refused))
            return None
        return PutOn("NOTCH", scheme=scheme.key, mask=mask, **self._common(cleaned))

    def _tag(self, cleaned: dict[str, Any]) -> PutOn | None:
        try:
            found = tag.parse(cleaned.get("number") or "")
        except ValueError as refused:
            self.add_error("number", str(refused))
            return None
        if found.is_guess:
            self.add_error("number", f"{' '.join(map(str, found.notes))} Write all 15 digits.")
            return None
        self.notes = [str(note) for note in found.notes]
        return PutOn(
            "TAG",
            family=found.family,
            tag=found.code,
            site=cleaned.get("site") or "",
            **self._common(cleaned),
        )

    def _other(self, cleaned: dict[str, Any]) -> PutOn | None:
        if not cleaned.get("text"):
            self.add_error("text", "Say in words what the mark is.")
            return None
        return PutOn(
            cleaned["form"],
            text=cleaned["text"],
            site=cleaned.get("site") or "",
            note=cleaned.get("note") or "",
        )

    @staticmethod
    def _common(cleaned: dict[str, Any]) -> dict[str, Any]:
        return {"is_conflict": bool(cleaned.get("is_conflict")), "note": cleaned.get("note") or ""}


class MarkEventForm(forms.Form):
    """What became of a mark on a day."""

    key = KeyField()
    day = DayField(label="Day")
    what = OneOfField(noun="reading", label="What became of it")
    faint = LineField(
        label="Scutes that were faint", most=80, help_text="Tap them on the drawing, or write them: R2 L10."
    )
    note = LineField(label="Note", most=LONGEST_NOTE)

    def __init__(self, *args: Any, mark: Mark, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.mark = mark
        offered = [
            choice
            for choice in MarkEvent.What.choices
            if mark.form == "NOTCH" or choice[0] not in ("WORN", "RENEWED")
        ]
        self.fields["what"].offer(offered)
        if mark.form != "NOTCH":
            del self.fields["faint"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        cleaned["faint_mask"] = None
        typed = cleaned.get("faint") or ""
        if typed:
            try:
                cleaned["faint_mask"] = notch.mask_of(notch.parse_positions(typed))
            except ValueError as refused:
                self.add_error("faint", str(refused))
                return cleaned
            beside = cleaned["faint_mask"] & ~(self.mark.mask or 0)
            if beside:
                self.add_error(
                    "faint",
                    f"{notch.in_words(notch.positions_in(beside)).capitalize()}: not notched by this code. Only its "
                    "own scutes can be faint; if others are cut too, say so in the note.",
                )
            if cleaned.get("what") == "READ":
                cleaned["what"] = "WORN"
            elif cleaned.get("what") in turtle_book.ENDS:
                self.add_error("faint", turtle_book.FAINT_OF_READ)
        elif cleaned.get("what") == "WORN":
            self.add_error("faint", "Say which scutes were faint, or choose read.")
        return cleaned


class NestForm(forms.Form):
    """A nest of the nest book that the turtle was seen to dig; `nests` are rows by id, each with those linked."""

    key = KeyField()
    nest = OneOfField(noun="nest", label="Nest", blank="Choose the nest")
    eggs = LineField(label="Eggs in it", most=4, help_text="If they were counted by themselves.")
    note = LineField(label="Note", most=LONGEST_NOTE)

    def __init__(self, *args: Any, nests: dict[str, NestDay], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.nests = {**nests, **self._sent_before()}
        self.fields["nest"].offer([(pk, _nest_words(row)) for pk, row in self.nests.items()])

    def _sent_before(self) -> dict[str, NestDay]:
        """Return the row that this very form linked already: it may be full by now, and is sent a second time."""
        try:
            key = uuid.UUID(self.data.get("key", ""))
        except ValueError:
            return {}
        link = NestOfTurtle.objects.filter(key=key).select_related("nest_day__pond").first()
        return {str(link.nest_day_id): link.nest_day} if link is not None else {}

    def clean_eggs(self) -> int | None:
        typed = self.cleaned_data["eggs"]
        if typed and not (typed.isascii() and typed.isdecimal()):
            raise ValidationError(
                f"“{typed}” is no number of eggs. Write a whole number such as 11, or leave it empty."
            )
        return int(typed) if typed else None


def _nest_words(row: NestDay) -> str:
    free = row.nests - getattr(row, "linked", row.nests)
    return f"{row.dug_on:%Y-%m-%d}, pond {row.pond.code}: {free} of {row.nests} not linked"


class SexForm(forms.Form):
    """How the sex was told, by what, and how sure."""

    key = KeyField()
    day = DayField(label="Day")
    sex = OneOfField(noun="sex", label="Sex")
    # Not chosen beforehand: a method nobody meant would stand in the register as a fact.
    method = OneOfField(noun="method", label="Told by", blank="Choose…")
    certainty = OneOfField(noun="certainty", label="How sure")
    note = LineField(label="Note", most=LONGEST_NOTE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, words in (("sex", SEXES), ("method", METHODS), ("certainty", CERTAINTIES)):
            self.fields[name].offer(list(words.items()))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            try:
                check_certainty(cleaned["sex"], cleaned["method"], cleaned["certainty"])
            except ValueError as refused:
                raise ValidationError(str(refused)) from None
            cleaned["told"] = SexDraft(cleaned["sex"], cleaned["method"], cleaned["certainty"])
        return cleaned
