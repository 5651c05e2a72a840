"""What new females truly add to ponds over the seasons that follow, under laws of fertility and harm nobody knows.

Nothing here is the product's: curves, survival, settling and good and bad seasons are of other shapes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Curve = Callable[[Floats], Floats]


def _capacity(ratios: Floats) -> Floats:
    """One male serves five females, no more: the curve the advice assumes, here to be told from the others."""
    return np.minimum(1.0, 5.0 / ratios)


def _steeper(ratios: Floats) -> Floats:
    """Beyond five to one each further female costs more than she lays."""
    return np.minimum(1.0, 5.0 / ratios) ** 2


def _seven(ratios: Floats) -> Floats:
    """One male serves seven."""
    return np.minimum(1.0, 7.0 / ratios)


def _logistic(ratios: Floats) -> Floats:
    """Falls from the start, at first hardly, half gone at nine to one."""
    return (1 + np.exp(-9 / 1.6)) / (1 + np.exp((ratios - 9) / 1.6))


def _slowly(ratios: Floats) -> Floats:
    """Falls by three in a hundred for each female a male beyond three to one."""
    return 0.97 ** np.maximum(0.0, ratios - 3.0)


def _flat(ratios: Floats) -> Floats:
    """Males never matter: few serve all."""
    return np.ones_like(ratios)


def _early(ratios: Floats) -> Floats:
    """Falls steeply from two and a half to one on."""
    return np.exp(-0.15 * np.maximum(0.0, ratios - 2.5))


def _hump(ratios: Floats) -> Floats:
    """Best at three to one: below, females driven by males lay less; above, some go unserved."""
    return np.exp(-0.5 * (np.log(ratios / 3.0) / 0.9) ** 2)


def _cliff(ratios: Floats) -> Floats:
    """Full up to four to one, then a fifth less at once."""
    return np.where(ratios <= 4.0, 1.0, 0.8)


@dataclass(frozen=True)
class Law:
    """A law of fertility: females per male to share of full fertility, late by so many seasons of stored sperm.

    ``is_harsh`` where it takes more than a tenth of the eggs between two and five females a male, where nothing
    shows a loss in sliders (common experience, no source).
    """

    curve: Curve
    delay: int = 0
    is_harsh: bool = False


LAWS: Mapping[str, Law] = {
    "5 to a male, as assumed": Law(_capacity),
    "the same, two years late": Law(_capacity, 2),
    "steeper beyond 5": Law(_steeper, 1),
    "7 to a male": Law(_seven),
    "logistic, half at 9": Law(_logistic, 1),
    "3 % a step from 3 on": Law(_slowly),
    "males never matter": Law(_flat),
    "harsh: 15 % a step from 2.5": Law(_early, 1, is_harsh=True),
    "harsh: best at 3": Law(_hump, 0, is_harsh=True),
    "harsh: a fifth lost at 4": Law(_cliff, 1, is_harsh=True),
}


@dataclass(frozen=True)
class Herd:
    """
    Ponds as they truly stand before the new females come; arrays of shape (ponds,).

    ``females`` and ``males`` alive, ``yields`` hatched eggs of a settled female in a middling season,
    ``settled`` the share of the females that has settled.
    """

    females: Floats
    males: Floats
    yields: Floats
    settled: Floats


class Years:
    """Seasons to come, drawn once: every placing meets the same luck."""

    def __init__(self, ponds: int, most_new: int, seasons: int, rng: np.random.Generator) -> None:
        self.seasons = seasons
        self.survival = rng.beta(27, 3, (ponds, seasons))
        self.male_survival = rng.beta(25, 3, (ponds, seasons))
        settling = np.array([rng.uniform(0.25, 0.5), rng.uniform(0.6, 0.85), 1.0])
        self.settle = np.concatenate([settling, np.ones(max(0, seasons - 3))])[:seasons]
        self.weather = rng.gamma(1 / 0.13**2, 0.13**2, seasons) * rng.gamma(
            1 / 0.12**2, 0.12**2, (ponds, seasons)
        )
        # Each new female's own luck: she lives through a season if her draw lies below its survival.
        self.luck = rng.random((ponds, most_new, seasons))
        self.bites = rng.uniform(0.05, 0.25)

    def hatched(self, herd: Herd, new: NDArray[np.int64], law: Law) -> float:
        """Return the hatched eggs of all ponds over the seasons, with so many new females in each."""
        old, males = herd.females.copy(), herd.males.copy()
        settled = herd.settled
        alive = np.arange(self.luck.shape[1])[np.newaxis] < new[:, np.newaxis]
        seen = [(herd.females + new) / herd.males]
        total = 0.0
        for season in range(self.seasons):
            ratio = (old + alive.sum(axis=1)) / males
            # Bites: below two to one females die more, by the square of what is missing.
            harm = 1 - self.bites * np.maximum(0.0, 1 - ratio / 2.0) ** 2
            lives = self.survival[:, season] * harm
            old = old * lives
            males = males * self.male_survival[:, season]
            alive &= self.luck[:, :, season] < lives[:, np.newaxis]
            fresh = alive.sum(axis=1)
            seen.append((old + fresh) / males)
            share = settled if season == 0 else 1.0
            laying = old * share + fresh * self.settle[season]
            fertile = law.curve(seen[max(0, len(seen) - 1 - law.delay)])
            total += float((laying * herd.yields * self.weather[:, season] * fertile).sum())
        return total
