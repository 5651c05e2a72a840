"""Rows of past and running seasons for what is learnt of yields: nests, hatched eggs, females that laid them.

Nests of a kind that nobody knew are shared out by the laying females of the pond's kinds, in whole nests.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from django.db.models import Case, Q, QuerySet, Sum, When
from django.db.models.functions import ExtractYear
from numpy.typing import NDArray

from ponds import hatch_log
from ponds.models import Kind, NestDay, Pond
from ponds.seasons import FIRST_MONTH, Season
from stock import mixes
from stock.advisor.mix import settled_equivalent
from stock.advisor.whole_shares import share_whole
from stock.kept_answers import stamp_of

PondKindId = tuple[int, int]
WEEKS = 53
LAYING_BEGINS = (5, 1)
"""Month and day on which a season's females are counted: most of the Gulf South's nests are dug from May on."""
BOOKS = ("ponds_nestday", "ponds_egglot", "ponds_basket", "ponds_candling", "ponds_hatch")


@dataclass(frozen=True)
class Laying:
    """Settled-equivalent females of one pond and kind in a season, and females per male by the book."""

    settled: float
    females: float
    ratio: float


@dataclass
class NestSums:
    """Nests of one pond, kind and season; `opened` of them were opened and held `eggs`."""

    nests: int = 0
    opened: int = 0
    eggs: int = 0


def stamp() -> tuple[object, ...]:
    """Return what changes with every row of the nest book and the hatch log: one query."""
    return stamp_of(BOOKS)


def laying_begins(season: Season) -> dt.date:
    """Return the day on which a season's females are counted."""
    return dt.date(season.year, *LAYING_BEGINS)


def laying(season: Season, day: dt.date) -> dict[PondKindId, Laying]:
    """Return who lay in each pond and kind in a season, by the book of its laying's begin or of `day` if sooner."""
    found: dict[PondKindId, dict[str, mixes.CellMix]] = defaultdict(dict)
    for (pond, kind, of_class), mix in mixes.mixes_on(min(laying_begins(season), day)).items():
        found[pond, kind][of_class] = mix
    lay = {}
    for where, classes in found.items():
        females, males = classes.get("FEMALE"), classes.get("MALE")
        if females is None or not females.heads:
            continue
        ratio = females.heads / males.heads if males is not None and males.heads else np.inf
        settled = settled_equivalent(females.seasons, season.year)
        lay[where] = Laying(settled, float(females.heads), ratio)
    return lay


def nests_by_season(
    first: Season, last: Season, *, until: dt.date | None = None
) -> dict[tuple[int, int | None, int], NestSums]:
    """Return (pond id, kind id or None, year) -> sums of the nest book, through a day if one is given: one query."""
    of_year = ExtractYear("dug_on") + Case(When(dug_on__month__gte=FIRST_MONTH, then=1), default=0)
    standing = _standing(first, last)
    rows = (
        (standing if until is None else standing.filter(dug_on__lte=until))
        .annotate(year=of_year)
        .values("pond", "kind", "year")
        .annotate(
            all_nests=Sum("nests"),
            opened=Sum("nests", filter=Q(eggs__isnull=False)),
            all_eggs=Sum("eggs"),
        )
        .values_list("pond", "kind", "year", "all_nests", "opened", "all_eggs")
    )
    return {
        (pond, kind, year): NestSums(nests, opened or 0, eggs or 0)
        for pond, kind, year, nests, opened, eggs in rows
    }


def nests_by_week(season: Season, day: dt.date) -> dict[tuple[int, int | None], NDArray[np.float64]]:
    """Return (pond id, kind id or None) -> nests in each week of a season through `day`: one query."""
    found: dict[tuple[int, int | None], NDArray[np.float64]] = defaultdict(lambda: np.zeros(WEEKS))
    rows = (
        _standing(season, season)
        .filter(dug_on__lte=day)
        .values("pond", "kind", "dug_on")
        .annotate(all_nests=Sum("nests"))
        .values_list("pond", "kind", "dug_on", "all_nests")
    )
    for pond, kind, dug_on, nests in rows:
        found[pond, kind][season.week_of(dug_on) - 1] += nests
    return dict(found)


def kinds_by_week(first: Season, last: Season) -> dict[int, dict[int, NDArray[np.float64]]]:
    """Return kind id -> year -> nests of the whole farm in each week of that season: one query."""
    found: dict[int, dict[int, NDArray[np.float64]]] = defaultdict(
        lambda: defaultdict(lambda: np.zeros(WEEKS))
    )
    rows = (
        _standing(first, last)
        .filter(kind__isnull=False)
        .values("kind", "dug_on")
        .annotate(all_nests=Sum("nests"))
        .values_list("kind", "dug_on", "all_nests")
    )
    for kind, dug_on, nests in rows:
        year = dug_on.year + (dug_on.month >= FIRST_MONTH)
        found[kind][year][Season(year).week_of(dug_on) - 1] += nests
    return {kind: dict(years) for kind, years in found.items()}


def hatched_by_season(years: Iterable[int]) -> dict[tuple[int, int, int], tuple[int, int, int]]:
    """Return (pond id, kind id, year) -> eggs followed to their end, hatched, clear: six queries."""
    ponds = dict(Pond.objects.values_list("code", "pk"))
    kinds = dict(Kind.objects.values_list("code", "pk"))
    return {
        (ponds[row.pond], kinds[row.kind], row.season): (row.eggs_followed, row.hatched, row.clear)
        for row in hatch_log.by_pond(seasons=years)
        if row.eggs_followed
    }


def share_out(unknown: NestSums, females: Mapping[int, float]) -> dict[int, NestSums]:
    """
    Share nests of a kind not known among a pond's kinds, by their laying females.

    Whole nests; {} where no female stands. With one kind alone they are its own, eggs too; else the eggs stay out of
    what is learnt: whose they were nobody knows.
    """
    held = {kind: heads for kind, heads in females.items() if heads}
    if len(held) == 1:
        return dict.fromkeys(held, unknown)
    return {kind: NestSums(nests) for kind, nests in share_whole(unknown.nests, held).items()}


def share_out_weeks(
    unknown: NDArray[np.float64], females: Mapping[int, float]
) -> dict[int, NDArray[np.float64]]:
    """Share the weeks of a season, so that they come to what `share_out` gives of the season so far."""
    held = {kind: heads for kind, heads in females.items() if heads}
    so_far = [share_whole(int(nests), held) for nests in np.cumsum(unknown)]
    return {
        kind: np.diff(np.array([shared[kind] for shared in so_far], dtype=float), prepend=0.0)
        for kind in held
    }


def _standing(first: Season, last: Season) -> QuerySet:
    return NestDay.objects.standing().filter(dug_on__range=(first.starts_on, last.ends_on)).order_by()
