"""What a farm's ponds have in common - losses, and the share of them that is seen - learnt for `standing`."""

from dataclasses import dataclass, fields

import numpy as np
from scipy import optimize, special

from stock.advisor.standing_filter import Catch, Pass, Rates, pass_through
from stock.advisor.standing_steps import Floats, Steps
from stock.estimators.estimate import check_number

_Z_95 = float(special.ndtri(0.95))
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_TRIED = 0.05
_MOST_PASSES = 12
_SMALL_GAIN = 0.25
SHIFTING = 3
"""The first so many of a farm's rates move the mean of what stands: loss, share seen, males against females."""
ENOUGH_PONDS = 60
"""Ponds that are asked for the farm's rates; their error is then small beside that of any one pond."""
BETWEEN_FARMS = 0.35
"""Share of the prior variance of the log loss that lies between farms, not between ponds (an assumption)."""
SEX_GAP_SD = 0.25
"""Prior standard deviation of a farm's log of male to female loss (an assumption)."""
SPREAD_SD = 0.4
"""Prior standard deviation of the log of either spread between ponds (an assumption)."""
SEEN_SPREAD = 0.4
"""Prior middle of the spread between ponds of the log of seen to unseen losses (an assumption)."""
BURST = 0.027
"""Prior middle of what bursts take a year, as a standard deviation of a share (an assumption)."""


@dataclass(frozen=True)
class LossPrior:
    """
    Yearly survival of settled adults before a farm has shown its own: mean, and 5 % and 95 % points.

    The default is an assumption for fenced ponds. Wild populations of adult sliders and cooters survive
    at 0.77 to 0.84 a year (Frazer, Gibbons & Greene 1991), emigrants counted as lost.
    """

    survival: float = 0.90
    lower: float = 0.77
    upper: float = 0.97

    def __post_init__(self) -> None:
        for name in ("survival", "lower", "upper"):
            check_number(getattr(self, name), f"loss prior, {name}", low=0, high=1)
        if not 0 < self.lower < self.survival < self.upper < 1:
            raise ValueError(
                f"loss prior: {self.lower:g}, {self.survival:g}, {self.upper:g} must rise and lie between 0 and 1."
            )

    def log_rate(self) -> tuple[float, float]:
        """Return mean and standard deviation of the log of losses a head and year, which is taken as normal.

        The spread is that of the two limits; the mean is the one that gives the mean survival asked for.
        """
        spread = float(np.log(np.log(self.lower) / np.log(self.upper)) / (2 * _Z_95))

        def miss(middle: float) -> float:
            return float((_WEIGHTS * np.exp(-np.exp(middle + spread * _NODES))).sum()) - self.survival

        return float(optimize.brentq(miss, -15.0, 5.0)), spread


@dataclass(frozen=True)
class DetectionPrior:
    """
    Share of all losses that is found and logged, before a farm has shown its own; an assumption.

    ``share`` is its middle, ``lower`` and ``upper`` the 5 % and 95 % points. Wide, for farms differ.
    """

    share: float = 0.55
    lower: float = 0.15
    upper: float = 0.90

    def __post_init__(self) -> None:
        for name in ("share", "lower", "upper"):
            check_number(getattr(self, name), f"detection prior, {name}", low=0, high=1)
        if not 0 < self.lower < self.share < self.upper < 1:
            raise ValueError(
                f"detection prior: {self.lower:g}, {self.share:g}, {self.upper:g} must rise and lie between 0 and 1."
            )

    def log_odds(self) -> tuple[float, float]:
        """Return mean and standard deviation of the log odds, taken as normal."""
        spread = float((special.logit(self.upper) - special.logit(self.lower)) / (2 * _Z_95))
        return float(special.logit(self.share)), spread


@dataclass(frozen=True)
class Learnt:
    """
    A farm's rates as learnt, and the pass made with them.

    Parameters
    ----------
    values, covariance : array, shapes (6,) and (6, 6)
        Mean log loss, log odds that a loss is seen, log of male to female loss; logs of the spread of
        loss, of the spread of being seen, and of the size of bursts.
    last : Pass
        Of all pond-kinds: with the values in place 0, and with one of the first three moved by ``tried``
        in each of the places 1 to 3.
    """

    values: Floats
    covariance: Floats
    last: Pass
    tried: float = _TRIED


def rates_of(values: Floats) -> Rates:
    """Return the rates of guesses, array of shape (guesses, 6)."""
    total, odds, sex_gap, spread, seen_spread, burst = (values[:, [column]] for column in range(6))
    unseen = total + special.log_expit(-odds)
    return Rates(
        unseen=np.stack([unseen - sex_gap / 2, unseen + sex_gap / 2]),
        link=odds,
        spread=np.exp(spread),
        seen_spread=np.exp(seen_spread),
        burst=np.exp(burst),
    )


def learn(steps: Steps, loss: LossPrior, detection: DetectionPrior, catch: Catch) -> Learnt:
    """
    Fit the farm's six rates to all its ponds together (the mode of their posterior).

    The likelihood of a pond is the product of what each of its counts and recorded deaths had left to
    chance. Its slope is taken by small changes of one rate at a time, all in the same pass; the
    curvature is the sum over ponds of the products of their slopes (Berndt, Hall, Hall & Hausman 1974)
    plus that of the prior, so few ponds leave a farm near the prior.
    """
    middle, loss_spread = loss.log_rate()
    odds, odds_spread = detection.log_odds()
    within = loss_spread * np.sqrt(1 - BETWEEN_FARMS)
    prior = np.array([middle, odds, 0.0, np.log(within), np.log(SEEN_SPREAD), np.log(BURST)])
    sd = np.array(
        [loss_spread * np.sqrt(BETWEEN_FARMS), odds_spread, SEX_GAP_SD, SPREAD_SD, SPREAD_SD, SPREAD_SD]
    )
    precision = np.diag(sd**-2)
    changes = np.vstack([np.zeros(prior.size), _TRIED * np.eye(prior.size)])

    by_length = np.argsort(-steps.length, kind="stable")
    counted = by_length[steps.length[by_length] > 0]
    # Every so many-th pond tells the farm's rates well enough; all of them take a last pass.
    sample = steps.take(counted[:: max(1, -(-counted.size // ENOUGH_PONDS))])

    def look(values: Floats) -> tuple[float, Floats, Floats]:
        passed = pass_through(sample, rates_of(values + changes), catch, doubt_far_counts=False)
        slopes = (passed.log_likelihood[1:] - passed.log_likelihood[0]) / _TRIED
        away = values - prior
        height = float(passed.log_likelihood[0].sum() - 0.5 * away @ precision @ away)
        return height, slopes.sum(axis=1) - precision @ away, slopes @ slopes.T + precision

    values: Floats = prior
    height, slope, curvature = look(values)
    damping = 1.0
    for _ in range(_MOST_PASSES):
        stride = damping * np.linalg.solve(curvature, slope)
        stride = stride / max(1.0, float(np.max(np.abs(stride) / sd)))
        if float(stride @ slope) < 2 * _SMALL_GAIN:
            break
        tried = look(np.asarray(values + stride, dtype=np.float64))
        gain = tried[0] - height
        if gain <= 0:
            damping /= 3
            continue
        values = np.asarray(values + stride, dtype=np.float64)
        height, slope, curvature = tried
        damping = min(1.0, 3 * damping)
        if gain < _SMALL_GAIN:
            break
    # The spreads hardly move what stands; the first three rates do.
    passed = pass_through(steps.take(by_length), rates_of(values + changes[: 1 + SHIFTING]), catch)
    back = np.argsort(by_length, kind="stable")
    last = Pass(**{column.name: getattr(passed, column.name)[..., back] for column in fields(Pass)})
    return Learnt(values, np.asarray(np.linalg.inv(curvature), dtype=np.float64), last)
