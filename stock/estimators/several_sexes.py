"""The headline of several hauls with marks, over arrays: adults, females and males with their limits.

The coverage study runs these functions over thousands of surveys; reading one survey runs them over one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import special, stats

from stock.estimators.drawn import Array, crossing
from stock.estimators.limits import FEW_RECAPTURES
from stock.estimators.marked_sexes import RECAPTURES_FOR_LOGNORMAL
from stock.estimators.sexes_over import (
    Heads,
    Sexed,
    choose,
    handled_share,
    raised_to,
    shared_covariance,
    shared_heads,
    sum_limits,
)


@dataclass(frozen=True)
class SeveralHauls:
    """
    Hauls of many surveys: ``caught``, ``again`` (of them marked) and ``at_large`` of shape (surveys, hauls).

    ``known`` are the heads known to be alive.
    """

    caught: Array
    again: Array
    at_large: Array
    known: Array

    @classmethod
    def of(cls, caught: Any, recaptured: Any, returned: Any) -> SeveralHauls:
        """Return it from hauls of shape (surveys, hauls), as `stock.estimators.multi_haul.schnabel` takes."""
        drawn, again, back = (
            np.atleast_2d(np.asarray(part, dtype=float)) for part in (caught, recaptured, returned)
        )
        before = np.zeros((drawn.shape[0], 1))
        at_large = np.hstack([before, np.cumsum(back - again, axis=1)[:, :-1]])
        ever = np.hstack([before, np.cumsum(np.maximum(back - again, 0), axis=1)[:, :-1]])
        return cls(drawn, again, at_large, (ever + drawn - again).max(axis=1))

    @property
    def at_risk(self) -> Array:
        """Sum of caught x marked at large."""
        return np.asarray((self.caught * self.at_large).sum(axis=1))

    @property
    def seen(self) -> Array:
        """Recaptured in all."""
        return np.asarray(self.again.sum(axis=1))

    def of_rows(self, rows: Any) -> SeveralHauls:
        return SeveralHauls(self.caught[rows], self.again[rows], self.at_large[rows], self.known[rows])

    def error(self, heads: Array) -> Array:
        """
        Return the standard error of Schnabel's estimate at so many heads.

        The recaptured of each haul are hypergeometric given what was at large, so their variances add.
        """
        there = np.maximum(heads, 2)[:, np.newaxis]
        share = np.minimum(self.at_large / there, 1)
        left = np.maximum(there - self.caught, 0) / (there - 1)
        spread = np.sqrt((self.caught * share * (1 - share) * left).sum(axis=1))
        return np.asarray(heads**2 / np.maximum(self.at_risk, 1) * spread)

    def likelihood_limits(self, confidence: float) -> tuple[Array, Array, Array]:
        """
        Return limits of the likelihood of hauls drawn without replacement, and its best heads.


        Each haul's marked are hypergeometric given what was caught and what was at large (Darroch 1958); every
        survey must have a recapture.
        """
        unmarked, out, drawn = self.caught - self.again, self.at_large, self.caught

        def at(function: Any, heads: Array) -> Array:
            there = heads[:, np.newaxis]
            parts = function(there - out + 1) - function(there - out - unmarked + 1)
            parts += function(there - drawn + 1) - function(there + 1)
            return np.asarray(parts.sum(axis=1))

        floor = np.maximum(self.known, np.maximum(drawn, out + unmarked).max(axis=1))
        best = crossing(floor, lambda heads: at(special.digamma, heads) > 0)
        best = np.where(at(special.digamma, floor) > 0, best, floor)
        least = at(special.gammaln, best) - float(stats.chi2.ppf(confidence, 1)) / 2
        lower = crossing(floor, lambda heads: (at(special.gammaln, heads) < least) & (heads < best))
        lower = np.where(at(special.gammaln, floor) >= least, floor, lower)
        upper = crossing(best, lambda heads: at(special.gammaln, heads) > least)
        return lower, upper, best


def schnabel_over(hauls: SeveralHauls, confidence: float) -> tuple[Heads, Array]:
    """
    Return Schnabel's estimate in Chapman's modification with the headline's limits.

    With at least 30 recaptures these are those of the likelihood, which allows for a haul that takes a good
    part of the pond; else Garwood's (1936), which are wide. Without a recapture there is no standard error (0)
    and no upper limit. The second array is the middle that the limits lie about.
    """
    tail = (1 - confidence) / 2
    seen, at_risk = hauls.seen, hauls.at_risk
    value = at_risk / (seen + 1)
    fewest = np.where(seen > 0, stats.chi2.ppf(tail, 2 * np.maximum(seen, 1)) / 2, 0.0)
    lower = at_risk / (stats.chi2.isf(tail, 2 * seen + 2) / 2)
    upper = np.where(fewest > 0, at_risk / np.where(fewest > 0, fewest, 1), np.inf)
    is_many = seen >= RECAPTURES_FOR_LOGNORMAL
    rows, middle = np.flatnonzero(is_many), value.copy()
    if rows.size:
        # Heads are whole; where few are left unseen a fraction of one would count as a miss.
        lower[rows], upper[rows], middle[rows] = hauls.of_rows(rows).likelihood_limits(confidence)
        lower[rows], upper[rows] = np.floor(lower[rows]), np.ceil(upper[rows])
    lower, upper = np.minimum(lower, value), np.maximum(upper, value)
    value, lower, upper = (np.maximum(figure, hauls.known) for figure in (value, lower, upper))
    se = np.where(seen > 0, hauls.error(value), 0.0)
    return Heads(value, se, lower, upper, ~is_many), np.maximum(middle, hauls.known)


def headline_several(
    females: SeveralHauls,
    males: SeveralHauls,
    adults: SeveralHauls,
    *,
    may_be_by_sex: Any = True,
    scale: Any = 1.0,
    confidence: float = 0.95,
) -> Sexed:
    """
    Estimate adults, females and males of each survey from several hauls with marks.

    Parameters
    ----------
    females, males, adults : SeveralHauls
        The sexed, and all adults.
    may_be_by_sex : array_like of bool
        Where the marks go by sex and few adults were not sexed.
    scale : array_like
        Adults for each one sexed, which makes up for the unsexed where the sexes are estimated apart.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Sexed
        The modified Schnabel estimate: sexes apart and added where each has at least 7 recaptures, else the
        total shared out as the animals handled. The limits of the sum add the squares of the parts' arms.

    References
    ----------
    Chapman (1952), Biometrics 8, 286-306. Darroch (1958), Biometrika 45, 343-359. Zou & Donner (2008),
    Statistics in Medicine 27, 1693-1702.
    """
    apart, about = [], []
    for sex in (females, males):
        own, middle = schnabel_over(sex, confidence)
        scaled = Heads(own.value * scale, own.se * scale, own.lower * scale, own.upper * scale, own.is_exact)
        apart.append(scaled)
        about.append(replace(scaled, value=middle * scale))
    apart = raised_to(apart, adults.known)
    pooled, _ = schnabel_over(adults, confidence)
    is_by_sex = (np.minimum(females.seen, males.seen) >= FEW_RECAPTURES) & may_be_by_sex
    value = apart[0].value + apart[1].value
    lower, upper = sum_limits(about[0].value + about[1].value, about)
    lower, upper = np.minimum(lower, value), np.maximum(upper, value)
    se = np.hypot(apart[0].se, apart[1].se)
    added = Heads(value, se, np.maximum(lower, adults.known), upper, pooled.is_exact)
    share, share_se = handled_share(females.known, males.known, pooled.value)
    sexed = females.known + males.known
    parts = [
        choose(is_by_sex, own, shared_heads(pooled, sex.known, sexed, part, share_se, confidence))
        for own, sex, part in zip(apart, (females, males), (share, 1 - share), strict=True)
    ]
    covariance = np.where(is_by_sex, 0.0, shared_covariance(pooled, share, share_se))
    none = np.zeros_like(is_by_sex)
    return Sexed(
        choose(is_by_sex, added, pooled),
        parts[0],
        parts[1],
        covariance,
        is_by_sex,
        np.ones_like(value),
        none,
        none,
    )
