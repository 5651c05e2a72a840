"""How many of the animals followed live on: survival curves, and intervals with known fates."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from stock.estimators.estimate import (
    Status,
    check_confidence,
    check_counts,
    check_number,
    worst,
)

Floats = NDArray[np.float64]

_NO_DEATHS = (
    "No death was seen up to here, so there is no standard error; the lower limit is the exact one for "
    "the fewest animals followed at any time."
)
_ALL_DEAD = "The last animal followed has died; how sure that is cannot be said from these animals."
_FEW = "From some day on one animal at most was followed; what is said from there on rests on that animal."


@dataclass(frozen=True)
class SurvivalCurve:
    """
    Share alive against time; tuples hold one figure a time.

    Parameters
    ----------
    times : tuple of float
        Days with deaths; without any death, the last day alone.
    at_risk : tuple of int
        Animals followed at each time, just before its deaths.
    survival : tuple of float
        Share alive after each time, 1 to 0.
    se : tuple of float or None
        Greenwood's standard error; None where no death was seen, or all have died.
    lower, upper : tuple of float or None
        Log-log limits; exact binomial ones where no death was seen, None once all have died.
    median : float or None
        First time at which half or fewer are alive; None where it was not reached.
    statuses : tuple of Status
        How far each point can be trusted: ``low_confidence`` from where one animal at most was followed.
    confidence : float
        Two-sided confidence level.
    status : Status
        The worst of them; ``no_estimate`` where none was followed.
    notes : tuple of str
        Sentences the reader of the curve must see.
    """

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    survival: tuple[float, ...]
    se: tuple[float | None, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    median: float | None
    statuses: tuple[Status, ...]
    confidence: float
    status: Status
    notes: tuple[str, ...]


@dataclass(frozen=True)
class KnownFate:
    """
    Survival over intervals with every fate known; tuples hold one figure an interval.

    Parameters
    ----------
    interval_survival : tuple of float or None
        Share that lived through the interval; None where none was at risk.
    survival : tuple of float or None
        Share that lived from the start to the end of the interval; None from the first interval
        that nobody was at risk in.
    se : tuple of float or None
        Greenwood's standard error of ``survival``.
    lower, upper : tuple of float or None
        Limits of ``survival`` from the variance S^2 (1 - S) / at risk (Cox & Oakes), cut to 0 and 1,
        as Pollock et al. give them; exact binomial ones where no death was seen.
    statuses : tuple of Status
        How far each interval can be trusted.
    confidence : float
        Two-sided confidence level.
    status : Status
        The worst of them.
    notes : tuple of str
        Sentences the reader must see.
    """

    interval_survival: tuple[float | None, ...]
    survival: tuple[float | None, ...]
    se: tuple[float | None, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    statuses: tuple[Status, ...]
    confidence: float
    status: Status
    notes: tuple[str, ...]


def _check_followed(
    days: Sequence[float], died: Sequence[Any], entry: Sequence[float] | None
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    last = [check_number(day, f"days, number {place}", low=0) for place, day in enumerate(days, start=1)]
    dead: list[bool] = []
    for place, fate in enumerate(died, start=1):
        if fate not in {True, False}:
            raise ValueError(f"died, number {place}: {fate!r} is neither yes nor no; give True or False.")
        dead.append(bool(fate))
    if len(dead) != len(last):
        raise ValueError(f"died: {len(dead)} fates were given for {len(last)} animals; give one for each.")
    if entry is None:
        return np.array(last), np.array(dead, dtype=bool), np.full(len(last), -math.inf)
    first = [check_number(day, f"entry, number {place}", low=0) for place, day in enumerate(entry, start=1)]
    if len(first) != len(last):
        raise ValueError(f"entry: {len(first)} were given for {len(last)} animals; give one for each.")
    for place, (start, end) in enumerate(zip(first, last, strict=True), start=1):
        if start > end:
            raise ValueError(f"entry, number {place}: day {start:g} is after day {end:g}, the last one seen.")
    return np.array(last), np.array(dead, dtype=bool), np.array(first)


@dataclass(frozen=True)
class _Point:
    """Survival up to a moment, or to the end of an interval."""

    survival: float
    se: float | None
    lower: float | None
    upper: float | None
    status: Status


def _points(
    at_risk: Sequence[int],
    deaths: Sequence[int],
    limits: Callable[[float, float, int], tuple[float, float]],
    confidence: float,
) -> list[_Point]:
    """
    Multiply survival up over moments or intervals.

    ``limits`` gives the limits of a survival strictly between 0 and 1 from that survival, its
    Greenwood standard error and the animals at risk. Where nobody has died the exact lower limit is
    that of the fewest at risk at any time: if none of n died, survival is at least tail^(1 / n).
    """
    survival, spread, fewest = 1.0, 0.0, at_risk[0]
    points = []
    for followed, died in zip(at_risk, deaths, strict=True):
        fewest = min(fewest, followed)
        if died:
            survival *= 1 - died / followed
            spread += died / (followed * (followed - died)) if followed > died else math.inf
        se, lower, upper = None, None, None
        if spread == 0:
            lower, upper = ((1 - confidence) / 2) ** (1 / fewest) if fewest else 0.0, 1.0
        elif survival > 0:
            se = survival * math.sqrt(spread)
            lower, upper = limits(survival, se, followed)
        status = Status.LOW_CONFIDENCE if fewest <= 1 else Status.OK
        points.append(_Point(survival, se, lower, upper, status))
    return points


def _notes(points: Sequence[_Point]) -> tuple[str, ...]:
    notes = []
    if any(point.survival == 1 for point in points):
        notes.append(_NO_DEATHS)
    if any(point.survival == 0 for point in points):
        notes.append(_ALL_DEAD)
    if any(point.status is Status.LOW_CONFIDENCE for point in points):
        notes.append(_FEW)
    return tuple(notes)


def survival_curve(
    days: Sequence[float],
    died: Sequence[Any],
    *,
    entry: Sequence[float] | None = None,
    confidence: float = 0.95,
) -> SurvivalCurve:
    """
    Estimate the share alive against time from animals followed singly (Kaplan-Meier).

    Deaths come before losses to sight of the same day. An animal is at risk from the day after its
    entry up to its last day. Where one died on the very day it came in, all that came that day are
    at risk on it. One that came and left alive on the same day tells nothing and is left out.

    Parameters
    ----------
    days : sequence of float
        Last day each animal was known of: day of death, or of the last contact (a lost tag, a sale,
        the end of the study), counted from the start.
    died : sequence of bool
        Whether it died on that day; False where it was lost to sight alive.
    entry : sequence of float, optional
        Day each animal came in; by default all were followed from the start.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    SurvivalCurve
        With nobody followed its status is ``no_estimate``. Without a death survival is 1 and the
        lower limit is the exact binomial one of the fewest animals followed at any time.

    Raises
    ------
    ValueError
        If a figure is impossible, or an animal came in after its last day.

    References
    ----------
    Kaplan & Meier (1958), Journal of the American Statistical Association 53, 457-481. Kalbfleisch &
    Prentice (2002), The Statistical Analysis of Failure Time Data, 2nd edition, section 1.4 (log-log
    limits). Pollock et al. (1989), Journal of Wildlife Management 53, 7-15 (staggered entry).
    """
    level = check_confidence(confidence)
    ends, is_dead, starts = _check_followed(days, died, entry)
    tells = is_dead | (starts < ends)
    ends, starts, is_dead = ends[tells], starts[tells], is_dead[tells]
    if not ends.size:
        nobody = ("No animal was followed for a day, so there is no curve to draw.",)
        return SurvivalCurve((), (), (), (), (), (), None, (), level, Status.NO_ESTIMATE, nobody)
    z = float(stats.norm.ppf((1 + level) / 2))

    def log_log(survival: float, se: float, _: int) -> tuple[float, float]:
        reach = z * se / abs(survival * math.log(survival))
        return survival ** math.exp(reach), survival ** math.exp(-reach)

    # The risk set changes at entries and last days only, so it is looked at there: a row a moment.
    moments = np.unique(np.concatenate([ends, starts[np.isfinite(starts)]]))[:, np.newaxis]
    dies = is_dead & (ends == moments)
    is_entry_day_death = (dies & (starts == ends)).any(axis=1, keepdims=True)
    is_in = (starts < moments) | (is_entry_day_death & (starts == moments))
    at_risk, deaths = (is_in & (ends >= moments)).sum(axis=1), dies.sum(axis=1)
    begins = int(np.flatnonzero(at_risk)[0])
    moments, at_risk, deaths = moments[begins:, 0], at_risk[begins:], deaths[begins:]
    points = _points(at_risk.tolist(), deaths.tolist(), log_log, level)
    shown = np.flatnonzero(deaths).tolist() or [len(points) - 1]
    points = [points[place] for place in shown]
    times = tuple(moments[shown].tolist())
    return SurvivalCurve(
        times=times,
        at_risk=tuple(at_risk[shown].tolist()),
        survival=tuple(point.survival for point in points),
        se=tuple(point.se for point in points),
        lower=tuple(point.lower for point in points),
        upper=tuple(point.upper for point in points),
        # A survival of one half by arithmetic may miss it in the last digit.
        median=next(
            (t for t, point in zip(times, points, strict=True) if point.survival < 0.5 + 1e-12), None
        ),
        statuses=tuple(point.status for point in points),
        confidence=level,
        status=worst(*(point.status for point in points)),
        notes=_notes(points),
    )


def known_fate(at_risk: Sequence[int], died: Sequence[int], *, confidence: float = 0.95) -> KnownFate:
    """
    Estimate survival over intervals from tagged animals whose fates are all known.

    An interval's survival is 1 - deaths / at risk, and their product is the survival to its end.
    Newly tagged animals are at risk from the interval they came in; lost tags leave with their last
    contact.

    Parameters
    ----------
    at_risk : sequence of int
        Animals followed in each interval (week).
    died : sequence of int
        Deaths among them.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    KnownFate
        From the first interval without anybody at risk nothing can be said. Without intervals its
        status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a count is impossible, or more died than were at risk.

    References
    ----------
    Pollock, Winterstein, Bunck & Curtis (1989), Journal of Wildlife Management 53, 7-15. Cox & Oakes
    (1984), Analysis of Survival Data, section 4.3.
    """
    level = check_confidence(confidence)
    followed, deaths = check_counts(at_risk, "at_risk"), check_counts(died, "died")
    if len(followed) != len(deaths):
        raise ValueError(f"died: {len(deaths)} were given for {len(followed)} intervals; give one for each.")
    for place, (heads, dead) in enumerate(zip(followed, deaths, strict=True), start=1):
        if dead > heads:
            raise ValueError(f"died, number {place}: {dead} are more than the {heads} that were at risk.")
    z = float(stats.norm.ppf((1 + level) / 2))

    def cox_oakes(survival: float, _: float, heads: int) -> tuple[float, float]:
        reach = z * survival * math.sqrt((1 - survival) / heads)
        return max(survival - reach, 0.0), min(survival + reach, 1.0)

    known = followed.index(0) if 0 in followed else len(followed)
    points = _points(followed[:known], deaths[:known], cox_oakes, level) if known else []
    notes = list(_notes(points))
    if known < len(followed):
        notes.append(f"Nobody was at risk in interval {known + 1}; nothing can be said from there on.")
    if not followed:
        notes.append("No interval was given, so there is no survival to estimate.")
    unknown = (None,) * (len(followed) - known)
    statuses = tuple(point.status for point in points) + (Status.NO_ESTIMATE,) * len(unknown)
    return KnownFate(
        interval_survival=tuple(1 - d / r if r else None for r, d in zip(followed, deaths, strict=True)),
        survival=tuple(point.survival for point in points) + unknown,
        se=tuple(point.se for point in points) + unknown,
        lower=tuple(point.lower for point in points) + unknown,
        upper=tuple(point.upper for point in points) + unknown,
        statuses=statuses,
        confidence=level,
        status=worst(*statuses) if statuses else Status.NO_ESTIMATE,
        notes=tuple(notes),
    )
