"""What is normal: each pond's own deaths, shrunk to the farm's, by season of the year and with months that vary."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.families import Floats

__all__ = ["DAYS_A_YEAR", "Normal", "check_months", "normal_deaths"]

DAYS_A_YEAR = 365.25
PRIOR_SURVIVAL = 0.90
"""Yearly survival of settled adults before the farm has any deaths to show (an assumption)."""
PRIOR_DEATHS = 5.0
"""Deaths that assumption is worth."""
PRIOR_SPREAD, SPREAD_PONDS = 0.15, 4.0
"""Squared spread of rates between ponds before any are compared (an assumption), and the ponds it is worth."""
PRIOR_VARIES, VARIES_MONTHS = 0.05, 100.0
"""Squared spread of a pond's months beyond chance (an assumption), and the pond-months it is worth."""
SEASON_MONTHS, SEASON_DEATHS = 24, 30.0
"""Months of history below which no season of the year is told apart, and deaths that "no season" is worth."""
_CAP = 4.0
_SPREADS, _VARIES = (0.02, 1.5), (1e-3, 1.0)


@dataclass(frozen=True)
class Normal:
    """
    What a farm's ponds normally lose.

    Attributes
    ----------
    deaths : array, shape (ponds, months)
    exposure : array, shape (ponds, months)
        Head-years, each month's weighed by its season.
    season : array, shape (12,)
        How many times the year's mean rate January to December have; all 1 where it cannot be told.
    shape, scale : float
        The farm's rates are Gamma: ``shape`` over ``scale`` is the mean, in deaths a head-year.
    varies : float
        Squared spread of a pond's months beyond chance.
    """

    deaths: Floats
    exposure: Floats
    season: Floats
    shape: float
    scale: float
    varies: float

    @property
    def rate(self) -> float:
        """The farm's deaths a head-year."""
        return self.shape / self.scale

    def weights(self) -> Floats:
        """Return what a month's deaths weigh: the less, the more of their variation is not chance."""
        return 1 / (1 + self.varies * self.pond_rates()[:, None] * self.exposure)

    def learnt(self, months: slice = slice(None)) -> tuple[Floats, Floats]:
        """Return the shape and scale of each pond's rate as learnt from some months, each by what it weighs."""
        weights = self.weights()[:, months]
        shape: Floats = self.shape + (weights * self.deaths[:, months]).sum(axis=1)
        scale: Floats = self.scale + (weights * self.exposure[:, months]).sum(axis=1)
        return shape, scale

    def pond_rates(self) -> Floats:
        """Return each pond's rate over all its months, shrunk to the farm's."""
        rates: Floats = (self.shape + self.deaths.sum(axis=1)) / (self.scale + self.exposure.sum(axis=1))
        return rates


def check_months(deaths: ArrayLike, head_days: ArrayLike) -> tuple[Floats, Floats]:
    """Return both as arrays of ponds by months; refuse what cannot be."""
    died, days = np.asarray(deaths, dtype=float), np.asarray(head_days, dtype=float)
    if died.ndim != 2 or died.shape != days.shape:
        raise ValueError(f"deaths {died.shape} and head_days {days.shape}: give both as ponds by months.")
    if not np.isfinite(died).all() or (died < 0).any() or (died != np.floor(died)).any():
        raise ValueError("deaths: give whole numbers, 0 or more.")
    if not np.isfinite(days).all() or (days < 0).any():
        raise ValueError("head_days: give numbers, 0 or more.")
    return died, days


def normal_deaths(
    deaths: ArrayLike, head_days: ArrayLike, month_of_year: ArrayLike, *, learn_through: int | None = None
) -> Normal:
    """
    Learn what the ponds of a farm normally lose.

    Deaths of a pond and month are Poisson about (pond's rate) x (head-years) x (season), varying beyond
    chance as far as the farm's months do; ponds' rates are Gamma about the farm's. The farm's figures come
    by moments, a few assumed deaths, ponds and months keeping a young farm's from running wild.

    Parameters
    ----------
    deaths : array of int, shape (ponds, months)
    head_days : array, shape (ponds, months)
    month_of_year : array of int, shape (months,)
        1 to 12.
    learn_through : int, optional
        The farm's figures are learnt from so many of the first months; all of them otherwise.

    Raises
    ------
    ValueError
        If a figure is impossible or of the wrong shape.

    References
    ----------
    Marshall (1991), Applied Statistics 40, 283-294 (rates shrunk by moments).
    """
    died, days = check_months(deaths, head_days)
    months = np.asarray(month_of_year, dtype=np.int64) - 1
    if months.shape != died.shape[1:] or (months < 0).any() or (months > 11).any():
        raise ValueError("month_of_year: give 1 to 12 for every month.")
    years = days / DAYS_A_YEAR
    through = died.shape[1] if learn_through is None else learn_through
    seen, over, of_year = died[:, :through], years[:, :through], months[:through]
    start = -np.log(PRIOR_SURVIVAL)

    def farm_rate(exposure: Floats) -> float:
        return float((seen.sum() + PRIOR_DEATHS) / (exposure.sum() + PRIOR_DEATHS / start))

    season = np.ones(12)
    if through >= SEASON_MONTHS:
        rate = farm_rate(over)
        own = (seen.sum(axis=1) + 1 / PRIOR_SPREAD) / (over.sum(axis=1) + 1 / (PRIOR_SPREAD * rate))
        by_month = (own[:, None] * over).sum(axis=0)
        fell = np.bincount(of_year, seen.sum(axis=0), 12) + SEASON_DEATHS
        meant = np.bincount(of_year, by_month, 12) + SEASON_DEATHS
        season = fell / meant
        season /= season.mean()
    exposure = over * season[of_year]
    rate = farm_rate(exposure)
    spread, varies = _spreads(seen, exposure, rate)
    return Normal(died, years * season[months], season, 1 / spread, 1 / (spread * rate), varies)


def _spreads(died: Floats, exposure: Floats, rate: float) -> tuple[float, float]:
    """Return the squared spreads between ponds, and between a pond's months beyond chance."""
    spread, varies = PRIOR_SPREAD, PRIOR_VARIES
    stood: NDArray[np.bool_] = exposure.sum(axis=1) > 0
    died, exposure = died[stood], exposure[stood]
    mean = rate * exposure
    totals = mean.sum(axis=1)
    for _ in range(3):
        own = (1 / spread + died.sum(axis=1)) / (1 / (spread * rate) + exposure.sum(axis=1))
        meant = own[:, None] * exposure
        # A month far out is the trouble looked for, and must not teach what is normal.
        square = np.minimum((died - meant) ** 2, _CAP**2 * (meant + varies * meant**2))
        squares = float((meant**2).sum())
        worth = VARIES_MONTHS * (squares / meant.size if meant.size else 1.0)
        varies = float(((square - meant).sum() + PRIOR_VARIES * worth) / max(squares + worth, 1e-12))
        varies = min(max(varies, _VARIES[0]), _VARIES[1])
        by_chance = totals + varies * (mean**2).sum(axis=1)
        between = ((died.sum(axis=1) - totals) ** 2 - by_chance).sum()
        between_worth = SPREAD_PONDS * (float((totals**2).mean()) if totals.size else 1.0)
        spread = float(
            (between + PRIOR_SPREAD * between_worth) / max(float((totals**2).sum()) + between_worth, 1e-12)
        )
        spread = min(max(spread, _SPREADS[0]), _SPREADS[1])
    return spread, varies
