"""Females that come at once or not at all: into a pond whose males stand alone, where a few would be pressed."""

import math
from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from stock.advisor.reasons import WELFARE_RATIO

_SLACK = 1e-9
_Float = TypeVar("_Float", bound=np.floating[Any])


def least_at_once(
    females: float, males: float, *, decided: float = 0.0, welfare_ratio: float = WELFARE_RATIO
) -> int:
    """
    Return the fewest females that may come at once into a pond; 0 where any number may.

    Males press the females that are there. Where none are, as in a new pond whose males came first, nobody is
    pressed and females may come, but so many that they stand at the welfare ratio when they have come.

    Parameters
    ----------
    females, males : float
        Heads standing.
    decided : float
        Females that are to come already.

    >>> least_at_once(0, 50), least_at_once(0, 50, decided=60), least_at_once(1, 50), least_at_once(0, 0)
    (75, 15, 0, 0)
    """
    if females > 0 or males <= 0:
        return 0
    return max(0, math.ceil(welfare_ratio * males - decided - _SLACK))


def held_together(gains: NDArray[_Float], least: Sequence[int]) -> NDArray[_Float]:
    """
    Return gains in which the first heads of a pond count only once so many have come.

    Their gains are put on the last of them, so that a placing for the most gain gives the pond none or so many.

    Parameters
    ----------
    gains : array, shape (..., ponds, levels)
        What each further head adds.
    least : sequence of int
        For each pond; 0 or 1 where each head counts by itself, and no more than it has levels.
    """
    held = np.array(gains)
    for pond, heads in enumerate(least):
        if heads > 1:
            held[..., pond, heads - 1] = held[..., pond, :heads].sum(axis=-1)
            held[..., pond, : heads - 1] = 0
    return held


def shared_out(gains: Sequence[float], least: int) -> tuple[float, ...]:
    """
    Return a pond's gains with what its first heads add together shared among them, as it is told.

    >>> shared_out((0, 0, 9, 2), 3)
    (3.0, 3.0, 3.0, 2)
    """
    if least <= 1 or len(gains) < least:
        return tuple(gains)
    return (*([math.fsum(gains[:least]) / least] * least), *gains[least:])
