"""A move as plain lines, for what is decided in the office and for correcting what was not logged at the bank."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.http import QueryDict

from ponds.svg_marks import figure_text
from stock.drafts import LONGEST_NOTE, BatchDraft, CountDraft, Draft, Line
from stock.forms.fields import (
    CLASS_CHOICES,
    DayField,
    FarmChoices,
    HeadsField,
    KeyField,
    LineField,
    OneOfField,
    class_field,
    farm_choices,
    new_key,
)
from stock.forms.log_start import move_papers
from stock.models import Batch, Cause, Entry, MarkStep, Move
from stock.moves_read import place_of
from stock.refusals import LedgerRefusal
from stock.scans import read_scans

SOURCES = [("BOUGHT", "bought"), ("RAISED", "raised here"), ("WILD", "from the wild")]
TARGETS = [("SOLD", "sold"), ("CULLED", "culled"), ("DIED", "died"), ("ESCAPED", "escaped")]
EMPTY_LINES = 4
FIGURES = {"FEMALE": "females", "MALE": "males", "UNSEXED": "unsexed", "JUVENILE": "juveniles"}


class MoveHeadForm(forms.Form):
    """The day and the note of a move; what a new batch needs."""

    key = KeyField()
    day = DayField(label="Day")
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3}), label="Note")
    party = LineField(most=120, label="Seller or place, where a batch is new")
    generation = OneOfField(noun="generation", label="Generation, where a batch is new", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["generation"].offer(list(Batch.Generation.choices))

    def clean_note(self) -> str:
        note = self.cleaned_data["note"].replace("\r\n", "\n")
        if len(note) > LONGEST_NOTE:
            raise forms.ValidationError(
                f"The note has {figure_text(len(note))} characters; at most {figure_text(LONGEST_NOTE)} fit. "
                "Shorten it here."
            )
        return note


class LineForm(forms.Form):
    """So many heads of one kind and class from one place to another."""

    heads = HeadsField(label="Heads", least=1)
    kind = OneOfField(noun="kind", label="Kind", blank="Choose…", required=False)
    of_class = class_field(required=False)
    source = OneOfField(noun="place", label="From", blank="Choose…", required=False)
    target = OneOfField(noun="place", label="To", blank="Choose…", required=False)
    to_class = OneOfField(noun="class", label="Becomes", blank="as they are", required=False)
    cause = OneOfField(noun="cause", label="Cause of death", blank="not known", required=False)
    batch = LineField(most=24, label="Batch, from outside")
    turtles = LineField(
        most=2000, label="Marked turtles that go", help_text="Numbers or tags, with commas between."
    )

    def __init__(self, *args: Any, choices: FarmChoices, has_opening: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        opening = [("OPENING", "the opening")] if has_opening else []
        self.fields["kind"].offer(choices.kind_choices)
        self.fields["source"].offer([*choices.pond_choices, *opening, *SOURCES])
        self.fields["target"].offer([*choices.pond_choices, *TARGETS])
        self.fields["to_class"].offer(CLASS_CHOICES[:3])
        self.fields["cause"].offer([choice for choice in Cause.choices if choice[0] != "NOT_KNOWN"])

    @property
    def is_blank(self) -> bool:
        return not any(getattr(self, "cleaned_data", {}).values()) and not self.errors

    def clean_turtles(self) -> tuple[str, ...]:
        scans = read_scans(re.sub(r"[,;]", "\n", self.cleaned_data["turtles"]), "", ())
        sentences = [
            *scans.faults,
            *(f"“{typed}” is on no turtle of the register." for typed in scans.unknown),
        ]
        if sentences:
            raise forms.ValidationError(" ".join(sentences))
        return tuple(scan.code for scan in scans.scans)

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if self.errors or not any(typed.values()):
            return typed
        for name, sentence in (
            ("heads", "Say how many heads."),
            ("kind", "Choose the kind."),
            ("of_class", "Choose females, males, unsexed or juveniles."),
            ("source", "Say where they come from."),
            ("target", "Say where they go."),
        ):
            if not typed.get(name):
                self.add_error(name, sentence)
        if typed.get("cause") and typed.get("target") != "DIED":
            self.add_error(
                "cause", "A cause of death is for heads that died: change “To”, or clear the cause."
            )
        return typed


LineSet = forms.formset_factory(LineForm, extra=0, max_num=60, absolute_max=100, validate_max=True)


class OfficeMove:
    """The head and the lines of one move, from what was sent or from starting values."""

    def __init__(
        self,
        *,
        today: dt.date,
        sent: QueryDict | None = None,
        start: dict[str, Any] | None = None,
        original: Move | None = None,
    ) -> None:
        self.original = original
        self.choices = farm_choices()
        start = start or {}
        if sent is not None:
            sent = sent.copy()
            for count in ("TOTAL_FORMS", "INITIAL_FORMS"):
                if not str(sent.get(f"lines-{count}", "")).isdecimal():
                    sent[f"lines-{count}"] = "0"
        self.sent = sent
        self.head = MoveHeadForm(sent, initial={"key": new_key(), "day": today, **start.get("head", {})})
        is_opening = original is not None and original.made_as == Move.MadeAs.OPENING
        self.lines = LineSet(
            sent,
            prefix="lines",
            initial=start.get("lines", []),
            form_kwargs={"choices": self.choices, "has_opening": is_opening},
        )
        self.lines.extra = EMPTY_LINES

    @property
    def used_lines(self) -> list[LineForm]:
        return [line for line in self.lines.forms if not line.is_blank]

    def renew_key(self) -> None:
        """Give the page a new key, so that pressing the button again posts it as another."""
        if self.sent is not None:
            self.sent["key"] = str(new_key())

    def is_valid(self) -> bool:
        if not all([self.head.is_valid(), self.lines.is_valid()]):
            if "key" in self.head.errors:
                self.renew_key()
            return False
        if not self.used_lines:
            self.head.add_error(None, "Nothing was typed: give at least one line with heads, from and to.")
        return self.head.is_valid()


def start_of_lines(move: Move, entries: Sequence[Entry]) -> dict[str, Any]:
    """Return the starting values for a move, its entries loaded by `entries_in_order`."""
    lines = []
    named: dict[int, list[str]] = {}
    steps = MarkStep.objects.filter(move=move, how="MOVED", entry__isnull=False).order_by("pk")
    for entry_pk, code in steps.values_list("entry", "turtle__code"):
        named.setdefault(entry_pk, []).append(code)
    for entry in entries:
        source, target = place_of(entry.source), place_of(entry.target)
        becomes = entry.target.of_class if entry.target.of_class != entry.source.of_class else ""
        lines.append(
            {
                "heads": entry.heads,
                "kind": entry.source.kind.code,
                "of_class": entry.source.of_class,
                "source": source,
                "target": target,
                "to_class": becomes,
                "cause": entry.cause if entry.cause != "NOT_KNOWN" else "",
                "batch": entry.batch.code if entry.batch else "",
                "turtles": ", ".join(named.get(entry.pk, ())),
            }
        )
    return {"head": {"day": move.happened_on, "note": move.note}, "lines": lines}


def build_office(office: OfficeMove) -> tuple[Draft, list[LineForm]]:
    """Return the draft of valid lines and the form of each line."""
    typed = office.head.cleaned_data
    lines, batches = [], {}
    original = office.original
    for form in office.used_lines:
        row = form.cleaned_data
        cause = (row["cause"] or "NOT_KNOWN") if row["target"] == "DIED" else ""
        lines.append(
            Line(
                row["kind"], row["of_class"], row["source"], row["target"], row["heads"],
                to_class=row["to_class"], cause=cause, batch=row["batch"], turtles=row["turtles"],
            )
        )  # fmt: skip
        if row["batch"] and row["source"] in dict(SOURCES):
            # The ledger takes a batch that stands already as it is, and makes the one that is new.
            batches[row["batch"]] = BatchDraft(
                code=row["batch"],
                source=row["source"],
                arrived_on=typed["day"],
                party=typed["party"],
                generation=typed["generation"] or "NOT_KNOWN",
            )
    draft = Draft(
        key=typed["key"],
        happened_on=typed["day"],
        lines=tuple(lines),
        made_as=original.made_as if original is not None else "OFFICE",
        note=typed["note"],
        batches=tuple(batches.values()),
    )
    if original is not None:
        draft = replace(
            draft,
            pond=original.pond.code if original.pond else "",
            papers=tuple(move_papers(original)),
            counts=_counts(original, draft),
            tasks=tuple(sorted(original.tasks_done.values_list("task", flat=True))),
        )
    return draft, office.used_lines


def place_refusal(office: OfficeMove, refusal: LedgerRefusal, forms_of_lines: list[LineForm]) -> None:
    """Put a refusal beside the line it is about, else on the page's head."""
    name = {"happened_on": "day", "pond": "source"}.get(refusal.field, refusal.field)
    if refusal.line is not None and refusal.line < len(forms_of_lines):
        form = forms_of_lines[refusal.line]
        form.add_error(name if name in form.fields else "heads", refusal.sentence)
    else:
        office.head.add_error(name if name in office.head.fields else None, refusal.sentence)


def _counts(original: Move, draft: Draft) -> tuple[CountDraft, ...]:
    """Return the first counts of an opening anew: its figures follow the lines, how known stays."""
    counts = []
    for count in original.counts.select_related("pond", "kind").order_by("pk"):
        figures: dict[str, float | None] = {}
        for of_class, name in FIGURES.items():
            heads = sum(
                line.heads
                for line in draft.lines
                if (line.kind, line.of_class, line.target) == (count.kind.code, of_class, count.pond.code)
            )
            was = getattr(count, name)
            figures[name] = float(heads) if heads or was is not None else None
            figures[f"{name}_se"] = getattr(count, f"{name}_se") or (0.0 if heads else None)
        counts.append(
            CountDraft(
                pond=count.pond.code,
                kind=count.kind.code,
                as_of=draft.happened_on,
                how_known=count.how_known,
                **figures,  # type: ignore[arg-type]
            )
        )
    return tuple(counts)
