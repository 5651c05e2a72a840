"""The pass through time of `stock.advisor.standing_filter` once more, pond by pond in plain floats: the reference.

Line by line the same arithmetic, without arrays; what a plain loop over the ponds would be.
"""

from __future__ import annotations

import math

import numpy as np

from stock.advisor import standing_filter as shared
from stock.advisor.standing_filter import Catch, Rates
from stock.advisor.standing_steps import Steps

Matrix = list[list[float]]
_F, _M, _SEEN, _CATCH, _STATES = 0, 1, 4, 5, 6
_TINY, _UNKNOWN = 1e-9, 1e12
_NODES, _WEIGHTS = (part.tolist() for part in np.polynomial.hermite_e.hermegauss(5))
_WEIGHTS = [weight / sum(_WEIGHTS) for weight in _WEIGHTS]


def plain_loop(steps: Steps, rates: Rates, catch: Catch) -> list[list[tuple[list[float], Matrix, float]]]:
    """Return mean, covariance and log likelihood by guess and pond-kind."""
    ponds = [_PlainSteps(steps, place) for place in range(steps.length.size)]
    columns = [column[:, 0].tolist() for column in (rates.link, rates.spread, rates.seen_spread, rates.burst)]
    unseen = rates.unseen[..., 0].T.tolist()
    return [
        [
            _PlainPond(
                pond, catch, (unseen[guess][0], unseen[guess][1]), *(one[guess] for one in columns)
            ).run()
            for pond in ponds
        ]
        for guess in range(len(unseen))
    ]


class _PlainSteps:
    """The steps of one pond-kind as lists."""

    def __init__(self, steps: Steps, place: int) -> None:
        self.length = length = int(steps.length[place])
        self.years = steps.years[:length, place].tolist()
        self.doubt = steps.doubt[:length, place].tolist()
        self.together = steps.covariance[:length, place].tolist()
        self.net, self.lag, self.lag_squared, self.deaths, self.count, self.variance, self.haul = (
            column[:length, :, place].tolist()
            for column in (
                steps.net,
                steps.lag,
                steps.lag_squared,
                steps.deaths,
                steps.count,
                steps.variance,
                steps.haul,
            )
        )


class _PlainPond:
    """One pond-kind under one guess of the farm's rates."""

    def __init__(
        self,
        steps: _PlainSteps,
        catch: Catch,
        unseen: tuple[float, float],
        link: float,
        spread: float,
        seen_spread: float,
        burst: float,
    ) -> None:
        self.steps, self.catch = steps, catch
        self.rate, self.link, self.spread, self.burst = unseen, link, spread, burst
        self.mean = [0.0, 0.0, unseen[0], unseen[1], 0.0, 0.0]
        self.own: Matrix = [[0.0] * _STATES for _ in range(_STATES)]
        self.likelihood = 0.0
        for sex in (0, 1):
            self.own[sex][sex] = _UNKNOWN
            self.own[2 + sex][2 + sex] = spread**2
        self.own[2][3] = self.own[3][2] = shared.SEXES_TOGETHER * spread**2
        self.own[_SEEN][_SEEN] = seen_spread**2
        self.own[_CATCH][_CATCH] = shared.CATCH_LASTS * catch.unequal_catch**2

    def run(self) -> tuple[list[float], Matrix, float]:
        for step in range(self.steps.length):
            if step:
                years = self.steps.years[step]
                if years > 0:
                    self._forget(years)
                    self._hear_of_deaths(step, years)
                self._let_go(step, years)
                self._prove((0.0, 0.0))
            heads, caught = self.steps.count[step], self.steps.haul[step]
            if not (math.isnan(heads[0]) and math.isnan(heads[1])):
                self._count(step, heads)
            if caught[0] or caught[1]:
                self._haul(caught)
        return self.mean, self.own, self.likelihood

    def _shift(self, gain: list[float], by: float, less: float) -> None:
        for row in range(_STATES):
            self.mean[row] += gain[row] * by
            for column in range(_STATES):
                self.own[row][column] -= gain[row] * gain[column] * less

    def _forget(self, years: float) -> None:
        kept = math.exp(-years / shared.MEMORY)
        drift = self.spread**2 * (1 - kept**2)
        for sex in (0, 1):
            at = 2 + sex
            self.mean[at] = self.rate[sex] + kept * (self.mean[at] - self.rate[sex])
            for column in range(_STATES):
                self.own[at][column] *= kept
            for row in range(_STATES):
                self.own[row][at] *= kept
            self.own[at][at] += drift
        self.own[2][3] += shared.SEXES_TOGETHER * drift
        self.own[3][2] += shared.SEXES_TOGETHER * drift

    def _hear_of_deaths(self, step: int, years: float) -> None:
        for sex in (0, 1):
            found, at = self.steps.deaths[step][sex], 2 + sex
            across = [row[at] + row[_SEEN] for row in self.own]
            variance = across[at] + across[_SEEN] + shared.LINK_NOISE
            expected = self.mean[at] + self.mean[_SEEN] + self.link
            exposure = max(self.mean[sex] * years + self.steps.lag[step][sex], 0.25 * years + _TINY)
            log_rate = max(expected, math.log((found + _TINY) / exposure))
            for _ in range(5):
                rate = exposure * math.exp(log_rate)
                log_rate += (found - rate - (log_rate - expected) / variance) / (rate + 1 / variance)
            rate = exposure * math.exp(log_rate)
            left = 1 / (rate + 1 / variance)
            self.likelihood += (
                found * (log_rate + math.log(exposure))
                - rate
                - (log_rate - expected) ** 2 / (2 * variance)
                + 0.5 * math.log(left / variance)
            )
            self._shift([one / variance for one in across], log_rate - expected, variance - left)

    def _let_go(self, step: int, years: float) -> None:
        mean, own = self.mean, self.own
        net, lag, lag_squared = self.steps.net[step], self.steps.lag[step], self.steps.lag_squared[step]
        factors = []
        for sex in (0, 1):
            at = 2 + sex
            sd = math.sqrt(own[at][at])
            slope = own[sex][at] / sd
            standing = square = across = kept_mean = kept_square = 0.0
            for node, weight in zip(_NODES, _WEIGHTS, strict=True):
                rate = math.exp(min(mean[at] + sd * node, 3.0))
                kept = math.exp(-rate * years)
                heads = (
                    (mean[sex] + slope * node) * kept
                    + net[sex]
                    - rate * lag[sex]
                    + 0.5 * rate**2 * lag_squared[sex]
                )
                standing += weight * heads
                square += weight * heads**2
                across += weight * node * heads
                kept_mean += weight * kept
                kept_square += weight * kept**2
            lost = max(mean[sex] + net[sex] - standing, 0.0)
            on_rate = (across * sd - kept_mean * own[sex][at]) / sd**2
            within = max(own[sex][sex] - slope**2, 0.0)
            total = max(square - standing**2, 0.0) + kept_square * within
            explained = (
                kept_mean**2 * own[sex][sex] + 2 * kept_mean * on_rate * own[sex][at] + on_rate**2 * sd**2
            )
            noise = max(total - explained, 0.0) + lost + self.steps.doubt[step]
            factors.append((standing, kept_mean, on_rate, noise))
        for sex, (standing, kept_mean, on_rate, noise) in enumerate(factors):
            at = 2 + sex
            mean[sex] = standing
            own[sex] = [
                kept_mean * here + on_rate * there for here, there in zip(own[sex], own[at], strict=True)
            ]
            for row in own:
                row[sex] = kept_mean * row[sex] + on_rate * row[at]
            own[sex][sex] += noise
        burst = self.burst**2 * years
        females, males = max(mean[_F], 0.0), max(mean[_M], 0.0)
        together = burst * shared.BURST_TOGETHER * females * males - self.steps.doubt[step]
        own[_F][_M] += together
        own[_M][_F] += together
        own[_F][_F] += burst * females**2
        own[_M][_M] += burst * males**2

    def _count(self, step: int, heads: list[float]) -> None:
        variance, covariance = list(self.steps.variance[step]), self.steps.together[step]
        is_both = not (math.isnan(heads[0]) or math.isnan(heads[1]))
        swapped = self.catch.sexing_error * (heads[0] + heads[1]) if is_both else 0.0
        variance = [one + swapped for one in variance]
        covariance -= swapped
        for sex in (0, 1):
            if math.isnan(heads[sex]):
                continue
            portion = covariance / variance[0] if sex == 1 and is_both and variance[0] > 0 else 0.0
            left = variance[sex] - portion * covariance
            across = [row[sex] - portion * row[_F] for row in self.own]
            spread = max(across[sex] - portion * across[_F] + left, 1e-6)
            expected = self.mean[sex] - portion * self.mean[_F]
            told = heads[sex] - portion * (heads[_F] if is_both else 0.0)
            gap = told - expected
            is_first = spread > 0.5 * _UNKNOWN
            if not is_first:
                self.likelihood += -0.5 * (math.log(spread) + gap**2 / spread)
            self._shift([one / spread for one in across], gap, spread)
            if is_first:
                self.mean[sex] = told + portion * self.mean[_F]
                own = left + portion**2 * self.own[_F][_F]
                for place in range(_STATES):
                    self.own[place][sex] = self.own[sex][place] = 0.0
                self.own[sex][sex] = own
                if sex == 1:
                    self.own[_F][_M] = self.own[_M][_F] = portion * self.own[_F][_F]

    def _haul(self, caught: list[float]) -> None:
        mean, own, catch = self.mean, self.own, self.catch
        sexed = caught[0] + caught[1]
        total = max(mean[_F] + mean[_M], 1.0)
        share = (caught[0] + 0.5) / (sexed + 1)
        missing = min(max(1 - sexed / total, 0.0), 1.0)
        chance = catch.clustering * (1 / (caught[0] + 0.5) + 1 / (caught[1] + 0.5)) * missing
        one_log = total * share * (1 - share)
        error = one_log**2 * (chance + (1 - shared.CATCH_LASTS) * catch.unequal_catch**2)
        with_total = [row[_F] + row[_M] for row in own]
        of_total = max(with_total[_F] + with_total[_M], _TINY)
        slope = [one / of_total for one in with_total]
        left = [
            [own[row][column] - slope[row] * with_total[column] for column in range(_STATES)]
            for row in range(_STATES)
        ]
        across = [row[_F] + one_log * row[_CATCH] for row in left]
        spread = max(across[_F] + one_log * across[_CATCH], 0.0) + error + _TINY
        gain = [one / spread for one in across]
        gap = share * total - mean[_F] - one_log * mean[_CATCH]
        self.likelihood -= 0.5 * (math.log(spread / total**2) + gap**2 / spread)
        lean = share - slope[_F] - one_log * slope[_CATCH]
        slope = [one + gained * lean for one, gained in zip(slope, gain, strict=True)]
        for row in range(_STATES):
            for column in range(_STATES):
                own[row][column] = (
                    left[row][column]
                    - gain[row] * gain[column] * spread
                    + slope[row] * slope[column] * of_total
                )
            mean[row] += gain[row] * gap
        self._prove((caught[0], caught[1]))

    def _prove(self, floor: tuple[float, float]) -> None:
        for sex in (0, 1):
            variance = max(self.own[sex][sex], _TINY)
            sd = math.sqrt(variance)
            cut = (floor[sex] - self.mean[sex]) / sd
            if not (cut > -4 and variance < 0.5 * _UNKNOWN):
                continue
            cut = min(cut, 30.0)
            hazard = math.exp(-0.5 * cut**2) / (math.sqrt(2 * math.pi) * 0.5 * math.erfc(cut / math.sqrt(2)))
            left = variance * min(max(1 - hazard * (hazard - cut), 1e-4), 1.0)
            by = max(sd * hazard, floor[sex] - self.mean[sex])
            self._shift([row[sex] / variance for row in self.own], by, variance - left)
