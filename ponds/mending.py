"""Who may put right what stands in the nest book and the hatch log."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ponds.roles import HAND, OWNER, role_of
from ponds.svg_marks import day_text

HAND_DAYS = 31
"""So many days after entering a row a hand may still mend it; common practice of books closed by the month."""


def why_not_mended(row: Any, by: Any, today: dt.date, *, book: str = "the nest book") -> str:
    """Say why a person may not correct or take back a row, "" where they may; `by` None is the program itself."""
    if by is None or role_of(by) == OWNER:
        return ""
    if role_of(by) != HAND:
        return f"Only an owner or a hand may correct {book}."
    if row.by_id != by.pk:
        who = row.by.get_username() if row.by else "a sheet or the start of the book"
        return f"This row was entered by {who}. You may correct your own; ask an owner for this one."
    last = row.recorded_at.date() + dt.timedelta(days=HAND_DAYS)
    if today > last:
        return (
            f"You entered this row on {day_text(row.recorded_at)} and could correct it until {day_text(last)}. "
            "Ask an owner to correct it now."
        )
    return ""
