"""Forms of the hatch log. They read text into values; writing is not theirs."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds import season_choice, units
from ponds.computed_lists import RowFilterForm
from ponds.form_fields import CodedChoiceField, CountField, DayField, NoteField, NumberText, offer
from ponds.incubation import DUES
from ponds.lot_drafts import (
    BasketDraft,
    CandlingDraft,
    HatchDraft,
    LotDraft,
    TemperatureDraft,
    read_code,
)
from ponds.lot_lines import LotLine
from ponds.lot_state import LONGEST_NOTE, LotRefused, LotState, Tally
from ponds.models import Farm, Kind, Pond

ROWS_SHOWN = 4
WHOLE = "whole"
MOST_ROWS = 60
LOST_KEY = "This form has lost its key. Open the page again; what you typed was not booked."


def key_field() -> forms.UUIDField:
    """Return the hidden key of a form that writes once."""
    return forms.UUIDField(
        widget=forms.HiddenInput, error_messages={"required": LOST_KEY, "invalid": LOST_KEY}
    )


def pond_field(**more: Any) -> CodedChoiceField:
    """Return a choice of the ponds in use."""
    return CodedChoiceField(
        Pond.objects.not_retired().in_letter_order(),
        to_field_name="code",
        empty_label="Choose a pond",
        error_messages={
            "required": "Choose the pond these eggs were dug at.",
            "invalid_choice": "There is no such pond in use. Choose one of the list.",
        },
        **more,
    )


class KeyedForm(forms.Form):
    """A form that writes once, however often it is sent."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("key", uuid.uuid4())


class TemperatureMixin(forms.Form):
    """A temperature as typed, with its unit."""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        text, unit = cleaned.get("temperature"), cleaned.get("temperature_unit")
        self.measure: units.Measure | None = None
        if text and unit:
            try:
                self.measure = units.measure(text, unit)
            except units.UnitRefused as refused:
                self.add_error("temperature", str(refused))
        return cleaned


class LotForm(TemperatureMixin, KeyedForm):
    """A lot's own facts; the code is asked for a new one only."""

    key = key_field()
    code = forms.CharField(
        label="Code of the lot",
        help_text="Written on its containers. It is never used again.",
        max_length=40,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
        error_messages={"required": "Write the lot's code.", "max_length": "This is too long for a code."},
    )
    kind = CodedChoiceField(
        Kind.objects.order_by("name_key"),
        to_field_name="code",
        empty_label="Choose a kind",
        error_messages={
            "required": "Choose the kind whose eggs these are.",
            "invalid_choice": "There is no such kind. Choose one of the list.",
        },
    )
    set_on = DayField(label="Set on")
    incubator = NoteField(longest=60, label="Incubator, room or shelf")
    temperature = NumberText(label="Temperature it is set to", required=False)
    temperature_unit = forms.ChoiceField(
        label="Temperature in",
        choices=Farm.TemperatureUnit.choices,
        error_messages={"required": "Choose one."},
    )
    note = NoteField(longest=LONGEST_NOTE, label="Note")

    def __init__(self, *args: Any, is_new: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_new:
            del self.fields["code"]

    def clean_code(self) -> str:
        try:
            return read_code(self.cleaned_data["code"])
        except LotRefused as refused:
            raise ValidationError(str(refused)) from None

    def draft(self, baskets: tuple[BasketDraft, ...]) -> LotDraft:
        """Return the lot as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        facts = {name: cleaned[name] for name in ("key", "code", "kind", "set_on", "incubator", "note")}
        return LotDraft(**facts, temperature=self.measure, baskets=baskets)

    def changes(self) -> dict[str, Any]:
        """Return the model fields as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        return {
            **{name: cleaned[name] for name in ("kind", "set_on", "incubator", "note")},
            "temperature_mk": self.measure.stored if self.measure else None,
            "temperature_typed": self.measure.typed if self.measure else "",
            "temperature_unit": self.measure.unit if self.measure else "",
        }


class BasketForm(forms.Form):
    """One basket: whose eggs, dug when, how many."""

    pond = pond_field()
    dug_on = DayField(label="Dug on")
    eggs = CountField(label="Eggs set", min_value=1, error_messages={"required": "How many eggs are in it?"})
    container = CountField(label="Container", required=False, min_value=1)

    def __init__(self, *args: Any, start: dict[str, Any] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.update(start or {})

    @property
    def is_filled(self) -> bool:
        """Whether anything was typed beyond what the row showed first."""
        return self.has_changed()

    def draft(self) -> BasketDraft:
        """Return the basket as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        return BasketDraft(
            pond=cleaned["pond"],
            dug_on=cleaned["dug_on"],
            eggs=cleaned["eggs"],
            container=cleaned["container"],
        )


BasketRows = forms.formset_factory(
    BasketForm, extra=ROWS_SHOWN, max_num=MOST_ROWS, absolute_max=MOST_ROWS, validate_max=True
)


class BasketKeyForm(KeyedForm):
    """The key of baskets that are added to a lot."""

    key = key_field()


class BasketMendForm(KeyedForm, BasketForm):
    """A basket put right; its number stays."""

    key = key_field()
    note = NoteField(longest=LONGEST_NOTE, label="Note")
    field_order = ("key", "pond", "dug_on", "eggs", "container", "note")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["container"].required = True

    def changes(self) -> dict[str, Any]:
        """Return the model fields as typed; only after `is_valid()`."""
        return {name: self.cleaned_data[name] for name in ("pond", "dug_on", "eggs", "container", "note")}


class CountForm(KeyedForm):
    """What a candling and a hatch have in common: of which basket, or of the whole lot."""

    key = key_field()
    basket = forms.ChoiceField(
        error_messages={
            "required": "Choose the basket, or the whole lot.",
            "invalid_choice": "There is no such basket in this lot. Choose one of the list.",
        },
    )

    def __init__(self, *args: Any, state: LotState, is_mend: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_mend:
            del self.fields["basket"]
            return
        tallies = state.tallies()
        choices = [(str(one.number), _basket_words(one, tallies[one.number])) for one in state.baskets]
        choices += [(WHOLE, f"the whole lot: {state.whole().left} left")]
        offer(self, "basket", choices)

    @property
    def basket_number(self) -> int | None:
        text = self.cleaned_data.get("basket", WHOLE)
        return None if text == WHOLE else int(text)


class CandlingForm(CountForm):
    """What candling found and was taken out."""

    candled_on = DayField(label="Day")
    clear = CountField(label="Clear", help_text="Taken out now: no vessels, no ring.")
    dead = CountField(label="Dead", help_text="Taken out now: begun, then stopped.")
    note = NoteField(longest=LONGEST_NOTE, label="Note")
    facts = ("candled_on", "clear", "dead", "note")

    def draft(self) -> CandlingDraft:
        """Return the candling as typed; only after `is_valid()`."""
        return CandlingDraft(**self.changes(), basket=self.basket_number)

    def changes(self) -> dict[str, Any]:
        """Return the model fields as typed; only after `is_valid()`."""
        return {name: self.cleaned_data[name] for name in self.facts}


class HatchForm(CountForm):
    """What came of the eggs still in."""

    hatched_on = DayField(label="Day")
    hatched = CountField(label="Hatched")
    clear = CountField(label="Clear", required=False, help_text="Found clear now. Empty: none.")
    dead = CountField(label="Dead", required=False, help_text="Dead in the egg, or in pipping. Empty: none.")
    is_last = forms.BooleanField(
        label="Nothing is left in it: whatever is not counted was thrown out", required=False
    )
    note = NoteField(longest=LONGEST_NOTE, label="Note")
    facts = ("hatched_on", "hatched", "clear", "dead", "is_last", "note")

    def draft(self) -> HatchDraft:
        """Return the hatch as typed; only after `is_valid()`."""
        return HatchDraft(**self.changes(), basket=self.basket_number)

    def changes(self) -> dict[str, Any]:
        """Return the model fields as typed; only after `is_valid()`."""
        cleaned = {name: self.cleaned_data[name] for name in self.facts}
        return cleaned | {"clear": cleaned["clear"] or 0, "dead": cleaned["dead"] or 0}


class EggTemperatureForm(TemperatureMixin, KeyedForm):
    """A temperature read beside the eggs."""

    key = key_field()
    measured_on = DayField(label="Day")
    temperature = NumberText(
        label="Temperature beside the eggs",
        error_messages={"required": "Write what the probe shows, such as 81.5."},
    )
    temperature_unit = forms.ChoiceField(
        label="Temperature in",
        choices=Farm.TemperatureUnit.choices,
        error_messages={"required": "Choose one."},
    )
    probe = NoteField(longest=80, label="Where the probe lay")
    note = NoteField(longest=LONGEST_NOTE, label="Note")

    def draft(self) -> TemperatureDraft:
        """Return the reading as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        assert self.measure is not None  # noqa: S101  (a valid form has read it)
        return TemperatureDraft(cleaned["measured_on"], self.measure, cleaned["probe"], cleaned["note"])

    def changes(self) -> dict[str, Any]:
        """Return the model fields as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        assert self.measure is not None  # noqa: S101  (a valid form has read it)
        return {
            **{name: cleaned[name] for name in ("measured_on", "probe", "note")},
            "temperature_mk": self.measure.stored,
            "temperature_typed": self.measure.typed,
            "temperature_unit": self.measure.unit,
        }


class LotFilterForm(RowFilterForm):
    """The filters of the list of lots."""

    due = forms.ChoiceField(label="Due", required=False, choices=[("", "any"), *((due, due) for due in DUES)])
    season = forms.ChoiceField(label="Season set", required=False)
    kind = forms.ChoiceField(label="Kind", required=False)
    pond = forms.ChoiceField(label="Pond", required=False)

    def __init__(self, *args: Any, rows: list[LotLine], seasons: list[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "season", season_choice.choices(seasons))
        kinds = sorted({(row.kind_code, row.kind) for row in rows}, key=lambda pair: pair[1])
        offer(self, "kind", [("", "any"), *kinds])
        ponds = sorted({pond for row in rows for pond in row.pond_codes}, key=lambda code: (len(code), code))
        offer(self, "pond", [("", "any"), *((code, f"Pond {code}") for code in ponds)])

    def admits(self, row: LotLine) -> bool:
        asked = self.cleaned_data
        return (
            asked["due"] in ("", row.due)
            and asked["season"] in ("", season_choice.ALL, str(row.season))
            and asked["kind"] in ("", row.kind_code)
            and (not asked["pond"] or asked["pond"] in row.pond_codes)
        )


def _basket_words(basket: Any, tally: Tally) -> str:
    return f"basket {basket.number}: pond {basket.pond.code}, {tally.left} of {tally.eggs} left"
