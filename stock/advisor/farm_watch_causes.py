"""Losses of a shape that says where to look: one sex more than the other, after a batch came, or unseen."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from stock.advisor.families import Floats
from stock.advisor.farm_watch_normal import check_months
from stock.estimators.estimate import check_number

__all__ = [
    "WINDOWS",
    "BatchSignal",
    "LopsidedSignal",
    "UnseenSignal",
    "after_batch",
    "lopsided",
    "unseen_losses",
]

WINDOWS = (21, 56)
"""Days after a batch came over which deaths are held against it (common practice, no source)."""
LEAST_DEATHS = 5
SEX_GAP, GAP_DEATHS = 0.25, 20.0
"""Spread between ponds of the log of female to male death rates, and deaths that "no gap on the farm" is worth
(assumptions)."""
LEAST_TIMES = 1.5
UNSEEN_RATE, UNSEEN_YEARS, UNSEEN_SPREAD = 0.05, 500.0, 0.6
"""Yearly share of heads lost unseen before counts show any, the head-years it is worth, and the spread of ponds as
a share of it (assumptions)."""


@dataclass(frozen=True)
class LopsidedSignal:
    """A pond in which one sex dies more than its heads and the farm's habit explain."""

    pond: int
    sex: int
    females: int
    males: int
    expected_share: float
    chance: float
    limit: float

    @property
    def excess(self) -> float:
        """Deaths of that sex beyond its share."""
        of_sex = self.females if self.sex == 0 else self.males
        share = self.expected_share if self.sex == 0 else 1 - self.expected_share
        return of_sex - share * (self.females + self.males)


def lopsided(
    deaths: ArrayLike,
    head_days: ArrayLike,
    farm_deaths: Sequence[float],
    farm_days: Sequence[float],
    *,
    alarms: float,
) -> tuple[LopsidedSignal, ...]:
    """
    Name the ponds in which one sex dies more than the other for its heads.

    Of a pond's D deaths of known sex the females' are beta-binomial about r E_f / (r E_f + E_m), where r is
    the farm's female to male death rate, from which ponds' own differ somewhat. Given D, a rise of both
    sexes is no signal.

    Parameters
    ----------
    deaths, head_days : array, shape (ponds, 2)
        Females and males over the year looked at.
    farm_deaths, farm_days : two numbers
        The same of the whole farm over all its history.
    alarms : float
        False alarms a farm-year, looked at every month.

    Raises
    ------
    ValueError
        If a figure is impossible.
    """
    died, days = check_months(deaths, head_days)
    share_of_alarms = check_number(alarms, "alarms", low=0)
    if not len(died):
        return ()
    limit = share_of_alarms / (2 * 12 * len(died))
    rates = [(dead + GAP_DEATHS) / max(over, 1e-9) for dead, over in zip(farm_deaths, farm_days, strict=True)]
    expected = sum(farm_deaths) / max(sum(farm_days), 1e-9)
    if expected > 0:
        # Toward no gap between the sexes, as if so many more deaths of each had come at the farm's rate.
        rates = [
            (dead + GAP_DEATHS) / (over + GAP_DEATHS / expected)
            for dead, over in zip(farm_deaths, farm_days, strict=True)
        ]
    gap = rates[0] / rates[1]
    totals = died.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = gap * days[:, 0] / (gap * days[:, 0] + days[:, 1])
        # Ponds that do not differ have lighter tails: what does not signal there never does.
        least = np.minimum(
            stats.binom.sf(died[:, 0] - 1, totals, shares), stats.binom.cdf(died[:, 0], totals, shares)
        )
    found = []
    for pond in np.flatnonzero((totals >= LEAST_DEATHS) & (days > 0).all(axis=1) & (least < limit)):
        females, males, share = int(died[pond, 0]), int(died[pond, 1]), float(shares[pond])
        # The log odds spread by SEX_GAP, so the share by SEX_GAP p (1 - p).
        strength = 1 / (SEX_GAP**2 * share * (1 - share)) - 1
        spread = stats.betabinom(females + males, share * strength, (1 - share) * strength)
        for sex, chance in ((0, float(spread.sf(females - 1))), (1, float(spread.cdf(females)))):
            if chance < limit:
                found.append(LopsidedSignal(int(pond), sex, females, males, share, chance, limit))
    return tuple(sorted(found, key=lambda signal: -signal.excess))


@dataclass(frozen=True)
class BatchSignal:
    """
    Deaths that cluster after a batch came, in the ponds that got heads of it.

    ``expected`` are the deaths normal there in the whole window of ``days``; ``times`` how many times as often
    as normal they died there as elsewhere, None where no other pond can be set beside it.
    """

    batch: int
    days: int
    deaths: int
    expected: float
    elsewhere: int
    elsewhere_expected: float
    chance: float
    limit: float
    times: float | None

    @property
    def excess(self) -> float:
        return self.deaths - self.expected


def after_batch(
    batch: int,
    *,
    deaths: Sequence[int],
    expected: Sequence[float],
    elsewhere: Sequence[int],
    elsewhere_expected: Sequence[float],
    varies: float,
    batches_a_year: float,
    alarms: float,
) -> BatchSignal | None:
    """
    Say whether deaths cluster after a batch came, in the ponds that got it and not in the others.

    Deaths since are held against what is normal in the *whole* window, so that looking daily raises no
    false alarm: negative binomial, with what months vary. A rise that other ponds have too, such as after a
    frost, is not the batch's: the ponds with it must have lost half as much again as the others, for what is
    normal in each.

    Parameters
    ----------
    batch : int
        Its place, handed back.
    deaths, expected, elsewhere, elsewhere_expected : one of each of `WINDOWS`
        Deaths in the ponds that got it and in all others, and what is normal there. The first two as defined
        above; ``elsewhere_expected`` for the days that are over.
    varies : float
        Squared spread beyond chance, of ponds and months.
    batches_a_year, alarms : float
        Batches that come in a year, and false alarms a farm-year that all of them may raise.
    """
    limit = alarms / (max(batches_a_year, 1.0) * len(WINDOWS))
    best: BatchSignal | None = None
    for days, died, normal, others, others_normal in zip(
        WINDOWS, deaths, expected, elsewhere, elsewhere_expected, strict=True
    ):
        if died < LEAST_DEATHS or normal <= 0:
            continue
        size = 1 / max(varies, 1e-3)
        chance = float(stats.nbinom.sf(died - 1, size, size / (size + normal)))
        times = None
        if others_normal > 0:
            times = (died / normal) / max((others + 1) / (others_normal + 1), 1e-9)
        if chance >= limit or (times is not None and times < LEAST_TIMES):
            continue
        if best is None or chance < best.chance:
            best = BatchSignal(batch, days, died, normal, others, others_normal, chance, limit, times)
    return best


@dataclass(frozen=True)
class UnseenSignal:
    """A pond whose count found fewer heads than are normally lost unseen."""

    pond: int
    missing: float
    se: float
    expected: float
    chance: float
    limit: float

    @property
    def excess(self) -> float:
        return self.missing - self.expected


def unseen_losses(
    missing: ArrayLike,
    se: ArrayLike,
    head_years: ArrayLike,
    is_newest: ArrayLike,
    *,
    counts_a_year: float,
    alarms: float,
) -> tuple[UnseenSignal, ...]:
    """
    Name the ponds whose newest count says that more went unseen than is normal on the farm.

    Each row is a pond's count beside the one before it: heads missing that no entry explains, their standard
    error, and the head-years between. What is normal is the farm's missing heads a head-year over all rows,
    with a few head-years at an assumed rate; ponds differ from it.

    Parameters
    ----------
    missing, se, head_years : array, shape (rows,)
    is_newest : array of bool, shape (rows,)
        Rows that may signal.
    counts_a_year, alarms : float
        Counts accepted in a year, and false alarms a farm-year.
    """
    gone, error, years = (np.asarray(row, dtype=float) for row in (missing, se, head_years))
    newest = np.asarray(is_newest, dtype=bool)
    if not gone.size:
        return ()
    # Rows of little doubt teach most; none teaches by one bad count alone.
    worth: Floats = years**2 / (
        error**2 + (UNSEEN_SPREAD * UNSEEN_RATE * years) ** 2 + UNSEEN_RATE * years + 1e-9
    )
    own = np.clip(gone / np.maximum(years, 1e-9), 0.0, 0.3)
    prior = UNSEEN_YEARS / UNSEEN_RATE
    rate = float((worth @ own + prior * UNSEEN_RATE) / (worth.sum() + prior))
    normal = rate * years
    spread = np.sqrt(error**2 + normal + (UNSEEN_SPREAD * normal) ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(spread > 0, stats.norm.sf((gone - normal) / spread), 1.0)
    limit = alarms / max(counts_a_year, 1.0)
    return tuple(
        UnseenSignal(
            int(row), float(gone[row]), float(error[row]), float(normal[row]), float(chance[row]), limit
        )
        for row in np.flatnonzero(newest & (chance < limit) & (gone - normal >= LEAST_DEATHS))
    )
