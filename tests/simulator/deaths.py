"""Deaths of a farm month by month, with seasons, ponds and months that differ, rises and bad batches planted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
SIZES = (200, 400, 800, 1600)


@dataclass(frozen=True)
class Farm:
    """
    A farm's years.

    ``deaths`` and ``head_days`` are ponds by sexes (females, males) by months; ``rises_in`` is the month from
    which on a pond's deaths are multiplied, or the number of months where they never are.
    """

    deaths: NDArray[np.int64]
    head_days: Floats
    month_of_year: NDArray[np.int64]
    size: NDArray[np.int64]
    rises_in: NDArray[np.int64]


def live(
    rng: np.random.Generator, *, ponds: int = 200, years: int = 5, times: float = 1.0, rising: float = 0.0
) -> Farm:
    """
    Let ponds of four sizes live: a tenth of the adults dies in a year in the middle pond.

    Ponds differ by a factor of e^0.4, a pond's months by gamma noise of a sixth, and a cold late winter
    kills two to three times as many as the summer. Heads drift as they are bought and sold. In a share
    ``rising`` of ponds deaths are multiplied by ``times`` from one of the first months of the third year on.
    """
    months = 12 * years
    of_year = np.arange(months) % 12
    size = np.array(SIZES)[np.arange(ponds) % len(SIZES)]
    hazard = 0.105 * np.exp(rng.normal(0, 0.4, ponds) - 0.08)
    peak = rng.uniform(0.4, 0.6)
    season = 1 + peak * np.cos(2 * np.pi * (of_year - 1.5) / 12)
    share = rng.beta(30, 10, ponds)
    heads = size[:, None] * np.exp(np.cumsum(rng.normal(0, 0.02, (ponds, months)), axis=1))
    rises_in = np.where(rng.random(ponds) < rising, rng.integers(24, 30, ponds), months)
    raised = np.where(np.arange(months) >= rises_in[:, None], times, 1.0)
    noise = rng.gamma(40, 1 / 40, (ponds, months))
    sex_gap = np.exp(rng.normal(0, 0.15, ponds))
    deaths, head_days = [], []
    for of_sex, factor in ((share, sex_gap), (1 - share, 1 / sex_gap)):
        stood = np.rint(heads * of_sex[:, None])
        days = stood * DAYS[of_year]
        mean = hazard[:, None] * factor[:, None] * days / 365 * season * raised * noise
        deaths.append(rng.poisson(mean))
        head_days.append(days)
    return Farm(np.stack(deaths, axis=1), np.stack(head_days, axis=1), of_year + 1, size, rises_in)
