"""Ponds that fall behind in a running season, named early and with false names held down farm-wide."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stock.advisor.coming import SeasonPrior
from stock.advisor.families import Floats
from stock.advisor.laying_curve import Curve
from stock.advisor.pond_levels import learn_pond_levels
from stock.advisor.season_forecast import (
    STRETCH_SD,
    SeasonTiming,
    check_dug,
    check_prior,
    pond_noise,
    watch_timing,
)
from stock.estimators.estimate import check_number

__all__ = ["Behind", "falling_behind"]

FALSE_CHANCE = 1 / 40
"""Chance that a pond which lays as it should is named in a season: one false name a season in 40 ponds."""
FIRST_SHARE = 0.08
"""Share of the season that must be over, by the farm's own nests, before a pond is judged."""

_TIMING_DRAWS, _SIMULATED = 1000, 12_000
_LEAST = 1e-12


@dataclass(frozen=True)
class Behind:
    """
    Which ponds fall behind the farm, by the end of the last week.

    Attributes
    ----------
    chance : array, shape (ponds,)
        Chance that a pond which lays as was expected of it has dug so few nests by now.
    limit : float
        Chance at or below which a pond is named, the same in every week. Set by simulation so that a pond
        in order is named in at most ``false_chance`` of seasons, however many weeks are looked at.
    expected : array, shape (ponds,)
        Nests each should have by now, the other ponds telling how far the season is.
    dug : array, shape (ponds,)
    named : array of bool, shape (ponds,)
        Behind now.
    first_week : array of int, shape (ponds,)
        Week of the nesting year in which it is first behind, 0 if never; by the curve as it is seen now.
    notes : tuple of str
    """

    chance: Floats
    limit: float
    expected: Floats
    dug: Floats
    named: NDArray[np.bool_]
    first_week: NDArray[np.int64]
    notes: tuple[str, ...]


def falling_behind(
    curve: Curve,
    dug_by_week: ArrayLike,
    prior: SeasonPrior,
    *,
    false_chance: float = FALSE_CHANCE,
    rng: int | np.random.Generator = 0,
) -> Behind:
    """
    Name the ponds that have dug too few nests for what was expected of them.

    A pond is held against the others: they tell how far the season is and how good, with what was
    expected beforehand where they are few. Its nests to date are then negative binomial about its share,
    with all it may differ by: what was not known of it, the luck of its weeks, and being late by itself.
    The limit is one for all weeks of the season, and is found by simulating seasons of ponds in order.

    Parameters
    ----------
    curve, dug_by_week, prior
        As in `forecast`; all ponds of one kind.
    false_chance : float
        Chance that a pond in order is named at all in a season; above 0, up to 0.5.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    Behind

    Raises
    ------
    ValueError
        If a figure is impossible or of the wrong shape.
    """
    median, own_sd, _ = check_prior(prior)
    ponds = len(median)
    dug = check_dug(dug_by_week, ponds)
    if check_number(false_chance, "false_chance", low=0, high=0.5) == 0:
        raise ValueError("false_chance: with a chance of 0 no pond is ever named; give more than 0.")
    generator = np.random.default_rng(rng)
    limit = _limit(median, own_sd, curve.weekly(), false_chance, generator)
    blind, timing = (
        watch_timing(curve, part, prior, stretch_sd=STRETCH_SD, draws=_TIMING_DRAWS, rng=generator)
        for part in (dug[:, :0], dug)
    )
    weekly = timing.weekly.mean(axis=0)
    first = np.zeros(ponds, dtype=np.int64)
    named = np.zeros(ponds, dtype=bool)
    chance, expected, over = np.ones(ponds), np.zeros(ponds), 0.0
    for week in range(1, dug.shape[1] + 1):
        over = float(weekly[:week].sum())
        if over < FIRST_SHARE and week < dug.shape[1]:
            continue
        chance, expected = _judge(dug[:, :week], prior, blind, weekly)
        named = (chance <= limit) & (over >= FIRST_SHARE)
        first[named & (first == 0)] = week
    notes = []
    if over < FIRST_SHARE:
        notes.append("Too little of the season is over to name a pond.")
    if ponds == 1:
        notes.append(
            "One pond alone is held against what was expected: a late season looks like a poor pond."
        )
    return Behind(chance, limit, expected, dug.sum(axis=1), named, first, tuple(notes))


def _judge(dug: Floats, prior: SeasonPrior, blind: SeasonTiming, weekly: Floats) -> tuple[Floats, Floats]:
    """Return each pond's chance of so few nests by now, and the nests it should have."""
    median, own_sd, _ = check_prior(prior)
    week = dug.shape[1]
    counts = dug.sum(axis=1)
    noise = sum(pond_noise(weekly, week))
    # What was known beforehand of how far the season is by now and how good, beside what the others have dug.
    before = np.log(np.maximum(blind.weekly[:, :week].sum(axis=1), _LEAST)) + blind.log_total
    middle, doubt = float(before.mean()), float(before.var())
    level = learn_pond_levels(counts, median, own_sd, noise=noise)
    weights = median * np.exp(level.mean)
    others, others_dug = weights.sum() - weights, counts.sum() - counts
    variance = own_sd**2 + noise
    squares = weights**2 * variance
    told = np.log((others_dug + 0.5) / np.maximum(others, _LEAST))
    told_variance = (squares.sum() - squares) / np.maximum(others, _LEAST) ** 2 + 1 / (others_dug + 0.5)
    has_others = others > 0
    precision = np.where(has_others, 1 / np.maximum(told_variance, _LEAST), 0.0)
    total = precision + 1 / max(doubt, _LEAST)
    scale = (precision * np.where(has_others, told, 0.0) + middle / max(doubt, _LEAST)) / total
    expected = median * np.exp(scale)
    return _chance(counts, expected, variance + 1 / total), expected


def _chance(counts: Floats, median: Floats, variance: Floats) -> Floats:
    """Return the chance of at most so many nests: negative binomial with the moments of a lognormal mean."""
    mean = median * np.exp(variance / 2)
    size = 1 / np.maximum(np.expm1(variance), 1e-9)
    chance: Floats = special.betainc(size, counts + 1, size / (size + np.maximum(mean, _LEAST)))
    return np.where(mean > _LEAST, chance, 1.0)


def _limit(
    median: Floats, own_sd: Floats, weekly: Floats, false_chance: float, rng: np.random.Generator
) -> float:
    """
    Return the chance at or below which a pond in order is seen in the given share of seasons.

    Each simulated pond keeps its level through the season and adds its weeks' luck, so what one week
    says is mostly what the next one will.
    """
    standing = np.flatnonzero(median > 0)
    if not standing.size:
        return false_chance
    picked = rng.choice(standing, size=_SIMULATED // 4)
    dug = np.cumsum(weekly)
    weeks = [
        week for week in range(1, len(weekly) + 1) if dug[week - 1] >= FIRST_SHARE and weekly[week - 1] > 1e-3
    ]
    luck = [sum(pond_noise(weekly, week)) for week in weeks]
    level = own_sd[picked] * rng.standard_normal(picked.size)
    passing = rng.standard_normal(picked.size)
    lowest = np.ones(picked.size)
    counts, before = np.zeros(picked.size), 0.0
    for week, noise in zip(weeks, luck, strict=True):
        # Luck of the sum to date, the same week's largely that of the week before.
        passing = 0.8 * passing + 0.6 * rng.standard_normal(picked.size)
        rate = median[picked] * np.exp(level + np.sqrt(noise) * passing)
        counts = counts + rng.poisson(np.maximum(rate * dug[week - 1] - before, 0.0))
        before = np.maximum(before, rate * dug[week - 1])
        variance = own_sd[picked] ** 2 + noise
        lowest = np.minimum(lowest, _chance(counts, median[picked] * dug[week - 1], variance))
    return float(np.quantile(lowest, false_chance))
