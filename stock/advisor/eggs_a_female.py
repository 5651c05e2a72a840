"""Hatched eggs that a settled female gives in a season, pond by pond, from what was learnt of the ponds."""

import math
from dataclasses import dataclass

import numpy as np

from stock.advisor.families import Floats
from stock.advisor.season_learning import FigureLearnt, YieldsLearnt
from stock.estimators.estimate import check_count

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


@dataclass(frozen=True)
class EggsAFemale:
    """
    Hatched eggs of a settled female and season, males enough.

    Parameters
    ----------
    mean : array, shape (pond-kinds,)
        Over what is not known of the pond and over good and bad seasons.
    draws : array, shape (pond-kinds, draws)
        The mean over the seasons looked ahead, in single draws. Good and bad seasons are shared by all ponds of a draw.
    """

    mean: Floats
    draws: Floats


def eggs_a_female(
    learnt: YieldsLearnt, *, seasons: int, draws: int, rng: int | np.random.Generator
) -> EggsAFemale:
    """
    Draw what a settled female of each pond-kind gives over the coming seasons.

    A draw takes the levels of all ponds together, once, and for each season ahead one effect for the whole farm and
    one for each pond; nests a female, eggs a nest and hatch share are multiplied season by season. The mean is
    computed, not drawn: ponds of which the same is known have the same mean to the last bit. The draws are then set
    to that mean.

    Parameters
    ----------
    learnt : YieldsLearnt
    seasons : int
        Seasons ahead, 1 or more.
    draws : int
        Draws, 1 or more.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Raises
    ------
    ValueError
        If there are no seasons or no draws.
    """
    ahead, count = check_count(seasons, "seasons"), check_count(draws, "draws")
    if not ahead or not count:
        raise ValueError("eggs_a_female: give at least one season and one draw.")
    generator = np.random.default_rng(rng)
    figures = (learnt.nests, learnt.eggs, learnt.hatch)
    levels = [figure.hierarchy.draw(count, generator)[0] for figure in figures]
    summed = np.zeros_like(levels[0])
    for _ in range(ahead):
        one = np.ones_like(summed)
        for figure, level in zip(figures, levels, strict=True):
            season = generator.normal(0.0, figure.season_spread, count)
            rest = generator.normal(0.0, figure.rest_spread, level.shape)
            one *= figure.family.inverse(level + season + rest)
        summed += one
    # Rounded, so that what is the same but for the order of sums is the same.
    mean = np.round(np.prod([_mean_of(figure) for figure in figures], axis=0), 9)
    drawn = summed / ahead
    found = drawn.mean(axis=1, keepdims=True)
    scale = np.divide(mean[:, np.newaxis], found, out=np.ones_like(found), where=found > 0)
    return EggsAFemale(mean, drawn * scale)


def _mean_of(figure: FigureLearnt) -> Floats:
    """Return the mean of a figure by pond, level and coming season both taken as normal on its scale."""
    found = figure.hierarchy
    spread = np.sqrt(found.sd**2 + figure.season_spread**2 + figure.rest_spread**2)
    at = found.mean[:, np.newaxis] + spread[:, np.newaxis] * _NODES
    mean: Floats = figure.family.inverse(at) @ _WEIGHTS / math.sqrt(2 * math.pi)
    return mean
