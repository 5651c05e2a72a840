"""The running season's eggs: those found, and those of nests not opened or not dug yet."""

import numpy as np
from numpy.typing import ArrayLike

from stock.advisor.coming import SeasonPrior
from stock.advisor.families import Floats
from stock.advisor.ranges import Spread, spread_of
from stock.advisor.season_forecast import SeasonForecast, check_prior

_LEAST = 1e-12


def forecast_eggs(
    running: SeasonForecast,
    prior: SeasonPrior,
    *,
    opened: ArrayLike,
    eggs: ArrayLike,
    rng: int | np.random.Generator = 0,
) -> tuple[Spread, Spread]:
    """
    Forecast a season's eggs from its nests and from the eggs found so far.

    Eggs of opened nests are in; other nests, dug or to come, hold the pond's eggs a nest, learnt again
    from this season's nests (eggs about as Poisson, ponds sharing a good or bad season).

    Parameters
    ----------
    running : SeasonForecast
    prior : SeasonPrior
        ``egg_prior`` of `coming_season`.
    opened, eggs : array, shape (ponds,)
        Nests opened so far this season, and the eggs in them.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    (Spread, Spread)
        By pond, shape (ponds,), and all together, shape (). ``arithmetic`` is mean nests x eggs a nest.

    Raises
    ------
    ValueError
        If a figure is impossible, or more nests were opened than dug.
    """
    drawn, by_hand = draw_eggs(running, prior, opened=opened, eggs=eggs, rng=rng)
    return spread_of(drawn, by_hand), spread_of(drawn.sum(axis=0), by_hand.sum())


def draw_eggs(
    running: SeasonForecast,
    prior: SeasonPrior,
    *,
    opened: ArrayLike,
    eggs: ArrayLike,
    rng: int | np.random.Generator = 0,
) -> tuple[Floats, Floats]:
    """Return draws of a season's eggs, shape (ponds, draws), and mean nests x eggs a nest: see `forecast_eggs`."""
    median, own_sd, shared = check_prior(prior)
    ponds = len(median)
    nests_opened, found = np.asarray(opened, dtype=float), np.asarray(eggs, dtype=float)
    if not len(running.dug) == ponds == len(nests_opened) == len(found):
        raise ValueError(f"opened, eggs: give one figure for each of the {ponds} ponds.")
    if (nests_opened < 0).any() or (found < 0).any() or (nests_opened > running.dug).any():
        raise ValueError("opened, eggs: counts are 0 or more, and no more nests are opened than were dug.")
    generator = np.random.default_rng(rng)
    draws = running.remaining.shape[1]
    common, common_sd, own, spread = _egg_levels(nests_opened, found, median, own_sd, shared)
    a_nest = median[:, np.newaxis] * np.exp(
        own[:, np.newaxis]
        + spread[:, np.newaxis] * generator.standard_normal((ponds, draws))
        + (common + common_sd * generator.standard_normal(draws)) * _keeps(nests_opened, own_sd, found)
    )
    closed = (running.dug - nests_opened)[:, np.newaxis] + running.remaining
    drawn: Floats = found[:, np.newaxis] + generator.poisson(closed * a_nest)
    return drawn, found + closed.mean(axis=1) * a_nest.mean(axis=1)


def forecast_hatched(
    eggs: ArrayLike, hatch: ArrayLike, *, rng: int | np.random.Generator = 0
) -> tuple[Spread, Spread]:
    """
    Forecast hatched eggs from draws of a season's eggs.

    Parameters
    ----------
    eggs : array, shape (ponds, draws)
        As `draw_eggs` returns.
    hatch : array, shape (ponds, draws)
        Share of eggs that hatch, 0 to 1, fertility in it.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    (Spread, Spread)
        By pond, shape (ponds,), and all together, shape (). ``arithmetic`` is mean eggs x mean hatch.

    Raises
    ------
    ValueError
        If the shapes differ or a share is impossible.

    Notes
    -----
    Eggs of this season that are in the incubator already tell nothing here.
    """
    laid, share = np.asarray(eggs, dtype=float), np.asarray(hatch, dtype=float)
    if laid.ndim != 2 or laid.shape != share.shape:
        raise ValueError("eggs, hatch: give one row of draws a pond, and as many of one as of the other.")
    if not ((share >= 0) & (share <= 1)).all():
        raise ValueError("hatch: a share of eggs lies between 0 and 1.")
    hatched = np.random.default_rng(rng).binomial(laid.astype(np.int64), share).astype(float)
    by_hand = laid.mean(axis=1) * share.mean(axis=1)
    return spread_of(hatched, by_hand), spread_of(hatched.sum(axis=0), by_hand.sum())


def _keeps(opened: Floats, own_sd: Floats, eggs: Floats) -> Floats:
    """Return how much of the farm's season each pond's level still takes, its own eggs telling the rest."""
    precision = _egg_precision(opened, eggs)
    keeps: Floats = (1 / (1 + precision * own_sd**2))[:, np.newaxis]
    return keeps


def _egg_precision(opened: Floats, eggs: Floats) -> Floats:
    return np.where(opened > 0, eggs + 0.5, 0.0)


def _egg_levels(
    opened: Floats, eggs: Floats, median: Floats, own_sd: Floats, shared: float
) -> tuple[float, float, Floats, Floats]:
    """Return the farm's level with its error, and each pond's own part given it with its error, in logarithms."""
    precision = _egg_precision(opened, eggs)
    expected = np.where(opened > 0, opened * median, 1.0)
    told = np.where(precision > 0, np.log((eggs + 0.5) / np.maximum(expected, _LEAST)), 0.0)
    together = np.divide(precision, 1 + precision * own_sd**2)
    weight = float(together.sum()) + (1 / shared**2 if shared > 0 else np.inf)
    common = float(together @ told) / weight
    share = precision * own_sd**2 / (1 + precision * own_sd**2)
    return common, float(1 / np.sqrt(weight)), share * told, own_sd * np.sqrt(1 - share)
