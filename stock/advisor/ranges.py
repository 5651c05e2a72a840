"""Figures given as low, expected, high; drawn from, and summed up again."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

Z_95 = float(special.ndtri(0.95))


@dataclass(frozen=True)
class Spread:
    """
    What a simulation gave: its 5 % point, mean and 95 % point, one of each per pond-kind.

    ``arithmetic`` is the product of the expected figures, which a reader can check by hand; the mean
    differs from it where the ranges are lopsided.
    """

    low: Floats
    expected: Floats
    high: Floats
    arithmetic: Floats


def check_ranges(ranges: ArrayLike, rows: int, name: str, *, high: float = np.inf) -> Floats:
    """
    Return low, expected, high figures as an array of shape (rows, 3).

    Parameters
    ----------
    ranges : array, shape (3,) for all rows alike, or (rows, 3)
        Low (5 % point), expected (middle) and high (95 % point).
    rows : int
        Pond-kinds.
    name : str
        What the figures are, for the message.
    high : float
        The most any of them can be: 1 for shares.

    Raises
    ------
    ValueError
        If the shape is wrong, a figure is not finite, below 0 or above ``high``, or the three are
        not in rising order.
    """
    array = np.asarray(ranges, dtype=float)
    if array.ndim not in {1, 2} or array.shape[-1] != 3 or (array.ndim == 2 and array.shape[0] != rows):
        raise ValueError(f"{name}: give low, expected and high, once or for each of the {rows} pond-kinds.")
    array = np.broadcast_to(array, (rows, 3))
    for low, expected, top in array:
        if not (np.isfinite([low, expected, top]).all() and 0 <= low <= expected <= top <= high):
            most = "" if np.isinf(high) else f" and none may exceed {high:g}"
            raise ValueError(
                f"{name}: {low:g}, {expected:g}, {top:g} must be 0 or more and rise from low over "
                f"expected to high{most}."
            )
    return array


def draw_ranges(
    ranges: ArrayLike,
    draws: int,
    rng: np.random.Generator,
    *,
    groups: Sequence[Any] | None = None,
    high: float = np.inf,
) -> Floats:
    """
    Draw figures from low, expected, high ranges.

    Each range becomes a normal of two halves: its middle (median) is ``expected``, its 5 % point
    ``low`` and its 95 % point ``high``, the half below and the half above having a spread each. What
    falls below 0 or above ``high`` is set to that bound, which moves none of the three points. One
    form serves shares and counts alike, because it meets all three points whatever their skew,
    also where two of them coincide; a beta or lognormal has two parameters and cannot.

    Parameters
    ----------
    ranges : array, shape (rows, 3)
        As `check_ranges` returns.
    draws : int
        Draws per row.
    rng : numpy.random.Generator
        Source of chance.
    groups : sequence, length rows, optional
        Rows of one group (a kind) share their draws, for they share what is not known; by default
        each row draws its own.
    high : float
        The most a draw can be: 1 for shares.

    Returns
    -------
    array of float, shape (rows, draws)
    """
    array = np.asarray(ranges, dtype=float)
    rows = len(array)
    names = list(range(rows)) if groups is None else list(groups)
    if len(names) != rows:
        raise ValueError(f"kinds: {len(names)} were given for {rows} pond-kinds; give one for each.")
    order = {name: place for place, name in enumerate(dict.fromkeys(names))}
    standard = rng.standard_normal((len(order), draws))[[order[name] for name in names]] / Z_95
    low, expected, top = (array[:, [column]] for column in range(3))
    drawn = expected + standard * np.where(standard > 0, top - expected, expected - low)
    clipped: Floats = np.clip(drawn, 0.0, high)
    return clipped


def check_heads(heads: ArrayLike, name: str) -> Floats:
    """
    Return heads per pond-kind as an array of shape (rows, 1), or (rows, draws) for joint draws.

    Raises
    ------
    ValueError
        If the shape is wrong or a figure is below 0 or not finite.
    """
    array = np.asarray(heads, dtype=float)
    if array.ndim not in {1, 2}:
        raise ValueError(f"{name}: give one number of heads for each pond-kind, or one row of draws.")
    if not np.isfinite(array).all() or (array < 0).any():
        raise ValueError(f"{name}: heads must be 0 or more.")
    return array[:, np.newaxis] if array.ndim == 1 else array


def spread_of(drawn: Floats, arithmetic: Floats) -> Spread:
    """Return 5 % point, mean and 95 % point over the draws, the last axis; without rows, nothing drawn."""
    if not drawn.size:
        return Spread(arithmetic, arithmetic, arithmetic, arithmetic)
    low, high = np.quantile(drawn, [0.05, 0.95], axis=-1)
    return Spread(low, drawn.mean(axis=-1), high, arithmetic)
