"""Which seasons a list of the hatch log reads: the last few, one, or all; all only when asked, for the book grows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db.models import QuerySet

from ponds.seasons import Season, season_of
from ponds.svg_marks import day_text

SHOWN = 3
ALL = "all"


def seasons_of(rows: QuerySet, day: str) -> list[int]:
    """Return the seasons that a book has rows of, newest first, each the year it ends in: one query."""
    return sorted({season_of(month).year for month in rows.dates(day, "month")}, reverse=True)


def chosen(asked: Mapping[str, str], seasons: Sequence[int]) -> list[int] | None:
    """Return the seasons to read of what a request asks for; None for all of them."""
    said = asked.get("season", "")
    if said == ALL or (not said and asked.get("q", "").strip()):
        # Whoever searches for a word means the whole book.
        return None
    if said.isdecimal() and int(said) in seasons:
        return [int(said)]
    return list(seasons[:SHOWN])


def choices(seasons: Sequence[int]) -> list[tuple[str, str]]:
    """Return what the filter offers: the last few first, as what is shown unasked."""
    if len(seasons) <= SHOWN:
        return [("", "any"), *((str(year), _words(year)) for year in seasons)]
    named = [(str(year), _words(year)) for year in seasons]
    return [("", f"the last {SHOWN}"), *named, (ALL, f"all {len(seasons)}")]


def _words(year: int) -> str:
    return f"{year} (from {day_text(Season(year).starts_on)})"
