"""The watch of the farm on a day: rows to arrays, the advisor's rules, and signals by pond and kind. Writes nothing."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from stock.advisor.farm_watch import DeathSignal
from stock.advisor.farm_watch_all import ALL, BATCHES, UNSEEN, watch_farm
from stock.advisor.farm_watch_causes import (
    WINDOWS,
    BatchSignal,
    LopsidedSignal,
    UnseenSignal,
    after_batch,
    unseen_losses,
)
from stock.advisor.farm_watch_normal import DAYS_A_YEAR, Normal, normal_deaths
from stock.kept_answers import KeptAnswers
from stock.standing_rows import CountUsed, counts_used, stamp
from stock.watch_rows import (
    Arrival,
    PondKindId,
    WatchMonths,
    arrivals,
    batches_since,
    marked_dead,
    watch_months,
)

Floats = NDArray[np.float64]
ANSWERS_KEPT = 4
COUNTS_LATELY = 365
"""A count older than this points to nothing any more: a newer one is due."""
ONE_SIDED = 0.975


@dataclass(frozen=True)
class NormalMonth:
    """Deaths of a pond and kind in a month beside those normal there; `most` is the most still taken for chance."""

    died: int
    expected: float
    most: int


@dataclass(frozen=True)
class CountPair:
    """A count beside the one before it: heads counted before, net of booked moves and deaths, and counted now."""

    before: CountUsed
    now: CountUsed
    moved: int
    died: int

    @property
    def should(self) -> float:
        counted = self.before.counted
        return counted.females + counted.males + self.moved - self.died

    @property
    def found(self) -> float:
        return self.now.counted.females + self.now.counted.males

    @property
    def se(self) -> float:
        return math.sqrt(
            sum(
                counted.female_se**2 + counted.male_se**2 + 2 * counted.covariance
                for counted in (self.before.counted, self.now.counted)
            )
        )


@dataclass(frozen=True)
class FarmWatch:
    """
    What the watch says of a farm on a day, before anybody's notes.

    Parameters
    ----------
    day : date
    read : WatchMonths
    normal : Normal or None
        Of all adults; None on a farm without heads.
    deaths : tuple of (str, DeathSignal)
    lopsided : tuple of LopsidedSignal
    batches : tuple of (Arrival, BatchSignal, int)
        With those of the deaths that were marked turtles of the batch.
    unseen : tuple of (PondKindId, CountPair, UnseenSignal)
    behind : tuple of (str, DeathSignal)
        Of deaths too: see `FarmSignals`.
    """

    day: dt.date
    read: WatchMonths
    normal: Normal | None
    deaths: tuple[tuple[str, DeathSignal], ...]
    lopsided: tuple[LopsidedSignal, ...]
    batches: tuple[tuple[Arrival, BatchSignal, int], ...]
    unseen: tuple[tuple[PondKindId, CountPair, UnseenSignal], ...]
    behind: tuple[tuple[str, DeathSignal], ...] = ()

    def month_of(self, where: PondKindId) -> NormalMonth | None:
        """Return the last month of a pond and kind beside what the months before foretell; None if not watched."""
        if self.normal is None or where not in self.read.places:
            return None
        place = self.read.places.index(where)
        over = float(self.normal.exposure[place, -1]) * self.read.share_over
        shape, scale = (float(of_ponds[place]) for of_ponds in self.normal.learnt(slice(-1)))
        mean = shape / scale * over
        size = 1 / (1 / shape + self.normal.varies)
        most = int(stats.nbinom.ppf(ONE_SIDED, size, size / (size + mean))) if mean > 0 else 0
        return NormalMonth(int(self.normal.deaths[place, -1]), mean, most)


_answers: KeptAnswers[FarmWatch] = KeptAnswers(ANSWERS_KEPT)


def farm_watch(day: dt.date) -> FarmWatch:
    """Return the watch of a day: one query where nothing changed since this process last asked, else eleven at most."""
    return _answers.of((day, stamp()), lambda: _ask(day))


def forget() -> None:
    """Drop the answers kept in this process: for tests that count queries."""
    _answers.forget()


def _ask(day: dt.date) -> FarmWatch:
    read = watch_months(day)
    if not read.places:
        return FarmWatch(day, read, None, (), (), (), ())
    of_year = [month.month for month in read.months]
    found = watch_farm(read.deaths, read.head_days, of_year)
    normal = normal_deaths(
        read.deaths[ALL], read.head_days[ALL], of_year, learn_through=max(1, len(read.months) - 1)
    )
    return FarmWatch(
        day,
        read,
        normal,
        found.deaths,
        found.lopsided,
        _batches(day, read, normal, {signal.pond for _, signal in found.deaths}),
        _unseen(day, read),
        found.behind,
    )


def _batches(
    day: dt.date, read: WatchMonths, normal: Normal, signaling: Collection[int]
) -> tuple[tuple[Arrival, BatchSignal, int], ...]:
    """
    Hold the batches of the last months against ponds without them, those with a trouble of their own left out.

    The deaths are those of the windows from its arrival, so that a batch watched for longer raises no more alarms.
    """
    came = arrivals(day)
    is_well = np.array([place not in signaling for place in range(len(read.places))])
    if not came:
        return ()
    found = []
    days_watched = (day - batches_since(day)).days
    for place, arrival in enumerate(came):
        with_it = np.array([where in arrival.ponds for where in read.places])
        since = [arrival.ponds.get(where, arrival.batch.arrived_on) for where in read.places]
        daily = _daily_normal(normal, read, before=arrival.batch.arrived_on)
        sums: dict[str, list[Any]] = {"deaths": [], "expected": [], "elsewhere": [], "elsewhere_expected": []}
        for days in WINDOWS:
            died = _died_since(day, read, since, days)
            lasted = np.array([min(days, (day - on).days + 1) for on in since])
            sums["deaths"].append(int(died[with_it].sum()))
            sums["expected"].append(float((daily * days)[with_it].sum()))
            sums["elsewhere"].append(int(died[~with_it & is_well].sum()))
            sums["elsewhere_expected"].append(float((daily * lasted)[~with_it & is_well].sum()))
        signal = after_batch(
            place,
            **sums,
            varies=normal.varies + 1 / (normal.shape + normal.deaths[with_it].sum()),
            batches_a_year=len(came) * 365 / days_watched,
            alarms=BATCHES,
        )
        if signal is not None:
            found.append((arrival, signal))
    dead = marked_dead([arrival.batch.pk for arrival, _ in found], day) if found else []

    def marked(arrival: Arrival, days: int) -> int:
        """Count the marked of the batch among those that died within so many days of its coming to their pond."""
        return sum(
            batch == arrival.batch.pk
            and where in arrival.ponds
            and 0 <= (on - arrival.ponds[where]).days < days
            for batch, where, on in dead
        )

    return tuple((arrival, signal, marked(arrival, signal.days)) for arrival, signal in found)


def _daily_normal(normal: Normal, read: WatchMonths, *, before: dt.date) -> Floats:
    """Return each place's normal deaths a day now, as learnt before the month of a day."""
    through = max(1, sum(month < before.replace(day=1) for month in read.months))
    shape = normal.shape + normal.deaths[:, :through].sum(axis=1)
    scale = normal.scale + normal.exposure[:, :through].sum(axis=1)
    last = read.months[-1]
    length = (dt.date(last.year + last.month // 12, last.month % 12 + 1, 1) - last).days
    return shape / scale * normal.exposure[:, -1] / length


def _died_since(day: dt.date, read: WatchMonths, since: list[dt.date], days: int) -> Floats:
    """Return the adults of each place that died within so many days from its own day on."""
    died = np.zeros(len(read.places))
    place_of = {where: place for place, where in enumerate(read.places)}
    recent = read.rows[(read.rows["died"] > 0) & (read.rows["day"] >= batches_since(day).toordinal())]
    for row in recent:
        place = place_of.get((int(row["pond"]), int(row["kind"])))
        if place is not None and 0 <= int(row["day"]) - since[place].toordinal() < days:
            died[place] += int(row["died"])
    return died


def _unseen(day: dt.date, read: WatchMonths) -> tuple[tuple[PondKindId, CountPair, UnseenSignal], ...]:
    """Hold each count of the last years against the one before it and what was booked in between: one query."""
    pairs: list[tuple[PondKindId, CountPair, bool]] = []
    first = read.months[0]
    for where, counts in counts_used(day).items():
        # Two counts of one day speak of the same heads; the later one holds.
        of_days = {count.as_of: count for count in counts if count.as_of >= first}
        rows = read.rows[(read.rows["pond"] == where[0]) & (read.rows["kind"] == where[1])]
        ordered = list(of_days.values())
        for before, now in itertools.pairwise(ordered):
            after = before.as_of.toordinal() + (0 if not before.is_opening else -1)
            between = rows[(rows["day"] > after) & (rows["day"] <= now.as_of.toordinal())]
            moved = int(between["came"].sum() - between["went"].sum())
            pair = CountPair(before, now, moved, int(between["died"].sum()))
            is_newest = now is ordered[-1] and (day - now.as_of).days <= COUNTS_LATELY
            pairs.append((where, pair, is_newest))
    if not pairs:
        return ()
    years = [
        (pair.now.as_of - pair.before.as_of).days / DAYS_A_YEAR * max(0.0, (pair.should + pair.found) / 2)
        for _, pair, _ in pairs
    ]
    span = max(1.0, len(read.months) / 12)
    found = unseen_losses(
        [pair.should - pair.found for _, pair, _ in pairs],
        [pair.se for _, pair, _ in pairs],
        years,
        [newest for *_, newest in pairs],
        counts_a_year=len(pairs) / span,
        alarms=UNSEEN,
    )
    return tuple((pairs[signal.pond][0], pairs[signal.pond][1], signal) for signal in found)


def expected_by_month(found: FarmWatch, place: int) -> Mapping[dt.date, float]:
    """Return a place's normal deaths month by month, by its own rate shrunk to the farm's and the season."""
    if found.normal is None:
        return {}
    rate = float(found.normal.pond_rates()[place])
    return {
        month: rate * float(over)
        for month, over in zip(found.read.months, found.normal.exposure[place], strict=True)
    }
