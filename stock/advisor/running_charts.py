"""Charts that add up small, lasting changes: the cumulative sum and the moving average."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stock.estimators.estimate import Status, check_number

_NOTHING_SAMPLED = "Nothing was sampled, so there is no chart to draw."


@dataclass(frozen=True)
class Cusum:
    """
    A two-sided tabular cumulative sum; tuples hold one figure a sample, in the order given.

    Parameters
    ----------
    high, low : tuple of float
        Sums of what lay above and below, in the unit of the series, 0 or more.
    limit : float
        The sum beyond which it signals.
    above, below : tuple of int
        Places where ``high`` and ``low`` exceed the limit, counted from 0.
    status : Status
        ``no_estimate`` where nothing was sampled.
    notes : tuple of str
        Sentences the reader of the chart must see.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    limit: float
    above: tuple[int, ...]
    below: tuple[int, ...]
    status: Status
    notes: tuple[str, ...]

    @property
    def first_signal(self) -> int | None:
        """Place of the first signal of either side, counted from 0; None where there is none."""
        return min(self.above + self.below, default=None)


@dataclass(frozen=True)
class Ewma:
    """
    An exponentially weighted moving average; tuples hold one figure a sample, in the order given.

    Parameters
    ----------
    values : tuple of float
        The average after each sample, in the unit of the series.
    center : float
        The target.
    lower, upper : tuple of float
        Limits of the average.
    above, below : tuple of int
        Places beyond the upper and the lower limit, counted from 0.
    status : Status
        ``no_estimate`` where nothing was sampled.
    notes : tuple of str
        Sentences the reader of the chart must see.
    """

    values: tuple[float, ...]
    center: float
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    above: tuple[int, ...]
    below: tuple[int, ...]
    status: Status
    notes: tuple[str, ...]

    @property
    def signals(self) -> tuple[int, ...]:
        """Places of all samples beyond a limit, counted from 0."""
        return tuple(sorted(self.above + self.below))


def _check_series(x: Sequence[float]) -> list[float]:
    return [check_number(figure, f"x, number {place}") for place, figure in enumerate(x, start=1)]


def _check_above_zero(figure: float, name: str) -> float:
    number = check_number(figure, name, low=0)
    if number == 0:
        raise ValueError(f"{name}: 0 makes no chart; give more than 0.")
    return number


def _end(series: Sequence[float]) -> tuple[Status, tuple[str, ...]]:
    return (Status.OK, ()) if series else (Status.NO_ESTIMATE, (_NOTHING_SAMPLED,))


def count_reference(acceptable: float, excessive: float) -> float:
    """
    Return the reference value ``k`` of a `cusum` of counts, in events per unit of exposure.

    (excessive - acceptable) / (ln excessive - ln acceptable): the rate at which a sample speaks
    neither for the acceptable rate nor for the excessive one.

    Parameters
    ----------
    acceptable, excessive : float
        The rate that is normal, and the one to be noticed fast; both above 0, and different.

    Raises
    ------
    ValueError
        If a rate is not above 0, or the excessive one is not above the acceptable one.

    References
    ----------
    Lucas (1985), Technometrics 27, 129-144.
    """
    normal, worse = _check_above_zero(acceptable, "acceptable"), _check_above_zero(excessive, "excessive")
    if worse <= normal:
        raise ValueError(f"excessive: {excessive} is not above {acceptable}, the rate that is acceptable.")
    return (worse - normal) / math.log(worse / normal)


def cusum(
    x: Sequence[float],
    *,
    target: float,
    k: float,
    h: float,
    exposure: Sequence[float] | None = None,
    head_start: float = 0,
) -> Cusum:
    """
    Add up, sample by sample, what lies above and below a target by more than an allowance.

    High is max(0, high + x - target - k), low is max(0, low + target - k - x). With ``exposure``
    the series is of counts and ``k`` is the reference rate itself (see `count_reference`): high is
    max(0, high + x - k exposure), low is max(0, low + (2 target - k) exposure - x), which is the
    same allowance below the target as k leaves above it. Sums run on after a signal.

    Parameters
    ----------
    x : sequence of float
        The series; counts of events where ``exposure`` is given.
    target : float
        Where the series should be; with ``exposure``, events per unit of it.
    k : float
        Allowance, 0 or more, in the unit of the series; with ``exposure``, the reference rate, not
        below ``target``.
    h : float
        Sum beyond which (not at which) it signals, above 0.
    exposure : sequence of float, optional
        Exposure of each sample, 0 or more.
    head_start : float
        What both sums start with, from 0 to ``h``; h / 2 notices a series that starts wrong sooner.

    Returns
    -------
    Cusum
        Without samples its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a figure is impossible, or series and exposures differ in number.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3. Lucas (1985), Technometrics
    27, 129-144. Lucas & Crosier (1982), Technometrics 24, 199-205 (the head start).
    """
    series = _check_series(x)
    aim, allowance = check_number(target, "target"), check_number(k, "k", low=0)
    limit = _check_above_zero(h, "h")
    high = low = check_number(head_start, "head_start", low=0, high=limit)
    if exposure is None:
        ceilings, floors = [aim + allowance] * len(series), [aim - allowance] * len(series)
    else:
        if allowance < aim:
            raise ValueError(f"k: the reference rate {k} is below {target}, the target rate.")
        at_work = [
            check_number(figure, f"exposure, number {place}", low=0)
            for place, figure in enumerate(exposure, start=1)
        ]
        if len(at_work) != len(series):
            raise ValueError(f"exposure: {len(at_work)} were given for {len(series)} samples; give one each.")
        ceilings = [allowance * figure for figure in at_work]
        floors = [(2 * aim - allowance) * figure for figure in at_work]
    highs, lows = [], []
    for figure, ceiling, floor in zip(series, ceilings, floors, strict=True):
        high = max(0.0, high + (figure - ceiling))
        low = max(0.0, low + (floor - figure))
        highs.append(high)
        lows.append(low)
    status, notes = _end(series)
    return Cusum(
        high=tuple(highs),
        low=tuple(lows),
        limit=limit,
        above=tuple(place for place, figure in enumerate(highs) if figure > limit),
        below=tuple(place for place, figure in enumerate(lows) if figure > limit),
        status=status,
        notes=notes,
    )


def ewma(
    x: Sequence[float],
    *,
    target: float,
    sigma: float,
    weight: float,
    width: float,
    asymptotic: bool = False,
) -> Ewma:
    """
    Average a series so that older samples count less and less, and set limits to the average.

    The average starts at the target and becomes weight x + (1 - weight) average. Its limits are
    target -/+ width sigma sqrt(weight / (2 - weight) [1 - (1 - weight)^(2 i)]) after sample i.

    Parameters
    ----------
    x : sequence of float
        The series.
    target : float
        Where the series should be.
    sigma : float
        Standard deviation of one sample, above 0.
    weight : float
        Weight of the newest sample, above 0, at most 1 (1 is a plain chart of single samples).
    width : float
        Limits in standard deviations of the average, above 0; 3 is usual.
    asymptotic : bool
        Use the limits of a long series throughout, which start wider.

    Returns
    -------
    Ewma
        Without samples its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a figure is impossible.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
    """
    series = _check_series(x)
    aim, spread = check_number(target, "target"), _check_above_zero(sigma, "sigma")
    newest, reach = _check_above_zero(weight, "weight"), _check_above_zero(width, "width")
    check_number(weight, "weight", high=1)
    averages, lower, upper = [], [], []
    average = aim
    for place, figure in enumerate(series, start=1):
        average = newest * figure + (1 - newest) * average
        started = 1.0 if asymptotic else 1 - (1 - newest) ** (2 * place)
        limit = reach * spread * math.sqrt(newest / (2 - newest) * started)
        averages.append(average)
        lower.append(aim - limit)
        upper.append(aim + limit)
    status, notes = _end(series)
    return Ewma(
        values=tuple(averages),
        center=aim,
        lower=tuple(lower),
        upper=tuple(upper),
        above=tuple(i for i, (z, limit) in enumerate(zip(averages, upper, strict=True)) if z > limit),
        below=tuple(i for i, (z, limit) in enumerate(zip(averages, lower, strict=True)) if z < limit),
        status=status,
        notes=notes,
    )
