"""All deaths of a farm watched together: which alarms each part may raise, so that the whole stays quiet."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from stock.advisor.farm_watch import DeathSignal, watch_deaths, worst_by_pond
from stock.advisor.farm_watch_causes import LopsidedSignal, lopsided

__all__ = [
    "ALARMS",
    "ALL",
    "BATCHES",
    "FEMALES",
    "JUVENILES",
    "MALES",
    "UNSEEN",
    "FarmSignals",
    "month_signals",
    "still_standing",
    "watch_farm",
]

ALL, FEMALES, MALES, JUVENILES = "all", "females", "males", "juveniles"
ALARMS = MappingProxyType(
    {ALL: (0.6, 0.4), FEMALES: (0.08, 0.06), MALES: (0.08, 0.06), JUVENILES: (0.06, 0.04)}
)
"""False alarms a farm-year allowed to the slow and the burst rule of each series. They are upper bounds; what a
farm really gets is about half (``manage.py bench watch``), so with all other parts it stays below one."""
LOPSIDED, BATCHES, UNSEEN = 0.10, 0.15, 0.10
YEAR = 12


@dataclass(frozen=True)
class FarmSignals:
    """
    What the watch of deaths points to, and ponds that lose one sex.

    Of one month at most one series of adults a pond; with the month before at most one signal a pond and series.
    Where that is the older one, as the worse, the month's own signal stands ``behind`` it: whoever has answered the
    older one must still be told of the newer.
    """

    deaths: tuple[tuple[str, DeathSignal], ...]
    lopsided: tuple[LopsidedSignal, ...]
    behind: tuple[tuple[str, DeathSignal], ...] = ()


def watch_farm(
    deaths: Mapping[str, ArrayLike], head_days: Mapping[str, ArrayLike], month_of_year: ArrayLike
) -> FarmSignals:
    """
    Watch all ponds for more deaths than are normal in each, in the last month and in the one before it.

    What signals by the end of a month stands through the next one: a month that turns answers nothing, and the
    dead of its last days are logged in the next. It raises no alarm that the month's own last day does not.

    Parameters
    ----------
    deaths, head_days : mapping of str to array, shape (ponds, months)
        By `ALL` (adults, the unsexed among them), `FEMALES`, `MALES` and, where any stand, `JUVENILES`. Give
        the last month's head-days as if it went on to its end.
    month_of_year : array of int, shape (months,)
        1 to 12.

    Returns
    -------
    FarmSignals
        A signal's ``last`` tells which of the two months it is of.

    Raises
    ------
    ValueError
        If a figure is impossible or of the wrong shape.
    """
    months = np.asarray(month_of_year)
    now = month_signals(deaths, head_days, months)
    if months.size < 2:
        return now
    before = month_signals(_but_the_last(deaths), _but_the_last(head_days), months[:-1])
    return still_standing(now, before)


def _but_the_last(rows: Mapping[str, ArrayLike]) -> dict[str, ArrayLike]:
    return {series: np.asarray(of_series)[:, :-1] for series, of_series in rows.items()}


def still_standing(now: FarmSignals, before: FarmSignals) -> FarmSignals:
    """
    Return the signals of a month and those of the month before that it does not take up.

    A pond's signal of the same series takes the older one up where it speaks of its months too; else the one
    of the larger excess stands.
    """
    deaths = {(series, signal.pond): signal for series, signal in now.deaths}
    behind = []
    for series, signal in before.deaths:
        newer = deaths.get((series, signal.pond))
        if newer is not None and newer.first > signal.first and newer.excess < signal.excess:
            behind.append((series, newer))
        elif newer is not None:
            continue
        deaths[series, signal.pond] = signal
    uneven = {(one.pond, one.sex): one for one in (*before.lopsided, *now.lopsided)}
    return FarmSignals(
        tuple(sorted(((series, one) for (series, _), one in deaths.items()), key=lambda two: -two[1].excess)),
        tuple(sorted(uneven.values(), key=lambda one: -one.excess)),
        tuple(behind),
    )


def month_signals(
    deaths: Mapping[str, ArrayLike], head_days: Mapping[str, ArrayLike], month_of_year: ArrayLike
) -> FarmSignals:
    """
    Name the ponds in which more die than is normal, by the last month alone; all else as in `watch_farm`.

    A pond whose adults signal together is named for them, else for the class that does.
    """
    named: dict[int, tuple[str, DeathSignal]] = {}
    found: list[tuple[str, DeathSignal]] = []
    for series, (slow, burst) in ALARMS.items():
        if series not in deaths:
            continue
        signals = watch_deaths(
            deaths[series], head_days[series], month_of_year, slow_alarms=slow, burst_alarms=burst
        )
        for pond, signal in worst_by_pond(signals).items():
            if series == JUVENILES:
                found.append((series, signal))
            else:
                named.setdefault(pond, (series, signal))
    died = [np.asarray(deaths[series], dtype=float) for series in (FEMALES, MALES)]
    days = [np.asarray(head_days[series], dtype=float) for series in (FEMALES, MALES)]
    uneven = lopsided(
        np.stack([rows[:, -YEAR:].sum(axis=1) for rows in died], axis=1),
        np.stack([rows[:, -YEAR:].sum(axis=1) for rows in days], axis=1),
        [float(rows.sum()) for rows in died],
        [float(rows.sum()) for rows in days],
        alarms=LOPSIDED,
    )
    both = [*named.values(), *found]
    return FarmSignals(tuple(sorted(both, key=lambda one: -one[1].excess)), uneven)
