"""The filters of the Ponds page and the day of a pond's page."""

from __future__ import annotations

import datetime as dt

from django import forms

from ponds.computed_lists import RowFilterForm
from ponds.models import PondState
from ponds.svg_marks import day_text
from stock.tables.ponds import PondRow
from stock.today import is_count_old

WRONG, OLD_COUNT = "wrong", "old-count"


class PondFilterForm(RowFilterForm):
    """Show the ponds of one kind, of one state, or that stand in one way."""

    kind = forms.ChoiceField(required=False)
    state = forms.ChoiceField(required=False, choices=[("", "Any state"), *PondState.State.choices])
    verdict = forms.ChoiceField(label="How it stands", required=False)

    def __init__(self, asked, *, rows: list[PondRow]) -> None:
        super().__init__(asked)
        kinds = sorted({(row.facts.kind_code, row.kind) for row in rows}, key=lambda kind: kind[1])
        ranked = sorted(rows, key=lambda row: row.rank)
        words = list(dict.fromkeys(tag.words for row in ranked for tag in row.facts.tags))
        self.fields["kind"].choices = [("", "Every kind"), *kinds]  # type: ignore[attr-defined]
        self.fields["verdict"].choices = [  # type: ignore[attr-defined]
            ("", "Every one"),
            (WRONG, "anything to look at"),
            (OLD_COUNT, "count too old, or never counted"),
            *((word, word) for word in words),
        ]

    def admits(self, row: PondRow) -> bool:
        chosen = self.cleaned_data
        if chosen["kind"] and row.facts.kind_code != chosen["kind"]:
            return False
        if chosen["state"] and row.facts.use.code != chosen["state"]:
            return False
        if chosen["verdict"] == WRONG:
            return bool(row.facts.all_concerns)
        if chosen["verdict"] == OLD_COUNT:
            return is_count_old(row.facts)
        return not chosen["verdict"] or chosen["verdict"] in {tag.words for tag in row.facts.tags}


class DayForm(forms.Form):
    """The day a pond is looked at; empty is today."""

    on = forms.DateField(
        label="On another day",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": "This is not a day. Write it as year-month-day, such as 2026-06-30."},
    )

    def __init__(self, asked, *, today: dt.date, opened_on: dt.date) -> None:
        super().__init__(asked)
        self.today, self.opened_on = today, opened_on

    def clean_on(self) -> dt.date | None:
        on = self.cleaned_data["on"]
        if on is not None and on > self.today:
            raise forms.ValidationError(
                f"{day_text(on)} is still to come; the book ends today, {day_text(self.today)}. Give "
                "today or an earlier day."
            )
        if on is not None and on < self.opened_on:
            raise forms.ValidationError(
                f"The pond opened on {day_text(self.opened_on)}; give that day or a later one, not {day_text(on)}."
            )
        return on
