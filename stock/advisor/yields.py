"""
Nests and eggs of a season by seeded simulation, and the two curves the advice leans on.

What learns rates and means from the nest book lives in modules of its own and is offered here too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.coming import ComingSeason, SeasonPrior, coming_season, draw_figure, season_prior
from stock.advisor.falling_behind import Behind, falling_behind
from stock.advisor.fertility import (
    FEMALE_SURVIVAL_SOURCE,
    FERTILITY_SOURCE,
    delayed_fertility,
    female_survival,
    fertility,
)
from stock.advisor.hatchery import HatchDays, HatcheryPlan, HatcheryWeek, hatch_days, hatchery_plan
from stock.advisor.laying_curve import LayingCurve, LearntCurve, learn_curve
from stock.advisor.nesting_dates import CURVES
from stock.advisor.pond_rates import ShrunkRates, shrink_rates
from stock.advisor.ranges import Spread, check_heads, check_ranges, draw_ranges, spread_of
from stock.advisor.rates import Overdispersion, RatePosterior, overdispersion, rate_posterior
from stock.advisor.season_book import SeasonBook
from stock.advisor.season_eggs import draw_eggs, forecast_eggs, forecast_hatched
from stock.advisor.season_forecast import SeasonForecast, forecast
from stock.advisor.season_learning import LearntFigure, PublishedFigures, YieldsLearnt, learn_yields
from stock.advisor.shrinkage import ShrunkEstimates, ShrunkMeans, shrink_estimates, shrink_means

__all__ = [
    "CURVES",
    "FEMALE_SURVIVAL_SOURCE",
    "FERTILITY_SOURCE",
    "Behind",
    "ComingSeason",
    "HatchDays",
    "HatcheryPlan",
    "HatcheryWeek",
    "LayingCurve",
    "LearntCurve",
    "LearntFigure",
    "Overdispersion",
    "PublishedFigures",
    "RatePosterior",
    "SeasonBook",
    "SeasonForecast",
    "SeasonPrior",
    "SeasonYield",
    "ShrunkEstimates",
    "ShrunkMeans",
    "ShrunkRates",
    "Spread",
    "YieldsLearnt",
    "check_heads",
    "check_ranges",
    "coming_season",
    "delayed_fertility",
    "draw_eggs",
    "draw_figure",
    "draw_ranges",
    "falling_behind",
    "female_survival",
    "fertility",
    "forecast",
    "forecast_eggs",
    "forecast_hatched",
    "hatch_days",
    "hatchery_plan",
    "learn_curve",
    "learn_yields",
    "overdispersion",
    "rate_posterior",
    "season_prior",
    "season_yield",
    "shrink_estimates",
    "shrink_means",
    "shrink_rates",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SeasonYield:
    """
    A season's nests, eggs and hatched eggs.

    ``nests``, ``eggs`` and ``hatched`` hold arrays of shape (pond-kinds,); the ``total_`` ones hold
    arrays of shape () for all of them together, whose limits are not the sums of the limits.
    ``hatched`` is None where no hatch was given.
    """

    nests: Spread
    eggs: Spread
    hatched: Spread | None
    total_nests: Spread
    total_eggs: Spread
    total_hatched: Spread | None


def season_yield(
    females: ArrayLike,
    *,
    laying: ArrayLike,
    nests: ArrayLike,
    eggs: ArrayLike,
    hatch: ArrayLike | None = None,
    kinds: Sequence[Any] | None = None,
    draws: int = 5000,
    rng: int | np.random.Generator,
) -> SeasonYield:
    """
    Simulate a season's nests, eggs and hatched eggs of pond-kinds.

    Nests are females x share laying x nests per laying female; eggs are nests x eggs per nest;
    hatched eggs are eggs x hatch. Every figure is drawn from its own range (see `draw_ranges`),
    independently of the others, so extremes are never multiplied. What varies is what is not known
    about the kind; the luck of single animals is left out, which is small from some tens of females.

    Parameters
    ----------
    females : array, shape (rows,), or (rows, draws) of joint draws
        Settled-equivalent females of each pond-kind (heads).
    laying, hatch : array, shape (3,) or (rows, 3)
        Share of settled females that lay, and of eggs that hatch: low, expected, high, 0 to 1.
    nests, eggs : array, shape (3,) or (rows, 3)
        Nests per laying female and season, and eggs per nest: low, expected, high.
    kinds : sequence, length rows, optional
        Kind of each row; rows of one kind share the draws of the kind's figures.
    draws : int
        Draws, 1 or more; ignored where ``females`` brings its own.
    rng : int or numpy.random.Generator
        Seed, or source of chance; the same seed gives the same figures.

    Returns
    -------
    SeasonYield
        5 % point, mean and 95 % point of each.

    Raises
    ------
    ValueError
        If a range or a number of females is impossible.
    """
    heads = check_heads(females, "females")
    rows = len(heads)
    count = heads.shape[1] if heads.shape[1] > 1 else draws
    generator = np.random.default_rng(rng)
    stages = [("laying", laying, 1.0), ("nests", nests, np.inf), ("eggs", eggs, np.inf)]
    if hatch is not None:
        stages.append(("hatch", hatch, 1.0))
    running, arithmetic = np.broadcast_to(heads, (rows, count)), heads.mean(axis=1)
    spreads: list[tuple[Spread, Spread]] = []
    for name, given, high in stages:
        ranges = check_ranges(given, rows, name, high=high)
        running = running * draw_ranges(ranges, count, generator, groups=kinds, high=high)
        arithmetic = arithmetic * ranges[:, 1]
        if name != "laying":
            spreads.append((spread_of(running, arithmetic), spread_of(running.sum(axis=0), arithmetic.sum())))
    hatched, total_hatched = spreads[2] if hatch is not None else (None, None)
    return SeasonYield(spreads[0][0], spreads[1][0], hatched, spreads[0][1], spreads[1][1], total_hatched)
