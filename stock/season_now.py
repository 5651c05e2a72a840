"""A season as it stands on a day: what was expected, what has been dug, what is expected now, who falls behind.

The bridge from what was learnt (`stock.yield_book`) and the running nest book to the season's forecast. Kept in this
process until anything that it reads changes.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ponds.models import Pond
from ponds.seasons import Season
from stock import yield_rows
from stock.advisor.season_learning import FigureLearnt
from stock.advisor.yields import (
    CURVES,
    Behind,
    ComingSeason,
    LearntCurve,
    SeasonForecast,
    SeasonPrior,
    Spread,
    draw_eggs,
    draw_figure,
    falling_behind,
    forecast,
    forecast_hatched,
    learn_curve,
    spread_of,
)
from stock.kept_answers import KeptAnswers, content_of
from stock.pond_facts import pond_kinds
from stock.pond_rows import KindRow
from stock.yield_book import SEASONS_READ, SEED, YieldBook, laying_females, yield_book
from stock.yield_rows import WEEKS, NestSums

Floats = NDArray[np.float64]
PondKindId = tuple[int, int]
ANSWERS_KEPT = 4
RUNNING_DRAWS = 2000


@dataclass(frozen=True)
class Limits:
    """A figure of a season: one season in twenty falls below `low`, one above `high`."""

    low: float
    expected: float
    high: float


@dataclass(frozen=True)
class Yield:
    """Nests, eggs and hatched eggs of a season."""

    nests: Limits
    eggs: Limits
    hatched: Limits


@dataclass(frozen=True)
class PondSeason:
    """
    A pond and kind in a season.

    Parameters
    ----------
    place : int
        Where it stands in the figures learnt.
    females : float
        Settled-equivalent females.
    before, now : Yield
        Expected before the first nest, and from what has been dug. The same where the kind has no nesting dates.
    dug, opened, eggs : int
        Nests, nests opened and the eggs in them, through the last whole week.
    by_now : float or None
        Nests it should have by then, the farm's other ponds telling how far the season is.
    is_behind : bool
    behind_since : date or None
        First day after the week in which it fell behind.
    chance : float or None
        Chance that a pond in order has dug so few by now.
    """

    place: int
    pond_id: int
    pond: str
    kind_id: int
    kind_code: str
    kind_name: str
    females: float
    before: Yield
    now: Yield
    dug: int
    opened: int
    eggs: int
    by_now: float | None
    is_behind: bool
    behind_since: dt.date | None
    chance: float | None

    @property
    def against(self) -> float | None:
        """Nests dug for each one that should be by now; None where hardly any should."""
        return self.dug / self.by_now if self.by_now is not None and self.by_now >= 1 else None


@dataclass(frozen=True)
class KindSeason:
    """
    All ponds of one kind in a season.

    Parameters
    ----------
    before, now : Yield
        Of all its ponds together; the limits are not the sums of the ponds' limits.
    curve : LearntCurve or None
        None where no nesting dates are known.
    running : SeasonForecast or None
        With the curve.
    behind : Behind or None
    dug_by_week : array, shape (weeks so far,)
    eggs_by_week : array, shape (53,) or None
        Expected eggs of each week, dug weeks by the nests dug.
    hatch_share : float
        Expected hatched eggs for each egg.
    """

    kind: KindRow
    ponds: tuple[PondSeason, ...]
    before: Yield
    now: Yield
    curve: LearntCurve | None
    running: SeasonForecast | None
    behind: Behind | None
    dug_by_week: Floats
    eggs_by_week: Floats | None
    hatch_share: float
    notes: tuple[str, ...]

    @property
    def named(self) -> tuple[PondSeason, ...]:
        """Those that fall behind, the one farthest behind first."""
        return tuple(sorted((one for one in self.ponds if one.is_behind), key=lambda one: one.chance or 0.0))


@dataclass(frozen=True)
class SeasonNow:
    """
    A season on a day.

    Parameters
    ----------
    season : Season
    day : date
        The day asked about, at most the season's last.
    through : date
        Last day of the last whole week; the day before the season begins where none is over.
    weeks : int
        Whole weeks over.
    kinds : tuple of KindSeason
        Those of which most nests were expected first.
    dug_since : int
        Nests dug after `through`, not read yet.
    without_place : int
        Nests of the season where no settled female stands by the book and none ever did.
    """

    season: Season
    day: dt.date
    through: dt.date
    weeks: int
    kinds: tuple[KindSeason, ...]
    dug_since: int
    without_place: int
    book: YieldBook

    @property
    def is_past(self) -> bool:
        """Whether the season is over on that day, so that nothing of it is expected any more."""
        return self.day >= self.season.ends_on

    @property
    def ponds(self) -> tuple[PondSeason, ...]:
        return tuple(one for kind in self.kinds for one in kind.ponds)

    @property
    def named(self) -> tuple[PondSeason, ...]:
        """Every pond that falls behind."""
        return tuple(one for kind in self.kinds for one in kind.named)

    def of(self, pond_id: int, kind_id: int) -> PondSeason | None:
        """Return one pond and kind, None where nothing is learnt or expected of it."""
        return next((one for one in self.ponds if (one.pond_id, one.kind_id) == (pond_id, kind_id)), None)


_answers: KeptAnswers[SeasonNow] = KeptAnswers(ANSWERS_KEPT)
# Nests dug since the last whole week change the stamp, and nothing that a kind's forecast rests on.
_kinds: KeptAnswers[KindSeason] = KeptAnswers(4 * ANSWERS_KEPT)


def season_now(day: dt.date, season: Season | None = None) -> SeasonNow:
    """
    Return a season as it stands at the end of a day.

    The season of `day` by default. Four queries where nothing changed since it was last asked in this process; else
    some eighty, whatever the number of ponds and the age of the farm.

    Parameters
    ----------
    day : date
        Not after today: nests are read through it. For a season to come, the females of this day.
    season : Season, optional
        That of the day, or another.
    """
    book = yield_book(day, season)
    season = book.season
    read_on = min(day, season.ends_on)
    return _answers.of((*book.stamp, read_on), lambda: _read(book, season, read_on))


def forget() -> None:
    """Drop the answers kept in this process: for tests that count queries."""
    _answers.forget()
    _kinds.forget()


def whole_weeks(season: Season, day: dt.date) -> int:
    """Return how many weeks of a season are over at the end of a day; all 53 once the season is."""
    if day >= season.ends_on:
        return WEEKS
    return max(0, ((day - season.starts_on).days + 1) // 7)


def _read(book: YieldBook, season: Season, day: dt.date) -> SeasonNow:
    weeks = whole_weeks(season, day)
    through = min(season.ends_on, season.starts_on + dt.timedelta(days=7 * weeks - 1))
    dug = _with_kinds(yield_rows.nests_by_week(season, day), book)
    opened = _opened(yield_rows.nests_by_season(season, season, until=through), book)
    past = yield_rows.kinds_by_week(Season(season.year - SEASONS_READ), Season(season.year - 1))
    codes = dict(Pond.objects.values_list("pk", "code"))
    placed = set(book.places)
    heads, errors = book.females(
        pond_kinds(min(day, yield_rows.laying_begins(season))) if book.places else ()
    )
    coming = book.coming(heads, errors)
    if book.learnt is None or coming is None:
        return SeasonNow(season, day, through, weeks, (), _after(dug, weeks), _nests(dug), book)
    reader = _Reader(book, coming, book.learnt.hatch, season, weeks, heads, errors, dug, opened, past, codes)
    kinds = [reader.kind(kind_id) for kind_id in {kind for _, kind in book.places}]
    kinds.sort(key=lambda kind: (-kind.before.nests.expected, kind.kind.name))
    return SeasonNow(
        season,
        day,
        through,
        weeks,
        tuple(kinds),
        dug_since=_after(dug, weeks),
        without_place=_nests({where: by_week for where, by_week in dug.items() if where not in placed}),
        book=book,
    )


def _after(dug: Mapping[tuple[int, int | None], Floats], weeks: int) -> int:
    return int(sum(by_week[weeks:].sum() for by_week in dug.values()))


def _nests(dug: Mapping[tuple[int, int | None], Floats]) -> int:
    return int(sum(by_week.sum() for by_week in dug.values()))


def _with_kinds(
    found: Mapping[tuple[int, int | None], Floats], book: YieldBook
) -> dict[tuple[int, int | None], Floats]:
    """Share the nests of no known kind out by the pond's laying females; what nobody could lay stays kindless."""
    dug: dict[tuple[int, int | None], Floats] = defaultdict(lambda: np.zeros(WEEKS))
    for (pond, kind), by_week in found.items():
        parts: dict[int, Floats] = {}
        if kind is None:
            parts = yield_rows.share_out_weeks(by_week, laying_females(book.laying, pond, book.kinds))
        for of_kind, part in parts.items() or [(kind, by_week)]:
            dug[pond, of_kind] = dug[pond, of_kind] + part
    return dict(dug)


def _opened(
    sums: Mapping[tuple[int, int | None, int], NestSums], book: YieldBook
) -> dict[PondKindId, tuple[int, int]]:
    """Return (pond id, kind id) -> nests opened and eggs in them; eggs of no known kind where one kind alone lays."""
    found: dict[PondKindId, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for (pond, kind, _), one in sums.items():
        of_kind = kind
        if of_kind is None:
            laying = [of for (of_pond, of), held in book.laying.items() if of_pond == pond and held.settled]
            if len(laying) != 1:
                continue
            of_kind = laying[0]
        opened, eggs = found[pond, of_kind]
        found[pond, of_kind] = opened + one.opened, eggs + one.eggs
    return dict(found)


@dataclass(frozen=True)
class _Reader:
    """Everything that a kind's season is worked out from."""

    book: YieldBook
    coming: ComingSeason
    hatch: FigureLearnt
    season: Season
    weeks: int
    heads: Floats
    errors: Floats
    dug: Mapping[tuple[int, int | None], Floats]
    opened: Mapping[PondKindId, tuple[int, int]]
    past: Mapping[int, Mapping[int, Floats]]
    codes: Mapping[int, str]

    def kind(self, kind_id: int) -> KindSeason:
        """Return one kind's season, worked out anew only where anything it rests on is another."""
        kind = self.book.kinds[kind_id]
        at = self._places(kind_id)
        dug = np.array([self._dug(place) for place in at])
        opened = np.array([self.opened.get(self.book.places[place], (0, 0)) for place in at])
        past = [weeks for _, weeks in sorted(self.past.get(kind_id, {}).items())]
        names = [(self.book.places[place], self.codes[self.book.places[place][0]]) for place in at]
        content = content_of(
            self.book.content, self.book.fertility, self.season, self.weeks, self.heads, self.errors, kind, names, dug,
            opened, *past,
        )  # fmt: skip
        return _kinds.of((content,), lambda: self._work_out(kind_id, at, dug, opened, past))

    def _work_out(
        self, kind_id: int, at: list[int], dug: Floats, opened: Floats, past: list[Floats]
    ) -> KindSeason:
        """Forecast one kind before its season and from what has been dug."""
        kind = self.book.kinds[kind_id]
        coming = self.coming
        before = _yields(coming, at)
        total_before = Yield(*(_limits(part) for part in coming.by_kind[kind_id][:3]))
        published = CURVES.get(kind.code)
        curve = running = behind = eggs_by_week = None
        now, total_now = before, total_before
        notes: list[str] = []
        if published is None:
            notes.append(
                f"No nesting dates are published here for {kind.name}: its weeks cannot be drawn, and its total stands "
                "as it was expected before the season."
            )
            now = [_not_below(one, dug[row].sum()) for row, one in enumerate(before)]
            total_now = _not_below(total_before, dug.sum())
        else:
            curve = learn_curve(published, past)
            prior = _of_kind(coming.nest_prior, at)
            running = forecast(curve, dug, prior, draws=RUNNING_DRAWS, rng=SEED)
            behind = falling_behind(curve, dug, prior, rng=SEED)
            # Before a nest is due, how late the season may be teaches nothing: what was expected stands.
            if dug.any() or behind.expected.sum() >= 1:
                now, total_now = self._running(running, coming, at, opened)
            weekly = np.asarray(running.total_by_week.expected, dtype=float)
            # Each week its part of the eggs of the season, so that the hatchery sets what the season gives.
            eggs_by_week = weekly * (total_now.eggs.expected / max(float(weekly.sum()), 1e-9))
            notes += [*running.notes, *behind.notes]
        ponds = tuple(
            self._pond(place, kind, before[row], now[row], dug[row], opened[row], behind, row)
            for row, place in enumerate(at)
        )
        share = total_now.hatched.expected / max(total_now.eggs.expected, 1e-9)
        shown = [one for one in ponds if one.females or one.dug]
        return KindSeason(
            kind, tuple(sorted(shown, key=lambda one: (len(one.pond), one.pond))), total_before, total_now, curve,
            running, behind, dug.sum(axis=0), eggs_by_week, min(1.0, share), tuple(dict.fromkeys(notes)),
        )  # fmt: skip

    def _places(self, kind_id: int) -> list[int]:
        return [place for place, (_, kind) in enumerate(self.book.places) if kind == kind_id]

    def _dug(self, place: int) -> Floats:
        return self.dug.get(self.book.places[place], np.zeros(WEEKS))[: self.weeks]

    def _running(
        self, running: SeasonForecast, coming: ComingSeason, at: list[int], opened: Floats
    ) -> tuple[list[Yield], Yield]:
        drawn, by_hand = draw_eggs(
            running, _of_kind(coming.egg_prior, at), opened=opened[:, 0], eggs=opened[:, 1], rng=SEED
        )
        hatch = draw_figure(self.hatch, RUNNING_DRAWS, np.random.default_rng(SEED))[at]
        hatched, all_hatched = forecast_hatched(
            drawn, hatch * self.book.fertility[at][:, np.newaxis], rng=SEED
        )
        eggs, all_eggs = spread_of(drawn, by_hand), spread_of(drawn.sum(axis=0), by_hand.sum())
        each = [
            Yield(*(_limits(part, row) for part in (running.nests, eggs, hatched))) for row in range(len(at))
        ]
        return each, Yield(*(_limits(part) for part in (running.total_nests, all_eggs, all_hatched)))

    def _pond(
        self,
        place: int,
        kind: KindRow,
        before: Yield,
        now: Yield,
        dug: Floats,
        opened: Floats,
        behind: Behind | None,
        row: int,
    ) -> PondSeason:
        pond_id, kind_id = self.book.places[place]
        by_now = chance = since = None
        named = False
        if behind is not None:
            by_now, chance = float(behind.expected[row]), float(behind.chance[row])
            named, week = bool(behind.named[row]), int(behind.first_week[row])
            since = self.season.starts_on + dt.timedelta(days=7 * week) if named and week else None
        return PondSeason(
            place, pond_id, self.codes[pond_id], kind_id, kind.code, kind.name, float(self.heads[place]), before, now,
            int(dug.sum()), int(opened[0]), int(opened[1]), by_now, named, since, chance,
        )  # fmt: skip


def _of_kind(prior: SeasonPrior, at: list[int]) -> SeasonPrior:
    return SeasonPrior(prior.median[at], prior.own_sd[at], prior.shared_sd)


def _yields(coming: ComingSeason, at: Sequence[int]) -> list[Yield]:
    return [
        Yield(*(_limits(part, place) for part in (coming.nests, coming.eggs, coming.hatched))) for place in at
    ]


def _limits(spread: Spread, row: int | None = None) -> Limits:
    pick = (lambda part: float(part)) if row is None else (lambda part: float(part[row]))
    return Limits(pick(spread.low), pick(spread.expected), pick(spread.high))


def _not_below(one: Yield, dug: float) -> Yield:
    nests = one.nests
    kept = Limits(max(nests.low, dug), max(nests.expected, dug), max(nests.high, dug))
    return Yield(kept, one.eggs, one.hatched)
