"""The headline of passes that hold out what they catch, over arrays: adults, females and males.

The coverage study runs these functions over thousands of surveys; reading one survey runs them over one.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any

import numpy as np
from scipy import special, stats

from stock.estimators.drawn import Array, crossing, tail
from stock.estimators.sexes_over import (
    Heads,
    Sexed,
    choose,
    handled_share,
    shared_covariance,
    shared_heads,
    sum_limits,
)

CAUGHT_FOR_BY_SEX = 20
ONE_ERROR = 0.6827
"""The confidence of limits one standard error to either side."""


class PassesOver:
    """
    Passes of many surveys: ``catches`` of shape (surveys, passes).

    All that the likelihood needs are ``taken``, caught in all, and ``weighted``, the passes that those
    caught were spared (see `stock.estimators.passes.Passes`, the same for one survey).
    """

    def __init__(self, catches: Any) -> None:
        self.catches = np.atleast_2d(np.asarray(catches, dtype=float))
        self.k = self.catches.shape[1]
        self.taken: Array = self.catches.sum(axis=1)
        self.weighted: Array = self.catches @ np.arange(self.k - 1, -1, -1, dtype=float)
        self.declined = 2 * self.weighted > self.taken * (self.k - 1)

    def chance(self, heads: Array) -> Array:
        """Return the chance of being caught in one pass that goes with so many heads."""
        chance: Array = self.taken / np.maximum(self.k * heads - self.weighted, 1e-300)
        return chance

    def _log_likelihood(self, heads: Array) -> Array:
        chance = self.chance(heads)
        spared = self.k * heads - self.weighted - self.taken
        likelihood: Array = (
            special.gammaln(heads + 1)
            - special.gammaln(heads - self.taken + 1)
            + special.xlogy(self.taken, chance)
            + special.xlog1py(spared, -np.minimum(chance, 1))
        )
        return likelihood

    def _rises(self, heads: Array) -> Any:
        """Return where the likelihood still rises at so many heads."""
        with np.errstate(divide="ignore"):
            missed = np.log1p(-np.minimum(self.chance(heads), 1))
        return special.digamma(heads + 1) - special.digamma(heads - self.taken + 1) + self.k * missed > 0

    @cached_property
    def best(self) -> Array:
        """The heads of the greatest likelihood; infinite where the catch did not decline."""
        found = crossing(self.taken, lambda heads: self._rises(heads) & self.declined)
        found = np.where(self._rises(self.taken), found, self.taken)
        return np.where(self.declined, found, math.inf)

    def profile_limits(self, confidence: float) -> tuple[Array, Array]:
        """Return the limits of the profile likelihood; the upper ones may be infinite."""
        with np.errstate(divide="ignore", invalid="ignore"):
            without_end = np.where(
                self.taken > 0, self.taken * (np.log(np.maximum(self.taken, 1) / self.k) - 1), 0.0
            )
            best = self.best
            finite_best = np.where(self.declined, best, self.taken)
            greatest = np.where(
                self.declined, np.maximum(self._log_likelihood(finite_best), without_end), without_end
            )
            floor = greatest - float(stats.chi2.ppf(confidence, 1)) / 2
            # Below the best the likelihood rises to the floor; above it it falls to it.
            lower = crossing(self.taken, lambda heads: (self._log_likelihood(heads) < floor) & (heads < best))
            lower = np.where(self._log_likelihood(self.taken) >= floor, self.taken, lower)
            has_upper = without_end < floor
            upper = crossing(finite_best, lambda heads: (self._log_likelihood(heads) > floor) & has_upper)
        return lower, np.where(has_upper, upper, math.inf)

    def carle_strub(self) -> Array:
        """Return the least whole number of heads at which Carle and Strub's posterior no longer grows."""

        def grows(heads: Array) -> Any:
            spared = self.k * heads - self.weighted
            rise = np.log1p(self.taken / (heads - self.taken + 1))
            for place in range(self.k):
                rise += np.log1p(-(self.taken + 1) / (spared + 2 + place))
            return rise > 1e-12

        low, high = self.taken.copy(), 2 * self.taken + 1
        first = ~grows(low)
        while (short := grows(high)).any():
            low, high = np.where(short, high, low), np.where(short, 2 * high, high)
        while (high - low > 1).any():
            middle = np.floor((low + high) / 2)
            below = grows(middle)
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.where(first, self.taken, high)

    def error(self, heads: Array) -> Array:
        """Return the standard error of so many heads (Seber 1982, 7.21); 0 where the formula gives none."""
        chance = np.minimum(self.chance(heads), 1)
        missed = 1 - chance
        always = missed**self.k
        below = (1 - always) ** 2 - (self.k * chance) ** 2 * missed ** (self.k - 1)
        is_known = (below > 0) & (always > 0)
        return np.where(is_known, np.sqrt(heads * (1 - always) * always / np.where(is_known, below, 1)), 0.0)


def first_pass_equal(females: PassesOver, males: PassesOver) -> Array:
    """Return the p-value, twice the smaller exact tail, that both sexes came to the first pass alike."""
    first = females.catches[:, 0] + males.catches[:, 0]
    both = females.taken + males.taken
    few, many = (tail(males.catches[:, 0], both, males.taken, first, as_few=side) for side in (True, False))
    p_value: Array = np.minimum(2 * np.minimum(few, many), 1.0)
    return p_value


def _of_group(passes: PassesOver, confidence: float) -> Heads:
    value = np.maximum(passes.carle_strub(), passes.taken)
    lower, upper = passes.profile_limits(confidence)
    one_up = passes.profile_limits(ONE_ERROR)[1]
    se = np.maximum(passes.error(value), np.where(np.isfinite(one_up), one_up - value, 0.0))
    return Heads(value, se, np.minimum(lower, value), np.maximum(upper, value), np.isfinite(one_up))


def headline_passes(females: Any, males: Any, adults: Any, *, confidence: float = 0.95) -> Sexed:
    """
    Estimate adults, females and males of each survey from passes that held out what they caught.

    Parameters
    ----------
    females, males, adults : array_like of int, shape (surveys, passes)
        Caught in each pass; the adults include those not sexed.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Sexed
        Carle and Strub's estimate with the limits of the profile likelihood, which hold what they
        promise at low chances of capture too, where limits from the standard error do not
        (`manage.py bench coverage`). The standard error is at least the upper arm of the limits at 68 %.
        ``is_exact`` says where that arm is finite; elsewhere the catches tell next to nothing. The
        sexes are estimated apart and added where all adults were sexed and, of each, at least 20 were caught
        in passes that declined and set an upper limit; else the total is shared out as the catch was.

    References
    ----------
    Carle & Strub (1978), Biometrics 34, 621-630. Moran (1951), Biometrika 38, 307-311. Zou & Donner
    (2008), Statistics in Medicine 27, 1693-1702 (limits of a sum).
    """
    of_females, of_males, of_adults = (PassesOver(catches) for catches in (females, males, adults))
    apart = [_of_group(passes, confidence) for passes in (of_females, of_males)]
    pooled = _of_group(of_adults, confidence)
    sexed = of_females.taken + of_males.taken
    is_by_sex = of_adults.taken == sexed
    for passes, own in zip((of_females, of_males), apart, strict=True):
        is_by_sex &= (passes.taken >= CAUGHT_FOR_BY_SEX) & passes.declined & np.isfinite(own.upper)
    value = apart[0].value + apart[1].value
    lower, upper = sum_limits(value, apart)
    added = Heads(
        value,
        np.hypot(apart[0].se, apart[1].se),
        np.maximum(lower, of_adults.taken),
        upper,
        apart[0].is_exact & apart[1].is_exact,
    )
    total = choose(is_by_sex, added, pooled)
    share, share_se = handled_share(of_females.taken, of_males.taken, pooled.value)
    parts = []
    for own, here, part in zip(apart, (of_females.taken, of_males.taken), (share, 1 - share), strict=True):
        shared = shared_heads(pooled, here, sexed, part, share_se, confidence)
        parts.append(choose(is_by_sex, own, shared))
    covariance = np.where(is_by_sex, 0.0, shared_covariance(pooled, share, share_se))
    none = np.zeros_like(is_by_sex)
    return Sexed(
        total, parts[0], parts[1], covariance, is_by_sex, first_pass_equal(of_females, of_males), none, none
    )
