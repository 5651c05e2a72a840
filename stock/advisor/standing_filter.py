"""The pass through time behind `stock.advisor.standing`: all pond-kinds at once, one step after the other."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from stock.advisor.standing_steps import Flags, Floats, Steps

MEMORY = 4.0
"""Years over which a pond's own rate of loss is remembered (an assumption; rates change from year to year)."""
SEXES_TOGETHER = 0.85
"""Correlation of the sexes' rates of loss in a pond (an assumption)."""
LINK_NOISE = 0.1**2
"""Variance of the log of recorded deaths in a step beyond chance, of pond and season (an assumption)."""
BURST_TOGETHER = 0.8
"""Correlation of what bursts take of the sexes; thieves may prefer one (an assumption)."""
CATCH_LASTS = 0.5
"""Share of the variance of female to male catchability that a pond keeps from haul to haul (an assumption)."""
CONFLICT = 9.21
"""A count conflicts with what was expected of it where the squared distance of females and males together passes this:
the 99 % point of chi-square with 2 degrees of freedom (Pearson & Hartley 1954, table 8)."""
_F, _M, _SEEN, _CATCH = 0, 1, 4, 5
_STATES = 6
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_TINY = 1e-9
_UNKNOWN = 1e12


def widening(distance: Floats) -> Floats:
    """
    Return how many times the variances of a count and of what was expected are widened.

    A count far from what was expected says that one of the two is wrong, not which. Both are widened, the more
    the farther apart they are: of two figures equally sure the limits come to hold both. At `CONFLICT` nothing
    changes yet.

    Parameters
    ----------
    distance : array
        Squared, in standard errors of both sides together.

    References
    ----------
    Birge (1932), Phys. Rev. 40:207, scales errors of results that disagree by the square root of chi-square.
    """
    return 1 + np.maximum(distance - CONFLICT, 0.0)


@dataclass(frozen=True)
class Rates:
    """
    What the farm's ponds have in common, one value for each of several guesses (first axis).

    Parameters
    ----------
    unseen : array, shape (2, guesses, 1)
        Mean log of unseen losses a head and year, by sex.
    link : array, shape (guesses, 1)
        Log of recorded deaths to unseen losses.
    spread : array, shape (guesses, 1)
        Standard deviation of the log rate between ponds and years.
    seen_spread : array, shape (guesses, 1)
        Standard deviation between ponds of the log of recorded deaths to unseen losses.
    burst : array, shape (guesses, 1)
        Standard deviation of the share of a pond that goes or stays away in bursts (theft, a gap in the
        fence), for one year.
    """

    unseen: Floats
    link: Floats
    spread: Floats
    seen_spread: Floats
    burst: Floats


@dataclass(frozen=True)
class Catch:
    """
    How far a sexed haul, or a count, can stray from the pond beyond chance.

    Parameters
    ----------
    clustering : float
        How many times the variance of single draws a haul's share of females has, 1 or more.
    unequal_catch : float
        Standard deviation of the log of female to male catchability.
    sexing_error : float
        Chance that a turtle is taken for the other sex. Here its chance part alone; what it shifts at every
        count alike is added once to the standing.
    """

    clustering: float
    unequal_catch: float
    sexing_error: float


@dataclass(frozen=True)
class Pass:
    """
    Where the pass ended.

    Parameters
    ----------
    mean : array, shape (6, guesses, pond-kinds)
        Females, males, log unseen loss a head and year of females and of males; the pond's own part of the
        log of recorded deaths to unseen losses, and of the log of female to male catchability.
    covariance : array, shape (6, 6, guesses, pond-kinds)
    unseen : array, shape (2, guesses, pond-kinds)
        Heads lost unseen since the last count, expected.
    log_likelihood : array, shape (guesses, pond-kinds)
    foretold : array, shape (2, guesses, pond-kinds)
        Females and males that the last count of both was expected to find; NaN where nothing was known before it.
    distance : array, shape (guesses, pond-kinds)
        How far it was from that, squared, in standard errors of both sides together; 0 where nothing was known.
    """

    mean: Floats
    covariance: Floats
    unseen: Floats
    log_likelihood: Floats
    foretold: Floats
    distance: Floats


class _Filter:
    """State of the pond-kinds that still have a step to go; those with most steps come first."""

    def __init__(self, steps: Steps, rates: Rates, catch: Catch, *, doubt_far_counts: bool) -> None:
        self.steps, self.rates, self.catch = steps, rates, catch
        self.doubt_far_counts = doubt_far_counts
        shape = (rates.link.shape[0], steps.years.shape[1])
        self.all = Pass(
            mean=np.zeros((_STATES, *shape)),
            covariance=np.zeros((_STATES, _STATES, *shape)),
            unseen=np.zeros((2, *shape)),
            log_likelihood=np.zeros(shape),
            foretold=np.full((2, *shape), np.nan),
            distance=np.zeros(shape),
        )
        variance = rates.spread**2
        for sex in (0, 1):
            self.all.mean[2 + sex] = rates.unseen[sex]
            self.all.covariance[sex, sex] = _UNKNOWN
            self.all.covariance[2 + sex, 2 + sex] = variance
        self.all.covariance[2, 3] = self.all.covariance[3, 2] = SEXES_TOGETHER * variance
        self.all.covariance[_SEEN, _SEEN] = rates.seen_spread**2
        self.all.covariance[_CATCH, _CATCH] = CATCH_LASTS * catch.unequal_catch**2

    def run(self) -> Pass:
        lengths = self.steps.length
        for step in range(self.steps.years.shape[0]):
            here = int(np.count_nonzero(lengths > step))
            self._look_at(step, here)
            if step:
                if self.years.any():
                    self._forget()
                    self._hear_of_deaths()
                self._let_go()
                self._prove(np.zeros((2, here)), np.ones(here, dtype=np.bool_))
            if not np.isnan(self.heads).all():
                self._count()
            if self.caught.any():
                self._haul()
        return self.all

    def _look_at(self, step: int, here: int) -> None:
        """Take up one step of the first ``here`` pond-kinds; what follows writes into their state."""
        steps, state = self.steps, self.all
        self.mean, self.covariance = state.mean[..., :here], state.covariance[..., :here]
        self.unseen, self.log_likelihood = state.unseen[..., :here], state.log_likelihood[..., :here]
        self.foretold, self.distance = state.foretold[..., :here], state.distance[..., :here]
        self.years, self.doubt = steps.years[step, :here], steps.doubt[step, :here]
        self.net, self.deaths = steps.net[step, :, :here], steps.deaths[step, :, :here]
        self.lag, self.lag_squared = steps.lag[step, :, :here], steps.lag_squared[step, :, :here]
        self.heads, self.variance = steps.count[step, :, :here], steps.variance[step, :, :here]
        self.together, self.caught = steps.covariance[step, :here], steps.haul[step, :, :here]

    def _forget(self) -> None:
        """Let the rates drift back toward the farm's."""
        kept = np.exp(-self.years / MEMORY)
        drift = self.rates.spread**2 * (1 - kept**2)
        for sex in (0, 1):
            at = 2 + sex
            self.mean[at] = self.rates.unseen[sex] + kept * (self.mean[at] - self.rates.unseen[sex])
            self.covariance[at] *= kept
            self.covariance[:, at] *= kept
            self.covariance[at, at] += drift
        self.covariance[2, 3] += SEXES_TOGETHER * drift
        self.covariance[3, 2] += SEXES_TOGETHER * drift

    def _shift(self, gain: Floats, by: Floats, less: Floats) -> None:
        """Move the mean by gain x by, and take gain x gain' x less off the covariance."""
        self.mean += gain * by
        self.covariance -= gain[:, np.newaxis] * (gain * less)[np.newaxis]

    def _hear_of_deaths(self) -> None:
        """Learn the rates of loss from recorded deaths: Poisson, at the mode of the log rate (Laplace)."""
        years = self.years
        for sex in (0, 1):
            found = self.deaths[sex]
            at = 2 + sex
            across = self.covariance[:, at] + self.covariance[:, _SEEN]
            variance = across[at] + across[_SEEN] + LINK_NOISE
            expected = self.mean[at] + self.mean[_SEEN] + self.rates.link
            exposure = np.maximum(self.mean[sex] * years + self.lag[sex], 0.25 * years + _TINY)
            log_rate = np.maximum(expected, np.log((found + _TINY) / exposure))
            # From the right of the root Newton's steps come down to it without overshooting.
            for _ in range(5):
                rate = exposure * np.exp(log_rate)
                log_rate += (found - rate - (log_rate - expected) / variance) / (rate + 1 / variance)
            rate = exposure * np.exp(log_rate)
            left = 1 / (rate + 1 / variance)
            is_heard = years > 0
            likelihood = (
                found * (log_rate + np.log(exposure))
                - rate
                - (log_rate - expected) ** 2 / (2 * variance)
                + 0.5 * np.log(left / variance)
            )
            self.log_likelihood += np.where(is_heard, likelihood, 0.0)
            gain, by = across / variance, np.where(is_heard, log_rate - expected, 0.0)
            self._shift(gain, by, np.where(is_heard, variance - left, 0.0))
            # Heads that stood are now taken to be fewer: they went unseen before this step.
            self.unseen -= gain[:2] * by

    def _let_go(self) -> None:
        """Carry females and males over a step: booked moves, recorded deaths, unseen losses.

        Given the rate u, F -> F exp(-u t) + sum of m exp(-u t_m) over moves m made t_m before the end. The rate
        is spread over five points (Gauss-Hermite), F given the rate being linear; what the linear form leaves over
        and the chance of single losses (Poisson) is added to the variance.
        """
        years = self.years
        mean, covariance = self.mean, self.covariance
        factors = []
        for sex in (0, 1):
            at = 2 + sex
            sd = np.sqrt(covariance[at, at])
            slope = covariance[sex, at] / sd
            standing, square, across, kept_mean, kept_square = (0.0,) * 5
            for node, weight in zip(_NODES, _WEIGHTS, strict=True):
                rate = np.exp(np.minimum(mean[at] + sd * node, 3.0))
                kept = np.exp(-rate * years)
                heads = (
                    (mean[sex] + slope * node) * kept
                    + self.net[sex]
                    - rate * self.lag[sex]
                    + 0.5 * rate**2 * self.lag_squared[sex]
                )
                standing = standing + weight * heads
                square = square + weight * heads**2
                across = across + weight * node * heads
                kept_mean = kept_mean + weight * kept
                kept_square = kept_square + weight * kept**2
            lost = np.maximum(mean[sex] + self.net[sex] - standing, 0.0)
            on_rate = (across * sd - kept_mean * covariance[sex, at]) / sd**2
            within = np.maximum(covariance[sex, sex] - slope**2, 0.0)
            total = np.maximum(square - standing**2, 0.0) + kept_square * within
            explained = (
                kept_mean**2 * covariance[sex, sex]
                + 2 * kept_mean * on_rate * covariance[sex, at]
                + on_rate**2 * sd**2
            )
            noise = np.maximum(total - explained, 0.0) + lost + self.doubt
            factors.append((standing, kept_mean, on_rate, noise))
            self.unseen[sex] += lost
        for sex, (standing, kept_mean, on_rate, noise) in enumerate(factors):
            at = 2 + sex
            mean[sex] = standing
            covariance[sex] = kept_mean * covariance[sex] + on_rate * covariance[at]
            covariance[:, sex] = kept_mean * covariance[:, sex] + on_rate * covariance[:, at]
            covariance[sex, sex] += noise
        burst = self.rates.burst**2 * years
        alike = BURST_TOGETHER * np.maximum(mean[_F], 0.0) * np.maximum(mean[_M], 0.0)
        together = burst * alike - self.doubt
        covariance[_F, _M] += together
        covariance[_M, _F] += together
        covariance[_F, _F] += burst * np.maximum(mean[_F], 0.0) ** 2
        covariance[_M, _M] += burst * np.maximum(mean[_M], 0.0) ** 2

    def _count(self) -> None:
        """Join a count to the standing by its precision."""
        heads = self.heads
        is_both: Flags = np.asarray(~np.isnan(heads).any(axis=0), dtype=np.bool_)
        swapped = np.where(is_both, self.catch.sexing_error * heads.sum(axis=0), 0.0)
        variance, covariance = self._doubt_both(is_both, swapped)
        for sex in (0, 1):
            is_seen = ~np.isnan(heads[sex])
            # The males' error is taken apart from the females', which are joined first.
            portion = np.zeros_like(covariance)
            if sex == 1:
                np.divide(covariance, variance[0], out=portion, where=is_both & (variance[0] > 0))
            left = variance[sex] - portion * covariance
            across = self.covariance[:, sex] - portion * self.covariance[:, _F]
            spread = np.maximum(across[sex] - portion * across[_F] + left, 1e-6)
            expected = self.mean[sex] - portion * self.mean[_F]
            told = np.where(is_seen, heads[sex], 0.0) - portion * np.where(is_both, heads[_F], 0.0)
            gap = np.where(is_seen, told - expected, 0.0)
            is_first = spread > 0.5 * _UNKNOWN
            likelihood = -0.5 * (np.log(spread) + gap**2 / spread)
            self.log_likelihood += np.where(is_seen & ~is_first, likelihood, 0.0)
            self._shift(across / spread, gap, np.where(is_seen, spread, 0.0))
            is_begun = is_seen & is_first
            if is_begun.any():
                self.mean[sex] = np.where(is_begun, told + portion * self.mean[_F], self.mean[sex])
                own = left + portion**2 * self.covariance[_F, _F]
                self.covariance[:, sex] = np.where(is_begun, 0.0, self.covariance[:, sex])
                self.covariance[sex] = np.where(is_begun, 0.0, self.covariance[sex])
                self.covariance[sex, sex] = np.where(is_begun, own, self.covariance[sex, sex])
                if sex == 1:
                    joint = np.where(is_begun, portion * self.covariance[_F, _F], self.covariance[_F, _M])
                    self.covariance[_F, _M] = self.covariance[_M, _F] = joint
        self.unseen *= ~is_both

    def _doubt_both(self, is_both: Flags, swapped: Floats) -> tuple[Floats, Floats]:
        """
        Return the variances of a count and its covariance, one row a guess; widened where it conflicts.

        What is known exactly, as after a drain-down, stays so.
        """
        own, together = self.variance + swapped, self.together - swapped
        gap = self.heads[:, np.newaxis] - self.mean[:2]
        of_females, of_males = (self.covariance[sex, sex] + own[sex] for sex in (0, 1))
        across = self.covariance[_F, _M] + together
        spread = np.maximum(of_females * of_males - across**2, 1e-6)
        distance = (of_males * gap[0] ** 2 - 2 * across * gap[0] * gap[1] + of_females * gap[1] ** 2) / spread
        is_first = np.maximum(self.covariance[_F, _F], self.covariance[_M, _M]) > 0.5 * _UNKNOWN
        distance = np.where(is_both & ~is_first, distance, 0.0)
        self.foretold[:] = np.where(is_both, np.where(is_first, np.nan, self.mean[:2]), self.foretold)
        self.distance[:] = np.where(is_both, distance, self.distance)
        widened = widening(distance) if self.doubt_far_counts else np.ones_like(distance)
        self.covariance[:2] *= np.sqrt(widened)
        self.covariance[:, :2] *= np.sqrt(widened)
        return self.variance[:, np.newaxis] * widened + swapped, self.together * widened - swapped

    def _haul(self) -> None:
        """Let a sexed haul move females within the total; the total, its error too, stays as it was.

        Everything is written as its expectation given the total T plus what is left over. The haul says
        F = p T; with the gain K of that on what is left over, E(x | T) = x + b (T - t) becomes
        x + K (p t - F) + (b + K (p - h b)) (T - t). As females and males left over sum to zero, so do their gains.
        """
        rows = np.flatnonzero(self.caught.any(axis=0))
        caught = self.caught[:, rows]
        mean, covariance = self.mean[..., rows], self.covariance[..., rows]
        sexed = caught.sum(axis=0)
        total = np.maximum(mean[_F] + mean[_M], 1.0)
        share = (caught[0] + 0.5) / (sexed + 1)
        missing = np.clip(1 - sexed / total, 0.0, 1.0)
        chance = self.catch.clustering * (1 / (caught[0] + 0.5) + 1 / (caught[1] + 0.5)) * missing
        one_log = total * share * (1 - share)
        error = one_log**2 * (chance + (1 - CATCH_LASTS) * self.catch.unequal_catch**2)
        with_total = covariance[:, _F] + covariance[:, _M]
        of_total = np.maximum(with_total[_F] + with_total[_M], _TINY)
        slope = with_total / of_total
        left = covariance - slope[:, np.newaxis] * with_total[np.newaxis]
        across = left[:, _F] + one_log * left[:, _CATCH]
        spread = np.maximum(across[_F] + one_log * across[_CATCH], 0.0) + error + _TINY
        gain = across / spread
        gap = share * total - mean[_F] - one_log * mean[_CATCH]
        self.log_likelihood[..., rows] -= 0.5 * (np.log(spread / total**2) + gap**2 / spread)
        slope = slope + gain * (share - slope[_F] - one_log * slope[_CATCH])
        left -= gain[:, np.newaxis] * (gain * spread)[np.newaxis]
        left += slope[:, np.newaxis] * (slope * of_total)[np.newaxis]
        self.covariance[..., rows] = left
        self.mean[..., rows] = mean + gain * gap
        self._prove(self.caught, np.asarray(self.caught.any(axis=0), dtype=np.bool_))

    def _prove(self, floor: Floats, is_used: Flags) -> None:
        """Cut the normal of each sex at what is known to be alive."""
        for sex in (0, 1):
            variance = np.maximum(self.covariance[sex, sex], _TINY)
            sd = np.sqrt(variance)
            cut = (floor[sex] - self.mean[sex]) / sd
            is_near = is_used & (cut > -4) & (variance < 0.5 * _UNKNOWN)
            if not is_near.any():
                continue
            cut = np.clip(cut, -4.0, 30.0)
            hazard = np.exp(-0.5 * cut**2 - special.log_ndtr(-cut)) / np.sqrt(2 * np.pi)
            left = variance * np.clip(1 - hazard * (hazard - cut), 1e-4, 1.0)
            by = np.where(is_near, np.maximum(sd * hazard, floor[sex] - self.mean[sex]), 0.0)
            self._shift(self.covariance[:, sex] / variance, by, np.where(is_near, variance - left, 0.0))


def pass_through(steps: Steps, rates: Rates, catch: Catch, *, doubt_far_counts: bool = True) -> Pass:
    """
    Go through all steps once, for every guess of the farm's rates.

    Parameters
    ----------
    steps : Steps
        Pond-kinds with most steps first (`Steps.take`).
    doubt_far_counts : bool
        Whether a count far from what was expected is widened. Not while rates are learnt: a guess that makes counts
        impossible would be the likelier for having them doubted.

    Returns
    -------
    Pass
    """
    return _Filter(steps, rates, catch, doubt_far_counts=doubt_far_counts).run()
