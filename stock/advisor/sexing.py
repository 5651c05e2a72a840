"""How many more turtles to sex before a pond's ratio is settled against its band."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stock.advisor.verdict import check_band
from stock.estimators.estimate import check_confidence, check_count, check_number

MOST_TO_SEX = 10_000
"""Beyond this many more turtles to sex, the answer is that sexing will not settle it."""

_SLACK = 1e-9


def _settled(
    females: NDArray[np.float64], sexed: int, left: int | None, band: tuple[float, float], certainty: float
) -> NDArray[np.bool_]:
    """Return for each number of females among the sexed whether below, in or above band is settled."""
    a, b = females + 0.5, sexed - females + 0.5
    low_share, high_share = band[0] / (1 + band[0]), band[1] / (1 + band[1])
    if left is None:
        p_below = special.betainc(a, b, low_share)
        p_above = special.betaincc(a, b, high_share)
    else:
        total = sexed + left
        mean = left * a / (a + b)
        variance = left * a * b * (a + b + left) / ((a + b) ** 2 * (a + b + 1))
        spread = np.sqrt(np.maximum(variance, 1e-12))
        fewest_in = math.ceil(low_share * total - _SLACK) - females
        most_in = math.floor(high_share * total + _SLACK) - females
        p_below = special.ndtr((fewest_in - 0.5 - mean) / spread)
        p_above = special.ndtr((mean - most_in - 0.5) / spread)
    p_in = 1 - p_below - p_above
    settled: NDArray[np.bool_] = np.maximum(np.maximum(p_below, p_above), p_in) >= certainty
    return settled


def sex_more(
    females: int,
    males: int,
    *,
    total: int | None = None,
    share: float | None = None,
    band: tuple[float, float] = (2.5, 4.5),
    certainty: float = 0.8,
    power: float = 0.8,
) -> int | None:
    """
    Say how many more turtles to sex before the pond's ratio is settled against the band.

    Settled means that the share of females, given all that were sexed (Beta with Jeffreys' prior),
    lies below, in or above the band with probability ``certainty``. The answer is the number for
    which that happens with probability ``power``, if the share seen so far is the pond's share. It
    is found by doubling and halving; because outcomes are whole turtles, a slightly smaller number
    may happen to do as well.

    Parameters
    ----------
    females, males : int
        Turtles sexed so far.
    total : int, optional
        Heads alive in the pond. Sexing all of them settles it, so the answer never exceeds those
        left. The females among those left are then taken as normal, with the moments of the
        beta-binomial.
    share : float, optional
        Share of females expected in the pond, 0 to 1, in place of the share seen so far: for a pond
        where none was sexed yet.
    band : (float, float)
        Females per male, low and high end.
    certainty, power : float
        Both strictly between 0 and 1.

    Returns
    -------
    int or None
        0 where it is settled already; None where nothing was sexed and no share is expected, or where not even
        10,000 more would settle it, as where the share seen lies on an edge of the band.

    Raises
    ------
    ValueError
        If a count is impossible, or the total is below the turtles sexed.
    """
    female_count, male_count = check_count(females, "females"), check_count(males, "males")
    edges = check_band(band)
    check_confidence(certainty, "certainty")
    check_confidence(power, "power")
    sexed = female_count + male_count
    left = None
    if total is not None:
        left = check_count(total, "total") - sexed
        if left < 0:
            raise ValueError(f"total: the pond is said to hold {total}, but {sexed} were sexed.")
    if share is not None:
        check_number(share, "share", low=0, high=1)
    elif not sexed:
        return None
    else:
        share = female_count / sexed
    females_left = round(share * left) if left is not None else 0

    def reaches_power(more: int) -> bool:
        if left is None:
            mean, variance = more * share, more * share * (1 - share)
        else:
            portion = females_left / max(left, 1)
            mean = more * portion
            variance = more * portion * (1 - portion) * (left - more) / max(left - 1, 1)
        reach = 7 * math.sqrt(variance) + 2
        found = np.arange(max(0, math.floor(mean - reach)), min(more, math.ceil(mean + reach)) + 1)
        chances = _chances(found, more, share, left, females_left)
        is_settled = _settled(
            female_count + found.astype(float),
            sexed + more,
            None if left is None else left - more,
            edges,
            certainty,
        )
        return float(chances[is_settled].sum()) >= power

    most = MOST_TO_SEX if left is None else left
    if reaches_power(0):
        return 0
    fails, enough = 0, 1
    while enough < most and not reaches_power(enough):
        fails, enough = enough, enough * 2
    enough = min(enough, most)
    if not reaches_power(enough):
        return None
    while enough - fails > 1:
        middle = (fails + enough) // 2
        if reaches_power(middle):
            enough = middle
        else:
            fails = middle
    return enough


def _chances(
    found: NDArray[np.int64], more: int, share: float, left: int | None, females_left: int
) -> NDArray[np.float64]:
    """Return the chance of each number of females among ``more`` turtles sexed next."""
    if left is None:
        log_chance = (
            _log_choose(more, found) + special.xlogy(found, share) + special.xlog1py(more - found, -share)
        )
    else:
        log_chance = (
            _log_choose(females_left, found)
            + _log_choose(left - females_left, more - found)
            - _log_choose(left, np.array([more]))
        )
    chances: NDArray[np.float64] = np.exp(log_chance)
    return chances


def _log_choose(n: int, k: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return log C(n, k), minus infinity outside 0..n."""
    inside = (k >= 0) & (k <= n)
    kept = np.where(inside, k, 0)
    log_ways = special.gammaln(n + 1.0) - special.gammaln(kept + 1.0) - special.gammaln(n - kept + 1.0)
    return np.where(inside, log_ways, -np.inf)
