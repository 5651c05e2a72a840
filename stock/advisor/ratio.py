"""Females per male: the ratio with its limits, the test of a target, and unequal catch."""

import math
from dataclasses import dataclass
from typing import cast

from scipy import stats

from stock.advisor.sexing import sex_more
from stock.advisor.share import finite_share, share_interval
from stock.advisor.verdict import Remedy, Verdict, verdict
from stock.estimators.estimate import Estimate, Status, check_confidence, check_count, check_number

__all__ = [
    "Ratio",
    "RatioTest",
    "Remedy",
    "Verdict",
    "catchability_ratio",
    "ratio",
    "ratio_test",
    "sex_more",
    "verdict",
]

UNSEXED_SHARE_THAT_WEAKENS = 0.2
"""Above this share of unsexed turtles a ratio is marked low_confidence."""


@dataclass(frozen=True)
class Ratio(Estimate):
    """
    Females per male, with the share of females it comes from.

    ``value`` is ``math.inf`` where no male was seen: say "no males", or "at least" the lower limit.

    Parameters
    ----------
    share : Estimate or None
        Share of females among the sexed, 0 to 1, with its own limits.
    bounds_if_unsexed : (float, float) or None
        Share of females if every unsexed turtle were male, and if every one were female.
    heads : (float, float) or None
        Females and males after correction for unequal catch, where that was made.
    """

    share: Estimate | None = None
    bounds_if_unsexed: tuple[float, float] | None = None
    heads: tuple[float, float] | None = None


@dataclass(frozen=True)
class RatioTest:
    """The exact test of a target ratio: its p-value (None with nothing sexed), share and notes."""

    p_value: float | None
    share: Estimate
    notes: tuple[str, ...]


def _as_ratio(share: float) -> float:
    return math.inf if share >= 1 else share / (1 - share)


def ratio(
    females: int, males: int, unsexed: int = 0, *, total: float | None = None, confidence: float = 0.95
) -> Ratio:
    """
    Estimate females per male from a sexed haul.

    The limits are those of the share of females, mapped by p / (1 - p), which keeps their coverage.

    Parameters
    ----------
    females, males, unsexed : int
        Turtles of breeding size in the haul. The unsexed are left out of the point and never out of
        sight: ``bounds_if_unsexed`` shows what they could do to the share, and above 20 % of them
        the status is ``low_confidence``.
    total : float, optional
        Heads alive in the pond; when given, the exact finite-pond limits are used instead of Wilson's.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Ratio
        Females per male. With none sexed its status is ``no_estimate``.

    Raises
    ------
    ValueError
        If a count is negative or not whole, or the total is below the turtles in the haul.
    """
    female_count = check_count(females, "females")
    male_count = check_count(males, "males")
    unsexed_count = check_count(unsexed, "unsexed")
    sexed = female_count + male_count
    seen = sexed + unsexed_count
    if total is None:
        share: Estimate = share_interval(female_count, sexed, confidence=confidence)
        uncorrected = 1.0
    else:
        heads = round(check_number(total, "total", low=0))
        if heads < seen:
            raise ValueError(f"total: the pond is said to hold {heads}, but the haul brought {seen}.")
        share = finite_share(female_count, sexed, heads, confidence=confidence)
        uncorrected = 1 - sexed / heads if heads else 1.0
    bounds = (female_count / seen, (female_count + unsexed_count) / seen) if seen else None
    notes: list[str] = []
    if not sexed:
        return Ratio(
            confidence=confidence,
            method="ratio",
            variant=share.variant,
            status=Status.NO_ESTIMATE,
            notes=("None was sexed, so there is no ratio to give.",),
            share=share,
            bounds_if_unsexed=bounds,
        )
    status = share.status
    if unsexed_count / seen > UNSEXED_SHARE_THAT_WEAKENS:
        status = Status.LOW_CONFIDENCE
        notes.append(f"{unsexed_count} of the {seen} turtles were not sexed; the ratio leans on the rest.")
    lower, upper = (_as_ratio(cast(float, limit)) for limit in (share.lower, share.upper))
    se = None
    if not male_count:
        notes.append(f"No males among the {sexed} sexed: at least {lower:.1f} : 1.")
    elif not female_count:
        notes.append(f"No females among the {sexed} sexed: at most {upper:.1f} : 1.")
    else:
        se = female_count / male_count * math.sqrt(uncorrected * (1 / female_count + 1 / male_count))
    return Ratio(
        value=female_count / male_count if male_count else math.inf,
        se=se,
        lower=lower,
        upper=upper,
        confidence=confidence,
        method="ratio",
        variant=share.variant,
        status=status,
        notes=tuple(notes),
        share=share,
        bounds_if_unsexed=bounds,
    )


def ratio_test(females: int, males: int, target: float = 3.0) -> RatioTest:
    """
    Test whether a sexed haul can be told from a target ratio (exact two-sided binomial test).

    The p-value is the sum of the probabilities of all outcomes no likelier than the one seen.

    Parameters
    ----------
    females, males : int
        Turtles sexed.
    target : float
        Females per male, above 0.

    Returns
    -------
    RatioTest
        ``share`` is the share of females with Clopper-Pearson limits. A large p-value never means
        that the pond is at the target, and the notes do not say so.

    Raises
    ------
    ValueError
        If a count is impossible or the target is not above 0.

    References
    ----------
    Conover (1971), Practical Nonparametric Statistics, section 3.1.
    """
    female_count, male_count = check_count(females, "females"), check_count(males, "males")
    if check_number(target, "target") <= 0:
        raise ValueError(f"target: {target} females per male is not above 0.")
    sexed = female_count + male_count
    share = share_interval(female_count, sexed, method="clopper-pearson")
    if not sexed:
        return RatioTest(None, share, ("None was sexed, so nothing can be tested.",))
    p_value = float(stats.binomtest(female_count, sexed, target / (1 + target)).pvalue)
    if p_value < 0.05:
        sentence = f"The haul differs from {target:g}:1 (p = {p_value:.3g})."
    else:
        sentence = (
            f"The haul is not distinguishable from {target:g}:1 (p = {p_value:.3g}); "
            "read the interval to see what else it could be."
        )
    return RatioTest(p_value, share, (sentence,))


def catchability_ratio(
    females: int,
    males: int,
    p_female: float,
    p_male: float,
    *,
    se_female: float = 0.0,
    se_male: float = 0.0,
    confidence: float = 0.95,
) -> Ratio:
    """
    Estimate females per male where the sexes are not caught alike.

    The ratio is (F / p_F) / (M / p_M), its logarithm having the variance
    (1 - p_F) / F + (1 - p_M) / M + (SE p_F / p_F)^2 + (SE p_M / p_M)^2.

    Parameters
    ----------
    females, males : int
        Turtles caught.
    p_female, p_male : float
        Chance that a female, and a male, of the pond is caught: above 0, at most 1.
    se_female, se_male : float
        Their standard errors; 0 where they are known.

    Returns
    -------
    Ratio
        ``heads`` holds the corrected females and males. Where one sex was not caught no correction
        can be made, and the plain ratio of the haul is returned with a note.

    Raises
    ------
    ValueError
        If a count is impossible, a chance is not above 0 and at most 1, or an error is negative.

    References
    ----------
    McKnight & Ligon (2017), PLoS ONE 12:e0184101 (the sexes as separate populations).
    """
    female_count, male_count = check_count(females, "females"), check_count(males, "males")
    check_confidence(confidence)
    for chance, name in ((p_female, "p_female"), (p_male, "p_male")):
        if check_number(chance, name, low=0, high=1) == 0:
            raise ValueError(f"{name}: a sex that cannot be caught cannot be counted; give more than 0.")
    check_number(se_female, "se_female", low=0)
    check_number(se_male, "se_male", low=0)
    if not female_count or not male_count:
        plain = ratio(female_count, male_count, confidence=confidence)
        note = "Without both sexes in the haul no correction for catch is made; equal catch is assumed."
        return Ratio(
            value=plain.value,
            lower=plain.lower,
            upper=plain.upper,
            confidence=confidence,
            method="catchability ratio",
            variant="uncorrected",
            status=plain.status,
            notes=(*plain.notes, note),
            share=plain.share,
            bounds_if_unsexed=plain.bounds_if_unsexed,
        )
    heads = (female_count / p_female, male_count / p_male)
    value = heads[0] / heads[1]
    log_se = math.sqrt(
        (1 - p_female) / female_count
        + (1 - p_male) / male_count
        + (se_female / p_female) ** 2
        + (se_male / p_male) ** 2
    )
    z = float(stats.norm.ppf((1 + confidence) / 2))
    lower, upper = value * math.exp(-z * log_se), value * math.exp(z * log_se)
    share = value / (1 + value)
    return Ratio(
        value=value,
        se=value * log_se,
        lower=lower,
        upper=upper,
        confidence=confidence,
        method="catchability ratio",
        variant="corrected",
        share=Estimate(
            value=share,
            se=share * (1 - share) * log_se,
            lower=lower / (1 + lower),
            upper=upper / (1 + upper),
            confidence=confidence,
            method="share",
            variant="catchability",
        ),
        heads=heads,
    )
