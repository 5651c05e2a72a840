"""Laying seasons lived through female by female and day by day, and what the nest book and hatch log kept of them.

Nothing here is the product's: its families (beta, gamma, plain normals, weather that holds nests back) are others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

YEAR_DAYS = 365
"""Day 0 is 1 September; leap days are left out."""
FIRST_OF_MAY = 242
SEASON_DAYS = 62
"""From a female's first nest to her last, at most."""


@dataclass(frozen=True)
class KindPlan:
    """
    A kind as it truly is over farms: means and standard deviations between farms.

    ``first_day`` and ``first_sd``: middle and spread of a female's first nest; ``between`` the days from one nest to
    her next.
    """

    laying: tuple[float, float]
    nests: tuple[float, float]
    eggs: tuple[float, float]
    hatch: tuple[float, float]
    clear: tuple[float, float]
    first_day: float
    first_sd: float
    between: float


SLIDER = KindPlan(
    (0.68, 0.16), (2.15, 0.75), (8.9, 1.3), (0.80, 0.06), (0.09, 0.04), FIRST_OF_MAY, 10.0, 24.0
)
COOTER = KindPlan(
    (0.84, 0.11), (2.7, 1.1), (15.6, 1.7), (0.80, 0.06), (0.09, 0.04), FIRST_OF_MAY - 12, 18.0, 21.0
)


@dataclass(frozen=True)
class NestPlan:
    """
    The farms a study draws from; spreads are coefficients of variation unless said otherwise.

    Parameters
    ----------
    ponds, seasons, cooter_ponds : int
        Ponds, seasons followed, and how many of the ponds hold cooters.
    heads : (float, float)
        Least and most females of a pond at the start, even on a log scale.
    pond, pond_eggs, pond_hatch_sd : float
        How ponds truly differ in nests a female, eggs a nest, hatch share (standard deviation).
    drift : float
        How far a pond's laying moves from one season to the next, for good.
    season, season_eggs, season_hatch_sd : float
        Good and bad seasons of the whole farm.
    bad, bad_factor : float
        Chance that a season is bad for the whole farm, and its laying then.
    rest, rest_eggs, rest_hatch_sd : float
        What one pond does in one season beyond that.
    survival, bought : (float, float), float
        Least and most yearly survival of females, and the chance a pond gets new ones before a season.
    settling : ((float, float), (float, float))
        Least and most share of full laying in a new female's first and second season.
    count_error : (float, float)
        Least and most relative error of the standing, by pond and kept up from season to season in part.
    start_sd, length_sd : float
        Days the whole season comes early or late; relative spread of the time between nests.
    good_night, night_lasts : float
        Share of nights that are good for nesting, and how much a night is like the one before; nests wait.
    lost, raid, raid_days, raid_takes : float
        Nests taken by predators before they are found, as a share; chance of a raid on a pond in a season, its days
        and the share it takes then.
    opened : (float, float)
        Least and most share of found nests that are opened and counted, by farm.
    clutch_spread : float
        Of the eggs of one clutch.
    late_clutch : float
        Share of its eggs that a clutch loses a day as the season wears on.
    fails : float
        Chance that a pond lays but half in a season, from a cause nobody has seen.
    """

    ponds: int = 40
    seasons: int = 10
    cooter_ponds: int = 12
    heads: tuple[float, float] = (40, 1500)
    pond: float = 0.25
    pond_eggs: float = 0.09
    pond_hatch_sd: float = 0.05
    drift: float = 0.05
    season: float = 0.13
    season_eggs: float = 0.06
    season_hatch_sd: float = 0.03
    bad: float = 0.1
    bad_factor: float = 0.75
    rest: float = 0.12
    rest_eggs: float = 0.04
    rest_hatch_sd: float = 0.03
    survival: tuple[float, float] = (0.84, 0.96)
    bought: float = 0.3
    settling: tuple[tuple[float, float], tuple[float, float]] = ((0.25, 0.5), (0.6, 0.85))
    count_error: tuple[float, float] = (0.03, 0.12)
    start_sd: float = 7.0
    length_sd: float = 0.08
    good_night: float = 0.5
    night_lasts: float = 0.6
    lost: float = 0.05
    raid: float = 0.08
    raid_days: int = 14
    raid_takes: float = 0.35
    opened: tuple[float, float] = (0.6, 1.0)
    clutch_spread: float = 0.28
    late_clutch: float = 0.0015
    fails: float = 0.0


@dataclass(frozen=True)
class NestHistory:
    """
    A farm's laying seasons; tables have shape (ponds, seasons).

    Parameters
    ----------
    kind : array of int, shape (ponds,)
        0 slider, 1 cooter.
    true_rate, true_eggs, true_hatch : array
        Nests found of a settled female, eggs a nest and hatch share that the pond is good for in a middling season.
    females, female_se : array
        What the farm believes of its settled females, and the error it states.
    found : array of int, shape (ponds, seasons, 365)
        Nests in the book by day.
    opened, opened_eggs, eggs : array of int
        Nests opened, eggs counted in them, and eggs of all found nests.
    opened_by_day, eggs_by_day : array of int, shape (ponds, seasons, 365)
        Nests opened, and eggs of them, by day.
    eggs_set, hatched, clear : array of int
    failed : array of bool
        Where the pond laid but half.
    """

    kind: Whole
    true_rate: Floats
    true_eggs: Floats
    females: Floats
    female_se: Floats
    found: Whole
    opened: Whole
    opened_eggs: Whole
    eggs: Whole
    opened_by_day: Whole
    eggs_by_day: Whole
    eggs_set: Whole
    hatched: Whole
    clear: Whole
    failed: NDArray[np.bool_]
    true_hatch: Floats


def _gamma(rng: np.random.Generator, spread: float, shape: tuple[int, ...]) -> Floats:
    """Draw factors of mean 1."""
    return rng.gamma(1 / spread**2, spread**2, shape) if spread else np.ones(shape)


def _beta(rng: np.random.Generator, mean: Floats, sd: float) -> Floats:
    size = np.maximum(mean * (1 - mean) / sd**2 - 1, 2.0)
    return rng.beta(mean * size, (1 - mean) * size)


def live_seasons(plan: NestPlan, seed: int) -> NestHistory:
    """Let one farm lay for its seasons; the same plan and seed give the same history."""
    rng = np.random.default_rng(seed)
    ponds, seasons = plan.ponds, plan.seasons
    kind = (np.arange(ponds) >= ponds - plan.cooter_ponds).astype(np.int64)
    shape = (ponds, seasons)
    farm = [_Kind(of, rng) for of in (SLIDER, COOTER)]
    laying = np.array([one.laying for one in farm])[kind]
    drift = np.cumprod(
        np.hstack([np.ones((ponds, 1)), _gamma(rng, plan.drift, (ponds, seasons - 1))]), axis=1
    )
    pond = _gamma(rng, plan.pond, (ponds, 1)) * drift
    season = _gamma(rng, plan.season, (seasons,)) * np.where(
        rng.random(seasons) < plan.bad, plan.bad_factor, 1.0
    )
    failed = rng.random(shape) < plan.fails
    factor = pond * season * _gamma(rng, plan.rest, shape) * np.where(failed, 0.5, 1.0)
    clutch = (
        np.array([one.eggs for one in farm])[kind][:, np.newaxis]
        * _gamma(rng, plan.pond_eggs, (ponds, 1))
        # A season good for nests is, in part, good for eggs as well.
        * (1 + 0.15 * (season - 1))
        * _gamma(rng, plan.season_eggs, (seasons,))
    )
    true_eggs = clutch / (1 + 0.15 * (season - 1))
    clutch = clutch * _gamma(rng, plan.rest_eggs, shape)
    heads, settled = _herd(plan, rng)
    believed, stated = _believe(plan, settled, heads, rng)
    lost = rng.beta(2, 2 / plan.lost - 2, ponds) if plan.lost else np.zeros(ponds)
    nights = _nights(plan, rng)
    start = rng.normal(0, plan.start_sd, seasons)
    opened_share = rng.uniform(*plan.opened)
    days = (ponds, seasons, YEAR_DAYS)
    found, opened_by_day, eggs_by_day = (np.zeros(days, dtype=np.int64) for _ in range(3))
    all_eggs = np.zeros(shape, dtype=np.int64)
    for i in range(ponds):
        one = farm[kind[i]]
        for t in range(seasons):
            layers = rng.binomial(round(settled[i, t]), laying[i])
            each = one.nests * factor[i, t]
            # A female lays whole nests: at least so many, and one more by chance.
            nests = np.floor(each) + (rng.random(layers) < each % 1)
            nests = np.maximum(nests + rng.choice([-1, 0, 1], layers, p=[0.15, 0.7, 0.15]), 0).astype(int)
            day = _nest_days(nests, one, plan, start[t], rng)
            day = nights[t][np.clip(day, 0, YEAR_DAYS - 1)]
            day = day[rng.random(day.size) >= lost[i]]
            if rng.random() < plan.raid:
                from_day = rng.integers(FIRST_OF_MAY - 10, FIRST_OF_MAY + 60)
                raided = (day >= from_day) & (day < from_day + plan.raid_days)
                day = day[~(raided & (rng.random(day.size) < plan.raid_takes))]
            size = clutch[i, t] * (1 - plan.late_clutch * (day - FIRST_OF_MAY))
            eggs = np.maximum(np.rint(size * (1 + plan.clutch_spread * rng.standard_normal(day.size))), 1)
            is_opened = rng.random(day.size) < opened_share
            found[i, t] = np.bincount(day, minlength=YEAR_DAYS)
            opened_by_day[i, t] = np.bincount(day[is_opened], minlength=YEAR_DAYS)
            eggs_by_day[i, t] = np.bincount(day[is_opened], eggs[is_opened], YEAR_DAYS).astype(np.int64)
            all_eggs[i, t] = int(eggs.sum())
    opened, opened_eggs = opened_by_day.sum(axis=2), eggs_by_day.sum(axis=2)
    eggs_set, hatched, clear, true_hatch = _incubate(plan, farm, kind, opened_eggs, rng)
    rate = laying[:, np.newaxis] * np.array([one.nests for one in farm])[kind][:, np.newaxis] * pond
    return NestHistory(
        kind, rate * (1 - lost)[:, np.newaxis], true_eggs, believed, stated, found, opened, opened_eggs, all_eggs,
        opened_by_day, eggs_by_day, eggs_set, hatched, clear, failed, true_hatch,
    )  # fmt: skip


class _Kind:
    """One farm's stock of a kind: what its plan came to here."""

    def __init__(self, of: KindPlan, rng: np.random.Generator) -> None:
        self.of = of
        self.laying = float(_beta(rng, np.array(of.laying[0]), of.laying[1]))
        self.nests = of.nests[0] * float(_gamma(rng, of.nests[1] / of.nests[0], ()))
        self.eggs = of.eggs[0] * float(_gamma(rng, of.eggs[1] / of.eggs[0], ()))
        self.hatch = float(_beta(rng, np.array(of.hatch[0]), of.hatch[1]))
        self.clear = float(_beta(rng, np.array(of.clear[0]), of.clear[1]))


def _herd(plan: NestPlan, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return females and what they truly come to in settled ones, shape (ponds, seasons, 3 seasons there) summed."""
    ponds = plan.ponds
    settling = np.array([*(rng.uniform(*ends) for ends in plan.settling), 1.0])
    by_season = np.zeros((ponds, 3))
    by_season[:, 2] = np.exp(rng.uniform(*np.log(plan.heads), ponds))
    heads = np.zeros((ponds, plan.seasons, 3))
    for t in range(plan.seasons):
        by_season *= rng.uniform(*plan.survival, (ponds, 1))
        by_season = np.stack([np.zeros(ponds), by_season[:, 0], by_season[:, 1] + by_season[:, 2]], axis=1)
        new = (rng.random(ponds) < plan.bought) * rng.uniform(0.1, 0.6, ponds) * by_season.sum(axis=1)
        by_season[:, 0] = new
        heads[:, t] = by_season
    return heads, heads @ settling


def _believe(
    plan: NestPlan, settled: Floats, heads: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return settled females as the farm has them: heads miscounted, weighed by shares of its own, and their error."""
    weighed = heads @ np.array([0.4, 0.7, 1.0])
    spread = rng.uniform(*plan.count_error, plan.ponds)
    error = np.zeros_like(settled)
    error[:, 0] = rng.standard_normal(plan.ponds)
    for t in range(1, plan.seasons):
        error[:, t] = 0.7 * error[:, t - 1] + np.sqrt(1 - 0.49) * rng.standard_normal(plan.ponds)
    return weighed * np.maximum(1 + spread[:, np.newaxis] * error, 0.2), weighed * spread[:, np.newaxis]


def _nights(plan: NestPlan, rng: np.random.Generator) -> list[Whole]:
    """Return, by season, the day on which a nest that is ready on each day is dug: the next good night."""
    seasons = []
    for _ in range(plan.seasons):
        good = np.ones(YEAR_DAYS, dtype=bool)
        for day in range(1, YEAR_DAYS):
            stays = rng.random() < plan.night_lasts
            good[day] = good[day - 1] if stays else rng.random() < plan.good_night
        good[-1] = True
        there = np.flatnonzero(good)
        seasons.append(there[np.searchsorted(there, np.arange(YEAR_DAYS))])
    return seasons


def _nest_days(nests: Whole, one: _Kind, plan: NestPlan, start: float, rng: np.random.Generator) -> Whole:
    """Return the day each nest is ready: a female's first, then one after the other."""
    of = one.of
    # A season is so long: who digs many nests digs them closer together.
    most = SEASON_DAYS / np.maximum(nests - 1, 1)
    between = np.repeat(np.minimum(of.between, most), nests) * rng.normal(1, plan.length_sd)
    # First nests: a normal with a tail of late females.
    first = of.first_day + start + rng.normal(0, of.first_sd, nests.size)
    first = first + np.where(rng.random(nests.size) < 0.15, rng.exponential(12, nests.size), 0.0)
    ready = np.repeat(first, nests)
    number = np.arange(ready.size) - np.repeat(np.cumsum(nests) - nests, nests)
    return np.rint(ready + number * between + rng.normal(0, 3, ready.size)).astype(np.int64)


def _incubate(
    plan: NestPlan, farm: list[_Kind], kind: Whole, eggs: Whole, rng: np.random.Generator
) -> tuple[Whole, Whole, Whole, Floats]:
    """Set most of the counted eggs by baskets that hatch well or badly together; and each pond's own share."""
    ponds, seasons = eggs.shape
    base = np.array([one.hatch for one in farm])[kind]
    clear = np.array([one.clear for one in farm])[kind]
    pond = rng.normal(0, plan.pond_hatch_sd, (ponds, 1))
    swing = rng.normal(0, plan.season_hatch_sd, seasons) + rng.normal(0, plan.rest_hatch_sd, eggs.shape)
    share = np.clip(base[:, np.newaxis] + pond + swing, 0.2, 0.97)
    bad = np.clip(clear[:, np.newaxis] - 0.5 * (pond + swing), 0.01, 0.9 * (1 - share))
    eggs_set = rng.binomial(eggs, 0.97)
    hatched, unfertile = np.zeros_like(eggs), np.zeros_like(eggs)
    for i in range(ponds):
        for t in range(seasons):
            baskets = max(1, int(eggs_set[i, t]) // 60)
            sizes = np.full(baskets, eggs_set[i, t] // baskets)
            sizes[: eggs_set[i, t] % baskets] += 1
            luck = _beta(rng, np.full(baskets, share[i, t]), 0.08)
            lived = rng.binomial(sizes, luck)
            hatched[i, t] = lived.sum()
            unfertile[i, t] = rng.binomial(sizes - lived, np.clip(bad[i, t] / (1 - share[i, t]), 0, 1)).sum()
    return eggs_set, hatched, unfertile, np.clip(base + pond[:, 0], 0.2, 0.97)
