"""What a simulated farm is like: its ponds, and the true rates nobody on the farm knows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEMALE, MALE = 0, 1


@dataclass(frozen=True)
class FarmPlan:
    """
    The farms a study draws from.

    Spreads are coefficients of variation unless said otherwise; none of the families below (beta, gamma) is one
    the product assumes.

    Parameters
    ----------
    ponds, years : int
        Ponds of a farm, and years it is followed.
    heads, ratio : (float, float)
        Least and most adults of a pond at the start, and females per male; both even on a log scale.
    survival, survival_sd, pond_survival_sd : float
        Mean yearly survival over farms, its standard deviation between farms (beta), and between the
        ponds of a farm (beta).
    year_spread, sex_spread : float
        Gamma spread of the death rate between the years of a pond, and between the sexes of a pond.
    bad_year, bad_year_factor : float
        Chance that a year is bad for the whole farm, and what it does to its death rate.
    seen, seen_sd, pond_seen_sd : float
        Mean share of deaths that are found, its standard deviation between farms and between ponds (beta).
    burst, burst_size : float, (float, float)
        Chance a pond and year of a burst of theft or escape, and the share of the pond that it takes.
    burst_prefers_females : float
        How many times as likely a female is to be taken as a male.
    catch_spread, sex_catch_sd, patches, patch_evenness, patch_sd :
        How unevenly animals are caught: gamma spread between animals; standard deviation of the log of
        female to male catch of a farm; patches of a pond, how alike the sexes use them (Dirichlet), and
        the standard deviation of the log of the seine's pull on a patch.
    sexing_error : (float, float)
        Least and most chance, by farm, that a turtle is taken for the other sex.
    late, late_days : float
        Share of log entries written late, and how many days late on average (exponential).
    count_gap : (int, int)
        Least and most months from one accepted count of a pond to the next.
    count_cv : (float, float)
        Least and most relative standard error of a count that is not a drain-down.
    drained : float
        Share of counts that are complete drain-downs.
    haul_chance, haul_share : float, (float, float)
        Chance that a month brings a sexed haul without marks, and the share of the pond that it catches.
    moves_a_year : float
        Booked moves a pond and year: stocking, culling of males, transfers to another pond.
    """

    ponds: int = 24
    years: int = 5
    heads: tuple[float, float] = (50, 5000)
    ratio: tuple[float, float] = (1, 6)
    survival: float = 0.90
    survival_sd: float = 0.045
    pond_survival_sd: float = 0.035
    year_spread: float = 0.35
    sex_spread: float = 0.15
    bad_year: float = 0.15
    bad_year_factor: float = 1.8
    seen: float = 0.55
    seen_sd: float = 0.15
    pond_seen_sd: float = 0.08
    burst: float = 0.03
    burst_size: tuple[float, float] = (0.02, 0.15)
    burst_prefers_females: float = 1.5
    catch_spread: float = 0.5
    sex_catch_sd: float = 0.10
    patches: int = 12
    patch_evenness: float = 2.0
    patch_sd: float = 0.5
    sexing_error: tuple[float, float] = (0.0, 0.02)
    late: float = 0.10
    late_days: float = 25.0
    count_gap: tuple[int, int] = (3, 30)
    count_cv: tuple[float, float] = (0.04, 0.15)
    drained: float = 0.15
    haul_chance: float = 0.12
    haul_share: tuple[float, float] = (0.05, 0.25)
    moves_a_year: float = 0.8


@dataclass(frozen=True)
class FarmRates:
    """
    The truth of one farm.

    Parameters
    ----------
    deaths : array, shape (ponds, years, 2)
        Deaths a head and year, by sex (0 female, 1 male).
    seen : array, shape (ponds,)
        Share of deaths found and logged.
    mean_deaths : array, shape (2,)
        Deaths a head and year over all ponds and years, by sex.
    female_catch : float
        How many times as easily a female is caught as a male.
    sexing_error : float
        Chance that a turtle is taken for the other sex.
    females, males : array of int, shape (ponds,)
        Adults at the start.
    """

    deaths: Floats
    seen: Floats
    mean_deaths: Floats
    female_catch: float
    sexing_error: float
    females: NDArray[np.int64]
    males: NDArray[np.int64]


def draw_beta(rng: np.random.Generator, mean: float, sd: float, size: int) -> Floats:
    """Draw shares with a mean and a standard deviation from a beta distribution; all alike where sd is 0."""
    if sd == 0:
        return np.full(size, mean)
    together = mean * (1 - mean) / sd**2 - 1
    if together <= 0:
        raise ValueError(f"No beta distribution has mean {mean} and standard deviation {sd}.")
    return rng.beta(mean * together, (1 - mean) * together, size)


def draw_gamma(rng: np.random.Generator, spread: float, size: tuple[int, ...]) -> Floats:
    """Draw factors of mean 1 and the given coefficient of variation; all 1 where it is 0."""
    if spread == 0:
        return np.ones(size)
    return rng.gamma(spread**-2, spread**2, size)


def draw_rates(plan: FarmPlan, rng: np.random.Generator) -> FarmRates:
    """Draw the truth of one farm."""
    farm_survival = float(np.clip(draw_beta(rng, plan.survival, plan.survival_sd, 1)[0], 0.7, 0.99))
    pond_sd = min(plan.pond_survival_sd, 0.9 * (1 - farm_survival))
    survival = np.clip(draw_beta(rng, farm_survival, pond_sd, plan.ponds), 0.5, 0.998)
    farm_years = np.where(rng.random(plan.years) < plan.bad_year, plan.bad_year_factor, 1.0)
    deaths = (
        -np.log(survival)[:, np.newaxis, np.newaxis]
        * draw_gamma(rng, plan.year_spread, (plan.ponds, plan.years, 1))
        * draw_gamma(rng, plan.sex_spread, (plan.ponds, 1, 2))
        * farm_years[:, np.newaxis]
    )
    farm_seen = float(np.clip(draw_beta(rng, plan.seen, plan.seen_sd, 1)[0], 0.15, 0.95))
    seen = draw_beta(rng, farm_seen, min(plan.pond_seen_sd, 0.5 * (1 - farm_seen)), plan.ponds)
    heads = np.exp(rng.uniform(*np.log(plan.heads), plan.ponds))
    share = 1 / (1 + np.exp(-rng.uniform(*np.log(plan.ratio), plan.ponds)))
    females = np.rint(heads * share).astype(np.int64)
    return FarmRates(
        deaths=deaths,
        seen=seen,
        mean_deaths=deaths.mean(axis=(0, 1)),
        female_catch=float(np.exp(rng.normal(0, plan.sex_catch_sd))),
        sexing_error=float(rng.uniform(*plan.sexing_error)),
        females=females,
        males=np.maximum(np.rint(heads).astype(np.int64) - females, 5),
    )
