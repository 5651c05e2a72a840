"""Tails of the hypergeometric distribution over arrays, and the exact limits of heads they give."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import special

Array = np.ndarray[Any, np.dtype[np.float64]]


def _log_ways(heads: Any, taken: Any) -> Any:
    return special.gammaln(heads + 1) - special.gammaln(taken + 1) - special.gammaln(heads - taken + 1)


def tail(seen: Any, heads: Any, marked: Any, caught: Any, *, as_few: bool) -> Array:
    """
    Return the chance of ``seen`` marked or fewer (or more) among ``caught`` drawn from ``heads``.

    Parameters
    ----------
    seen, heads, marked, caught : array_like of whole numbers
        All of one shape after broadcasting; heads at least ``marked + caught - seen``, and ``seen``
        at most ``marked`` and ``caught``.
    as_few : bool
        Sum from ``seen`` downward; else upward.

    Returns
    -------
    ndarray
        Chances from 0 to 1.
    """
    four = np.broadcast_arrays(*np.atleast_1d(seen, heads, marked, caught))
    again, there, out, drawn = (np.array(part, dtype=float).reshape(-1) for part in four)
    is_above = again * there > out * drawn
    # The sum runs away from the mean, where terms only fall; on the other side it is that of the rest.
    is_down = ~is_above
    is_rest = is_above if as_few else is_down
    start = np.where(is_rest, again + 1 if as_few else again - 1, again)
    fewest, most = np.maximum(out + drawn - there, 0), np.minimum(out, drawn)
    is_possible = (start >= fewest) & (start <= most)
    sums = np.zeros_like(again)
    rows = np.flatnonzero(is_possible)
    if rows.size:
        sums[rows] = _sum_from(start[rows], there[rows], out[rows], drawn[rows], is_down[rows])
    return np.clip(np.where(is_rest, 1 - sums, sums), 0, 1).reshape(four[0].shape)


def _sum_from(start: Array, heads: Array, marked: Array, caught: Array, is_down: Any) -> Array:
    """
    Return the sum of the chances from ``start`` downward or upward.

    The first term comes from log-gammas, its neighbors from the ratio of two terms; the sum ends where
    no term can change it.
    """
    term = np.exp(
        _log_ways(marked, start) + _log_ways(heads - marked, caught - start) - _log_ways(heads, caught)
    )
    sums, at, spare = term.copy(), start.copy(), heads - marked - caught
    left = np.flatnonzero(term > 0)
    while left.size:
        now, room, of, drawn = at[left], spare[left], marked[left], caught[left]
        down = is_down[left]
        following = np.where(down, now - 1, now + 1)
        # One of the two is what the step multiplies by, the other what it divides by.
        met, unmet = np.where(down, now, following), np.where(down, following, now)
        above, below = met * (room + met), (of - unmet) * (drawn - unmet)
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = np.where(down, above / below, below / above)
        last = term[left] * factor
        sums[left] += last
        at[left], term[left] = following, last
        left = left[last > 1e-17 * sums[left]]
    whole: Array = sums
    return whole


def _first_whole(low: Array, holds: Callable[[Array, Any], Any]) -> Array:
    """Return for each place the least whole number from ``low`` on for which ``holds`` holds."""
    found = low.copy()
    left = np.flatnonzero(~holds(low, np.arange(low.size)))
    below, above = low.copy(), 2 * low + 1
    growing = left
    while growing.size:
        short = ~holds(above[growing], growing)
        growing = growing[short]
        below[growing] = above[growing]
        above[growing] *= 2
    while left.size:
        middle = np.floor((below[left] + above[left]) / 2)
        reached = holds(middle, left)
        above[left[reached]] = middle[reached]
        below[left[~reached]] = middle[~reached]
        is_done = above[left] - below[left] <= 1
        found[left[is_done]] = above[left[is_done]]
        left = left[~is_done]
    return found


def exact_limits_over(marked: Any, caught: Any, seen: Any, confidence: float) -> tuple[Array, Array]:
    """
    Return the fewest and most heads that neither tail contradicts, over arrays.

    Parameters
    ----------
    marked, caught, seen : array_like of whole numbers
        Marked at large, caught, and the marked among these, of one shape.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    (ndarray, ndarray)
        Lower and upper limits; the upper is infinite where no marked animal was seen.
    """
    marked, caught, seen = (np.array(part, dtype=float) for part in np.broadcast_arrays(marked, caught, seen))
    of, drawn, again = (part.reshape(-1) for part in (marked, caught, seen))
    each, place = np.unique(np.stack([of, drawn, again]), axis=1, return_inverse=True)
    of, drawn, again = each
    place = place.reshape(-1)
    # A tail of exactly half the doubt is contradicted; rounding must not save it.
    half = (1 - confidence) / 2 * (1 + 1e-10)
    known = of + drawn - again

    def few_enough(heads: Array, rows: Any) -> Any:
        return tail(again[rows], heads, of[rows], drawn[rows], as_few=True) > half

    lower = _first_whole(known, few_enough)
    upper = np.full(known.size, math.inf)
    some = np.flatnonzero(again > 0)

    def too_many(heads: Array, rows: Any) -> Any:
        at = some[rows]
        return tail(again[at], heads, of[at], drawn[at], as_few=False) <= half

    if some.size:
        upper[some] = np.maximum(_first_whole(known[some], too_many) - 1, lower[some])
    return lower[place].reshape(marked.shape), upper[place].reshape(marked.shape)


def crossing(low: Array, is_below: Callable[[Array], Any]) -> Array:
    """
    Return for each place where ``is_below`` turns false, going up from ``low``.

    By doubling, then by halving down to a part in a thousand million.
    """
    low = low.astype(float).copy()
    high = 2 * low + 1
    for _ in range(200):
        short = is_below(high)
        if not short.any():
            break
        low, high = np.where(short, high, low), np.where(short, 2 * high, high)
    for _ in range(60):
        middle = (low + high) / 2
        below = is_below(middle)
        low, high = np.where(below, middle, low), np.where(below, high, middle)
        if np.all(high - low <= 1e-9 * high):
            break
    return np.asarray((low + high) / 2)
