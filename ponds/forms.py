"""Forms of the farm, its ponds, the nest book and the sheets. They read text into values; writing is not theirs."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from ponds.clutches import ClutchCount, read_clutches
from ponds.form_fields import CodedChoiceField, CountField, DayField, NoteField, NumberText, offer
from ponds.models import Farm, Kind, NestDay, Pond, PondState
from ponds.nest_book import LONGEST_NOTE
from ponds.nest_checks import disagreements, sign
from ponds.places import PondDraft, area_fields, read_area
from ponds.sheets import registered_sheets
from ponds.svg_marks import day_text
from ponds.written_days import ORDERS

NEAR_ZONES = ("America/Chicago", "America/New_York", "America/Denver", "America/Los_Angeles")


class FarmForm(forms.ModelForm):
    """The farm's identifiers, its time zone and its units."""

    zone = forms.ChoiceField(label="Time zone", help_text="Decides which day it is on the farm.")
    licence_expires_on = DayField(label="Licence expires on", required=False)

    class Meta:
        model = Farm
        fields = (
            "name",
            "code",
            "licence",
            "licence_expires_on",
            "zone",
            "area_unit",
            "temperature_unit",
            "length_unit",
        )
        labels = {
            "name": "Name of the farm",
            "code": "Farmer code",
            "licence": "Licence number",
            "area_unit": "Areas in",
            "temperature_unit": "Temperatures in",
            "length_unit": "Lengths in",
        }
        help_texts = {"code": "Printed on every sheet that leaves the farm."}
        error_messages = {"name": {"required": "Write the name of the farm."}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = sorted(zoneinfo.available_timezones() - set(NEAR_ZONES))
        near, all_others = ([(zone, zone) for zone in zones] for zones in (NEAR_ZONES, others))
        offer(self, "zone", [("Near", near), ("All", all_others)])


class PondForm(forms.Form):
    """A pond: code (asked for a new one only), opening, areas as typed, head limit, kinds."""

    code = forms.CharField(
        max_length=3,
        help_text="The letter on the map filed with the licence. It is never changed and never used again.",
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off", "size": 4}),
        error_messages={
            "required": "Write the pond's code.",
            "max_length": "A code has one to three letters.",
        },
    )
    opened_on = DayField(label="Opened on", help_text="First day it held water and turtles.")
    name = NoteField(longest=60, label="Name")
    water_area = NumberText(label="Water area", required=False)
    water_area_unit = forms.ChoiceField(label="Water area in", choices=Farm.AreaUnit.choices)
    bank_area = NumberText(label="Laying bank", required=False)
    bank_area_unit = forms.ChoiceField(label="Laying bank in", choices=Farm.AreaUnit.choices)
    head_limit = CountField(
        label="Head limit",
        required=False,
        min_value=1,
        max_value=1_000_000,
        help_text="Most heads it should hold, counted as sliders; kinds weigh by their space a head.",
    )
    kinds = forms.MultipleChoiceField(
        label="Kinds allowed",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked means any kind.",
    )
    note = NoteField(longest=4000, lines=4, label="Note")

    def __init__(self, *args: Any, pond: Pond | None = None, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pond = pond
        self.today = today
        if pond is not None:
            del self.fields["code"]
        offer(self, "kinds", list(Kind.objects.order_by("name_key").values_list("code", "common_name")))

    def clean_code(self) -> str:
        code = self.cleaned_data["code"].strip().upper()
        if not code.isascii() or not code.isalpha():
            raise ValidationError(
                f"{code} is not a pond's code; write one to three letters: A to Z, then AA."
            )
        return code

    def clean_opened_on(self) -> dt.date:
        day = self.cleaned_data["opened_on"]
        if day > self.today:
            raise ValidationError(f"{day_text(day)} is still to come; today is {day_text(self.today)}.")
        return day

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.areas: dict[str, Any] = {}
        for which in ("water_area", "bank_area"):
            unit = cleaned.get(f"{which}_unit")
            if which not in cleaned or not unit:
                continue
            try:
                self.areas |= area_fields(which, read_area(cleaned[which], unit))
            except ValueError as refused:
                self.add_error(which, str(refused))
        return cleaned

    def draft(self) -> PondDraft:
        """Return the pond as typed; only after `is_valid()`."""
        cleaned = self.cleaned_data
        fields = {name: cleaned[name] for name in ("opened_on", "name", "head_limit", "note")}
        code = self.pond.code if self.pond else cleaned["code"]
        return PondDraft(code, fields | self.areas, tuple(cleaned["kinds"]))


def pond_initial(pond: Pond, farm: Farm) -> dict[str, Any]:
    """Return what a pond's form shows first: areas as they were typed."""
    return {
        "opened_on": pond.opened_on,
        "name": pond.name,
        "water_area": pond.water_area_typed,
        "water_area_unit": pond.water_area_unit or farm.area_unit,
        "bank_area": pond.bank_area_typed,
        "bank_area_unit": pond.bank_area_unit or farm.area_unit,
        "head_limit": pond.head_limit,
        "kinds": [kind.code for kind in pond.kinds_allowed.all()],
        "note": pond.note,
    }


class StateForm(forms.Form):
    """What a pond is used as from a day on."""

    state = forms.ChoiceField(
        label="Used as", choices=PondState.State.choices, error_messages={"required": "Choose one."}
    )
    from_on = DayField(label="From")
    ends_on = DayField(label="Due to end", required=False, help_text="For a quarantine only.")
    note = NoteField(longest=300, label="Why")


class RetireForm(forms.Form):
    """Retire a pond; the typed code shows that it is meant."""

    last_day = DayField(label="Last day in use")
    typed_code = forms.CharField(
        label="Type the pond's code to confirm",
        max_length=10,
        widget=forms.TextInput(attrs={"autocomplete": "off", "size": 4}),
        error_messages={"required": "Type the pond's code to show that you mean it."},
    )

    def __init__(self, *args: Any, pond: Pond, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pond = pond

    def clean_typed_code(self) -> str:
        typed = self.cleaned_data["typed_code"].strip().upper()
        if typed != self.pond.code:
            raise ValidationError(
                f"{typed} is not {self.pond.code}. Type {self.pond.code} to retire this pond."
            )
        return typed


class NestForm(forms.Form):
    """One pond's nests of one kind on one day."""

    key = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={
            "required": "This form has lost its key. Open the page again; what you typed was not booked.",
            "invalid": "This form has lost its key. Open the page again; what you typed was not booked.",
        },
    )
    pond = CodedChoiceField(
        Pond.objects.not_retired().in_letter_order(),
        to_field_name="code",
        empty_label="Choose a pond",
        error_messages={
            "required": "Choose a pond.",
            "invalid_choice": "There is no such pond in use. Choose one of the list.",
        },
    )
    kind = CodedChoiceField(
        Kind.objects.order_by("name_key"),
        to_field_name="code",
        required=False,
        empty_label="not known",
        error_messages={"invalid_choice": "There is no such kind. Choose one of the list."},
    )
    dug_on = DayField(label="Day")
    clutches = forms.CharField(
        label="By clutch",
        required=False,
        max_length=3000,
        help_text="Where each nest was counted: its eggs, broken ones in brackets, such as 9 8 10 (1). Fills the rest.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"max_length": "This line is too long; enter the day in two rows."},
    )
    nests = CountField(
        label="Nests dug", required=False, help_text="0 says the bank was walked and there was none."
    )
    eggs = CountField(label="Eggs picked", required=False, help_text="Broken ones too. Empty: not counted.")
    broken = CountField(label="Broken, of those", required=False)
    note = NoteField(longest=LONGEST_NOTE, label="Note")

    def __init__(self, *args: Any, row: NestDay | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("key", uuid.uuid4())
        self.questions: tuple[str, ...] = ()
        self.is_asking = False
        if row is not None:
            del self.fields["pond"]

    def clean_clutches(self) -> tuple[ClutchCount, ...]:
        try:
            return read_clutches(self.cleaned_data["clutches"])
        except ValueError as refused:
            raise ValidationError(str(refused)) from None

    def clean(self) -> dict[str, Any]:
        """Fill from the line of clutches what was left empty, and ask where the two do not agree."""
        cleaned = super().clean() or self.cleaned_data
        clutches = cleaned.get("clutches")
        if clutches is None or "nests" not in cleaned:
            return cleaned
        if not clutches:
            if cleaned["nests"] is None:
                self.add_error("nests", "Write a whole number; 0 where there is none.")
            return cleaned
        nests, eggs, broken = (cleaned.get(name) for name in ("nests", "eggs", "broken"))
        self.questions = disagreements(clutches, nests=nests, eggs=eggs, broken=broken)
        cleaned["nests"] = len(clutches) if nests is None else nests
        if cleaned["nests"] == len(clutches):
            cleaned["eggs"] = sum(one.eggs for one in clutches) if eggs is None else eggs
            cleaned["broken"] = sum(one.broken for one in clutches) if broken is None else broken
        return cleaned

    @property
    def is_confirmed(self) -> bool:
        """Whether the very questions that are asked now were ticked as right."""
        return self.data.get("stands") == self.question_mark

    @property
    def question_mark(self) -> str:
        return sign(self.questions)

    def entry(self) -> dict[str, Any]:
        """Return what the nest book records; only after `is_valid()`."""
        return dict(self.cleaned_data)


class TakeBackForm(forms.Form):
    """Take a row of the nest book back."""

    key = forms.UUIDField(widget=forms.HiddenInput, error_messages={"required": "Open the page again."})
    note = NoteField(longest=LONGEST_NOTE, label="Why")


class SheetForm(forms.Form):
    """A file and what it is."""

    what = forms.ChoiceField(label="What is in it", error_messages={"required": "Say what the sheet holds."})
    days = forms.ChoiceField(
        label="Days such as 03/04/2026",
        required=False,
        choices=[("", "none, or not certain: ask me"), *ORDERS],
        help_text="Days such as 2026-05-31 or 31 May 2026 need no answer.",
    )
    file = forms.FileField(
        label="File",
        help_text="CSV or XLSX, at most 5 MB and 50,000 rows.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
        error_messages={
            "required": "Choose a file.",
            "empty": "The file is empty.",
            "missing": "Choose a file.",
            "invalid": "Choose a file.",
        },
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "what", [(sheet.what, sheet.title) for sheet in registered_sheets().values()])
