"""Control charts of counts and rates: which day, week or haul stands out from its own series."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats

from stock.estimators.estimate import Status, check_counts, check_number, worst

TAIL = 0.00135
"""Chance of a point beyond one limit of a chart where nothing has changed (that of 3 sigma)."""

LEAST_EXPECTED = 5
"""Expected events below which 3-sigma limits are wrong and exact ones are used."""

_BASELINE_NOTE = (
    "The center line is the mean of these same samples; where one of them held the trouble looked for, "
    "leave it out and draw the chart again."
)
_EXACT_NOTE = (
    f"Fewer than {LEAST_EXPECTED} events are expected in a sample, so its limits are exact ones "
    f"(chance beyond either below {TAIL}) and not 3 sigma."
)


@dataclass(frozen=True)
class ControlChart:
    """
    A series with its center line and limits; tuples hold one figure a sample, in the order given.

    Parameters
    ----------
    values : tuple of float or None
        Count, rate or share of each sample; None for a sample without exposure.
    center : float or None
        Center line; None where nothing was sampled.
    lower, upper : tuple of float or None
        Limits, in the unit of ``values``. A point on a limit is no signal.
    above, below : tuple of int
        Places of the samples beyond the upper and the lower limit, counted from 0.
    exact : tuple of bool
        Whether the sample's limits are exact ones and not 3 sigma.
    method : str
        Which chart.
    status : Status
        As for an estimate.
    notes : tuple of str
        Sentences the reader of the chart must see.
    """

    values: tuple[float | None, ...]
    center: float | None
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    above: tuple[int, ...]
    below: tuple[int, ...]
    exact: tuple[bool, ...]
    method: str
    status: Status
    notes: tuple[str, ...]

    @property
    def signals(self) -> tuple[int, ...]:
        """Places of all samples beyond a limit, counted from 0."""
        return tuple(sorted(self.above + self.below))


@dataclass(frozen=True)
class _Limits:
    """Limits of one sample, in the unit of the chart."""

    lower: float
    upper: float
    is_exact: bool


def _is_beyond(value: float, limit: float) -> bool:
    """Say whether ``value`` is truly above ``limit``: rounding in the last digit is no signal."""
    return value > limit and not math.isclose(value, limit, rel_tol=1e-12)


def _poisson_limits(rate: float, exposure: float) -> _Limits:
    expected = rate * exposure
    if expected < LEAST_EXPECTED:
        # At an expected 5 or less no count is too low: even 0 is likelier than the tail.
        return _Limits(0.0, float(stats.poisson.isf(TAIL, expected)) / exposure, True)
    reach = 3 * math.sqrt(rate / exposure)
    return _Limits(max(rate - reach, 0.0), rate + reach, False)


def _binomial_limits(share: float, size: int) -> _Limits:
    if min(share, 1 - share) * size < LEAST_EXPECTED:
        spread = stats.binom(size, share)
        return _Limits(float(spread.ppf(TAIL)) / size, float(spread.isf(TAIL)) / size, True)
    reach = 3 * math.sqrt(share * (1 - share) / size)
    return _Limits(max(share - reach, 0.0), min(share + reach, 1.0), False)


def _chart(
    values: Sequence[float | None],
    center: float | None,
    limits: Sequence[_Limits | None],
    method: str,
    *,
    without: str,
) -> ControlChart:
    """Put a chart together; ``without`` says what a sample without a value lacked."""
    above, below = [], []
    for place, (value, limit) in enumerate(zip(values, limits, strict=True)):
        if value is not None and limit is not None:
            if _is_beyond(value, limit.upper):
                above.append(place)
            if _is_beyond(limit.lower, value):
                below.append(place)
    sampled = sum(value is not None for value in values)
    status, notes = Status.OK, []
    if center is None:
        status = Status.NO_ESTIMATE
        notes.append("Nothing was sampled, so there is no chart to draw.")
    else:
        notes.append(_BASELINE_NOTE)
        if sampled == 1:
            status = Status.LOW_CONFIDENCE
            notes.append("One sample is only compared with itself; go on sampling.")
        if center == 0:
            status = Status.LOW_CONFIDENCE
            notes.append("No event was seen yet, so the chart cannot say how many would be too many.")
    if any(limit is not None and limit.is_exact for limit in limits):
        notes.append(_EXACT_NOTE)
    if sampled < len(values):
        status = worst(status, Status.LOW_CONFIDENCE)
        notes.append(f"{len(values) - sampled} of the {len(values)} samples had {without} and are left out.")
    return ControlChart(
        values=tuple(values),
        center=center,
        lower=tuple(None if limit is None else limit.lower for limit in limits),
        upper=tuple(None if limit is None else limit.upper for limit in limits),
        above=tuple(above),
        below=tuple(below),
        exact=tuple(limit is not None and limit.is_exact for limit in limits),
        method=method,
        status=status,
        notes=tuple(notes),
    )


def c_chart(counts: Sequence[int]) -> ControlChart:
    """
    Chart counts that all had the same exposure (deaths a month in a pond that keeps its heads).

    Limits are the mean count -/+ 3 sqrt(mean), the lower cut at 0; where the mean is below 5, the
    counts beyond which a Poisson tail falls below 0.00135.

    Parameters
    ----------
    counts : sequence of int
        Events of each sample.

    Returns
    -------
    ControlChart
        In events. Without samples its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a count is negative or not whole.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.1.
    """
    events = check_counts(counts, "counts")
    center = sum(events) / len(events) if events else None
    limits = [] if center is None else [_poisson_limits(center, 1.0)] * len(events)
    return _chart([float(count) for count in events], center, limits, "c-chart", without="no count")


def u_chart(counts: Sequence[int], exposures: Sequence[float]) -> ControlChart:
    """
    Chart events per unit of exposure where exposures differ (deaths per head-day, week by week).

    The center is all events over all exposure; limits are center -/+ 3 sqrt(center / exposure), the
    lower cut at 0; where a sample expects fewer than 5 events, exact Poisson ones.

    Parameters
    ----------
    counts : sequence of int
        Events of each sample.
    exposures : sequence of float
        Exposure of each sample, 0 or more. A sample without exposure has no rate and is left out.

    Returns
    -------
    ControlChart
        In events per unit of exposure. Without any exposure its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a figure is impossible, or counts and exposures differ in number.

    References
    ----------
    Montgomery (2009), Introduction to Statistical Quality Control, 6th edition, section 7.3.
    """
    events = check_counts(counts, "counts")
    at_work = [
        check_number(exposure, f"exposures, number {place}", low=0)
        for place, exposure in enumerate(exposures, start=1)
    ]
    if len(events) != len(at_work):
        raise ValueError(f"exposures: {len(at_work)} were given for {len(events)} counts; give one for each.")
    total = sum(at_work)
    center = None
    if total > 0:
        center = sum(count for count, exposure in zip(events, at_work, strict=True) if exposure) / total
    values = [count / exposure if exposure else None for count, exposure in zip(events, at_work, strict=True)]
    limits = [
        _poisson_limits(center, exposure) if center is not None and exposure else None for exposure in at_work
    ]
    return _chart(values, center, limits, "u-chart", without="no exposure")


def p_chart(counts: Sequence[int], sizes: Sequence[int]) -> ControlChart:
    """
    Chart shares (eggs that failed of eggs set, lot by lot).

    The center is all events over all sizes; limits are center -/+ 3 sqrt(p (1 - p) / size), cut to
    0 and 1; where fewer than 5 events, or fewer than 5 of the others, are expected, exact binomial
    ones.

    Parameters
    ----------
    counts : sequence of int
        Events of each sample.
    sizes : sequence of int
        How many were looked at in each sample. A sample of none is left out.

    Returns
    -------
    ControlChart
        In shares, 0 to 1. Where none was looked at its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a count is impossible or exceeds its size, or counts and sizes differ in number.

    References
    ----------
    Montgomery (2009), Introduction to Statistical Quality Control, 6th edition, section 7.2.
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2.
    """
    events, looked_at = check_counts(counts, "counts"), check_counts(sizes, "sizes")
    if len(events) != len(looked_at):
        raise ValueError(f"sizes: {len(looked_at)} were given for {len(events)} counts; give one for each.")
    for place, (count, size) in enumerate(zip(events, looked_at, strict=True), start=1):
        if count > size:
            raise ValueError(f"counts, number {place}: {count} is more than the {size} that were looked at.")
    total = sum(looked_at)
    center = sum(events) / total if total else None
    values = [count / size if size else None for count, size in zip(events, looked_at, strict=True)]
    limits = [_binomial_limits(center, size) if center is not None and size else None for size in looked_at]
    return _chart(values, center, limits, "p-chart", without="none to look at")
