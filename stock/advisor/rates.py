"""A rate learnt from counts, and how far counts vary beyond chance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from stock.estimators.estimate import (
    Estimate,
    Status,
    check_confidence,
    check_count,
    check_counts,
    check_number,
)

_LARGEST_SHAPE = 1e6


def _check_above_zero(figure: float, name: str) -> float:
    number = check_number(figure, name, low=0)
    if number == 0:
        raise ValueError(f"{name}: 0 is not a usable figure here; give more than 0.")
    return number


@dataclass(frozen=True)
class RatePosterior(Estimate):
    """
    A rate after its events were counted: Gamma with ``shape`` and ``rate``.

    Parameters
    ----------
    shape, rate : float
        Prior shape plus events, and prior rate plus exposure.
    mode : float
        The likeliest rate.
    """

    shape: float = 1.0
    rate: float = 1.0
    mode: float = 0.0

    def _events(self, exposure: float) -> tuple[float, float]:
        """Return size and probability of the negative binomial of events in a further exposure."""
        return self.shape, self.rate / (self.rate + exposure)

    def predict(self, exposure: float) -> Estimate:
        """
        Estimate the events of a further exposure, in whole events.

        Parameters
        ----------
        exposure : float
            Further exposure, above 0, in the unit the rate was learnt in.

        Returns
        -------
        Estimate
            Mean, standard deviation (as ``se``) and limits of the count to come; as counts are whole
            the limits hold at least the confidence asked for.

        Raises
        ------
        ValueError
            If the exposure is not above 0.
        """
        further = _check_above_zero(exposure, "exposure")
        tail = (1 - self.confidence) / 2
        to_come = stats.nbinom(*self._events(further))
        return Estimate(
            value=float(to_come.mean()),
            se=float(to_come.std()),
            lower=float(to_come.ppf(tail)),
            upper=float(to_come.ppf(1 - tail)),
            confidence=self.confidence,
            method="predicted events",
            variant="negative binomial",
        )

    def pmf(self, k: int, *, exposure: float = 1.0) -> float:
        """
        Return the probability of exactly ``k`` events in a further exposure.

        Raises
        ------
        ValueError
            If ``k`` is no count, or the exposure is not above 0.
        """
        further = _check_above_zero(exposure, "exposure")
        return float(stats.nbinom.pmf(check_count(k, "k"), *self._events(further)))

    def probability_greater(self, other: "RatePosterior") -> float:
        """Return the probability that this rate is above the other, the two being learnt apart."""
        # rate x Gamma(shape) over the sum of both such is Beta, which turns the question into one tail.
        return float(stats.beta.sf(self.rate / (self.rate + other.rate), self.shape, other.shape))


def rate_posterior(
    events: int, exposure: float, *, prior_shape: float, prior_rate: float, confidence: float = 0.95
) -> RatePosterior:
    """
    Learn a rate (nests per female and season) from events and a Gamma prior.

    Parameters
    ----------
    events : int
        Events counted (nests).
    exposure : float
        What they were counted over (female-seasons), 0 or more.
    prior_shape, prior_rate : float
        Of the Gamma prior, above 0: shape / rate is its mean, and rate the exposure it is worth.
    confidence : float
        Two-sided confidence level of the limits and of the predictions.

    Returns
    -------
    RatePosterior
        Mean, standard deviation (as ``se``) and equal-tailed limits, events per unit of exposure.

    Raises
    ------
    ValueError
        If a figure is impossible, or events are given without exposure.

    References
    ----------
    Hoff (2009), A First Course in Bayesian Statistical Methods, section 3.2.
    """
    count = check_count(events, "events")
    seen_over = check_number(exposure, "exposure", low=0)
    level = check_confidence(confidence)
    shape = _check_above_zero(prior_shape, "prior_shape") + count
    rate = _check_above_zero(prior_rate, "prior_rate") + seen_over
    if count and not seen_over:
        raise ValueError(f"exposure: {count} events cannot come from an exposure of 0.")
    return gamma_posterior(shape, rate, level)


def gamma_posterior(shape: float, rate: float, confidence: float, *notes: str) -> RatePosterior:
    """Return the rate that is Gamma with ``shape`` and ``rate``, with its equal-tailed limits."""
    tail = (1 - confidence) / 2
    return RatePosterior(
        value=shape / rate,
        se=math.sqrt(shape) / rate,
        lower=float(stats.gamma.ppf(tail, shape, scale=1 / rate)),
        upper=float(stats.gamma.isf(tail, shape, scale=1 / rate)),
        confidence=confidence,
        method="rate",
        variant="gamma-poisson",
        notes=notes,
        shape=shape,
        rate=rate,
        mode=max(shape - 1, 0.0) / rate,
    )


@dataclass(frozen=True)
class Overdispersion(Estimate):
    """
    The negative binomial's k: the smaller, the more counts vary beyond chance.

    ``mean`` and ``variance`` (over n - 1) are the counts'; ``moments`` is k by moments, infinite
    where the variance does not exceed the mean. They are None where nothing was counted.
    """

    mean: float | None = None
    variance: float | None = None
    moments: float | None = None


def overdispersion(counts: Sequence[int], *, confidence: float = 0.95) -> Overdispersion:
    """
    Estimate the k of a negative binomial by maximum likelihood, its mean being that of the counts.

    Parameters
    ----------
    counts : sequence of int
        Events of each of several alike (nests of each female).
    confidence : float
        Two-sided confidence level. Limits are normal for 1 / k; the upper one is infinite where
        counts that vary by chance only are not ruled out.

    Returns
    -------
    Overdispersion
        k, infinite where the counts vary no more than by chance: use Poisson. ``no_estimate`` with
        fewer than two counts, or with none above 0.

    Raises
    ------
    ValueError
        If a count is negative or not whole.

    References
    ----------
    Bliss & Fisher (1953), Biometrics 9, 176-200. Levin & Reeds (1977), Annals of Statistics 5, 79-87
    (k is finite exactly where the variance over n exceeds the mean).
    """
    level = check_confidence(confidence)
    seen = np.array(check_counts(counts, "counts"), dtype=float)
    method, variant = "overdispersion k", "maximum likelihood"
    if seen.size < 2 or not seen.any():
        return Overdispersion(
            confidence=level,
            method=method,
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=("Two counts at least, not all 0, are needed to see how much they vary.",),
        )
    mean, variance = float(seen.mean()), float(seen.var(ddof=1))
    moments = mean**2 / (variance - mean) if variance > mean else math.inf

    def score(log_k: float) -> float:
        k = math.exp(log_k)
        digammas = float((special.digamma(seen + k) - special.digamma(k)).sum())
        return k * (digammas - seen.size * math.log1p(mean / k))

    # From small k up the score falls through 0 once; far out it is lost in rounding, so it is not begun there.
    steps = np.arange(-20.0, math.log(_LARGEST_SHAPE * (1 + mean)), 0.5)
    beyond = next((step for step in steps.tolist() if score(step) < 0), None)
    if seen.var() <= mean or beyond is None:
        return Overdispersion(
            value=math.inf,
            confidence=level,
            method=method,
            variant=variant,
            notes=("The counts vary no more than by chance: use Poisson.",),
            mean=mean,
            variance=variance,
            moments=moments,
        )
    k = math.exp(float(optimize.brentq(score, beyond - 0.5, beyond, xtol=1e-13)))
    trigammas = float((special.polygamma(1, k) - special.polygamma(1, seen + k)).sum())
    se = 1 / math.sqrt(trigammas - seen.size * (1 / k - 1 / (k + mean)))
    # The error of 1 / k is se / k^2.
    reach = float(special.ndtri((1 + level) / 2)) * se / k
    upper = k / (1 - reach) if reach < 1 else math.inf
    return Overdispersion(
        value=k,
        se=se,
        lower=k / (1 + reach),
        upper=upper,
        confidence=level,
        method=method,
        variant=variant,
        mean=mean,
        variance=variance,
        moments=moments,
    )
