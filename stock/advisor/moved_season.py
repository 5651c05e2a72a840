"""A season with some heads moved beforehand, against the same season without: the same chances drawn for both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from stock.advisor.families import Floats
from stock.advisor.ranges import Spread, check_heads, spread_of
from stock.advisor.season_learning import FigureLearnt, YieldsLearnt
from stock.estimators.estimate import check_count

__all__ = ["MovedSeason", "moved_season"]


@dataclass(frozen=True)
class MovedSeason:
    """
    Nests, eggs and hatched eggs without the moves and with them: 5 % point, mean and 95 % point.

    Each is a pair of Spreads (without, with) of arrays, shape (places,). ``more_eggs`` is what the moves add to the
    eggs, drawn as a difference, all places together: shape (). Below 0 they cost eggs. ``arithmetic`` is the
    product of the middling figures.
    """

    nests: tuple[Spread, Spread]
    eggs: tuple[Spread, Spread]
    hatched: tuple[Spread, Spread]
    more_eggs: Spread


def moved_season(
    learnt: YieldsLearnt,
    places: ArrayLike,
    females: ArrayLike,
    *,
    female_se: ArrayLike,
    stay: ArrayLike,
    come: ArrayLike,
    fertility: tuple[ArrayLike, ArrayLike] = (1.0, 1.0),
    draws: int = 2000,
    rng: int | np.random.Generator,
) -> MovedSeason:
    """
    Draw a season twice from the same chances, as things stand and with heads moved.

    A draw takes the standing females, the levels of all ponds, one season for the whole farm and what each pond does
    beyond it. Luck is taken at the same point of each distribution both times, so that what differs is the moves.

    Parameters
    ----------
    learnt : YieldsLearnt
    places : array of int, shape (places,)
        Which of its pond-kinds are asked about.
    females, female_se : array, shape (places,)
        Settled-equivalent females that stand, and their standard error.
    stay : array, shape (places,)
        Share of them that is not moved out, 0 to 1.
    come : array, shape (places,)
        Settled-equivalent females that come in; counted heads, so without error.
    fertility : pair of array, shape (places,)
        Share of full fertility without the moves and with them.
    draws : int
        1 or more.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Raises
    ------
    ValueError
        If a number is impossible or a shape is wrong.
    """
    at = np.asarray(places, dtype=int)
    heads, error, added = (
        check_heads(given, name)[:, 0]
        for given, name in ((females, "females"), (female_se, "female_se"), (come, "come"))
    )
    kept = np.asarray(stay, dtype=float)
    if not at.shape == heads.shape == error.shape == added.shape == kept.shape:
        raise ValueError("females, female_se, stay and come: give one figure for each of the places.")
    if not ((kept >= 0) & (kept <= 1)).all():
        raise ValueError("stay: the share that is not moved out lies between 0 and 1.")
    count = check_count(draws, "draws")
    if not count:
        raise ValueError("draws: give at least one draw.")
    generator = np.random.default_rng(rng)
    relative = np.divide(error, heads, out=np.zeros_like(heads), where=heads > 0)
    spread = np.sqrt(np.log1p(relative**2))[:, np.newaxis]
    standing = heads[:, np.newaxis] * np.exp(
        spread * generator.standard_normal((len(at), count)) - spread**2 / 2
    )
    rate, per_nest, share = (
        _draw(figure, at, count, generator) for figure in (learnt.nests, learnt.eggs, learnt.hatch)
    )
    luck = generator.random((3, len(at), count))
    told, by_hand = [], []
    middling = [
        np.array([figure.ponds[place].value for place in at.tolist()])
        for figure in (learnt.nests, learnt.eggs, learnt.hatch)
    ]
    for laying, settled, fertile in (
        (standing, heads, fertility[0]),
        (standing * kept[:, np.newaxis] + added[:, np.newaxis], heads * kept + added, fertility[1]),
    ):
        full = np.broadcast_to(np.asarray(fertile, dtype=float), (len(at),))[:, np.newaxis]
        if not ((full >= 0) & (full <= 1)).all():
            raise ValueError("fertility: a share of full fertility lies between 0 and 1.")
        nests = _poisson(luck[0], laying * rate)
        eggs = _poisson(luck[1], nests * per_nest)
        hatched = stats.binom.ppf(luck[2], eggs, np.clip(full * share, 0.0, 1.0))
        told.append((nests, eggs, hatched))
        eggs_by_hand = settled * middling[0] * middling[1]
        by_hand.append((settled * middling[0], eggs_by_hand, eggs_by_hand * full[:, 0] * middling[2]))
    spreads = [
        [spread_of(drawn, product) for drawn, product in zip(*both, strict=True)]
        for both in zip(told, by_hand, strict=True)
    ]
    nests_told, eggs_told, hatched_told = zip(*spreads, strict=True)
    more = (told[1][1] - told[0][1]).sum(axis=0)
    difference = (by_hand[1][1] - by_hand[0][1]).sum()
    return MovedSeason(nests_told, eggs_told, hatched_told, spread_of(more, np.asarray(difference)))


def _draw(figure: FigureLearnt, at: np.ndarray, count: int, rng: np.random.Generator) -> Floats:
    levels, season, rest = figure.hierarchy.draw(count, rng)
    drawn: Floats = figure.family.inverse(levels + season + rest)[at]
    return drawn


def _poisson(luck: Floats, mean: Floats) -> Floats:
    """Return the count at a point of each Poisson distribution; 0 where the mean is 0."""
    drawn: Floats = np.where(mean > 0, stats.poisson.ppf(luck, np.maximum(mean, 1e-12)), 0.0)
    return drawn
