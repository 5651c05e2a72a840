"""The likelihood of a pond's heads from passes that each hold out what they catch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import optimize, special, stats

from stock.estimators.estimate import check_counts

MOST_TAKEN = 1_000_000


@dataclass(frozen=True)
class Passes:
    """
    Catches of ``k`` passes, with the profile likelihood of the heads there were before the first.

    The likelihood takes the heads as a real number of at least `taken`, every head having the same
    chance of being caught in every pass (Moran 1951, Zippin 1956).
    """

    catches: tuple[int, ...]

    @cached_property
    def k(self) -> int:
        return len(self.catches)

    @cached_property
    def taken(self) -> int:
        return sum(self.catches)

    @cached_property
    def weighted(self) -> int:
        """Sum of (k - i) x catch i: the passes that each animal taken was spared."""
        return sum((self.k - place) * heads for place, heads in enumerate(self.catches, start=1))

    @property
    def declined(self) -> bool:
        """Whether the catch fell enough for a likelihood estimate to exist (Seber & Whale 1970)."""
        return 2 * self.weighted > self.taken * (self.k - 1)

    def capture_probability(self, heads: float) -> float:
        """Return the chance of being caught in one pass that goes with so many heads."""
        return self.taken / (self.k * heads - self.weighted)

    def log_likelihood(self, heads: float) -> float:
        chance = self.capture_probability(heads)
        spared = self.k * heads - self.weighted - self.taken
        # The product of the falling numbers is summed in full; differences of log-gammas lose the digits.
        return float(np.log((heads - self._steps) * chance).sum()) + float(special.xlog1py(spared, -chance))

    def best(self) -> float:
        """Return the heads of the greatest likelihood; the catch must have declined."""
        if self._slope(self.taken) <= 0:
            return float(self.taken)
        high = 2.0 * self.taken
        while self._slope(high) > 0:
            high *= 2
        return float(optimize.brentq(self._slope, self.taken, high, xtol=1e-9, rtol=1e-13))

    def limits(self, confidence: float) -> tuple[float, float]:
        """Return the limits of the profile likelihood; the upper one may be infinite."""
        # What the log-likelihood tends to as the heads grow without end.
        without_end = self.taken * (math.log(self.taken / self.k) - 1)
        best = self.best() if self.declined else math.inf
        greatest = max(self.log_likelihood(best), without_end) if self.declined else without_end
        floor = greatest - float(stats.chi2.ppf(confidence, 1)) / 2

        def excess(heads: float) -> float:
            return self.log_likelihood(heads) - floor

        high = best
        if not math.isfinite(high):
            high = 2.0 * self.taken
            while excess(high) < 0:
                high *= 2
        lower = float(self.taken)
        if excess(lower) < 0:
            lower = float(optimize.brentq(excess, lower, high))
        if without_end >= floor:
            return lower, math.inf
        low, high = best, 2 * best
        while excess(high) > 0:
            low, high = high, 2 * high
        return lower, float(optimize.brentq(excess, low, high))

    def errors(self, heads: float, chance: float) -> tuple[float | None, float | None]:
        """
        Return the standard errors of the heads and of the chance of capture (Seber 1982, 7.21).

        Both are None where the formula gives none, or gives 0.
        """
        missed = 1 - chance
        missed_always = missed**self.k
        below = (1 - missed_always) ** 2 - (self.k * chance) ** 2 * missed ** (self.k - 1)
        if below <= 0 or missed_always <= 0:
            return None, None
        of_heads = math.sqrt(heads * (1 - missed_always) * missed_always / below)
        of_chance = missed * chance * math.sqrt((1 - missed_always) / (heads * missed * below))
        return of_heads, of_chance

    @cached_property
    def _steps(self) -> "np.ndarray[Any, np.dtype[np.float64]]":
        return np.arange(self.taken, dtype=float)

    def _slope(self, heads: float) -> float:
        """Return the derivative of `log_likelihood`."""
        chance = self.capture_probability(heads)
        if chance >= 1:
            return -math.inf
        return float((1 / (heads - self._steps)).sum()) + self.k * math.log1p(-chance)


def check_passes(catches: Sequence[Any]) -> Passes:
    """
    Return the catches of the passes as `Passes`.

    Raises
    ------
    ValueError
        If a catch is not a count, or all of them exceed a million.
    """
    passes = Passes(check_counts(catches, "catches"))
    if passes.taken > MOST_TAKEN:
        raise ValueError(
            f"catches: {passes.taken} in all; the most that can be reckoned with is {MOST_TAKEN}."
        )
    return passes
