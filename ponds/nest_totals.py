"""Sums of the nest book by week and by season, and a season as it stands beside the one before. Only reads."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet, Sum

from ponds.models import NestDay
from ponds.seasons import Season, season_of

WEEK = "week"
SEASON = "season"
ALL_PONDS = "all"
KIND_NOT_KNOWN = "not known"


@dataclass(frozen=True)
class NestTotal:
    """
    Sums of one week or season, of one pond and kind.

    Parameters
    ----------
    season : int
        The year it ends in.
    week : int or None
        Week of the season from 1; None for a whole season.
    starts_on : date
        First day of the week or season.
    pond : str
        Code, or "all".
    kind : str
        Common name, or "not known".
    nests : int
        Nests dug.
    eggs, broken : int
        Eggs picked, broken ones too, and how many were broken, where they were counted.
    nests_counted : int
        Nests of the rows whose eggs were counted; eggs a nest go by these alone.
    """

    season: int
    week: int | None
    starts_on: dt.date
    pond: str
    kind: str
    nests: int
    eggs: int
    broken: int
    nests_counted: int

    @property
    def eggs_a_nest(self) -> float | None:
        return self.eggs / self.nests_counted if self.nests_counted else None


@dataclass
class _Sums:
    nests: int = 0
    eggs: int = 0
    broken: int = 0
    nests_counted: int = 0


def totals(*, by: str, season: int | None, each_pond: bool) -> list[NestTotal]:
    """
    Return the sums of the nest book: one query.

    Parameters
    ----------
    by : str
        `WEEK` or `SEASON`.
    season : int, optional
        Only that season.
    each_pond : bool
        One row for each pond, or all ponds together.

    Returns
    -------
    list of NestTotal
        The newest week or season first, then pond and kind.
    """
    rows = NestDay.objects.standing()
    if season is not None:
        one = Season(season)
        rows = rows.filter(dug_on__range=(one.starts_on, one.ends_on))
    sums: dict[tuple, _Sums] = defaultdict(_Sums)
    for day, pond, kind, nests, eggs, broken, counted in _by_day(rows, "pond__code", "kind__common_name"):
        of_season = season_of(day)
        week = of_season.week_of(day) if by == WEEK else None
        held = sums[of_season.year, week, pond if each_pond else ALL_PONDS, kind or KIND_NOT_KNOWN]
        held.nests += nests
        held.eggs += eggs or 0
        held.broken += broken or 0
        held.nests_counted += counted or 0
    found = [
        NestTotal(
            season=year,
            week=week,
            starts_on=Season(year).starts_on + dt.timedelta(days=7 * ((week or 1) - 1)),
            pond=pond,
            kind=kind,
            nests=held.nests,
            eggs=held.eggs,
            broken=held.broken,
            nests_counted=held.nests_counted,
        )
        for (year, week, pond, kind), held in sums.items()
    ]
    return sorted(found, key=lambda row: (-row.season, -(row.week or 0), len(row.pond), row.pond, row.kind))


def seasons_in_book() -> list[int]:
    """Return the seasons that have rows, newest first: one query."""
    days = NestDay.objects.standing().order_by().values_list("dug_on", flat=True).distinct()
    return sorted({season_of(day).year for day in days}, reverse=True)


@dataclass
class PondSeason:
    """
    One pond's season so far, beside the one before.

    Parameters
    ----------
    pond : str
        Code; "" for all ponds together.
    by_week : dict of int to int
        Week of the season -> nests, of this season; `before_by_week` of the one before, whole.
    nests, eggs, nests_counted : int
        Sums so far.
    nests_before : int
        Nests of the season before, up to the same day of it.
    """

    pond: str
    by_week: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    before_by_week: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    nests: int = 0
    eggs: int = 0
    nests_counted: int = 0
    nests_before: int = 0

    @property
    def eggs_a_nest(self) -> float | None:
        return self.eggs / self.nests_counted if self.nests_counted else None


@dataclass(frozen=True)
class SeasonSoFar:
    """A season: all ponds together, each pond in letter order, and the weeks from the first nest to the last."""

    season: Season
    last_on: dt.date
    farm: PondSeason
    ponds: tuple[PondSeason, ...]
    weeks: tuple[int, ...]

    def starts_on(self, week: int) -> dt.date:
        """Return the first day of a week."""
        return self.season.starts_on + dt.timedelta(days=7 * (week - 1))


def season_so_far(season: Season, *, today: dt.date, kind: str | None = None) -> SeasonSoFar:
    """
    Return a season by week and pond, beside the one before: one query.

    Parameters
    ----------
    season : Season
        The nesting year.
    today : date
        The farm's day; the season before is compared up to the same day of it.
    kind : str, optional
        Code of a kind; "" for rows whose kind is not known; None for all.

    Returns
    -------
    SeasonSoFar
        Ponds without a row in either season are left out.
    """
    before = Season(season.year - 1)
    last_on = min(season.ends_on, today)
    so_far = (last_on - season.starts_on).days
    rows = NestDay.objects.standing().filter(dug_on__range=(before.starts_on, season.ends_on))
    if kind is not None:
        rows = rows.filter(kind__code=kind) if kind else rows.filter(kind=None)
    farm = PondSeason("")
    ponds: dict[str, PondSeason] = {}
    for day, pond, nests, eggs, _, counted in _by_day(rows, "pond__code"):
        one = ponds.setdefault(pond, PondSeason(pond))
        for held in (farm, one):
            if season.holds(day):
                held.by_week[season.week_of(day)] += nests
                held.nests += nests
                held.eggs += eggs or 0
                held.nests_counted += counted or 0
            else:
                held.before_by_week[before.week_of(day)] += nests
                held.nests_before += nests if (day - before.starts_on).days <= so_far else 0
    dug = [week for weeks in (farm.by_week, farm.before_by_week) for week, nests in weeks.items() if nests]
    weeks = tuple(range(min(dug), max(dug) + 1)) if dug else ()
    in_order = tuple(sorted(ponds.values(), key=lambda held: (len(held.pond), held.pond)))
    return SeasonSoFar(season, last_on, farm, in_order, weeks)


def _by_day(rows: QuerySet, *groups: str) -> Iterable[tuple]:
    """Return day, the groups, nests, eggs, broken, and nests of the rows whose eggs were counted."""
    return (
        rows.order_by()
        .values("dug_on", *groups)
        .annotate(
            all_nests=Sum("nests"),
            all_eggs=Sum("eggs"),
            all_broken=Sum("broken"),
            counted=Sum("nests", filter=Q(eggs__isnull=False)),
        )
        .values_list("dug_on", *groups, "all_nests", "all_eggs", "all_broken", "counted")
    )
