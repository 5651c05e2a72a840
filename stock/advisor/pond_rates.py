"""Rates of many ponds learnt together from their counts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from stock.advisor.rates import gamma_posterior
from stock.estimators.estimate import Estimate, Status, check_confidence, check_counts, check_number

Floats = NDArray[np.float64]

FEWEST_PONDS = 4
"""Ponds below which their spread cannot be learnt, so all are taken alike."""

POOLING_NOTE = "complete pooling: every pond is given the mean of all."
PRIOR_KNOWN_NOTE = (
    "The mean and spread of the ponds are taken as known; their own doubt is not in these limits."
)
_RAN_OFF = math.log(1e6)


@dataclass(frozen=True)
class ShrunkRates:
    """
    Rates of ponds, each drawn toward the mean of all by as much as its own exposure is small.

    Parameters
    ----------
    means : tuple of Estimate
        One a pond, in the order given: events per unit of exposure.
    pooled : Estimate
        The mean of the ponds' rates.
    between_variance : float
        Variance of true rates between ponds; 0 where all are pooled.
    prior_shape, prior_rate : float or None
        Of the Gamma distribution of true rates; None where all are pooled.
    status : Status
        ``low_confidence`` where all are pooled; ``no_estimate`` without any exposure.
    notes : tuple of str
        Sentences the reader must see.
    """

    means: tuple[Estimate, ...]
    pooled: Estimate
    between_variance: float
    prior_shape: float | None
    prior_rate: float | None
    status: Status
    notes: tuple[str, ...]


def _pooled_rate(events: int, exposure: float, confidence: float, note: str) -> Estimate:
    tail = (1 - confidence) / 2
    return Estimate(
        value=events / exposure,
        se=math.sqrt(events) / exposure if events else None,
        lower=float(stats.chi2.ppf(tail, 2 * events)) / 2 / exposure if events else 0.0,
        upper=float(stats.chi2.isf(tail, 2 * events + 2)) / 2 / exposure,
        confidence=confidence,
        method="rate",
        variant="pooled",
        status=Status.LOW_CONFIDENCE,
        notes=(note,),
    )


def _rate_prior(events: Floats, exposures: Floats) -> tuple[float, float] | None:
    """
    Return shape and rate of the Gamma of true rates by maximum likelihood, None where it runs off.

    Fitted in log mean and log shape, which hardly depend on each other; the constant in the events
    alone is left out.
    """
    overall = float(events.sum() / exposures.sum())
    chance = overall * exposures
    poisson = float((special.xlogy(events, chance) - chance).sum())

    def loss(logs: Floats) -> float:
        if logs[1] > _RAN_OFF:
            return -poisson
        mean, shape = np.exp(logs)
        expected = mean * exposures
        # Rising factorials against shape^y: the part that goes to 0 as the shape runs off.
        rising = special.gammaln(events + shape) - special.gammaln(shape) - events * logs[1]
        chances = special.xlogy(events, expected) - (shape + events) * np.log1p(expected / shape)
        return float(-(rising + chances).sum())

    starts = ([math.log(overall), start] for start in (-1.0, 1.0, 4.0))
    fits = [
        optimize.minimize(
            loss, start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 2000}
        )
        for start in starts
    ]
    best = min(fits, key=lambda fit: float(fit.fun))
    mean, shape = np.exp(best.x)
    if -best.fun <= poisson + 1e-7:
        return None
    return float(shape), float(shape / mean)


def shrink_rates(
    events: Sequence[int], exposures: Sequence[float], *, confidence: float = 0.95
) -> ShrunkRates:
    """
    Learn the rates of many ponds together (nests per female-season, deaths per head-day).

    True rates are taken to be Gamma between ponds; its shape and rate are those under which the
    counts are likeliest, and a pond's rate is (events + shape) / (exposure + rate).

    Parameters
    ----------
    events : sequence of int
        Events of each pond.
    exposures : sequence of float
        Exposure of each pond, 0 or more. A pond without exposure is given the mean of the ponds.
    confidence : float
        Two-sided confidence level of the limits, which leave out the doubt of shape and rate.

    Returns
    -------
    ShrunkRates
        All ponds alike (complete pooling, flagged) with fewer than 4 ponds, or where they differ no
        more than by chance.

    Raises
    ------
    ValueError
        If a figure is impossible, or events and exposures differ in number.

    References
    ----------
    Gaver & O'Muircheartaigh (1987), Technometrics 29, 1-15.
    """
    level = check_confidence(confidence)
    counts = check_counts(events, "events")
    at_work = [
        check_number(exposure, f"exposures, number {place}", low=0)
        for place, exposure in enumerate(exposures, start=1)
    ]
    if len(counts) != len(at_work):
        raise ValueError(f"exposures: {len(at_work)} were given for {len(counts)} ponds; give one for each.")
    pairs = list(zip(counts, at_work, strict=True))
    told = [(count, exposure) for count, exposure in pairs if exposure]
    notes = []
    if any(count and not exposure for count, exposure in pairs):
        notes.append("Events of ponds without exposure are left out: check what the book says stood there.")
    if not told:
        nothing = "No pond had any exposure, so there is no rate to give."
        nowhere = Estimate(
            confidence=level, method="rate", variant="pooled", status=Status.NO_ESTIMATE, notes=(nothing,)
        )
        return ShrunkRates(
            (nowhere,) * len(pairs), nowhere, 0.0, None, None, Status.NO_ESTIMATE, (nothing, *notes)
        )
    total_events, total_exposure = sum(count for count, _ in told), sum(exposure for _, exposure in told)
    prior = None
    if len(told) < FEWEST_PONDS:
        why = f"Fewer than {FEWEST_PONDS} ponds do not show how ponds differ: {POOLING_NOTE}"
    elif not total_events:
        why = f"No event was seen anywhere: {POOLING_NOTE}"
    else:
        why = f"The ponds differ no more than by chance: {POOLING_NOTE}"
        table = np.array(told, dtype=float)
        prior = _rate_prior(table[:, 0], table[:, 1])
    if prior is None:
        pooled = _pooled_rate(total_events, total_exposure, level, why)
        return ShrunkRates(
            (pooled,) * len(pairs), pooled, 0.0, None, None, Status.LOW_CONFIDENCE, (why, *notes)
        )
    shape, rate = prior
    return ShrunkRates(
        means=tuple(
            gamma_posterior(shape + (count if exposure else 0), rate + exposure, level, PRIOR_KNOWN_NOTE)
            for count, exposure in pairs
        ),
        pooled=gamma_posterior(shape, rate, level, "The rate of a pond not looked at yet."),
        between_variance=shape / rate**2,
        prior_shape=shape,
        prior_rate=rate,
        status=Status.OK,
        notes=(PRIOR_KNOWN_NOTE, *notes),
    )
