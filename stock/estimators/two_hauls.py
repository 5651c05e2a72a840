"""Exact and normal limits of a pond's heads from two hauls."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special, stats

from stock.estimators.limits import normal_quantile

_MOST_DRAWN_EXACTLY = 20_000
"""Hauls beyond this are taken as drawn with replacement: the binomial limits are as good, and wider."""


@dataclass(frozen=True)
class TwoHauls:
    """What the two hauls gave: ``marked`` at large, ``caught``, and ``recaptured`` among those."""

    marked: int
    caught: int
    recaptured: int
    retention: float
    retention_se: float
    is_with_replacement: bool

    @property
    def holding(self) -> float:
        """Marked animals expected to hold their mark still."""
        return self.marked * self.retention

    @property
    def known_alive(self) -> int:
        """Fewest animals that can have given these numbers."""
        unmarked = self.caught - self.recaptured
        if self.is_with_replacement:
            return self.marked + (1 if unmarked and self.retention == 1 else 0)
        if self.retention < 1:
            # An unmarked animal may be a marked one that lost its mark.
            return max(self.marked, self.caught)
        return self.marked + unmarked

    def retentions(self, confidence: float) -> tuple[float, float]:
        """Return the limits of the retention; both are the retention itself where it is known."""
        reach = normal_quantile(confidence) * self.retention_se
        return max(self.retention - reach, self.retention / 1000), min(self.retention + reach, 1.0)


def _first_whole(low: int, holds: Callable[[int], bool]) -> int:
    """Return the least whole number from ``low`` on for which ``holds``; it must hold from there on."""
    if holds(low):
        return low
    high = 2 * low
    while not holds(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle
    return high


def _log_ways(heads: Any, taken: Any) -> Any:
    """Return the log of the ways to take ``taken`` of ``heads``."""
    return special.gammaln(heads + 1) - special.gammaln(taken + 1) - special.gammaln(heads - taken + 1)


def _chance(hauls: TwoHauls, retention: float, heads: int, *, as_few: bool) -> float:
    """Return the chance of as few (or as many) marked recaptures, or fewer (more), in a pond of ``heads``."""
    seen = hauls.recaptured
    if retention == 1:
        if as_few:
            return float(stats.hypergeom.cdf(seen, heads, hauls.marked, hauls.caught))
        return float(stats.hypergeom.sf(seen - 1, heads, hauls.marked, hauls.caught))
    # Each marked animal drawn still holds its mark with the chance `retention`. Draws further than
    # 12 deviations from the centre weigh nothing.
    centre = hauls.marked * hauls.caught / heads
    reach = 12 * math.sqrt(centre) + 40
    fewest = max(0, hauls.marked + hauls.caught - heads, math.floor(centre - reach))
    most = min(hauls.marked, hauls.caught, math.ceil(centre + reach))
    drawn = np.arange(fewest, most + 1, dtype=float)
    chances = np.exp(
        _log_ways(hauls.marked, drawn)
        + _log_ways(heads - hauls.marked, hauls.caught - drawn)
        - _log_ways(heads, hauls.caught)
    )
    # At least `wanted` of the drawn hold: the binomial tail as an incomplete beta function.
    wanted = seen + 1 if as_few else seen
    at_least = np.where(
        drawn >= wanted, special.betainc(wanted, np.maximum(drawn - wanted + 1, 1), retention), 0.0
    )
    return float(np.dot(chances, 1 - at_least if as_few else at_least))


def exact_limits(hauls: TwoHauls, confidence: float) -> tuple[float, float]:
    """Return the fewest and most heads that neither tail contradicts, at the widest retention."""
    tail = (1 - confidence) / 2
    least_kept, most_kept = hauls.retentions(confidence)
    if hauls.is_with_replacement or max(hauls.marked, hauls.caught) > _MOST_DRAWN_EXACTLY:
        seen, unmarked = hauls.recaptured, hauls.caught - hauls.recaptured
        # Clopper and Pearson's limits of the share of marked among caught.
        most = float(special.betaincinv(seen + 1, unmarked, 1 - tail)) if unmarked else 1.0
        fewest = float(special.betaincinv(seen, unmarked + 1, tail)) if seen else 0.0
        upper = hauls.marked * most_kept / fewest if seen else math.inf
        return hauls.marked * least_kept / most, upper
    known = hauls.known_alive
    lower = _first_whole(known, lambda heads: _chance(hauls, least_kept, heads, as_few=True) > tail)
    if hauls.recaptured == 0:
        return float(lower), math.inf
    beyond = _first_whole(known, lambda heads: _chance(hauls, most_kept, heads, as_few=False) <= tail)
    return float(lower), float(max(beyond - 1, lower))


def normal_limits(hauls: TwoHauls, confidence: float) -> tuple[float, float]:
    """Return limits of Petersen's estimate from a normal share of marked among caught."""
    if hauls.caught == 1:
        return float(hauls.known_alive), math.inf
    share = hauls.recaptured / hauls.caught
    drawn = min(hauls.recaptured / hauls.holding, 1.0)
    reach = normal_quantile(confidence) * math.sqrt((1 - drawn) * share * (1 - share) / (hauls.caught - 1))
    reach += 1 / (2 * hauls.caught)
    least_kept, most_kept = hauls.retentions(confidence)
    lower = hauls.marked * least_kept / (share + reach)
    return lower, hauls.marked * most_kept / (share - reach) if share > reach else math.inf
