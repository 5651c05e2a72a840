"""The share of females among sexed turtles, with limits: large ponds and finite ones."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from scipy import stats

from stock.estimators.estimate import (
    Estimate,
    Status,
    check_choice,
    check_confidence,
    check_count,
    check_number,
)

SHARE_METHODS = ("wilson", "clopper-pearson", "jeffreys")
FINITE_METHODS = ("exact", "normal")
_NO_STANDARD_ERROR = "At 0 % or 100 % a standard error would read as certainty; use the limits."


@dataclass(frozen=True)
class FiniteShare(Estimate):
    """
    A share in a pond of known size; ``heads_lower`` and ``heads_upper`` are its limits in heads.

    ``total`` is the number of heads the share is taken of. The limits in heads are whole for the
    exact method.
    """

    total: int = 0
    heads_lower: float | None = None
    heads_upper: float | None = None


def _check_part(count: Any, n: Any) -> tuple[int, int]:
    part, whole = check_count(count, "count"), check_count(n, "n")
    if part > whole:
        raise ValueError(f"count: {part} is more than the {whole} that were looked at.")
    return part, whole


def share_interval(count: int, n: int, *, method: str = "wilson", confidence: float = 0.95) -> Estimate:
    """
    Estimate a share from ``count`` of ``n``, drawn from a pond large beside ``n``.

    Parameters
    ----------
    count, n : int
        Turtles that have the mark of interest (females), and turtles looked at (sexed).
    method : {"wilson", "clopper-pearson", "jeffreys"}
        Wilson is the headline; Clopper-Pearson never covers less than it says; Jeffreys is the
        equal-tailed Beta(count + 1/2, n - count + 1/2), with 0 for the lower limit where count = 0
        and 1 for the upper where count = n.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Estimate
        Share from 0 to 1. With n = 0 its status is ``no_estimate``. The standard error is
        sqrt(p (1 - p) / n), and None where p is 0 or 1.

    Raises
    ------
    ValueError
        If a count is negative or not whole, or count exceeds n.

    References
    ----------
    Newcombe (1998), Statistics in Medicine 17, 857-872. Brown, Cai & DasGupta (2001), Statistical
    Science 16, 101-133.
    """
    part, whole = _check_part(count, n)
    check_choice(method, SHARE_METHODS, "method")
    check_confidence(confidence)
    if whole == 0:
        return Estimate(
            confidence=confidence,
            method="share",
            variant=method,
            status=Status.NO_ESTIMATE,
            notes=("None was looked at, so there is no share to give.",),
        )
    if method == "jeffreys":
        tail = (1 - confidence) / 2
        posterior = stats.beta(part + 0.5, whole - part + 0.5)
        lower = 0.0 if part == 0 else float(posterior.ppf(tail))
        upper = 1.0 if part == whole else float(posterior.ppf(1 - tail))
    else:
        limits = stats.binomtest(part, whole).proportion_ci(
            confidence_level=confidence, method="wilson" if method == "wilson" else "exact"
        )
        lower, upper = float(limits.low), float(limits.high)
    share = part / whole
    is_inside = 0 < part < whole
    return Estimate(
        value=share,
        se=math.sqrt(share * (1 - share) / whole) if is_inside else None,
        lower=lower,
        upper=upper,
        confidence=confidence,
        method="share",
        variant=method,
        notes=() if is_inside else (_NO_STANDARD_ERROR,),
    )


def _first_whole(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """Return the least whole number in low..high for which ``holds``; it must hold at ``high``."""
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low


def _exact_heads(part: int, whole: int, total: int, confidence: float) -> tuple[int, int]:
    """Return the least and most heads of the mark in the pond that the sample does not contradict."""
    tail = (1 - confidence) / 2
    most = total - (whole - part)
    lower = _first_whole(part, most, lambda heads: stats.hypergeom.sf(part - 1, total, heads, whole) > tail)
    # Mirrored: the most heads with the mark are the fewest without it.
    without = _first_whole(
        whole - part,
        total - part,
        lambda heads: stats.hypergeom.sf(whole - part - 1, total, heads, whole) > tail,
    )
    return lower, total - without


def _normal_share(part: int, whole: int, total: int, confidence: float) -> tuple[float, float]:
    if whole == 1:
        return part / total, (total - (whole - part)) / total
    share = part / whole
    z = float(stats.norm.ppf((1 + confidence) / 2))
    reach = z * math.sqrt((1 - whole / total) * share * (1 - share) / (whole - 1)) + 1 / (2 * whole)
    return max(share - reach, part / total), min(share + reach, (total - (whole - part)) / total)


def finite_share(
    count: int,
    n: int,
    total: float,
    *,
    method: str = "exact",
    total_limits: tuple[float, float] | None = None,
    confidence: float = 0.95,
) -> FiniteShare:
    """
    Estimate a share from ``count`` of ``n`` drawn without replacement from a pond of ``total``.

    Parameters
    ----------
    count, n : int
        Turtles with the mark, and turtles looked at.
    total : float
        Heads alive in the pond; an estimate is rounded to whole heads.
    method : {"exact", "normal"}
        "exact" keeps every whole number K of heads with the mark for which neither tail of the
        hypergeometric distribution falls to half of 1 - confidence. "normal" is Cochran's, with
        finite correction and continuity correction, cut to what the sample itself proves.
    total_limits : (float, float), optional
        Limits of an estimated total. The interval is made at the total and at both limits, and the
        widest is given. A limit below ``n`` is raised to it; the upper one may be infinite.

    Returns
    -------
    FiniteShare
        Share from 0 to 1, with limits in heads beside it. Where all were looked at the interval is
        the share itself.

    Raises
    ------
    ValueError
        If a count is impossible, or the total is below the number looked at.

    References
    ----------
    Cochran (1977), Sampling Techniques, 3rd edition, section 3.6.
    """
    part, whole = _check_part(count, n)
    check_choice(method, FINITE_METHODS, "method")
    check_confidence(confidence)
    heads = round(check_number(total, "total", low=0))
    if heads < whole:
        raise ValueError(f"total: the pond is said to hold {heads}, but {whole} were looked at.")
    if whole == 0:
        return FiniteShare(
            confidence=confidence,
            method="finite share",
            variant=method,
            status=Status.NO_ESTIMATE,
            notes=("None was looked at, so there is no share to give.",),
            total=heads,
        )
    notes: list[str] = []
    ranges: list[tuple[float, float]] = []
    heads_ranges: list[tuple[float, float]] = []

    def add_range(size: int) -> None:
        if size == whole:
            low, high = float(part), float(part)
        elif method == "exact":
            low, high = _exact_heads(part, whole, size, confidence)
        else:
            share_low, share_high = _normal_share(part, whole, size, confidence)
            low, high = share_low * size, share_high * size
        heads_ranges.append((low, high))
        ranges.append((low / size, high / size))

    add_range(heads)
    if total_limits is not None:
        if any(math.isnan(limit) for limit in total_limits) or total_limits[0] > total_limits[1]:
            raise ValueError(f"total_limits: {total_limits} are not a lower and an upper limit.")
        for limit in total_limits:
            if math.isinf(limit):
                unlimited = share_interval(part, whole, method="clopper-pearson", confidence=confidence)
                ranges.append((unlimited.lower or 0.0, unlimited.upper or 0.0))
                heads_ranges.append((part, math.inf))
            else:
                add_range(max(round(limit), whole))
        notes.append("The heads in the pond are themselves estimated; the widest interval is shown.")
    is_complete = max(high - low for low, high in ranges) == 0 and heads == whole
    if is_complete:
        notes.append("Every turtle in the pond was looked at: this is a count, not a sample.")
    share = part / whole
    se = None
    if is_complete:
        se = 0.0
    elif 0 < part < whole:
        se = math.sqrt((1 - whole / heads) * share * (1 - share) / (whole - 1))
    else:
        notes.append(_NO_STANDARD_ERROR)
    return FiniteShare(
        value=share,
        se=se,
        lower=min(low for low, _ in ranges),
        upper=max(high for _, high in ranges),
        confidence=confidence,
        method="finite share",
        variant=method,
        status=Status.LOW_CONFIDENCE if method == "normal" and whole == 1 < heads else Status.OK,
        notes=tuple(notes),
        total=heads,
        heads_lower=min(low for low, _ in heads_ranges),
        heads_upper=max(high for _, high in heads_ranges),
    )
