"""The days and the pond of an extract."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms

from ponds.svg_marks import day_text
from stock.forms.fields import DayField

MOST_DAYS = 366 * 5 + 2


class ExtractForm(forms.Form):
    """From which day to which; a year back to today where nothing is said."""

    since = DayField(label="From", required=False)
    until = DayField(label="To", required=False)

    def __init__(self, asked: Any, *, today: dt.date) -> None:
        start = {"since": (today - dt.timedelta(days=364)).isoformat(), "until": today.isoformat()}
        super().__init__({name: asked.get(name) or start[name] for name in start})
        self.today = today

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        since, until = typed.get("since"), typed.get("until")
        if until is not None and until > self.today:
            self.add_error(
                "until",
                f"{day_text(until)} is after today, {day_text(self.today)}. Give today or an earlier day.",
            )
        if since is not None and until is not None:
            if since > until:
                self.add_error("since", f"{day_text(since)} is after {day_text(until)}. Give an earlier day.")
            elif (until - since).days > MOST_DAYS:
                self.add_error("since", "That is more than five years. Ask for five years at a time.")
        return typed
