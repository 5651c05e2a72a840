"""The demo farm's days: written so that its last day is yesterday whenever it is loaded. Pure.

`Y-2 05-14` is 14 May of the year two before the year of loading, `D-12` is 12 days before yesterday, `D+9`
is 9 days after yesterday. `{Y-2}` inside a text becomes that year.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

YEAR_AND_DAY = re.compile(r"Y-(\d+) (\d\d)-(\d\d)\Z")
FROM_YESTERDAY = re.compile(r"D([+-]\d+)\Z")
YEAR_IN_TEXT = re.compile(r"\{Y-(\d+)\}")
JUST_LOGGED_DAYS = 3


@dataclass(frozen=True)
class DemoDays:
    """The days of the demo files, seen from the day of loading."""

    today: dt.date

    @property
    def last(self) -> dt.date:
        """The last day on which anything happened: yesterday."""
        return self.today - dt.timedelta(days=1)

    def day(self, written: str) -> dt.date:
        """
        Return the calendar day of a written one.

        Raises
        ------
        ValueError
            If it is not written in one of the two ways, or there is no such day.
        """
        if found := YEAR_AND_DAY.match(written):
            years, month, day = (int(part) for part in found.groups())
            return dt.date(self.today.year - years, month, day)
        if found := FROM_YESTERDAY.match(written):
            return self.last + dt.timedelta(days=int(found[1]))
        raise ValueError(f"“{written}” is not a day of the demo farm: write Y-2 05-14, D-12 or D+9.")

    def maybe(self, written: str) -> dt.date | None:
        """Return the day, None for an empty cell."""
        return self.day(written) if written else None

    def has_come(self, written: str) -> bool:
        """Say whether a written day lies on or before yesterday; what lies after it is left out."""
        return self.day(written) <= self.last

    def words(self, text: str) -> str:
        """Return a text with its years filled in."""
        return YEAR_IN_TEXT.sub(lambda found: str(self.today.year - int(found[1])), text)


def is_just_logged(written: str) -> bool:
    """Say whether a written day is one of the last few, which the owner has not looked at yet."""
    found = FROM_YESTERDAY.match(written)
    return found is not None and -JUST_LOGGED_DAYS <= int(found[1]) <= 0
