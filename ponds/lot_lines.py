"""Every egg lot with its sums, when it should hatch and what is due: what the list shows, and what waits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from ponds import incubation
from ponds.hatch_log import LotHatch, by_lot
from ponds.incubation import Due, HatchWindow, due, hatch_window
from ponds.lots import days_by_kind
from ponds.models import EggLot
from ponds.seasons import Season, season_of

LONGEST_IN = 365
"""Days after which nobody waits for a lot any more."""


@dataclass(frozen=True)
class LotLine:
    """A lot with its sums, when it should hatch and what is due."""

    sums: LotHatch
    window: HatchWindow | None
    waits: Due

    @property
    def code(self) -> str:
        return self.sums.lot.code

    @property
    def kind(self) -> str:
        return self.sums.lot.kind.common_name

    @property
    def kind_code(self) -> str:
        return self.sums.lot.kind.code

    @property
    def pond_codes(self) -> tuple[str, ...]:
        return self.sums.ponds

    @property
    def ponds(self) -> str:
        return " ".join(self.sums.ponds)

    @property
    def set_on(self) -> dt.date:
        return self.sums.lot.set_on

    @property
    def season(self) -> int:
        return season_of(self.set_on).year

    @property
    def incubator(self) -> str:
        return self.sums.lot.incubator

    @property
    def temperature(self) -> int | None:
        return self.sums.lot.temperature_mk

    @property
    def baskets(self) -> int:
        return self.sums.baskets

    @property
    def eggs(self) -> int:
        return self.sums.eggs

    @property
    def hatched(self) -> int:
        return self.sums.hatched

    @property
    def clear(self) -> int:
        return self.sums.clear

    @property
    def dead(self) -> int:
        return self.sums.dead

    @property
    def left(self) -> int:
        return self.sums.left

    @property
    def expected_on(self) -> dt.date | None:
        return self.window.expected_on if self.window else None

    @property
    def due(self) -> str:
        return self.waits.what

    @property
    def note(self) -> str:
        return self.sums.lot.note

    @property
    def urgency(self) -> tuple[int, int]:
        """Orders the most pressing first: what is due, then since when; of the rest, the newest first."""
        place = incubation.DUES.index(self.waits.what)
        if place <= incubation.DUES.index(incubation.CANDLE) and self.waits.on:
            return place, self.waits.on.toordinal()
        return place, -self.set_on.toordinal()


def lots_waiting(today: dt.date) -> list[LotLine]:
    """Return the lots to candle, to watch hatch, or late, of those set within a year: five queries."""
    pressing = (incubation.LATE, incubation.HATCH, incubation.CANDLE)
    lines = lot_lines(today, set_since=today - dt.timedelta(days=LONGEST_IN))
    return [line for line in lines if line.waits.what in pressing]


def lot_lines(
    today: dt.date, *, set_since: dt.date | None = None, seasons: Sequence[int] | None = None
) -> list[LotLine]:
    """
    Return the lots that stand, the most pressing first: five queries.

    Parameters
    ----------
    today : date
        The farm's day.
    set_since : date, optional
        Only lots set on this day or later, so that the cost does not grow with the farm's age.
    seasons : sequence of int, optional
        Only lots set in these seasons, which follow on each other, each the year it ends in.

    Returns
    -------
    list of LotLine
        `waits.what` is one of `incubation.DUES`: late, hatch due and candle come first, the longest waiting first.
    """
    days = days_by_kind()
    lines = []
    lots = EggLot.objects.standing()
    if set_since is not None:
        lots = lots.filter(set_on__gte=set_since)
    if seasons is not None:
        years = [Season(year) for year in seasons]
        lots = (
            lots.filter(
                set_on__range=(min(one.starts_on for one in years), max(one.ends_on for one in years))
            )
            if years
            else lots.none()
        )
    for sums in by_lot(lots):
        window = hatch_window(sums.lot.set_on, days.get(sums.lot.kind_id), sums.lot.temperature_mk)
        waits = due(
            today=today,
            set_on=sums.lot.set_on,
            window=window,
            eggs=sums.eggs,
            is_candled=sums.is_candled,
            is_done=sums.is_done,
        )
        lines.append(LotLine(sums, window, waits))
    return sorted(lines, key=lambda line: line.urgency)
