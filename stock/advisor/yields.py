"""
Nests and eggs of a season by seeded simulation, and the two curves the advice leans on.

What learns rates and means from the nest book lives in modules of its own and is offered here too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stock.advisor.pond_rates import ShrunkRates, shrink_rates
from stock.advisor.rates import Overdispersion, RatePosterior, overdispersion, rate_posterior
from stock.advisor.shrinkage import ShrunkEstimates, ShrunkMeans, shrink_estimates, shrink_means
from stock.estimators.estimate import check_number

__all__ = [
    "FEMALE_SURVIVAL_SOURCE",
    "FERTILITY_SOURCE",
    "Overdispersion",
    "RatePosterior",
    "SeasonYield",
    "ShrunkEstimates",
    "ShrunkMeans",
    "ShrunkRates",
    "Spread",
    "check_heads",
    "check_ranges",
    "draw_ranges",
    "female_survival",
    "fertility",
    "overdispersion",
    "rate_posterior",
    "season_yield",
    "shrink_estimates",
    "shrink_means",
    "shrink_rates",
]

Floats = NDArray[np.float64]

FERTILITY_SOURCE = (
    "Assumption: full fertility up to 5 females per male, falling beyond as (5 / ratio) to a power. "
    "No published curve is known for pond turtles."
)
FEMALE_SURVIVAL_SOURCE = (
    "Assumption: females bitten by too many males die more often; yearly survival falls in a straight "
    "line below 1.5 females per male. The harm is documented (Golubovic et al. 2018), the size is not."
)
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


@dataclass(frozen=True)
class SeasonYield:
    """
    A season's nests, eggs and hatched eggs.

    ``nests``, ``eggs`` and ``hatched`` hold arrays of shape (pond-kinds,); the ``total_`` ones hold
    arrays of shape () for all of them together, whose limits are not the sums of the limits.
    ``hatched`` is None where no hatch was given.
    """

    nests: Spread
    eggs: Spread
    hatched: Spread | None
    total_nests: Spread
    total_eggs: Spread
    total_hatched: Spread | None


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


def _spread(drawn: Floats, arithmetic: Floats) -> Spread:
    if not drawn.size:
        return Spread(arithmetic, arithmetic, arithmetic, arithmetic)
    low, high = np.quantile(drawn, [0.05, 0.95], axis=-1)
    return Spread(low, drawn.mean(axis=-1), high, arithmetic)


def season_yield(
    females: ArrayLike,
    *,
    laying: ArrayLike,
    nests: ArrayLike,
    eggs: ArrayLike,
    hatch: ArrayLike | None = None,
    kinds: Sequence[Any] | None = None,
    draws: int = 5000,
    rng: int | np.random.Generator,
) -> SeasonYield:
    """
    Simulate a season's nests, eggs and hatched eggs of pond-kinds.

    Nests are females x share laying x nests per laying female; eggs are nests x eggs per nest;
    hatched eggs are eggs x hatch. Every figure is drawn from its own range (see `draw_ranges`),
    independently of the others, so extremes are never multiplied. What varies is what is not known
    about the kind; the luck of single animals is left out, which is small from some tens of females.

    Parameters
    ----------
    females : array, shape (rows,), or (rows, draws) of joint draws
        Settled-equivalent females of each pond-kind (heads).
    laying, hatch : array, shape (3,) or (rows, 3)
        Share of settled females that lay, and of eggs that hatch: low, expected, high, 0 to 1.
    nests, eggs : array, shape (3,) or (rows, 3)
        Nests per laying female and season, and eggs per nest: low, expected, high.
    kinds : sequence, length rows, optional
        Kind of each row; rows of one kind share the draws of the kind's figures.
    draws : int
        Draws, 1 or more; ignored where ``females`` brings its own.
    rng : int or numpy.random.Generator
        Seed, or source of chance; the same seed gives the same figures.

    Returns
    -------
    SeasonYield
        5 % point, mean and 95 % point of each.

    Raises
    ------
    ValueError
        If a range or a number of females is impossible.
    """
    heads = check_heads(females, "females")
    rows = len(heads)
    count = heads.shape[1] if heads.shape[1] > 1 else draws
    generator = np.random.default_rng(rng)
    stages = [("laying", laying, 1.0), ("nests", nests, np.inf), ("eggs", eggs, np.inf)]
    if hatch is not None:
        stages.append(("hatch", hatch, 1.0))
    running, arithmetic = np.broadcast_to(heads, (rows, count)), heads.mean(axis=1)
    spreads: list[tuple[Spread, Spread]] = []
    for name, given, high in stages:
        ranges = check_ranges(given, rows, name, high=high)
        running = running * draw_ranges(ranges, count, generator, groups=kinds, high=high)
        arithmetic = arithmetic * ranges[:, 1]
        if name != "laying":
            spreads.append((_spread(running, arithmetic), _spread(running.sum(axis=0), arithmetic.sum())))
    hatched, total_hatched = spreads[2] if hatch is not None else (None, None)
    return SeasonYield(spreads[0][0], spreads[1][0], hatched, spreads[0][1], spreads[1][1], total_hatched)


def fertility(ratio: ArrayLike, *, full_to: float = 5.0, exponent: float = 1.0) -> Floats:
    """
    Return the fertility of eggs against females per male, as a share of full fertility.

    1 up to ``full_to`` females per male, (full_to / ratio) ** exponent beyond, 0 without males. An
    assumption (`FERTILITY_SOURCE`): stored sperm delays the fall by two or three years in truth.

    Parameters
    ----------
    ratio : array
        Females per male, 0 or more; infinite without males.
    full_to : float
        Females per male up to which one male is enough; above 0.
    exponent : float
        How fast fertility falls; 1 lets the number of fertile eggs stand still, 0 never lets it fall.

    Raises
    ------
    ValueError
        If a ratio is negative or a setting is impossible.
    """
    ratios = np.asarray(ratio, dtype=float)
    check_number(exponent, "exponent", low=0)
    if check_number(full_to, "full_to", low=0) == 0:
        raise ValueError("full_to: 0 females per male leaves no fertility at all; give more than 0.")
    if np.isnan(ratios).any() or (ratios < 0).any():
        raise ValueError("ratio: females per male must be 0 or more.")
    fertile: Floats = np.where(np.isinf(ratios), 0.0, (full_to / np.maximum(ratios, full_to)) ** exponent)
    return fertile


def female_survival(
    ratio: ArrayLike, survival: ArrayLike, *, falls_below: float = 1.5, loss_at_zero: float = 0.2
) -> Floats:
    """
    Return the yearly survival of females against females per male.

    Full at ``falls_below`` females per male and above; below, it falls in a straight line to
    (1 - loss_at_zero) of itself at a ratio of 0. An assumption (`FEMALE_SURVIVAL_SOURCE`).

    Parameters
    ----------
    ratio : array
        Females per male, 0 or more.
    survival : array, broadcast against ``ratio``
        Yearly survival in band, 0 to 1.
    falls_below : float
        Females per male below which males harm females; 0 or more (0 turns the fall off).
    loss_at_zero : float
        Share of the survival lost as the ratio goes to 0; 0 to 1.

    Raises
    ------
    ValueError
        If a ratio is negative, a survival is not a share, or a setting is impossible.
    """
    ratios, yearly = np.asarray(ratio, dtype=float), np.asarray(survival, dtype=float)
    check_number(falls_below, "falls_below", low=0)
    check_number(loss_at_zero, "loss_at_zero", low=0, high=1)
    if np.isnan(ratios).any() or (ratios < 0).any():
        raise ValueError("ratio: females per male must be 0 or more.")
    if not ((yearly >= 0) & (yearly <= 1)).all():
        raise ValueError("survival: the yearly survival must lie between 0 and 1.")
    if falls_below == 0:
        return np.broadcast_to(yearly, np.broadcast_shapes(ratios.shape, yearly.shape))
    shortfall = np.maximum(0.0, 1.0 - ratios / falls_below)
    lowered: Floats = yearly * (1.0 - loss_at_zero * shortfall)
    return lowered
