"""
Watching deaths: exact limits at small numbers, and ponds that lose more than they should.

The charts, survival curves and comparisons live in modules of their own and are offered here too.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scipy import stats

from stock.advisor.control_charts import ControlChart, c_chart, p_chart, u_chart
from stock.advisor.running_charts import Cusum, Ewma, count_reference, cusum, ewma
from stock.advisor.survival import KnownFate, SurvivalCurve, known_fate, survival_curve
from stock.advisor.two_groups import OddsRatio, odds_ratio
from stock.estimators.estimate import Estimate, Status, check_confidence, check_count, check_number

__all__ = [
    "DAYS_A_YEAR",
    "ControlChart",
    "CountLimits",
    "Cusum",
    "Ewma",
    "KnownFate",
    "LosingHeads",
    "OddsRatio",
    "SurvivalCurve",
    "c_chart",
    "count_reference",
    "cusum",
    "ewma",
    "known_fate",
    "losing_heads",
    "odds_ratio",
    "p_chart",
    "poisson_limits",
    "rate_per_1000_head_days",
    "survival_curve",
    "u_chart",
]

DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class CountLimits(Estimate):
    """A Poisson count with its limits; ``lower, upper = poisson_limits(5)`` unpacks them."""

    def __iter__(self) -> Iterator[float | None]:
        return iter((self.lower, self.upper))


def poisson_limits(count: int, *, confidence: float = 0.95) -> CountLimits:
    """
    Return exact limits of the mean of a Poisson count.

    Parameters
    ----------
    count : int
        Events seen (deaths).
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    CountLimits
        ``lower`` is 0 where the count is 0. The standard error is sqrt(count), None at 0.

    Raises
    ------
    ValueError
        If the count is negative or not whole.

    References
    ----------
    Garwood (1936), Biometrika 28, 437-442.
    """
    events = check_count(count, "count")
    tail = (1 - check_confidence(confidence)) / 2
    return CountLimits(
        value=float(events),
        se=math.sqrt(events) if events else None,
        lower=float(stats.chi2.ppf(tail, 2 * events)) / 2 if events else 0.0,
        upper=float(stats.chi2.isf(tail, 2 * events + 2)) / 2,
        confidence=confidence,
        method="poisson limits",
        variant="garwood",
    )


def rate_per_1000_head_days(
    deaths: int, head_days: float, *, at_risk: int | None = None, confidence: float = 0.95
) -> Estimate:
    """
    Estimate deaths per 1,000 head-days.

    Head-days are the days each animal was present, summed, the day of entry and the day of leaving
    counting half each.

    Parameters
    ----------
    deaths : int
        Deaths recorded.
    head_days : float
        Exposure in head-days, 0 or more.
    at_risk : int, optional
        Heads that were ever present; more deaths than that are refused.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Estimate
        Rate with Garwood limits. Its standard error is Johnson's, 1000 sqrt((E - D) D / E^3), None
        without deaths. Without exposure its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a number is impossible, or deaths exceed the heads at risk.

    References
    ----------
    Mayfield (1975), Wilson Bulletin 87, 456-466. Johnson (1979), Auk 96, 651-661.
    """
    events = check_count(deaths, "deaths")
    exposure = check_number(head_days, "head_days", low=0)
    if at_risk is not None and events > check_count(at_risk, "at_risk"):
        raise ValueError(f"deaths: {events} are more than the {at_risk} heads that were at risk.")
    limits = poisson_limits(events, confidence=confidence)
    method = "rate per 1000 head-days"
    if exposure == 0:
        return Estimate(
            confidence=confidence,
            method=method,
            variant="garwood",
            status=Status.NO_ESTIMATE,
            notes=("No head-days of exposure, so there is no rate to give.",),
        )
    surviving = max(exposure - events, 0.0)
    return Estimate(
        value=1000 * events / exposure,
        se=1000 * math.sqrt(surviving * events / exposure**3) if events else None,
        lower=1000 * (limits.lower or 0.0) / exposure,
        upper=1000 * (limits.upper or 0.0) / exposure,
        confidence=confidence,
        method=method,
        variant="garwood",
    )


@dataclass(frozen=True)
class LosingHeads:
    """
    Whether deaths exceed what the kind's survival allows.

    Parameters
    ----------
    is_losing : bool
        True where even the lower limit of the deaths exceeds ``expected``.
    deaths : int
        Deaths recorded.
    expected : float
        Deaths the expected survival allows for the exposure.
    lower, upper : float
        Garwood limits of the deaths.
    sentence : str
        All of it in words.
    """

    is_losing: bool
    deaths: int
    expected: float
    lower: float
    upper: float
    sentence: str


def losing_heads(
    deaths: int, head_days: float, *, expected_annual_survival: float, confidence: float = 0.95
) -> LosingHeads:
    """
    Judge whether a pond loses more heads than its kind should.

    Deaths allowed are -ln(annual survival) x head-days / 365.25: a steady daily risk that leaves
    exactly that survival over a year.

    Parameters
    ----------
    deaths : int
        Deaths recorded over the period.
    head_days : float
        Exposure over the same period, in head-days.
    expected_annual_survival : float
        Share of heads that live through a year, above 0, at most 1.
    confidence : float
        Two-sided confidence level of the limits.

    Returns
    -------
    LosingHeads
        Without exposure it never says that the pond is losing heads.

    Raises
    ------
    ValueError
        If a number is impossible.

    References
    ----------
    Garwood (1936), Biometrika 28, 437-442.
    """
    survival = check_number(expected_annual_survival, "expected_annual_survival", low=0, high=1)
    if survival == 0:
        raise ValueError("expected_annual_survival: 0 would mean that every head dies; give more than 0.")
    exposure = check_number(head_days, "head_days", low=0)
    limits = poisson_limits(deaths, confidence=confidence)
    events, lower, upper = int(limits.value or 0), limits.lower or 0.0, limits.upper or 0.0
    expected = abs(math.log(survival)) * exposure / DAYS_A_YEAR
    is_losing = exposure > 0 and lower > expected
    if exposure == 0:
        sentence = "No head stood here over the period, so deaths cannot be judged."
    else:
        noun = "death" if events == 1 else "deaths"
        outcome = "more than the kind should lose" if is_losing else "within what the kind may lose"
        sentence = (
            f"{events} {noun} recorded (limits {lower:.1f} to {upper:.1f}) where {expected:.1f} are expected "
            f"at {100 * survival:.0f} % yearly survival: {outcome}."
        )
    return LosingHeads(is_losing, events, expected, lower, upper, sentence)
