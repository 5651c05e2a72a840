"""The Log: one page for the outcome of a haul, or for what was found or carried, in one go."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import QueryDict

from ponds import units
from ponds.models import Farm, Pond
from ponds.svg_marks import figure_text
from stock.drafts import LONGEST_NOTE
from stock.forms.fields import DayField, FarmChoices, KeyField, OneOfField, cut, new_key
from stock.forms.log_dead import BOTH_TYPED, ShortField, short_name, short_typed, with_the_dead
from stock.forms.log_rows import ArrivalSet, BatchForm, RowForm, RowSet, SaleForm
from stock.forms.log_scans import scans_of
from stock.models import Move
from stock.move_words import class_words
from stock.planning import CLASS_WORDS
from stock.scans import Scans
from stock.tasks import OpenTask

NO_HAUL = "NONE"
HOW = [
    ("SEINE", "seine"),
    ("TRAPS", "traps"),
    ("DRAIN_DOWN", "drain-down"),
    (NO_HAUL, "no haul: found or carried only"),
]
# Outside these a thermometer or its unit was misread; common practice, no source.
COLDEST_MK, WARMEST_MK = 271_150, 323_150
OWN_ROWS = 3
ARRIVAL_ROWS = 3


@dataclass(frozen=True)
class Fault:
    """One thing to mend: the id of its control ("" for none) and the sentence."""

    anchor: str
    sentence: str


class HaulForm(forms.Form):
    """Where, when and how; and what holds for the whole of it."""

    key = KeyField()
    pond = OneOfField(noun="pond", label="Pond", blank="Choose…")
    day = DayField(label="Day")
    how = forms.ChoiceField(
        label="How were they caught?",
        choices=HOW,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose seine, traps or drain-down, or say that there was no haul.",
            "invalid_choice": "Choose seine, traps or drain-down, or say that there was no haul.",
        },
    )
    effort = forms.CharField(required=False, label="Net drags, or trap-nights")
    water = forms.CharField(required=False, label="Water temperature")
    is_held_out = forms.BooleanField(
        required=False,
        label="The catch was held out until the last haul",
        help_text="Type what is held under “Went back”: it does go back once the last haul is in.",
    )
    is_complete = forms.BooleanField(required=False, label="Drained to the last head")
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3}), label="Note")
    scans = forms.CharField(
        required=False,
        label="Scans",
        widget=forms.Textarea(
            attrs={
                "rows": 6,
                "autocomplete": "off",
                "autocapitalize": "off",
                "spellcheck": "false",
                "class": "typed",
            }
        ),
        help_text=(
            "One a line: scan a tag, or type it, a notch code, “#3” or “turtle 3”. “… to K” says that it went to pond "
            "K, “… sold” or “… died” that it did; else it went with all of its class, or back."
        ),
    )
    tasks = forms.MultipleChoiceField(
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Tasks this log does",
        error_messages={"invalid_choice": "One of the ticked tasks is not open any more: tick again below."},
    )

    def __init__(
        self, *args: Any, choices: FarmChoices, farm: Farm, tasks: list[OpenTask], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.farm = farm
        self.fields["pond"].offer(choices.pond_choices)
        self.fields["tasks"].choices = [(str(task.id), task.sentence) for task in tasks]
        self.fields["water"].label = f"Water temperature, {units.symbol(farm.temperature_unit)}"
        for name in ("effort", "water"):
            self.fields[name].widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def clean_effort(self) -> str:
        typed = self.cleaned_data["effort"].strip()
        if typed:
            try:
                number = units.read_number(typed)
            except units.UnitRefused as refusal:
                raise forms.ValidationError(str(refusal)) from None
            if not 0 < number <= 100_000:
                raise forms.ValidationError(f"{typed} must be above 0. Leave it empty if it was not counted.")
        return typed

    def clean_water(self) -> units.Measure | None:
        typed = self.cleaned_data["water"].strip()
        if not typed:
            return None
        unit = self.farm.temperature_unit
        try:
            water = units.measure(typed, unit)
        except units.UnitRefused as refusal:
            raise forms.ValidationError(str(refusal)) from None
        if not COLDEST_MK <= water.stored <= WARMEST_MK:
            low, high = units.shown(COLDEST_MK, unit), units.shown(WARMEST_MK, unit)
            raise forms.ValidationError(
                f"{typed} {units.symbol(unit)} is not pond water: {low} to {high} is. Check the figure and its unit."
            )
        return water

    def clean_note(self) -> str:
        # The browser sends line ends as two characters; the note counts as it was typed.
        note = self.cleaned_data["note"].replace("\r\n", "\n")
        if len(note) > LONGEST_NOTE:
            raise forms.ValidationError(
                f"The note has {figure_text(len(note))} characters; at most {figure_text(LONGEST_NOTE)} fit. "
                "Shorten it here; "
                "the rest of the page is kept."
            )
        return note

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if typed.get("how") == NO_HAUL:
            for name in ("effort", "water", "is_held_out"):
                if typed.get(name):
                    self.add_error(name, "This is of a haul. Say how they were caught, or clear it.")
        if typed.get("is_complete") and typed.get("how") != "DRAIN_DOWN" and "how" in typed:
            self.add_error(
                "is_complete", "Only a drain-down can be drained to the last head: choose it, or untick."
            )
        return typed


class LogEntry:
    """All forms of one Log page, from what was sent or from starting values, checked together."""

    def __init__(
        self,
        *,
        farm: Farm,
        today: dt.date,
        choices: FarmChoices,
        book: Mapping[tuple[str, str], int],
        book_day: dt.date | None = None,
        tasks: list[OpenTask],
        sent: QueryDict | None = None,
        start: Mapping[str, Any] | None = None,
        known_batches: Mapping[str, Mapping[str, str]] | None = None,
        original: Move | None = None,
    ) -> None:
        self.original = original
        self.farm, self.today, self.choices, self.book = farm, today, choices, dict(book)
        self.book_day = book_day or today
        self.tasks = tasks
        self.known_batches = known_batches or {}
        self.extra_faults: list[Fault] = []
        self.scans = Scans()
        self.sent = None if sent is None else with_the_dead(_with_counts(sent))
        sent = self.sent
        start = start or {}
        rows = {"choices": choices, "book": self.book}
        self.head = HaulForm(
            sent, initial={"key": new_key(), "day": today, **start.get("head", {})},
            choices=choices, farm=farm, tasks=tasks,
        )  # fmt: skip
        self.rows = RowSet(sent, prefix="rows", initial=start.get("rows", []), form_kwargs=rows)
        self.rows.extra = OWN_ROWS
        self.batch = BatchForm(sent, prefix="batch", initial=start.get("batch", {}))
        self.arrivals = ArrivalSet(
            sent, prefix="arrivals", initial=start.get("arrivals", []), form_kwargs={"choices": choices}
        )
        self.arrivals.extra = ARRIVAL_ROWS
        self.sale = SaleForm(sent, prefix="sale", initial=start.get("sale", {}))

    @property
    def pond(self) -> Pond | None:
        return self.choices.pond(str(self.head["pond"].value() or ""))

    @property
    def used_rows(self) -> list[RowForm]:
        return [row for row in self.rows.forms if not row.is_blank]

    @property
    def used_arrivals(self) -> list:
        return [row for row in self.arrivals.forms if not row.is_blank]

    @property
    def arrivals_open(self) -> bool:
        """Whether something came in, or is wrong there, so that its fold must stand open."""
        rows = [row for row in self.arrivals.forms if any(row[name].value() for name in row.fields)]
        return bool(rows or self.batch["source"].value() or (self.batch.is_bound and self.batch.errors))

    @property
    def short_fields(self) -> list[ShortField]:
        """The controls of "Found dead, no haul": shown on a fresh page, and where they were typed into."""
        if self.sent is not None and not short_typed(self.sent):
            return []
        typed = short_typed(self.sent) if self.sent is not None else {}
        cells = {**{cell: heads for cell, heads in self.book.items() if heads}, **typed}
        return [ShortField(short_name(*cell), self.cell_name(cell), typed.get(cell, "")) for cell in cells]

    @property
    def sale_open(self) -> bool:
        """Whether papers of what went are typed, so that their fold must stand open."""
        return any(self.sale[name].value() for name in self.sale.fields) or bool(
            self.sale.is_bound and self.sale.errors
        )

    def is_valid(self) -> bool:
        """Check every form, then what must hold between them."""
        # What the short part holds beside a haul has nowhere to go: with_the_dead left it where it was typed.
        if self.sent is not None and (typed := short_typed(self.sent)):
            self.say(f"id_{short_name(*next(iter(typed)))}", BOTH_TYPED)
        parts = [self.head, self.rows, self.batch, self.arrivals, self.sale]
        if not all([part.is_valid() for part in parts]):  # noqa: C419 (every part is to say what is wrong)
            return False
        self._check_back_and_targets()
        self._check_batch()
        self.scans = scans_of(self)
        for sentence in self.scans.faults:
            self.head.add_error("scans", sentence)
        if (
            not self.used_rows
            and not self.used_arrivals
            and not self.scans.scans
            and self.head.cleaned_data["how"] == NO_HAUL
        ):
            self.say("", "Nothing was typed: give the heads of at least one row, or how the haul was made.")
        return not self.faults()

    def renew_key(self) -> None:
        """Give the page a new key, so that pressing the button again posts it as another."""
        if self.sent is not None:
            self.sent["key"] = str(new_key())

    def say(self, anchor: str, sentence: str) -> None:
        """Add a sentence that belongs to no single field."""
        self.extra_faults.append(Fault(anchor, sentence))

    def faults(self) -> list[Fault]:
        """List what is wrong, in the order of the page."""
        return [*self.extra_faults, *self._form_faults()]

    @property
    def errors(self) -> list[Fault]:
        """What is wrong, for the page's title: empty before anything was sent."""
        return self.faults() if self.head.is_bound else []

    def _form_faults(self) -> Iterator[Fault]:
        yield from _faults_of(self.head, "")
        for number, row in enumerate(self.rows.forms, start=1):
            yield from _faults_of(row, f"{row.name or f'Row {number}'}, ")
        for sentence in self.rows.non_form_errors():
            yield Fault("", str(sentence))
        yield from _faults_of(self.batch, "Came in, ")
        for number, arrival in enumerate(self.arrivals.forms, start=1):
            yield from _faults_of(arrival, f"Came in, row {number}, ")
        for sentence in self.arrivals.non_form_errors():
            yield Fault("", str(sentence))
        yield from _faults_of(self.sale, "Papers, ")

    def _check_back_and_targets(self) -> None:
        typed = self.head.cleaned_data
        for row in self.used_rows:
            of_a_haul = [name for name in ("back", "newly_marked") if row.typed.get(name)]
            if row.typed.get("carrying_marks") is not None:  # a 0 says that somebody looked
                of_a_haul.append("carrying_marks")
            if typed["how"] == NO_HAUL and of_a_haul:
                row.add_error(of_a_haul[0], "Heads were caught, so there was a haul: say above how.")
            if row.typed.get("target") == typed["pond"]:
                row.add_error(
                    "target",
                    f"Pond {typed['pond']} is where they came from. Heads that stayed go under “Went back”.",
                )

    def _check_batch(self) -> None:
        batch = self.batch
        typed = batch.cleaned_data
        if not self.used_arrivals:
            if typed.get("source"):
                batch.add_error("source", "Nothing is said to have come in: give the heads, or clear this.")
            return
        if not typed.get("source"):
            batch.add_error("source", "Say where they came from: bought, raised here or from the wild.")
        if not typed.get("code"):
            batch.add_error("code", "Give the batch a code, such as the day and the pond.")
        known = self.known_batches.get(typed.get("code", ""))
        if known is None or batch.errors:
            return
        if not known.get("own"):
            batch.add_error("code", f"Batch {typed['code']} is in use ({known['words']}). Give another code.")
            return
        for name in ("source", "party", "generation", "note"):
            if typed.get(name, "") != known[name]:
                batch.add_error(
                    name, f"Batch {typed['code']} is written already. Give a new code to change this."
                )
        for name in ("licence", "document"):
            if typed.get(name):
                batch.add_error(
                    name, f"Batch {typed['code']} is written already: add papers on its own page."
                )

    def cell_name(self, cell: tuple[str, str], heads: int = 2) -> str:
        """Return a kind and class in words, as of so many heads: "Slider females"."""
        kind = self.choices.kind(cell[0])
        words = class_words(cell[1], heads) if cell[1] in CLASS_WORDS else cell[1]
        return f"{kind.common_name if kind else cell[0]} {words}"

    def sentences_missing_papers(self) -> list[str]:
        """Ask for a permit or a note where a listed kind came or went without one. It blocks nothing."""
        asked = {}
        note = self.head.cleaned_data["note"]
        came = {row.cleaned_data["kind"] for row in self.used_arrivals}
        went = {
            row.typed["kind"] for row in self.used_rows if row.typed.get("sold") or row.typed.get("culled")
        }
        for code in sorted(came | went):
            kind = self.choices.kind(code)
            papers = [form for form, codes in ((self.batch, came), (self.sale, went)) if code in codes]
            has_papers = all(
                form.cleaned_data.get("document") or form.cleaned_data.get("licence") for form in papers
            )
            if kind and kind.listing and not has_papers and not note:
                asked[code] = (
                    f"{kind.common_name} is listed ({kind.listing}) and no permit or note was given. "
                    "Add the paper below, or correct the move with a note."
                )
        return list(asked.values())


def digest(sentences: list[str]) -> str:
    """Return a short name of what was asked, so that a tick answers exactly that and nothing typed later."""
    return hashlib.sha256("\n".join(sentences).encode()).hexdigest()[:16]


def _faults_of(form: forms.BaseForm, before: str) -> Iterator[Fault]:
    for sentence in form.non_field_errors():
        yield Fault("", f"{before}{sentence}")
    for field in form:
        for sentence in field.errors:
            anchor = "" if field.is_hidden else (field.id_for_label or f"{field.auto_id}_0")
            label = str(field.label)
            words = f"{before}{label[0].lower() + label[1:] if before else label}"
            yield Fault(anchor, f"{cut(words, 80)}{'' if words.endswith('?') else ':'} {sentence}")


def _with_counts(sent: QueryDict) -> QueryDict:
    """Give the sets of rows their counts where a short form (or a broken one) sent none."""
    whole = sent.copy()
    for prefix in ("rows", "arrivals"):
        for count in ("TOTAL_FORMS", "INITIAL_FORMS"):
            if not str(whole.get(f"{prefix}-{count}", "")).isdecimal():
                whole[f"{prefix}-{count}"] = "0"
    return whole
