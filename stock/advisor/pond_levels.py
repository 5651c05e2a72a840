"""How ponds stand against each other by what they gave to date."""

from dataclasses import dataclass

import numpy as np

from stock.advisor.families import Floats

_STEPS, _CLOSE, _LEAST = 100, 1e-10, 1e-12


@dataclass(frozen=True)
class PondLevels:
    """
    Each pond's level to date: the natural logarithm of its yield against what was expected of it.

    ``mean`` and ``sd`` have shape (ponds,) and hold what lasts and what passes together; ``own_sd`` is
    what was known of the lasting part before. ``scale`` is what the ponds together are at, as a share of
    all that was expected of them for the whole season; 0 where nothing was counted yet.
    """

    mean: Floats
    sd: Floats
    own_sd: Floats
    scale: float

    def draw(
        self, draws: int, rng: np.random.Generator, *, parts: tuple[float, float]
    ) -> tuple[Floats, Floats]:
        """
        Draw what lasts, and the second of two passing parts, each of shape (ponds, draws).

        Parameters
        ----------
        draws : int
        rng : numpy.random.Generator
        parts : (float, float)
            Variances of the passing parts, the noise `learn_pond_levels` was given in all.
        """
        shape = (len(self.mean), draws)
        own = self.own_sd[:, np.newaxis]
        lasting = own * rng.standard_normal(shape)
        passing = np.sqrt(parts[1]) * rng.standard_normal(shape)
        if not self.scale:
            return lasting, passing
        luck = np.sqrt(parts[0]) * rng.standard_normal(shape)
        target = self.mean[:, np.newaxis] + self.sd[:, np.newaxis] * rng.standard_normal(shape)
        # Drawn apart, then moved so that they add up to what was seen, each by its share of the variance.
        missing = (target - lasting - passing - luck) / np.maximum(own**2 + parts[0] + parts[1], _LEAST)
        return lasting + own**2 * missing, passing + parts[1] * missing


def learn_pond_levels(counts: Floats, expected: Floats, own_sd: Floats, *, noise: float = 0.0) -> PondLevels:
    """
    Learn each pond's own level from its count to date, the ponds together telling how far the season is.

    A count is Poisson about scale x expected x exp(level + noise), levels being normal about 0 with
    ``own_sd``; level and noise are taken at their likeliest, with the curvature there as precision. The
    scale is such that the counts add up.

    Parameters
    ----------
    counts, expected, own_sd : array, shape (ponds,)
        Counted to date; expected of the season (median); standard deviation of its logarithm.
    noise : float
        Variance of what passes: the luck of single weeks.
    """
    total, whole = float(counts.sum()), float(expected.sum())
    nothing = np.zeros_like(expected)
    spread = np.maximum(own_sd**2 + noise, _LEAST)
    if not total or not whole:
        return PondLevels(nothing, np.sqrt(spread), own_sd, 0.0)
    level, scale = nothing, total / whole
    for _ in range(_STEPS):
        weights = expected * np.exp(level)
        scale = total / float(weights.sum())
        mean = scale * weights
        # One step of Newton on log chance and prior together; each pond by itself.
        step = (counts - mean - level / spread) / (mean + 1 / spread)
        level = level + np.clip(step, -1.0, 1.0)
        if float(np.abs(step).max()) < _CLOSE:
            break
    return PondLevels(level, np.sqrt(1 / (scale * expected * np.exp(level) + 1 / spread)), own_sd, scale)
