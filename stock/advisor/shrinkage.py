"""Means of many ponds learnt together: each drawn toward the mean of all where its own is doubtful."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stock.advisor.pond_rates import POOLING_NOTE, PRIOR_KNOWN_NOTE
from stock.estimators.estimate import Estimate, Status, check_confidence, check_number

Floats = NDArray[np.float64]

_NO_SPREAD = "No spread was seen within ponds, so the doubt of this figure cannot be told."
_ALIKE = f"The ponds differ no more than by chance: {POOLING_NOTE}"
_ONE_POND = f"One pond does not show how ponds differ: {POOLING_NOTE}"


@dataclass(frozen=True)
class ShrunkMeans:
    """
    Means of ponds drawn toward the mean of all.

    Parameters
    ----------
    means : tuple of Estimate
        One a pond, in the order given.
    pooled : Estimate
        Mean of the ponds, each weighted by how well it is known.
    between_variance : float
        Variance of true means between ponds, cut off at 0; 0 where all are pooled.
    within_variance : float or None
        Mean square within ponds: the variance of single values around their pond's mean.
    between_mean_square : float or None
        Mean square between ponds.
    shrinkage : tuple of float
        Share of its own mean each pond keeps, 0 to 1.
    sizes : tuple of int
        Values of each pond.
    status : Status
        ``low_confidence`` where all are pooled; ``no_estimate`` where spread cannot be told.
    notes : tuple of str
        Sentences the reader must see.
    """

    means: tuple[Estimate, ...]
    pooled: Estimate
    between_variance: float
    within_variance: float | None
    between_mean_square: float | None
    shrinkage: tuple[float, ...]
    sizes: tuple[int, ...]
    status: Status
    notes: tuple[str, ...]

    def predict(self, pond: int) -> Estimate:
        """
        Estimate one further single value (the eggs of the next nest) of a pond.

        Its variance is that within ponds and that of the pond's mean; the doubt of the mean of all
        and of the variances is left out.

        Parameters
        ----------
        pond : int
            Place of the pond, counted from 0.

        Raises
        ------
        ValueError
            If there is no such pond.
        """
        if not 0 <= pond < len(self.means):
            raise ValueError(f"pond: there is no pond {pond} among the {len(self.means)}, counted from 0.")
        mean = self.means[pond]
        if mean.value is None or self.within_variance is None:
            return mean
        size, share = self.sizes[pond], self.shrinkage[pond]
        of_mean = share * self.within_variance / size if size else self.between_variance
        return _normal(
            mean.value, self.within_variance + of_mean, mean.confidence, "predicted value", PRIOR_KNOWN_NOTE
        )


@dataclass(frozen=True)
class ShrunkEstimates:
    """
    Estimates of ponds drawn toward the mean of all.

    Parameters
    ----------
    means : tuple of Estimate
        One a pond, in the order given.
    pooled : Estimate
        Mean of the ponds, each weighted by how well it is known.
    between_variance : float
        Variance of true figures between ponds, cut off at 0.
    heterogeneity : float
        Cochran's Q, to be held against the ponds less 1.
    shrinkage : tuple of float
        Share of its own figure each pond keeps, 0 to 1.
    status : Status
        ``low_confidence`` where all are pooled; ``no_estimate`` without ponds.
    notes : tuple of str
        Sentences the reader must see.
    """

    means: tuple[Estimate, ...]
    pooled: Estimate
    between_variance: float
    heterogeneity: float
    shrinkage: tuple[float, ...]
    status: Status
    notes: tuple[str, ...]


def _normal(
    value: float, variance: float, confidence: float, method: str, *notes: str, status: Status = Status.OK
) -> Estimate:
    """Return a normal estimate; without any variance it has no limits, for it would read as certain."""
    if variance == 0:
        return Estimate(
            value=value,
            confidence=confidence,
            method=method,
            variant="normal",
            status=Status.LOW_CONFIDENCE,
            notes=(*notes, _NO_SPREAD),
        )
    se = math.sqrt(variance)
    reach = float(special.ndtri((1 + confidence) / 2)) * se
    return Estimate(
        value=value,
        se=se,
        lower=value - reach,
        upper=value + reach,
        confidence=confidence,
        method=method,
        variant="normal",
        status=status,
        notes=notes,
    )


def _nothing(confidence: float, note: str) -> Estimate:
    return Estimate(
        confidence=confidence, method="mean", variant="normal", status=Status.NO_ESTIMATE, notes=(note,)
    )


def shrink_means(groups: Sequence[Sequence[float]], *, confidence: float = 0.95) -> ShrunkMeans:
    """
    Learn the means of many ponds together from single values (eggs of each nest).

    Variances come from a one-way analysis of variance; a pond keeps the share
    B = between / (between + within / n) of its own mean and takes the rest from the mean of all.

    Parameters
    ----------
    groups : sequence of sequences of float
        Values of each pond. An empty pond is given the mean of all. An empty nest counts as 0 eggs
        only where it was opened.
    confidence : float
        Two-sided confidence level of the limits, which leave out the doubt of mean and variances.

    Returns
    -------
    ShrunkMeans
        All ponds alike (complete pooling, flagged) where they differ no more than by chance or there
        is one only; ``no_estimate`` where no pond has two values.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    References
    ----------
    Box & Tiao (1973), Bayesian Inference in Statistical Analysis, section 5.1. Searle, Casella &
    McCulloch (1992), Variance Components, section 3.6.
    """
    level = check_confidence(confidence)
    values = [
        np.array([check_number(value, f"groups, pond {place}") for value in group], dtype=float)
        for place, group in enumerate(groups, start=1)
    ]
    sizes = tuple(group.size for group in values)
    full = [group for group in values if group.size]
    total = sum(sizes)
    if total == len(full):
        why = "No pond has two values, so the spread within ponds cannot be told from that between them."
        nothing = _nothing(level, why)
        unknown = (0.0,) * len(sizes)
        return ShrunkMeans(
            (nothing,) * len(sizes), nothing, 0.0, None, None, unknown, sizes, Status.NO_ESTIMATE, (why,)
        )
    counts = np.array([group.size for group in full], dtype=float)
    own = np.array([group.mean() for group in full])
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in full) / (total - len(full))
    between_square, between = None, 0.0
    if len(full) > 1:
        between_square = float(counts @ (own - counts @ own / total) ** 2) / (len(full) - 1)
        evenness = (total - float(counts @ counts) / total) / (len(full) - 1)
        between = max(0.0, (between_square - within) / evenness)
    variances = between + within / counts
    # Relative weights: those of ponds alike are 1 exactly, and their mean is the plain one.
    weights = variances.min() / variances if variances.all() else counts
    middle = float(weights @ own / weights.sum())
    of_middle = float(variances.min() / weights.sum())
    why = PRIOR_KNOWN_NOTE
    status = Status.OK
    if between == 0:
        why, status = _ALIKE if len(full) > 1 else _ONE_POND, Status.LOW_CONFIDENCE
    pooled = _normal(middle, of_middle, level, "mean", why, status=status)
    means, shares = [], []
    for group in values:
        if between == 0:
            means.append(pooled)
            shares.append(0.0)
        elif group.size:
            share = between / (between + within / group.size)
            shrunk = middle + share * (float(group.mean()) - middle)
            means.append(_normal(shrunk, share * within / group.size, level, "mean", why))
            shares.append(share)
        else:
            means.append(_normal(middle, between, level, "mean", why))
            shares.append(0.0)
    return ShrunkMeans(
        tuple(means), pooled, between, within, between_square, tuple(shares), sizes, status, (why,)
    )


def shrink_estimates(
    values: Sequence[float], ses: Sequence[float], *, confidence: float = 0.95
) -> ShrunkEstimates:
    """
    Learn the figures of many ponds together from one estimate and standard error each.

    The variance between ponds is DerSimonian and Laird's; a pond keeps the share
    B = between / (between + se^2) of its own figure.

    Parameters
    ----------
    values, ses : sequence of float
        Estimate and standard error (above 0) of each pond.
    confidence : float
        Two-sided confidence level of the limits, which leave out the doubt of mean and variance.

    Returns
    -------
    ShrunkEstimates
        All ponds alike (complete pooling, flagged) where they differ no more than by chance or there
        is one only; ``no_estimate`` without ponds.

    Raises
    ------
    ValueError
        If a figure is impossible, a standard error is not above 0, or they differ in number.

    References
    ----------
    DerSimonian & Laird (1986), Controlled Clinical Trials 7, 177-188. Gelman et al. (2013), Bayesian
    Data Analysis, 3rd edition, section 5.5.
    """
    level = check_confidence(confidence)
    own = np.array([check_number(value, f"values, number {i}") for i, value in enumerate(values, start=1)])
    errors = np.array([check_number(se, f"ses, number {i}", low=0) for i, se in enumerate(ses, start=1)])
    if own.size != errors.size:
        raise ValueError(f"ses: {errors.size} were given for {own.size} values; give one for each.")
    if not errors.all():
        raise ValueError(
            "ses: a standard error of 0 would be certainty; leave that pond out or give its error."
        )
    if not own.size:
        why = "There is no pond to learn from."
        return ShrunkEstimates((), _nothing(level, why), 0.0, 0.0, (), Status.NO_ESTIMATE, (why,))
    weights = 1 / errors**2
    total = float(weights.sum())
    heterogeneity = float(weights @ (own - weights @ own / total) ** 2)
    between = 0.0
    if own.size > 1:
        spread = total - float(weights @ weights) / total
        between = max(0.0, (heterogeneity - (own.size - 1)) / spread)
    weights = 1 / (errors**2 + between)
    middle, of_middle = float(weights @ own / weights.sum()), 1 / float(weights.sum())
    if between == 0:
        why = _ALIKE if own.size > 1 else _ONE_POND
        pooled = _normal(middle, of_middle, level, "mean", why, status=Status.LOW_CONFIDENCE)
        means, shares = (pooled,) * own.size, (0.0,) * own.size
    else:
        why = PRIOR_KNOWN_NOTE
        pooled = _normal(middle, of_middle, level, "mean")
        shares = tuple((between / (between + errors**2)).tolist())
        means = tuple(
            _normal(middle + share * (value - middle), share * error**2, level, "mean", why)
            for share, value, error in zip(shares, own.tolist(), errors.tolist(), strict=True)
        )
    return ShrunkEstimates(means, pooled, between, heterogeneity, shares, pooled.status, (why,))
