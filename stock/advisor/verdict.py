"""Is a pond in band: the verdict in words, and what would mend it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from stock.estimators.estimate import check_confidence, check_number

NO_MALES = "no males"
NO_FEMALES = "no females"
SHORT_OF_FEMALES = "short of females"
SHORT_OF_MALES = "short of males"
IN_BAND = "in band"
NOT_KNOWN = "not known well enough"

_SLACK = 1e-9
_GRID = 4001
_MANY = (np.arange(_GRID) + 0.5) / _GRID, np.full(_GRID, 1 / _GRID)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)
_FEW = (_NODES + 1) / 2, _WEIGHTS / 2
_FARTHEST = 1e12


@dataclass(frozen=True)
class Remedy:
    """
    Four ways to mend a ratio, each on its own.

    Each is the smallest whole number of heads that alone brings the pond where it should be: 0 where
    it stands there already, None where that way alone cannot do it.
    """

    females_to_add: int | None
    males_to_remove: int | None
    females_to_remove: int | None
    males_to_add: int | None


@dataclass(frozen=True)
class Verdict:
    """
    What the standing females and males say of a pond.

    Parameters
    ----------
    verdict : str
        "no males", "no females", "short of females", "short of males", "in band" or
        "not known well enough".
    ratio : float or None
        Mean females over mean males; None without males.
    p_below, p_in, p_above : float or None
        Probabilities that the ratio lies below, in (edges included) and above the band. Without
        males and females all three are None. They are 0 or 1 for a book, which has no error.
    to_target, to_band : Remedy
        What would bring the means to the target, and into the band.
    lower, upper : float or None
        Limits that hold the ratio with probability ``certainty``, equal tails; None for a book, without
        males or females, and where they were not asked for. Beyond a million million they are infinite.
    certainty : float
        Probability asked for before a verdict is given.
    """

    verdict: str
    ratio: float | None
    p_below: float | None
    p_in: float | None
    p_above: float | None
    to_target: Remedy
    to_band: Remedy
    lower: float | None
    upper: float | None
    certainty: float


def _whole(heads: float) -> int:
    """Return the least whole number of heads, 0 or more, not below ``heads`` (but for rounding)."""
    return max(0, math.ceil(heads - _SLACK * max(1.0, abs(heads))))


def _remedy(females: float, males: float, low: float, high: float) -> Remedy:
    """Return the ways to bring females / males to low..high; ``high`` may be infinite, low 0."""

    def is_within(left_females: float, left_males: float) -> bool:
        if left_males <= 0:
            return False
        reached = left_females / left_males
        return low * (1 - _SLACK) <= reached <= high * (1 + _SLACK)

    def check(moved: int, left_females: float, left_males: float, left: float) -> int | None:
        keeps_one = moved == 0 or left >= 1
        return moved if keeps_one and is_within(left_females, left_males) else None

    add_females = _whole(low * males - females)
    remove_males = _whole(males - females / low) if low > 0 else 0
    remove_females = _whole(females - high * males) if math.isfinite(high) else 0
    add_males = _whole(females / high - males)
    if males <= 0:
        add_males = max(1, add_males)
    return Remedy(
        females_to_add=check(add_females, females + add_females, males, math.inf),
        males_to_remove=check(remove_males, females, males - remove_males, males - remove_males),
        females_to_remove=check(remove_females, females - remove_females, males, females - remove_females),
        males_to_add=check(add_males, females, males + add_males, math.inf) if females > 0 else None,
    )


def _to_target(females: float, males: float, target: float) -> Remedy:
    """Return what moves the ratio to the target or just past it, from the side it stands on."""
    gap = females - target * males
    slack = _SLACK * max(1.0, females)
    if males <= 0 or gap > slack:
        return _remedy(females, males, 0.0, target)
    if gap < -slack:
        return _remedy(females, males, target, math.inf)
    return Remedy(0, 0, 0, 0)


def _below(
    edge: float, female_mean: float, female_se: float, male_mean: float, male_se: float, covariance: float
) -> float:
    """Return P(F < edge x M) for jointly normal F and M that cannot be negative."""
    variance = female_se**2 + edge**2 * male_se**2 - 2 * edge * covariance
    gap = edge * male_mean - female_mean
    spread = math.sqrt(max(variance, 0.0))
    if spread <= _SLACK * max(1.0, female_mean):
        return 1.0 if gap > _SLACK * max(1.0, female_mean) else 0.0
    is_clear_of_zero = female_mean > 6 * female_se and male_mean > 6 * male_se
    if is_clear_of_zero:
        return float(special.ndtr(gap / spread))
    # Near zero heads the normal is cut at zero: males on a grid of their own quantiles, females
    # given males exactly.
    if male_se > 0:
        cut = special.ndtr(-male_mean / male_se)
        left_over = math.sqrt(max(female_se**2 - (covariance / male_se) ** 2, 0.0))
        # What is smooth needs few points; a step needs many.
        is_smooth = left_over > 0.2 * edge * male_se
        places, weights = _FEW if is_smooth else _MANY
        standard = special.ndtri(cut + places * (1 - cut))
        males = male_mean + male_se * standard
        expected = female_mean + covariance / male_se * standard
    else:
        males, expected, left_over = np.array([male_mean]), np.array([female_mean]), female_se
        weights = np.ones(1)
    if left_over <= _SLACK * max(1.0, female_se):
        allowed = weights * (expected >= 0)
        under = allowed * (expected < edge * males)
        return float(under.sum() / allowed.sum())
    above_zero = special.ndtr(expected / left_over)
    under_edge = special.ndtr((edge * males - expected) / left_over) - special.ndtr(-expected / left_over)
    return float(min(1.0, (weights * under_edge).sum() / (weights * above_zero).sum()))


def _limits(below: Callable[[float], float], certainty: float) -> tuple[float, float]:
    """Return the ratios with (1 - certainty) / 2 below and above them; 0 or infinity beyond the search."""

    def edge_at(wanted: float) -> float:
        if below(1 / _FARTHEST) >= wanted:
            return 0.0
        if below(_FARTHEST) <= wanted:
            return math.inf
        reach = math.log(_FARTHEST)
        found = optimize.brentq(
            lambda log_edge: below(math.exp(log_edge)) - wanted, -reach, reach, xtol=1e-10
        )
        return math.exp(found)

    tail = (1 - certainty) / 2
    return edge_at(tail), edge_at(1 - tail)


def check_band(band: tuple[float, float]) -> tuple[float, float]:
    """
    Return a band of females per male as two floats.

    Raises
    ------
    ValueError
        Unless it is two numbers, the first above 0 and not above the second.
    """
    low, high = check_number(band[0], "band, low end"), check_number(band[1], "band, high end")
    if not 0 < low <= high:
        raise ValueError(
            f"band: {low:g} to {high:g} is not a band; the low end must be above 0 and come first."
        )
    return low, high


def verdict(
    female_mean: float,
    female_se: float,
    male_mean: float,
    male_se: float,
    *,
    covariance: float = 0.0,
    target: float = 3.0,
    band: tuple[float, float] = (2.5, 4.5),
    certainty: float = 0.8,
    with_limits: bool = True,
) -> Verdict:
    """
    Judge a pond's ratio, and say what would mend it.

    Females and males are taken as jointly normal and cut at zero heads, so that
    P(ratio < b) = P(F - b M < 0 | F, M >= 0). While both means lie more than six standard errors
    from zero the cut is left out (it moves less than 1e-9) and the probability is exact; nearer to
    zero it is computed on a grid, to about 1e-4. With both errors 0, as for a book, all of this is
    plain arithmetic and the edges of the band belong to the band.

    Parameters
    ----------
    female_mean, male_mean : float
        Heads standing in the pond, 0 or more.
    female_se, male_se : float
        Their standard errors in heads; 0 for a book.
    covariance : float
        Covariance of females and males, heads squared.
    target : float
        Females per male aimed for.
    band : (float, float)
        Females per male, low and high end, that need no remedy.
    certainty : float
        A verdict is given where its probability is at least this. A pond has "no males" where that
        probability is reached by fewer than half a male; likewise females.
    with_limits : bool
        Look for ``lower`` and ``upper`` too: most of the work, and of no use where limits are at hand already.

    Returns
    -------
    Verdict

    Raises
    ------
    ValueError
        If a mean or error is negative, the covariance is larger than the errors allow, the band is
        not a band or the target is not above 0.
    """
    check_number(female_mean, "female_mean", low=0)
    check_number(male_mean, "male_mean", low=0)
    check_number(female_se, "female_se", low=0)
    check_number(male_se, "male_se", low=0)
    check_number(covariance, "covariance")
    check_confidence(certainty, "certainty")
    low, high = check_band(band)
    if check_number(target, "target") <= 0:
        raise ValueError(f"target: {target} females per male is not above 0.")
    if abs(covariance) > female_se * male_se * (1 + 1e-9):
        raise ValueError(
            f"covariance: {covariance:g} is more than the errors {female_se:g} and {male_se:g} allow."
        )
    is_book = female_se == 0 and male_se == 0

    def below(edge: float) -> float:
        return _below(edge, female_mean, female_se, male_mean, male_se, covariance)

    p_below: float | None = None
    p_in: float | None = None
    p_above: float | None = None
    limits: tuple[float | None, float | None] = (None, None)
    word = NOT_KNOWN
    if female_mean > 0 or male_mean > 0:
        p_below = below(low)
        if is_book:
            is_over = female_mean - high * male_mean > _SLACK * max(1.0, female_mean)
            p_above = 1.0 if is_over else 0.0
        else:
            p_above = max(0.0, 1.0 - below(high))
            if with_limits and female_mean > 0 and male_mean > 0:
                limits = _limits(below, certainty)
        p_in = max(0.0, 1.0 - p_below - p_above)
        for chance, name in ((p_below, SHORT_OF_FEMALES), (p_in, IN_BAND), (p_above, SHORT_OF_MALES)):
            if chance >= certainty:
                word = name
    for name, mean, se in ((NO_FEMALES, female_mean, female_se), (NO_MALES, male_mean, male_se)):
        if _chance_of_none(mean, se) >= certainty:
            word = name
    return Verdict(
        verdict=word,
        ratio=female_mean / male_mean if male_mean > 0 else None,
        p_below=p_below,
        p_in=p_in,
        p_above=p_above,
        to_target=_to_target(female_mean, male_mean, target),
        to_band=_remedy(female_mean, male_mean, low, high),
        lower=limits[0],
        upper=limits[1],
        certainty=certainty,
    )


def _chance_of_none(mean: float, se: float) -> float:
    """Return the chance that fewer than half a head stands there, the normal being cut at zero."""
    if se == 0:
        return 1.0 if mean < 0.5 else 0.0
    under_zero = special.ndtr(-mean / se)
    return float((special.ndtr((0.5 - mean) / se) - under_zero) / (1 - under_zero))
