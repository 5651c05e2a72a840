"""The headline of two hauls with marks, over arrays: adults, females and males with their limits.

The coverage study runs these functions over thousands of surveys; reading one survey runs them over one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from stock.estimators.drawn import Array, exact_limits_over, tail
from stock.estimators.limits import FEW_RECAPTURES
from stock.estimators.sexes_over import (
    Heads,
    Sexed,
    choose,
    handled_share,
    lognormal_over,
    raised_to,
    shared_covariance,
    shared_heads,
    sum_limits,
)
from stock.estimators.two_hauls import TwoHauls, exact_limits

RECAPTURES_FOR_LOGNORMAL = 30
HEADS_FOR_LOGNORMAL = 200
"""
With fewer recaptures, or by the estimate fewer heads, the exact limits are the headline. Log-normal
limits cover well from 20 expected recaptures on; what is seen scatters about what is expected, and 30 seen
are as many as keep chance from choosing the narrower limits (`manage.py bench coverage`).
"""

MOST_UNSEXED_BY_SEX = 0.2
"""With a larger share of the adults unsexed the sexes are not estimated apart."""

_DOUBT_OF_EQUAL_CATCH = 0.05


@dataclass(frozen=True)
class Marks:
    """Marked at large before the second haul, caught in it, and the marked among these: whole numbers."""

    marked: Array
    caught: Array
    seen: Array

    @classmethod
    def of(cls, marked: Any, caught: Any, seen: Any) -> Marks:
        """Return the three as arrays of one shape."""
        three = np.broadcast_arrays(*np.atleast_1d(marked, caught, seen))
        return cls(*(np.array(part, dtype=float) for part in three))

    def __add__(self, other: Marks) -> Marks:
        return Marks(self.marked + other.marked, self.caught + other.caught, self.seen + other.seen)

    def known(self, retention: float) -> Array:
        """Return the fewest heads that can have given these numbers."""
        if retention < 1:
            return np.maximum(self.marked, self.caught)
        return self.marked + self.caught - self.seen


def chapman(marks: Marks, retention: float = 1.0, retention_se: float = 0.0) -> tuple[Array, Array]:
    """
    Return Chapman's heads and their standard errors; 0 where the formula leaves none.

    References
    ----------
    Chapman (1951), Univ. California Publ. Statistics 1, 131-160. Seber (1970), Biometrika 57, 313-318.
    """
    holding = marks.marked * retention
    per_mark = (marks.caught + 1) / (marks.seen + 1)
    not_seen, unmarked = np.maximum(holding - marks.seen, 0), marks.caught - marks.seen
    variance = (holding + 1) * per_mark * not_seen * unmarked / ((marks.seen + 1) * (marks.seen + 2))
    return (holding + 1) * per_mark - 1, np.sqrt(variance + (marks.marked * retention_se * per_mark) ** 2)


def exact_over(
    marks: Marks, confidence: float, retention: float = 1.0, retention_se: float = 0.0
) -> tuple[Array, Array]:
    """Return the exact limits, at the widest retention where marks were lost."""
    if retention == 1 and not retention_se and max(marks.marked.max(), marks.caught.max()) <= 20_000:
        return exact_limits_over(marks.marked, marks.caught, marks.seen, confidence)
    three = zip(marks.marked.flat, marks.caught.flat, marks.seen.flat, strict=True)
    pairs = [
        (max(at_large, drawn), math.inf)
        if not at_large or not drawn
        else exact_limits(
            TwoHauls(int(at_large), int(drawn), int(seen), retention, retention_se, False), confidence
        )
        for at_large, drawn, seen in three
    ]
    lower, upper = np.array(pairs).T
    return lower.reshape(marks.marked.shape), upper.reshape(marks.marked.shape)


def limits(
    marks: Marks,
    value: Array,
    se: Array,
    confidence: float,
    retention: float = 1.0,
    retention_se: float = 0.0,
) -> tuple[Array, Array, Any]:
    """Return the headline's limits of one group, and where they are the exact ones."""
    known = marks.known(retention)
    lower, upper = lognormal_over(value, se, known, confidence)
    is_exact = (marks.seen < RECAPTURES_FOR_LOGNORMAL) | (value < HEADS_FOR_LOGNORMAL)
    is_exact |= (se == 0) | (value <= known)
    if is_exact.any():
        few = Marks(marks.marked[is_exact], marks.caught[is_exact], marks.seen[is_exact])
        lower[is_exact], upper[is_exact] = exact_over(few, confidence, retention, retention_se)
    return np.minimum(lower, value), np.maximum(upper, value), is_exact


def equal_catch(females: Marks, males: Marks) -> Array:
    """Return the p-value, twice the smaller exact tail, that marked females and males were caught alike."""
    marked, seen = females.marked + males.marked, females.seen + males.seen
    few, many = (tail(males.seen, marked, males.marked, seen, as_few=side) for side in (True, False))
    p_value: Array = np.minimum(2 * np.minimum(few, many), 1.0)
    return p_value


def headline(
    females: Marks,
    males: Marks,
    adults: Marks,
    *,
    retention: float = 1.0,
    retention_se: float = 0.0,
    confidence: float = 0.95,
) -> Sexed:
    """
    Estimate adults, females and males of each survey from two hauls with marks.

    Parameters
    ----------
    females, males, adults : Marks
        The sexed, and all adults, those not sexed among them; arrays of one shape.
    retention, retention_se : float
        Chance that a mark is still held, and its standard error.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Sexed
        Chapman's estimate. The sexes are estimated apart and added where each has at least
        7 recaptures (1, where the exact test finds them caught unequally) and at most a fifth of the marked
        and of the caught are unsexed; else the total is shared out as the sexed animals handled. The limits
        of a group with at least 30 recaptures and 200 heads are log-normal in the heads not seen, else
        exact; a sex never caught again has no upper limit of its own and takes what the total leaves to it,
        unless the sexes were caught unequally. Limits of a sum that are not log-normal add the squares of
        the parts' exact arms.

    References
    ----------
    Chapman (1951), Univ. California Publ. Statistics 1, 131-160. Chao (1987), Biometrics 43, 783-791.
    Zou & Donner (2008), Statistics in Medicine 27, 1693-1702 (limits of a sum).
    """
    kept = (retention, retention_se)
    sexes = (females, males)
    handled = [sex.known(retention) for sex in sexes]
    known = np.maximum(adults.known(retention), handled[0] + handled[1])
    p_value = equal_catch(females, males)
    sexed = females + males
    is_few_unsexed = (adults.marked - sexed.marked <= MOST_UNSEXED_BY_SEX * adults.marked) & (
        adults.caught - sexed.caught <= MOST_UNSEXED_BY_SEX * adults.caught
    )
    fewest = np.minimum(females.seen, males.seen)
    is_unequal = p_value < _DOUBT_OF_EQUAL_CATCH
    is_by_sex = ((fewest >= FEW_RECAPTURES) | ((fewest >= 1) & is_unequal)) & is_few_unsexed
    # What was sexed stands for the unsexed as well.
    scale = np.where(sexed.marked > 0, adults.marked / np.maximum(sexed.marked, 1), 1.0)
    apart = raised_to([_of_group(sex, sex.known(retention), scale, confidence, kept) for sex in sexes], known)
    pooled = _of_group(adults, known, np.ones_like(known), confidence, kept)
    added = _added(apart, adults.seen, known, confidence)
    total = choose(is_by_sex, added, pooled)

    share, share_se = handled_share(handled[0], handled[1], pooled.value)
    parts, capped = [], []
    for own, sex, here, there, part in zip(
        apart, sexes, handled, reversed(handled), (share, 1 - share), strict=True
    ):
        shared = shared_heads(pooled, here, handled[0] + handled[1], part, share_se, confidence)
        value = np.where(is_by_sex, own.value, shared.value)
        rest = total.upper - there
        is_capped = (sex.seen == 0) & ~is_unequal & (rest < own.upper) & is_few_unsexed
        upper = np.where(is_capped, np.maximum(rest, own.lower), own.upper)
        lower = np.where(is_few_unsexed, own.lower, shared.lower)
        upper = np.where(is_few_unsexed, upper, shared.upper)
        se = np.where(is_by_sex, own.se, shared.se)
        parts.append(Heads(value, se, np.minimum(lower, value), np.maximum(upper, value), own.is_exact))
        capped.append(is_capped)
    covariance = np.where(is_by_sex, 0.0, shared_covariance(pooled, share, share_se))
    return Sexed(total, parts[0], parts[1], covariance, is_by_sex, p_value, capped[0], capped[1])


def _of_group(
    marks: Marks, known: Array, scale: Array, confidence: float, kept: tuple[float, float]
) -> Heads:
    """Return one group's own estimate, never below the heads known, times ``scale``."""
    value, se = chapman(marks, *kept)
    lower, upper, is_exact = limits(marks, value, se, confidence, *kept)
    value, lower, upper = (np.maximum(figure, known) * scale for figure in (value, lower, upper))
    return Heads(value, se * scale, lower, upper, is_exact)


def _added(sexes: list[Heads], seen: Array, known: Array, confidence: float) -> Heads:
    """Return females and males added; the limits are log-normal where both numbers allow."""
    value = sexes[0].value + sexes[1].value
    se = np.hypot(*(sex.se for sex in sexes))
    lower, upper = sum_limits(value, sexes)
    is_exact = (
        (seen < RECAPTURES_FOR_LOGNORMAL) | (value < HEADS_FOR_LOGNORMAL) | (se == 0) | (value <= known)
    )
    by_error = lognormal_over(value, se, known, confidence)
    lower = np.maximum(np.where(is_exact, lower, by_error[0]), known)
    return Heads(value, se, lower, np.where(is_exact, upper, by_error[1]), is_exact)
