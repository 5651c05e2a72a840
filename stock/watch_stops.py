"""Where the watch asks that nothing move, for pages that advise moves. Writes nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence

from ponds.models import Pond
from stock.templatetags.stock_format import day as day_words
from stock.watch_page import WatchLine, signals_on

IN_SPITE = "in_spite"
AFTER = "after the veterinarian has been and the signal is noted"


def stops_at(
    codes: Collection[str], day: dt.date, *, looked_back_on: dt.date | None = None
) -> list[WatchLine]:
    """
    Return the signals that ask to stop all moves of these ponds, until somebody has looked into them.

    A page that looks back, as a month's review does, also names the day it looks at (`looked_back_on`): what
    signalled then stops moves too, unless it was noted since.
    """
    if not codes:
        return []
    lines = signals_on(day)
    if looked_back_on is not None and looked_back_on < day:
        named = {(line.pond_id, line.kind_id, line.subject) for line in lines}
        lines += [
            line
            for line in signals_on(looked_back_on, noted_by=day)
            if (line.pond_id, line.kind_id, line.subject) not in named
        ]
    stopping = [line for line in lines if line.asks_to_stop]
    if not stopping:
        return []
    asked = set(Pond.objects.filter(code__in=codes).values_list("pk", flat=True))
    return [line for line in stopping if asked & {pond for pond, _ in line.ponds}]


def stops_of(ponds: Iterable[Pond], day: dt.date) -> list[WatchLine]:
    """Return the signals of a day that ask to stop all moves of any of these ponds: four queries where it is kept."""
    asked = {pond.pk for pond in ponds}
    if not asked:
        return []
    return [
        line for line in signals_on(day) if line.asks_to_stop and asked & {pond for pond, _ in line.ponds}
    ]


def booked_words(ponds: Sequence[Pond], stops: Iterable[WatchLine], day: dt.date) -> list[str]:
    """Say for each signal which of these ponds had moves booked in spite of it; a fact is never refused."""
    said = []
    for line in stops:
        named = {pond for pond, _ in line.ponds}
        codes = " and ".join(dict.fromkeys(pond.code for pond in ponds if pond.pk in named))
        if codes:
            said.append(
                f"The watch of {day_words(day)}, pond {codes}: {line.kind_name}, {line.sentence} {line.remedy} "
                f"What was done is booked as it was; move more only {AFTER}."
            )
    return said


def stopped_ponds(codes: Collection[str], stops: Collection[WatchLine]) -> list[str]:
    """Return which of these ponds the signals speak of, in letter order; a query where there are signals."""
    if not stops:
        return []
    named = {pond for line in stops for pond, _ in line.ponds}
    found = Pond.objects.filter(code__in=codes, pk__in=named).values_list("code", flat=True)
    return sorted(found, key=lambda code: (len(code), code))


def stop_words(stopped: Sequence[str]) -> str:
    """Say why no task is made for ponds where the watch asks to stop all moves."""
    return (
        f"The watch asks to stop all moves of pond {' and '.join(stopped)}. Say below that it is for later, or leave "
        f"{'it' if len(stopped) == 1 else 'them'} out."
    )
