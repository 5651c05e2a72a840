"""Hatchlings to keep back each year: the stage model of a kind, its elasticities, and the years ahead."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stock.advisor.demography import Growth, Recruits, growth, released_recruits
from stock.advisor.ranges import check_ranges, draw_ranges
from stock.estimators.estimate import check_count, check_number

Floats = NDArray[np.float64]
Triple = tuple[float, float, float]

SEED, DRAWS = 20_260, 4000
MOST_YEARS = 40
"""Years to breeding size beyond which a figure is a slip."""


@dataclass(frozen=True)
class Rates:
    """
    One figure for each step of a life.

    Parameters
    ----------
    first_year, juvenile, adult : float
        Shares that live through a year: of hatchlings kept back, of juveniles, of breeders.
    years : int
        Years from hatching to breeding size, 1 or more.
    """

    first_year: float
    juvenile: float
    adult: float
    years: int

    def __post_init__(self) -> None:
        """Refuse shares that are none and years that cannot be."""
        for share, name in (
            (self.first_year, "first_year"), (self.juvenile, "juvenile"), (self.adult, "adult"),
        ):  # fmt: skip
            check_number(share, name, low=0, high=1)
        if not 1 <= check_count(self.years, "years") <= MOST_YEARS:
            raise ValueError(f"years: {self.years} years to breeding size is not between 1 and {MOST_YEARS}.")

    @property
    def grows_up(self) -> float:
        """Share of hatchlings kept back that reach breeding size."""
        return self.first_year * self.juvenile ** (self.years - 1)


def stage_matrix(rates: Rates, kept: float = 0.0) -> Floats:
    """
    Return the stage matrix of one sex, counted just after hatching: a stage a year of youth, then breeders.

    Parameters
    ----------
    rates : Rates
    kept : float
        Hatchlings of the sex kept back per breeder and year.

    Returns
    -------
    array, shape (years + 1, years + 1)
        As `demography.growth` wants it.
    """
    matrix = np.zeros((rates.years + 1, rates.years + 1))
    for age in range(rates.years):
        matrix[age + 1, age] = rates.first_year if age == 0 else rates.juvenile
    matrix[-1, -1] = rates.adult
    matrix[0, -1] += check_number(kept, "kept", low=0)
    return matrix


@dataclass(frozen=True)
class Need:
    """
    Hatchlings of one sex to keep back each year.

    Parameters
    ----------
    hatchlings : Recruits
        By the expected figures, rounded up; see `demography.released_recruits`.
    low, high : float
        5 % and 95 % points over the draws of all survivals at once; infinite where hardly any grow up.
    lost_a_year : float
        Breeders that die in a year, to be replaced.
    """

    hatchlings: Recruits
    low: float
    high: float
    lost_a_year: float


def needed(
    breeders: float,
    rates: Rates,
    *,
    first_year: Triple | None = None,
    juvenile: Triple | None = None,
    adult: Triple | None = None,
    draws: int = DRAWS,
    rng: int = SEED,
) -> Need:
    """
    Return how many hatchlings a year hold a number of breeders, and how far that is known.

    Parameters
    ----------
    breeders : float
        Heads to hold.
    rates : Rates
        Expected figures.
    first_year, juvenile, adult : Triple, optional
        Low, expected and high of each share; the expected figure without doubt where not given.
    draws, rng : int
        Joint draws for the limits, and their seed.

    Returns
    -------
    Need

    Raises
    ------
    ValueError
        If a figure is impossible.
    """
    wanted = check_number(breeders, "breeders", low=0)
    recruits = released_recruits(stage_matrix(rates), 0, rates.years, wanted)
    generator = np.random.default_rng(rng)
    drawn = []
    for triple, expected, name in (
        (first_year, rates.first_year, "first_year"),
        (juvenile, rates.juvenile, "juvenile"),
        (adult, rates.adult, "adult"),
    ):
        ranges = check_ranges([triple or (expected,) * 3], 1, name, high=1.0)
        drawn.append(draw_ranges(ranges, draws, generator, high=1.0)[0])
    young, growing, grown = drawn
    with np.errstate(divide="ignore", invalid="ignore"):
        each = wanted * (1 - grown) / (young * growing ** (rates.years - 1))
    low, high = np.quantile(np.where(np.isnan(each), 0.0, each), [0.05, 0.95], method="lower")
    return Need(recruits, float(low), float(high), wanted * (1 - rates.adult))


@dataclass(frozen=True)
class Levers:
    """
    What one percent better does to the long-run growth rate, in percent (elasticities).

    ``juvenile`` is for one percent in every juvenile year together; ``kept`` for one percent more hatchlings
    kept back. The four do not sum to 1: a hatchling's survival and the number kept are one step of the life.
    """

    adult: float
    juvenile: float
    first_year: float
    kept: float


def levers(rates: Rates, kept: float) -> tuple[Growth, Levers | None]:
    """
    Return the growth of one sex, and what moves it.

    Parameters
    ----------
    rates : Rates
    kept : float
        Hatchlings kept back per breeder and year.

    Returns
    -------
    Growth, Levers or None
        None where the stock has no growth rate or nothing is kept back.
    """
    found = growth(stage_matrix(rates, kept))
    if found.elasticity is None or not kept:
        return found, None
    table = found.elasticity
    young = [float(table[age + 1, age]) for age in range(rates.years)]
    return found, Levers(
        adult=float(table[-1, -1]),
        juvenile=math.fsum(young[1:]),
        first_year=young[0],
        kept=float(table[0, -1]),
    )


def holding_share(rates: Rates) -> float:
    """Return the hatchlings per breeder and year that just hold the stock; infinite where none grow up."""
    lost = 1 - rates.adult
    if not lost:
        return 0.0
    return lost / rates.grows_up if rates.grows_up else math.inf


def years_ahead(
    breeders: float,
    rates: Rates,
    *,
    kept: float = 0.0,
    coming: Sequence[float] = (),
    years: int = 20,
) -> tuple[float, ...]:
    """
    Return the breeders of one sex now and at the end of each year ahead.

    Parameters
    ----------
    breeders : float
        Standing now.
    rates : Rates
    kept : float
        Hatchlings of the sex kept back every year, from the coming season on: the first of them breed after
        ``rates.years`` years.
    coming : sequence of float
        Young that reach breeding size in year 1, 2 ... from what stands already.
    years : int

    Returns
    -------
    tuple of float, length years + 1
    """
    heads = [check_number(breeders, "breeders", low=0)]
    grown = check_number(kept, "kept", low=0) * rates.grows_up
    for year in range(1, check_count(years, "years") + 1):
        joining = coming[year - 1] if year <= len(coming) else 0.0
        heads.append(heads[-1] * rates.adult + joining + (grown if year >= rates.years else 0.0))
    return tuple(heads)


def spread_young(juveniles: float, rates: Rates) -> tuple[float, ...]:
    """
    Return how many of the juveniles standing reach breeding size in year 1, 2 ...

    Their ages are not known: they are spread evenly over the years of youth (an assumption).

    Parameters
    ----------
    juveniles : float
        Heads, of one sex.
    rates : Rates

    Returns
    -------
    tuple of float, length ``rates.years`` - 1, at least 1
    """
    heads = check_number(juveniles, "juveniles", low=0)
    span = max(1, rates.years - 1)
    return tuple(heads / span * rates.juvenile**year for year in range(1, span + 1))


def in_the_end(rates: Rates, kept: float) -> float:
    """Return the breeders that a steady number kept back each year leads to; infinite where breeders never die."""
    lost = 1 - rates.adult
    grown = check_number(kept, "kept", low=0) * rates.grows_up
    return grown / lost if lost else math.inf if grown else 0.0
