"""Females and males of ponds drawn together, for advice that carries the doubt of the standing along."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class JointDraws:
    """Heads drawn, shape (ponds, draws); one column where no pond has an error, as by the book."""

    females: Floats
    males: Floats


def joint_draws(
    females: Sequence[float],
    males: Sequence[float],
    female_se: Sequence[float],
    male_se: Sequence[float],
    covariance: Sequence[float],
    *,
    draws: int,
    rng: int | np.random.Generator,
) -> JointDraws:
    """
    Draw females and males of each pond as jointly normal, cut at zero females and at half a male.

    A pond that may be without males in one draw in a thousand would else gain nothing there, which is the
    normal's tail and no fact of the pond.

    Parameters
    ----------
    females, males, female_se, male_se, covariance : sequence of float, length ponds
        Means, standard errors, and covariance in heads squared; errors 0 where the book is taken as it stands.
    draws : int
        Columns.
    rng : int or numpy.random.Generator
        Seed, or source of chance. A pond's draws are the same whatever stands beside it.

    Returns
    -------
    JointDraws

    Raises
    ------
    ValueError
        If the sequences differ in length or an error is negative.
    """
    table = np.array([females, males, female_se, male_se, covariance], dtype=float)
    if (table[2:4] < 0).any():
        raise ValueError("joint_draws: a standard error cannot be below 0.")
    if not table[2:4].any():
        return JointDraws(table[0][:, np.newaxis], table[1][:, np.newaxis])
    standard = np.random.default_rng(rng).standard_normal((2, draws))
    portion = np.divide(table[4], table[2], out=np.zeros_like(table[4]), where=table[2] > 0)
    left = np.sqrt(np.maximum(table[3] ** 2 - portion**2, 0.0))
    drawn_females = table[0][:, np.newaxis] + np.outer(table[2], standard[0])
    drawn_males = table[1][:, np.newaxis] + np.outer(portion, standard[0]) + np.outer(left, standard[1])
    has_males = table[1] > 0
    drawn_males = np.maximum(drawn_males, np.where(has_males, np.minimum(0.5, table[1]), 0.0)[:, np.newaxis])
    return JointDraws(np.maximum(drawn_females, 0.0), drawn_males)
