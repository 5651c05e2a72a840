"""The running season: its total forecast again after each week from what has been dug."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from stock.advisor.coming import SeasonPrior
from stock.advisor.families import Floats
from stock.advisor.laying_curve import WEEKS, Curve
from stock.advisor.pond_levels import learn_pond_levels
from stock.advisor.ranges import Spread, spread_of
from stock.estimators.estimate import check_count, check_number

__all__ = [
    "SeasonForecast",
    "SeasonTiming",
    "check_dug",
    "check_prior",
    "forecast",
    "pond_noise",
    "watch_timing",
]

STRETCH_SD = 0.12
"""How far the length of seasons varies, as a share (an assumption)."""
WEEK_SPREADS = (0.2, 0.35, 0.55)
"""How far weeks of the whole farm vary beyond the curve: weather; which it is, is learnt (assumptions)."""
WEEKS_TOGETHER = 3
"""Weeks that depart from the curve together, as warm and cold spells last (an assumption)."""
POND_WEEK_SPREAD = 0.2
"""How far a pond's weeks vary beyond the farm's (an assumption)."""

POND_SHIFT_DAYS = 5.0
"""How far a pond of the farm is earlier or later than the others (an assumption)."""

_SHIFTS = np.linspace(-3.0, 3.0, 15)
_STRETCHES = np.linspace(-2.0, 2.0, 5)
_TAILS = np.linspace(-2.4, 2.4, 7)
_LEVELS = np.linspace(-3.6, 3.6, 31)
_LEAST_LEFT = 1e-12


@dataclass(frozen=True)
class SeasonTiming:
    """
    Draws of how a farm's season runs, learnt from its weeks so far.

    Parameters
    ----------
    shift_days : array, shape (draws,)
        Days the season is late.
    weekly : array, shape (draws, 53)
        Share of the season's nests in each week.
    week_spread : array, shape (draws,)
        How far weeks vary beyond the curve.
    log_total : array, shape (draws,)
        Natural logarithm of the farm's nests, against a middling season's.
    before_sd : float
        Standard deviation of that logarithm before the season began.
    """

    shift_days: Floats
    weekly: Floats
    week_spread: Floats
    log_total: Floats
    before_sd: float


@dataclass(frozen=True)
class SeasonForecast:
    """
    A season after some of its weeks.

    Parameters
    ----------
    weeks_dug : int
        Weeks of the nesting year already in the book.
    dug : array of float, shape (ponds,)
        Nests so far.
    nests : Spread of arrays, shape (ponds,)
        Nests of the whole season: 5 % point, mean, 95 % point; never below what is dug.
        ``arithmetic`` is what was expected before it began.
    total_nests : Spread of arrays, shape ()
        The same for all ponds together.
    expected_by_week : array, shape (ponds, 53)
        Expected nests of each week, past weeks as they would now be expected.
    total_by_week : Spread of arrays, shape (53,)
        All ponds together by week: the dug ones as they were, the coming ones drawn.
    share_dug : Spread of arrays, shape ()
        Share of the season's nests that is over by now by the curve.
    days_late : Spread of arrays, shape ()
        Days the season runs late (below 0: early).
    remaining : array, shape (ponds, draws)
        Draws of the nests still to come.
    notes : tuple of str
    """

    weeks_dug: int
    dug: Floats
    nests: Spread
    total_nests: Spread
    expected_by_week: Floats
    total_by_week: Spread
    share_dug: Spread
    days_late: Spread
    remaining: Floats
    notes: tuple[str, ...]


def check_dug(dug_by_week: ArrayLike, ponds: int) -> Floats:
    """
    Return nests dug as an array of shape (ponds, weeks so far).

    Raises
    ------
    ValueError
        If the shape is wrong, there are more than 53 weeks, or a figure is no count.
    """
    dug = np.asarray(dug_by_week, dtype=float)
    if dug.ndim == 1 and ponds == 1:
        dug = dug[np.newaxis]
    if dug.size == 0:
        return np.zeros((ponds, 0))
    if dug.ndim != 2 or len(dug) != ponds or dug.shape[1] > WEEKS:
        raise ValueError(
            f"dug_by_week: give the nests of each week so far, at most {WEEKS}, for each of the {ponds} ponds."
        )
    if not np.isfinite(dug).all() or (dug < 0).any() or (dug != np.floor(dug)).any():
        raise ValueError("dug_by_week: nests are counted whole, 0 or more.")
    return dug


def check_prior(prior: SeasonPrior) -> tuple[Floats, Floats, float]:
    """
    Return median and own standard deviation by pond, and the shared one.

    Raises
    ------
    ValueError
        If the shapes differ or a figure is negative or not finite.
    """
    median, own = np.asarray(prior.median, dtype=float), np.asarray(prior.own_sd, dtype=float)
    shared = check_number(prior.shared_sd, "shared_sd", low=0)
    if median.ndim != 1 or median.shape != own.shape:
        raise ValueError("prior: give one median and one own standard deviation for each pond.")
    for figures, name in ((median, "median"), (own, "own_sd")):
        if not np.isfinite(figures).all() or (figures < 0).any():
            raise ValueError(f"prior: every {name} must be 0 or more.")
    return median, own, shared


def forecast(
    curve: Curve,
    dug_by_week: ArrayLike,
    prior: SeasonPrior,
    *,
    stretch_sd: float = STRETCH_SD,
    draws: int = 2000,
    rng: int | np.random.Generator = 0,
) -> SeasonForecast:
    """
    Forecast a season's nests again from what has been dug.

    All ponds of one kind on a farm share their weather: how late the season is, how long, how much its
    weeks swing, and how good it is. Those are learnt together from the farm's nests by week, each week
    negative binomial about total x share of the week. What a pond does beyond that is learnt from its own
    nests to date against the farm's, Gamma-Poisson like. Then the weeks to come are drawn.

    Parameters
    ----------
    curve : LayingCurve or LearntCurve
        Of the kind; it says how far seasons come early or late and how long their tails may be.
    dug_by_week : array, shape (ponds, weeks so far), or (weeks so far,) for one pond
        Nests in each whole week of the nesting year, week 1 beginning on 1 September; weeks in which
        nothing was dug are 0.
    prior : SeasonPrior
        What was expected before: ``nest_prior`` of `coming_season`.
    stretch_sd : float
        How far seasons differ in length, in logarithms.
    draws : int
        Draws.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    SeasonForecast

    Raises
    ------
    ValueError
        If a figure is impossible or of the wrong shape.
    """
    median, own_sd, _ = check_prior(prior)
    ponds = len(median)
    dug = check_dug(dug_by_week, ponds)
    count, week = check_count(draws, "draws"), dug.shape[1]
    if not count:
        raise ValueError("draws: give at least one draw.")
    generator = np.random.default_rng(rng)
    timing = watch_timing(curve, dug, prior, stretch_sd=stretch_sd, draws=count, rng=generator)
    to_date = dug.sum(axis=1)
    luck, early = pond_noise(timing.weekly.mean(axis=0), week)
    level = learn_pond_levels(to_date, median, own_sd, noise=luck + early)
    lasting, passing = level.draw(count, generator, parts=(luck, early))
    totals = _pond_totals(prior, lasting, timing, generator)
    remaining, farm_weeks = _weeks_to_come(totals, passing, timing, week, generator)
    season = to_date[:, np.newaxis] + remaining
    before = median * np.exp(own_sd**2 / 2)
    over = timing.weekly[:, :week].sum(axis=1)
    by_week = np.hstack([np.broadcast_to(dug.sum(axis=0), (count, week)), farm_weeks])
    notes = []
    if (to_date[median == 0] > 0).any():
        notes.append(
            "Nests were dug where no settled female stands by the book; nothing more is expected there."
        )
    if week and not to_date.any():
        notes.append(
            "Nothing has been dug yet: the forecast rests on what was expected and on how late it is."
        )
    return SeasonForecast(
        weeks_dug=week,
        dug=to_date,
        nests=spread_of(season, before),
        total_nests=spread_of(season.sum(axis=0), before.sum()),
        expected_by_week=totals @ timing.weekly / count,
        total_by_week=spread_of(by_week.T, before.sum() * curve.weekly()),
        share_dug=spread_of(over, np.asarray(curve.weekly()[:week].sum())),
        days_late=spread_of(timing.shift_days, np.asarray(0.0)),
        remaining=remaining,
        notes=tuple(notes),
    )


def watch_timing(
    curve: Curve,
    dug: Floats,
    prior: SeasonPrior,
    *,
    stretch_sd: float = STRETCH_SD,
    draws: int,
    rng: np.random.Generator,
) -> SeasonTiming:
    """
    Learn from a farm's weeks how late, long, even and good its season is.

    The likeliest are not picked out: shifts, lengths, spreads of weeks and levels of the total are laid
    out on a grid, each choice weighted by how likely it makes the weeks so far, and drawn from.

    Parameters
    ----------
    curve, prior, stretch_sd, draws, rng
        As in `forecast`.
    dug : array, shape (ponds, weeks so far)

    Returns
    -------
    SeasonTiming
    """
    median, own_sd, shared = check_prior(prior)
    far = [axis.ravel() for axis in np.meshgrid(_SHIFTS, _STRETCHES, _TAILS, WEEK_SPREADS, indexing="ij")]
    shifts, spreads = curve.shift_sd_days * far[0], far[3]
    stretches = np.exp(check_number(stretch_sd, "stretch_sd", low=0, high=0.5) * far[1])
    weekly = curve.weekly(shift_days=shifts, stretch=stretches, tail=np.exp(curve.tail_sd * far[2]))
    whole = median * np.exp(own_sd**2 / 2)
    parts = whole / whole.sum() if whole.any() else whole
    # The farm's total varies with what ponds share and, less so, with what is each one's own.
    evened = float(np.sum((parts * own_sd) ** 2))
    level_sd = float(np.sqrt(shared**2 + evened))
    levels = level_sd * _LEVELS
    middle = float(whole.sum()) * float(np.exp(-evened / 2))
    log_weight = -0.5 * (far[0] ** 2 + far[1] ** 2 + far[2] ** 2)[:, np.newaxis] - 0.5 * _LEVELS**2
    week = dug.shape[1]
    seen = dug.sum(axis=0)
    dispersion = spreads**2 + POND_WEEK_SPREAD**2 * float((parts**2).sum())
    if middle > 0:
        size = 1 / dispersion[:, np.newaxis]
        # Weeks in which nothing was dug nor could be tell nothing.
        for number in np.flatnonzero((weekly[:, :week].max(axis=0) > _LEAST_LEFT) | (seen > 0)).tolist():
            log_mean = np.log(np.maximum(middle * weekly[:, [number]], _LEAST_LEFT)) + levels
            log_weight = (
                log_weight + _log_negative_binomial(float(seen[number]), log_mean, size) / WEEKS_TOGETHER
            )
    chance = np.exp(log_weight - log_weight.max()).ravel()
    picked = rng.choice(chance.size, size=draws, p=chance / chance.sum())
    row, column = np.divmod(picked, _LEVELS.size)
    # Within its cell of the grid a draw may lie anywhere; shares of weeks keep to the grid.
    jitter = (rng.random(draws) - 0.5) * (_LEVELS[1] - _LEVELS[0]) * level_sd
    return SeasonTiming(shifts[row], weekly[row], spreads[row], levels[column] + jitter, level_sd)


def _log_negative_binomial(count: float, log_mean: Floats, size: Floats) -> Floats:
    """Return the log chance of a count, variance mean + mean^2 / size, less what depends on the count alone."""
    against = log_mean - np.log(size)
    rising = special.gammaln(count + size) - special.gammaln(size)
    found: Floats = rising - (size + count) * np.log1p(np.exp(against)) + count * against
    return found


def pond_noise(weekly: Floats, week: int) -> tuple[float, float]:
    """
    Return what passes in a pond's sum of so many weeks, as two variances of its logarithm.

    Parameters
    ----------
    weekly : array, shape (53,)
        Share of the season in each week.
    week : int
        Weeks so far.

    Returns
    -------
    (float, float)
        By the luck of its weeks, and by the pond being early or late by itself.
    """
    over = float(weekly[:week].sum())
    if over <= _LEAST_LEFT:
        return 0.0, 0.0
    a_day = float(weekly[week - 1 : week + 1].mean()) / 7
    # Early in a season a few days are everything; the straight line would run away there.
    early = min(POND_SHIFT_DAYS * a_day / over, 1.0)
    return POND_WEEK_SPREAD**2 * float((weekly[:week] ** 2).sum()) / over**2, early**2


def _pond_totals(
    prior: SeasonPrior, lasting: Floats, timing: SeasonTiming, rng: np.random.Generator
) -> Floats:
    """Return draws of the nests each pond is good for: the farm's total shared out by the ponds' own levels."""
    median, own_sd, shared = check_prior(prior)
    whole = median * np.exp(own_sd**2 / 2)
    if not whole.any():
        return np.zeros_like(lasting)
    parts = whole / whole.sum()
    total = float(whole.sum()) * np.exp(timing.log_total - float(np.sum((parts * own_sd) ** 2)) / 2)
    # On a farm of few ponds a good total is a good pond: levels are moved toward the total drawn.
    variance = lasting.var(axis=1)
    implied = shared * rng.standard_normal(lasting.shape[1]) + parts @ lasting
    gain = parts * variance / max(shared**2 + float(np.sum(parts**2 * variance)), _LEAST_LEFT)
    own = median[:, np.newaxis] * np.exp(lasting + gain[:, np.newaxis] * (timing.log_total - implied))
    shared_out: Floats = total * own / own.sum(axis=0)
    return shared_out


def _weeks_to_come(
    totals: Floats, passing: Floats, timing: SeasonTiming, week: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draw nests still to come, (ponds, draws), and the farm's by week, (draws, weeks to come)."""
    ahead = timing.weekly[:, week:]
    size = 1 / timing.week_spread[:, np.newaxis] ** 2
    spells = rng.gamma(np.broadcast_to(size, (len(ahead), ahead.shape[1] // WEEKS_TOGETHER + 1)), 1 / size)
    # Weeks share out the season's total. So far as it was known beforehand a swing ahead is made good by the
    # other weeks; so far as it is learnt from the weeks dug, a swing ahead adds to it in full.
    over = timing.weekly[:, :week].sum(axis=1)
    learnt = 1 - float(timing.log_total.var()) / max(timing.before_sd**2, _LEAST_LEFT)
    felt = np.minimum(over + (1 - over) * min(max(learnt, 0.0), 1.0), 1.0)
    swung = np.repeat(spells, WEEKS_TOGETHER, axis=1)[:, : ahead.shape[1]] * ahead
    to_come = ahead.sum(axis=1)
    # The weeks keep their swings; their sum is drawn back to the curve's by what is not felt.
    sums = np.maximum(swung.sum(axis=1), _LEAST_LEFT)
    swings: Floats = swung * ((to_come / sums) ** (1 - felt))[:, np.newaxis]
    left, squares = swings.sum(axis=1), (swings**2).sum(axis=1)
    # A pond's own swings from week to week, summed over the weeks left.
    spread = POND_WEEK_SPREAD**2 * np.divide(
        squares, left**2, out=np.ones_like(left), where=left > _LEAST_LEFT
    )
    spread = np.maximum(spread * felt**2, _LEAST_LEFT)
    own = rng.gamma(np.broadcast_to(1 / spread, totals.shape), spread)
    # A pond that was late has the more to come, and the other way round.
    shifted = np.clip(1 - over * np.exp(passing), 0.0, 1.0) / np.maximum(to_come, _LEAST_LEFT)
    remaining = rng.poisson(totals * left * own * np.where(to_come > _LEAST_LEFT, shifted, 1.0))
    farm = rng.poisson(totals.sum(axis=0)[:, np.newaxis] * swings)
    return np.asarray(remaining, dtype=float), np.asarray(farm, dtype=float)
