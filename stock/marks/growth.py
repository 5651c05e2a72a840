"""Sizes by sex, the difference between the sexes, and growth from what was measured twice.

Growth is von Bertalanffy's curve fitted to increments, for which no age is needed (Fabens 1965, Growth 29: 265-289):
an animal of length L grows in t years to L + (A - L) (1 - exp(-k t)), A the length it comes to, k the rate.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from stock.estimators.estimate import Estimate, Status, check_confidence, check_number

FEWEST_FOR_A_CURVE = 6
SHORTEST_YEARS = 0.25  # a season's growth says nothing of a year's below this
SLOWEST, FASTEST = 0.005, 5.0  # k a year that is looked for
FEW = 5


@dataclass(frozen=True)
class Sizes:
    """
    What so many animals measured.

    Parameters
    ----------
    heads : int
        How many were measured, each once.
    mean : Estimate
        Their mean with limits by Student's t, mm or g.
    deviation : float or None
        Standard deviation; None for fewer than two.
    smallest, median, largest : float or None
        None where none was measured.
    """

    heads: int
    mean: Estimate
    deviation: float | None
    smallest: float | None
    median: float | None
    largest: float | None


@dataclass(frozen=True)
class SexDifference:
    """
    How females differ from males.

    Parameters
    ----------
    difference : Estimate
        Females' mean less males', by Welch's t (variances are not taken as equal).
    ratio : Estimate
        Females' mean over males', limits by Fieller's theorem.
    p_value : float or None
        Two-sided, of no difference.
    """

    difference: Estimate
    ratio: Estimate
    p_value: float | None


@dataclass(frozen=True)
class GrowthCurve:
    """
    Von Bertalanffy's curve from increments.

    Parameters
    ----------
    asymptote : Estimate
        The length grown to, mm.
    rate : Estimate
        k, a year; limits from those of log k.
    residual : float or None
        Standard deviation of what the curve does not explain, mm.
    pairs : int
        How many increments it was fitted to.
    """

    asymptote: Estimate
    rate: Estimate
    residual: float | None
    pairs: int

    def length_after(self, length: float, years: float) -> float | None:
        """Return the length in mm that one of `length` mm comes to in so many years; None without a curve."""
        if self.asymptote.value is None or self.rate.value is None:
            return None
        return length + (self.asymptote.value - length) * -math.expm1(-self.rate.value * years)


def size_summary(values: Sequence[float], *, confidence: float = 0.95) -> Sizes:
    """
    Summarize lengths or masses of so many animals.

    Parameters
    ----------
    values : sequence of float
        One value an animal, mm or g, above 0.
    confidence : float
        Of the mean's limits.

    Raises
    ------
    ValueError
        If a value is no number above 0, or the confidence is not between 0 and 1.
    """
    check_confidence(confidence)
    sizes = np.array([check_number(value, "size", low=1e-9) for value in values], dtype=float)
    if not len(sizes):
        nothing = Estimate(
            confidence=confidence, method="mean", status=Status.NO_ESTIMATE, notes=("Nobody was measured.",)
        )
        return Sizes(0, nothing, None, None, None, None)
    told = (float(sizes.min()), float(np.median(sizes)), float(sizes.max()))
    mean = float(sizes.mean())
    if len(sizes) == 1:
        note = "One animal says nothing of how much they differ."
        alone = Estimate(
            value=mean, confidence=confidence, method="mean", status=Status.LOW_CONFIDENCE, notes=(note,)
        )
        return Sizes(1, alone, None, *told)
    deviation = float(sizes.std(ddof=1))
    se = deviation / math.sqrt(len(sizes))
    half = float(stats.t.ppf((1 + confidence) / 2, len(sizes) - 1)) * se
    is_few = len(sizes) < FEW
    estimate = Estimate(
        value=mean,
        se=se,
        lower=mean - half,
        upper=mean + half,
        confidence=confidence,
        method="mean",
        variant="student",
        status=Status.LOW_CONFIDENCE if is_few else Status.OK,
        notes=(f"Only {len(sizes)} were measured.",) if is_few else (),
    )
    return Sizes(len(sizes), estimate, deviation, *told)


def sex_difference(
    females: Sequence[float], males: Sequence[float], *, confidence: float = 0.95
) -> SexDifference:
    """
    Compare the sizes of females and males.

    Parameters
    ----------
    females, males : sequence of float
        One value an animal, mm or g.
    confidence : float
        Of the limits.

    Returns
    -------
    SexDifference
        Without an estimate where fewer than two of either were measured.

    Raises
    ------
    ValueError
        As `size_summary`.
    """
    one = size_summary(females, confidence=confidence)
    other = size_summary(males, confidence=confidence)
    mean_f, mean_m, se_f, se_m = one.mean.value, other.mean.value, one.mean.se, other.mean.se
    if mean_f is None or mean_m is None or se_f is None or se_m is None or se_f + se_m == 0:
        note = "At least two females and two males that differ must be measured."
        nothing = Estimate(
            confidence=confidence, method="difference", status=Status.NO_ESTIMATE, notes=(note,)
        )
        return SexDifference(nothing, nothing, None)
    variance = se_f**2 + se_m**2
    freedom = variance**2 / (se_f**4 / (one.heads - 1) + se_m**4 / (other.heads - 1))
    t = float(stats.t.ppf((1 + confidence) / 2, freedom))
    se = math.sqrt(variance)
    status = Status.LOW_CONFIDENCE if min(one.heads, other.heads) < FEW else Status.OK
    notes = ("Few were measured.",) if status is Status.LOW_CONFIDENCE else ()
    gap = mean_f - mean_m
    difference = Estimate(
        gap, se, gap - t * se, gap + t * se, confidence, "difference", "welch", status, notes
    )
    return SexDifference(
        difference,
        _ratio(mean_f, mean_m, se_f, se_m, t, confidence, status, notes),
        2 * float(stats.t.sf(abs(gap) / se, freedom)),
    )


def _ratio(
    top: float,
    bottom: float,
    se_top: float,
    se_bottom: float,
    t: float,
    confidence: float,
    status: Status,
    notes: tuple[str, ...],
) -> Estimate:
    """Return a ratio of independent means with Fieller's limits (Fieller 1954, J. R. Stat. Soc. B 16: 175-185)."""
    ratio = top / bottom
    se = ratio * math.hypot(se_top / top, se_bottom / bottom)
    g = (t * se_bottom / bottom) ** 2
    if g >= 1:
        note = "The males' mean is not known well enough for limits."
        return Estimate(ratio, se, None, None, confidence, "ratio", "fieller", Status.BOUNDED, (*notes, note))
    half = t / bottom * math.sqrt(se_top**2 * (1 - g) + ratio**2 * se_bottom**2)
    lower, upper = (ratio - half) / (1 - g), (ratio + half) / (1 - g)
    return Estimate(ratio, se, lower, upper, confidence, "ratio", "fieller", status, notes)


def growth_curve(
    first: Sequence[float], last: Sequence[float], years: Sequence[float], *, confidence: float = 0.95
) -> GrowthCurve:
    """
    Fit von Bertalanffy's curve to animals measured twice, by least squares.

    Parameters
    ----------
    first, last : sequence of float
        Lengths in mm at the first and the last measure, one pair an animal.
    years : sequence of float
        Years between them; pairs under a quarter of a year are left out.
    confidence : float
        Of the limits.

    Returns
    -------
    GrowthCurve
        Without an estimate where pairs are few, or all of a size, so that they do not say where growth ends.

    Raises
    ------
    ValueError
        If the three differ in length or hold what is no length or time.
    """
    check_confidence(confidence)
    if not len(first) == len(last) == len(years):
        raise ValueError(
            f"{len(first)} first lengths, {len(last)} last and {len(years)} times: one of each a pair."
        )
    rows = [
        (
            check_number(one, "length", low=1e-9),
            check_number(two, "length", low=1e-9),
            check_number(time, "years"),
        )
        for one, two, time in zip(first, last, years, strict=True)
    ]
    pairs = np.array([row for row in rows if row[2] >= SHORTEST_YEARS], dtype=float).reshape(-1, 3)
    if len(pairs) < FEWEST_FOR_A_CURVE:
        return _no_curve(
            f"{len(pairs)} {'animal was' if len(pairs) == 1 else 'animals were'} measured twice; "
            f"{FEWEST_FOR_A_CURVE} are needed.",
            len(pairs),
            confidence,
        )
    was, grew, time = pairs[:, 0], pairs[:, 1] - pairs[:, 0], pairs[:, 2]

    def asymptote_at(log_rate: float) -> float:
        """Return the asymptote that fits best at a rate: with k fixed the increments are linear in A."""
        share = -np.expm1(-math.exp(log_rate) * time)
        return float(np.sum(share * (grew + share * was)) / np.sum(share**2))

    def misfit(log_rate: float) -> float:
        share = -np.expm1(-math.exp(log_rate) * time)
        return float(np.sum((grew - share * (asymptote_at(log_rate) - was)) ** 2))

    grid = np.linspace(math.log(SLOWEST), math.log(FASTEST), 60)
    place = int(np.argmin([misfit(step) for step in grid]))
    if place in (0, len(grid) - 1):
        return _no_curve(
            "The measures do not say where growth ends: none slows down.", len(pairs), confidence
        )
    found = optimize.minimize_scalar(
        misfit, bounds=(grid[place - 1], grid[place + 1]), method="bounded", options={"xatol": 1e-10}
    )
    rate, asymptote = math.exp(found.x), asymptote_at(found.x)
    if asymptote <= float(np.max(was)) * 0.8:
        return _no_curve("The measures do not agree on where growth ends.", len(pairs), confidence)
    freedom = len(pairs) - 2
    residual = math.sqrt(float(found.fun) / freedom)
    left = np.exp(-rate * time)
    slopes = np.column_stack([1 - left, (asymptote - was) * left * time * rate])  # by A and by log k
    try:
        covariance = residual**2 * np.linalg.inv(slopes.T @ slopes)
    except np.linalg.LinAlgError:
        return _no_curve("The measures are too alike to say where growth ends.", len(pairs), confidence)
    t = float(stats.t.ppf((1 + confidence) / 2, freedom))
    se_asymptote, se_log = (math.sqrt(max(float(one), 0.0)) for one in np.diag(covariance))
    notes: tuple[str, ...] = ()
    status = Status.OK
    if float(np.max(pairs[:, 1])) < 0.9 * asymptote or t * se_asymptote > 0.25 * asymptote:
        status, notes = Status.LOW_CONFIDENCE, ("None measured is near the length that growth would end at.",)
    return GrowthCurve(
        Estimate(
            asymptote, se_asymptote, asymptote - t * se_asymptote, asymptote + t * se_asymptote,
            confidence, "von Bertalanffy", "increments", status, notes,
        ),
        Estimate(
            rate, rate * se_log, rate * math.exp(-t * se_log), rate * math.exp(min(t * se_log, 50.0)),
            confidence, "von Bertalanffy", "increments", status, notes,
        ),
        residual,
        len(pairs),
    )  # fmt: skip


def _no_curve(note: str, pairs: int, confidence: float) -> GrowthCurve:
    nothing = Estimate(
        confidence=confidence,
        method="von Bertalanffy",
        variant="increments",
        status=Status.NO_ESTIMATE,
        notes=(note,),
    )
    return GrowthCurve(nothing, nothing, None, pairs)
