"""What was counted over seasons, and how such counts come about."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kept:
    """
    The book of several ponds and seasons, as tables of shape (ponds, seasons); a size of 0: not kept.

    Parameters
    ----------
    counts : array
        What was counted: nests, eggs, hatched eggs.
    sizes : array
        What it was counted over: females, nests opened, eggs set.
    doubt : array
        Relative standard error of each size; 0 where it was counted.
    share : array
        Share of full fertility of that pond and season; 1 where nothing lowers it.
    weights : array
        What each season counts, 0 to 1.
    """

    counts: Floats
    sizes: Floats
    doubt: Floats
    share: Floats
    weights: Floats


@dataclass(frozen=True)
class Family:
    """
    How counts come about: ``link`` is ``log`` (counts per size) or ``logit`` (a share of the size).

    ``rises`` says what fertility does to a share: hatch falls with it (False), clear eggs rise (True).
    """

    link: str
    rises: bool = False

    def inverse(self, level: Floats) -> Floats:
        """Return the figure that belongs to a level."""
        found: Floats = np.exp(level) if self.link == "log" else special.expit(level)
        return found

    def start(self, kept: Kept) -> tuple[Floats, Floats]:
        """Return first working levels and their precision, 0 where nothing was kept."""
        seen = kept.sizes > 0
        size = np.where(seen, kept.sizes, 1.0)
        if self.link == "log":
            return np.log((kept.counts + 0.5) / size), np.where(seen, kept.counts + 0.5, 0.0)
        share = (kept.counts + 0.5) / (size + 1)
        share = np.clip((share - self._least(kept)) / np.maximum(kept.share, 1e-6), 0.01, 0.99)
        return special.logit(share), np.where(seen, size * share * (1 - share), 0.0)

    def working(self, kept: Kept, level: Floats) -> tuple[Floats, Floats]:
        """Return working levels and their precision about the levels given (Fisher scoring)."""
        seen = kept.sizes > 0
        size = np.where(seen, kept.sizes, 1.0)
        if self.link == "log":
            mean = size * np.exp(level)
            return level + (kept.counts - mean) / mean, np.where(seen, mean, 0.0)
        share = special.expit(level)
        mean = self._least(kept) + kept.share * share
        slope = np.maximum(kept.share, 1e-6) * share * (1 - share)
        chance = np.maximum(mean * (1 - mean), 1e-12)
        step = np.clip((kept.counts / size - mean) / slope, -2.0, 2.0)
        return level + step, np.where(seen, size * slope**2 / chance, 0.0)

    def _least(self, kept: Kept) -> Floats:
        return 1 - kept.share if self.rises else np.zeros_like(kept.share)
