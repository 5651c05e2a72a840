"""Ponds in which more die than is normal there, false alarms held down over the whole farm."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from stock.advisor.families import Floats
from stock.advisor.farm_watch_normal import Normal, normal_deaths
from stock.estimators.estimate import check_number

__all__ = ["BURST", "FALSE_ALARMS", "SLOW", "DeathSignal", "evidence", "has_grown", "watch_deaths"]

BURST, SLOW = "burst", "slow"
FALSE_ALARMS = 1.0
"""False alarms a year that a whole farm puts up with, all its watches together."""
RISES, RISE_WEIGHTS = np.array([1.5, 2.0, 4.0]), np.array([0.25, 0.5, 0.25])
"""Rises held against "nothing changed", in times the normal rate, and how much each counts."""
LEAST_DEATHS = 3
"""Fewer deaths than this never signal."""
LEAST_MONTHS = 6
"""Months of a farm's history before its slow rises are watched."""
GROWN, GROWN_HEADS = 1.5, 3
_RATES, _REACH = 36, 4.0
_SCREEN = 20.0

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class DeathSignal:
    """
    One pond in which more died than is normal there.

    Attributes
    ----------
    pond : int
        Its place among the ponds.
    what : str
        `BURST`, one month beyond its exact limit, or `SLOW`, a rise that adds up.
    first, last : int
        Places of the months in question.
    deaths : int
        In those months.
    expected : float
        Deaths normal there in those months, as learnt from the months before.
    limit : float
        `BURST`: the most deaths that are still taken for chance. `SLOW`: the sum beyond which it signals.
    score : float
        `BURST`: chance of so many deaths or more where nothing changed. `SLOW`: the sum.
    own_rate, farm_rate : float
        Deaths a head-year normal in the pond, and on the farm.
    """

    pond: int
    what: str
    first: int
    last: int
    deaths: int
    expected: float
    limit: float
    score: float
    own_rate: float
    farm_rate: float

    @property
    def excess(self) -> float:
        return self.deaths - self.expected

    @property
    def times(self) -> float:
        """How many times the normal deaths."""
        return self.deaths / self.expected if self.expected > 0 else np.inf


def watch_deaths(
    deaths: ArrayLike,
    head_days: ArrayLike,
    month_of_year: ArrayLike,
    *,
    slow_alarms: float,
    burst_alarms: float,
    watched: int | None = None,
) -> tuple[DeathSignal, ...]:
    """
    Name the ponds that lose more than is normal for them in the last month, or in months up to it.

    Two rules, each with its share of the false alarms. *Burst*: the last month's deaths lie beyond the exact
    limit of what the months before foretell: negative binomial, for the pond's rate is only learnt and its
    months vary. *Slow*: see `evidence`; its sum must exceed pond-months a year over alarms a year.

    The last month may be running: give its head-days as if it went on to its end, so that looking at it
    daily raises no false alarm.

    Parameters
    ----------
    deaths : array of int, shape (ponds, months)
    head_days : array, shape (ponds, months)
    month_of_year : array of int, shape (months,)
        1 to 12.
    slow_alarms, burst_alarms : float
        False alarms a farm-year, above 0.
    watched : int, optional
        Ponds the alarms are shared among; all with heads in the last month otherwise.

    Returns
    -------
    tuple of DeathSignal
        Worst first; at most one a pond and rule.

    Raises
    ------
    ValueError
        If a figure is impossible or of the wrong shape.
    """
    slow, burst = (
        check_number(slow_alarms, "slow_alarms", low=0),
        check_number(burst_alarms, "burst_alarms", low=0),
    )
    if not slow or not burst:
        raise ValueError("slow_alarms and burst_alarms: with 0 nothing ever signals; give more than 0.")
    months = np.asarray(month_of_year).size
    if months < 2:
        return ()
    normal = normal_deaths(deaths, head_days, month_of_year, learn_through=months - 1)
    stands = normal.exposure[:, -1] > 0
    pond_months = 12 * max(1, int(stands.sum()) if watched is None else watched)
    # Where more is at stake a day of delay costs more heads, so a pond's share of the alarms is 1 + varies x deaths.
    shares = 1 + normal.varies * normal.pond_rates() * normal.exposure.mean(axis=1)
    shares /= shares[stands].mean() if stands.any() else 1.0
    found = _bursts(normal, stands, shares * burst / pond_months)
    if months >= LEAST_MONTHS:
        found += _slow(normal, stands, pond_months / (slow * shares))
    return tuple(sorted(found, key=lambda signal: -signal.excess))


def _bursts(normal: Normal, stands: Flags, chances: Floats) -> list[DeathSignal]:
    died, over = normal.deaths, normal.exposure
    shape, scale = normal.learnt(slice(-1))
    mean = shape / scale * over[:, -1]
    size = 1 / (1 / shape + normal.varies)
    with np.errstate(invalid="ignore"):
        tail = stats.nbinom.sf(died[:, -1] - 1, size, size / (size + mean))
    last = died.shape[1] - 1
    return [
        DeathSignal(
            pond=int(place),
            what=BURST,
            first=last,
            last=last,
            deaths=int(died[place, -1]),
            expected=float(mean[place]),
            limit=float(
                stats.nbinom.isf(chances[place], size[place], size[place] / (size[place] + mean[place]))
            ),
            score=float(tail[place]),
            own_rate=float(shape[place] / scale[place]),
            farm_rate=normal.rate,
        )
        for place in np.flatnonzero(stands & (tail < chances) & (died[:, -1] >= LEAST_DEATHS))
    ]


def evidence(normal: Normal) -> Floats:
    """
    Return how much likelier deaths are if they rose from a month on, the pond's own rate not being known.

    For a rise to R times from month k on it is the ratio of two likelihoods, both integrated over the Gamma
    of the pond's rate: of all deaths with R times the rate from k on, and with one rate throughout. A month's
    deaths are negative binomial, as far as months vary beyond chance. Summed over k it is Shiryaev's and
    Roberts's sum, whose mean in month n is n where nothing changed: it exceeds A no sooner than after A months
    in the mean.

    Returns
    -------
    array, shape (ponds, months)
        By month of the rise, averaged over rises (`RISES`).

    References
    ----------
    Shiryaev (1963), Theory of Probability and Its Applications 8, 22-46. Roberts (1966), Technometrics 8,
    411-430. Pollak (1987), Annals of Statistics 15, 749-779 (baseline not known).
    """
    died, over = normal.deaths, normal.exposure
    rates, log_prior = _rates(normal)
    size = 1 / normal.varies

    def log_chance(times: float) -> Floats:
        """Ponds by months by rates; what does not depend on the rate is left out."""
        mean = np.multiply.outer(over, np.ones(_RATES)) * rates[:, None, :] * times
        return died[..., None] * np.log(rates * times)[:, None, :] - (died[..., None] + size) * np.log1p(
            mean / size
        )

    same = log_chance(1.0)
    through = same.cumsum(axis=1)
    before = through - same + log_prior[:, None, :]
    nothing = _log_sum(through[:, -1] + log_prior)
    rose = np.stack([_log_sum(before + _since(log_chance(times))) for times in RISES], axis=-1)
    log_ratio = special.logsumexp(rose - nothing[:, None, None], axis=-1, b=RISE_WEIGHTS)
    ratio: Floats = np.exp(np.minimum(log_ratio, 700.0))
    return ratio


def _log_sum(logs: Floats) -> Floats:
    """Return the log of the sum over the last axis."""
    most = logs.max(axis=-1)
    summed: Floats = most + np.log(np.exp(logs - most[..., None]).sum(axis=-1))
    return summed


def _poisson_sums(normal: Normal) -> Floats:
    """Return `evidence`'s sums as if months varied by chance only, in closed form: more than it finds, and fast."""
    since_died, since_over = _since(normal.deaths)[..., None], _since(normal.exposure)[..., None]
    shape = normal.shape + normal.deaths.sum(axis=1)[:, None, None]
    scale = normal.scale + normal.exposure.sum(axis=1)[:, None, None]
    log_ratio = since_died * np.log(RISES) + shape * (
        np.log(scale) - np.log(scale + (RISES - 1) * since_over)
    )
    sums: Floats = np.minimum(np.exp(np.minimum(log_ratio, 700.0)) @ RISE_WEIGHTS, 1e300).sum(axis=1)
    return sums


def _rates(normal: Normal) -> tuple[Floats, Floats]:
    """Return rates to integrate over and the log of the prior there; both ponds by rates."""
    shape, _ = normal.learnt()
    middle, reach = np.log(normal.pond_rates()), _REACH / np.sqrt(shape)
    low, high = middle - reach - np.log(RISES[-1]), middle + reach
    log_rates = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, _RATES)
    rates = np.exp(log_rates)
    return rates, normal.shape * log_rates - normal.scale * rates


def _since(rows: Floats) -> Floats:
    """Return each row's sums from a month through the last."""
    return rows[:, ::-1].cumsum(axis=1)[:, ::-1]


def _slow(normal: Normal, stands: Flags, limits: Floats) -> list[DeathSignal]:
    found = []
    last = normal.deaths.shape[1] - 1
    likely = np.flatnonzero(stands & (_poisson_sums(normal) > limits / _SCREEN))
    if not likely.size:
        return []
    all_months = evidence(replace(normal, deaths=normal.deaths[likely], exposure=normal.exposure[likely]))
    for by_month, place in zip(all_months, likely, strict=True):
        total, limit = float(by_month.sum()), float(limits[place])
        if total <= limit:
            continue
        first = int(by_month.argmax())
        deaths = int(normal.deaths[place, first:].sum())
        if deaths < LEAST_DEATHS:
            continue
        own_rate = float(np.divide(*normal.learnt(slice(first)))[place])
        expected = own_rate * float(normal.exposure[place, first:].sum())
        found.append(
            DeathSignal(int(place), SLOW, first, last, deaths, expected, limit, total, own_rate, normal.rate)
        )
    return found


def has_grown(excess_now: float, excess_then: float) -> bool:
    """Say whether a signal grew since it was acknowledged: by half, and by a few heads at least."""
    return excess_now >= max(GROWN * excess_then, excess_then + GROWN_HEADS)


def worst_by_pond(signals: Sequence[DeathSignal]) -> dict[int, DeathSignal]:
    """Return the signal of the largest excess of each pond."""
    worst: dict[int, DeathSignal] = {}
    for signal in signals:
        if signal.pond not in worst or signal.excess > worst[signal.pond].excess:
            worst[signal.pond] = signal
    return worst
