"""Before turtles are sexed: how many, for a share known closely or a ratio told from its band."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from stock.advisor.sexing import sex_more
from stock.advisor.share import finite_share
from stock.estimators.estimate import check_confidence, check_count, check_number
from stock.estimators.limits import normal_quantile
from stock.estimators.planner_hauls import check_expected, check_half_width

MOST_EXACTLY = 2_000
"""Up to so many heads the exact interval decides; beyond, Cochran's normal one."""

_SLACK = 1e-12


@dataclass(frozen=True)
class SexingPlan:
    """
    How many turtles to sex so that the share of females is known as closely as wanted.

    Parameters
    ----------
    heads : int
        Heads standing in the pond.
    share, ratio : float
        Share of females expected, 0 to 1, and the same as females per male (infinite without males).
    half_width_wanted : float
        Half the width of the interval of the share asked for (0.1: plus or minus 10 points of 100).
    to_sex : int or None
        Turtles to sex; None where there is none to sex.
    expected_females, expected_males : int or None
        What they would be found to be, at the share expected.
    half_width, lower, upper : float or None
        Half the width and the limits of the share then shown.
    ratio_lower, ratio_upper : float or None
        The same limits as females per male.
    large_pond : int
        What a pond large beside the sample would need: z^2 p (1 - p) / half-width^2, rounded up.
    cochran : int
        The same with the finite correction, before the exact interval is looked at.
    confidence : float
        Two-sided confidence level.
    notes : tuple of str
        Sentences whoever plans must see.
    """

    heads: int
    share: float
    ratio: float
    half_width_wanted: float
    to_sex: int | None = None
    expected_females: int | None = None
    expected_males: int | None = None
    half_width: float | None = None
    lower: float | None = None
    upper: float | None = None
    ratio_lower: float | None = None
    ratio_upper: float | None = None
    large_pond: int = 0
    cochran: int = 0
    confidence: float = 0.95
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class BandPlan:
    """
    How many (more) turtles to sex so that the ratio is told from its band.

    Parameters
    ----------
    heads : int
        Heads standing in the pond.
    share, ratio : float
        Share of females expected, and the same as females per male.
    females, males : int
        Turtles sexed already.
    band : (float, float)
        Females per male, low and high end.
    to_sex : int or None
        Turtles to sex next; 0 where it is settled already, None where sexing will not settle it.
    certainty, power : float
        How sure the verdict must be, and in what share of such surveys it must be reached.
    notes : tuple of str
        Sentences whoever plans must see.
    """

    heads: int
    share: float
    ratio: float
    females: int
    males: int
    band: tuple[float, float]
    to_sex: int | None = None
    certainty: float = 0.8
    power: float = 0.8
    notes: tuple[str, ...] = ()


def ratio_of(share: float) -> float:
    """Return females per male for a share of females; infinite without males."""
    return share / (1 - share) if share < 1 else math.inf


def _check_share(share: Any, ratio: Any) -> float:
    if (share is None) == (ratio is None):
        raise ValueError("share, ratio: give one of the two, the share of females or females per male.")
    if share is not None:
        return check_number(share, "share of females", low=0, high=1)
    if ratio == math.inf:
        return 1.0
    females_per_male = check_number(ratio, "females per male", low=0)
    return females_per_male / (1 + females_per_male)


def _limits_of(share: float, sexed: int, heads: int, confidence: float) -> tuple[float, float, float]:
    """Return half the width and the limits of the share, at the worse of the whole numbers of females."""
    method = "exact" if heads <= MOST_EXACTLY or share in (0, 1) else "normal"
    nearest = round(share * sexed)
    ranges = []
    for females in (nearest, math.floor(share * sexed), math.ceil(share * sexed)):
        shown = finite_share(females, sexed, heads, method=method, confidence=confidence)
        ranges.append((shown.lower or 0.0, 1.0 if shown.upper is None else shown.upper))
        if abs(share * sexed - nearest) < 1e-9:
            break
    lower, upper = max(ranges, key=lambda limits: limits[1] - limits[0])
    return (upper - lower) / 2, lower, upper


def _cochran(share: float, heads: int, half_width: float, confidence: float) -> tuple[int, int]:
    """Return the sample size for a large pond, and with the finite correction."""
    spread = normal_quantile(confidence) ** 2 * share * (1 - share)
    if spread >= heads * MOST_EXACTLY * half_width**2:
        # So fine that the pond itself is the sample, or no half-width at all.
        return math.ceil(spread / half_width**2) if half_width > 1e-6 else heads, heads
    large = spread / half_width**2
    corrected = large / (1 + max(large - 1, 0) / heads)
    return math.ceil(large - 1e-9), min(math.ceil(corrected - 1e-9), heads)


def _first_enough(share: float, heads: int, half_width: float, confidence: float, least: int) -> int:
    """Return the least number from ``least`` on whose interval is as narrow as wanted."""

    def is_enough(sexed: int) -> bool:
        return _limits_of(share, sexed, heads, confidence)[0] <= half_width + _SLACK

    if share in (0, 1):
        # Where all sexed are of one sex each more narrows the interval: halve.
        low, high = least, heads
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if is_enough(middle) else (middle + 1, high)
        return low
    if heads > MOST_EXACTLY:
        sexed = np.arange(max(least, 2), heads, dtype=float)
        reach = np.sqrt((1 - sexed / heads) * share * (1 - share) / (sexed - 1))
        widths = normal_quantile(confidence) * reach + 1 / (2 * sexed)
        enough = np.flatnonzero(widths <= half_width)
        least = int(sexed[enough[0]]) if enough.size else heads
    return next((sexed for sexed in range(least, heads) if is_enough(sexed)), heads)


def sexing_plan(
    heads: int,
    *,
    share: float | None = None,
    ratio: float | None = None,
    half_width: float = 0.1,
    confidence: float = 0.95,
) -> SexingPlan:
    """
    Say how many turtles to sex so that the share of females is known as closely as wanted.

    Parameters
    ----------
    heads : int
        Heads standing in the pond.
    share, ratio : float
        Share of females expected (0 to 1), or females per male; give one of the two. Where nothing is
        known, a share of 0.5 is the safe figure, for it asks for the most.
    half_width : float
        Half the width of the interval of the share wanted (0.1: plus or minus 10 points of 100).
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    SexingPlan
        Cochran's n = n0 / (1 + (n0 - 1) / N) with n0 = z^2 p (1 - p) / half-width^2, and from there on
        the first number whose interval, as the register will show it, is no wider than wanted: the
        exact one up to 2,000 heads, beyond that Cochran's normal one with both corrections. With a
        share of 0 or 1, which leaves no variance to plan with, the interval alone decides.

    Raises
    ------
    ValueError
        If a number is impossible, or both or neither of share and ratio are given.

    References
    ----------
    Cochran (1977), Sampling Techniques, 3rd edition, sections 3.6 and 4.4.
    """
    standing, wanted = check_expected(heads), check_half_width(half_width)
    expected, level = _check_share(share, ratio), check_confidence(confidence)
    if standing == 0:
        return SexingPlan(
            standing,
            expected,
            ratio_of(expected),
            wanted,
            confidence=level,
            notes=("No head stands in the pond, so there is none to sex.",),
        )
    large_pond, cochran = _cochran(expected, standing, wanted, level)
    to_sex = _first_enough(expected, standing, wanted, level, max(cochran, 1))
    half, lower, upper = _limits_of(expected, to_sex, standing, level)
    females = round(expected * to_sex)
    notes = []
    if to_sex == standing:
        notes.append("Only sexing every head in the pond tells the share so closely.")
    elif to_sex > standing / 2:
        notes.append(f"{to_sex} of {standing} heads is more than half the pond.")
    if expected in (0, 1):
        missing = "male" if expected == 1 else "female"
        notes.append(f"No {missing} is expected: the plan bounds how many may have been missed.")
    notes.append("One sex that is caught more readily shifts the share, however many are sexed.")
    return SexingPlan(
        heads=standing,
        share=expected,
        ratio=ratio_of(expected),
        half_width_wanted=wanted,
        to_sex=to_sex,
        expected_females=females,
        expected_males=to_sex - females,
        half_width=half,
        lower=lower,
        upper=upper,
        ratio_lower=ratio_of(lower),
        ratio_upper=ratio_of(upper),
        large_pond=large_pond,
        cochran=cochran,
        confidence=level,
        notes=tuple(notes),
    )


def band_plan(
    heads: int,
    *,
    share: float | None = None,
    ratio: float | None = None,
    females: int = 0,
    males: int = 0,
    band: tuple[float, float] = (2.5, 4.5),
    certainty: float = 0.8,
    power: float = 0.8,
) -> BandPlan:
    """
    Say how many turtles to sex so that the pond's ratio is told from its band.

    Parameters
    ----------
    heads : int
        Heads standing in the pond.
    share, ratio : float
        Share of females expected (0 to 1), or females per male; give one of the two, or neither where
        turtles were sexed already: their share is then taken.
    females, males : int
        Turtles sexed already.
    band : (float, float)
        Females per male, low and high end.
    certainty, power : float
        As in `stock.advisor.sexing.sex_more`.

    Returns
    -------
    BandPlan
        With ``to_sex`` None where sexing will not settle it, as where the share lies on an edge of the
        band.

    Raises
    ------
    ValueError
        If a number is impossible, or nothing says what share to expect.
    """
    standing = check_expected(heads)
    female_count, male_count = check_count(females, "females"), check_count(males, "males")
    sexed = female_count + male_count
    is_told_by_sexed = share is None and ratio is None and sexed > 0
    expected = female_count / sexed if is_told_by_sexed else _check_share(share, ratio)
    more = sex_more(
        female_count,
        male_count,
        total=standing,
        share=expected,
        band=band,
        certainty=certainty,
        power=power,
    )
    if standing == 0:
        more = None
        notes = ["No head stands in the pond, so there is none to sex."]
    elif more is None:
        notes = ["A ratio so near the edge of the band is not told from it by sexing."]
    elif more == 0:
        notes = ["The turtles sexed so far settle it."]
    elif sexed + more == standing:
        notes = ["Only sexing every head in the pond settles it: the ratio lies near the edge of the band."]
    else:
        notes = []
    return BandPlan(
        heads=standing,
        share=expected,
        ratio=ratio_of(expected),
        females=female_count,
        males=male_count,
        band=(float(band[0]), float(band[1])),
        to_sex=more,
        certainty=certainty,
        power=power,
        notes=tuple(notes),
    )
