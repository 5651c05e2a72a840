"""Two groups compared by who died and who lived: Fisher's exact test and the odds ratio."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats

from stock.estimators.estimate import Estimate, Status, check_confidence, check_counts

LARGE_CELL = 200
"""Where every cell holds more than this, the exact limits are slow and no better than Woolf's."""


@dataclass(frozen=True)
class OddsRatio(Estimate):
    """
    The odds ratio of a table of two by two; ``variant`` says which: conditional, or as counted.

    Parameters
    ----------
    p_value, p_greater, p_less : float
        Fisher's exact test: two-sided, and one-sided toward an odds ratio above and below 1.
    sample_odds_ratio : float or None
        a d / (b c) as counted, which differs from the conditional estimate in small tables; None
        where a row or a column of the table is empty.
    """

    p_value: float = 1.0
    p_greater: float = 1.0
    p_less: float = 1.0
    sample_odds_ratio: float | None = None


def odds_ratio(table: Sequence[Sequence[int]], *, confidence: float = 0.95) -> OddsRatio:
    """
    Compare two groups by their odds, exactly at small numbers.

    Parameters
    ----------
    table : two rows of two int
        One group a row: heads with the event (died) and heads without it.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    OddsRatio
        ``value`` is the conditional maximum likelihood estimate with exact limits; it is 0 or
        infinite where a single cell is empty, and has no standard error. Where every cell holds
        more than 200 it is the ratio as counted, with Woolf's limits (normal on the log scale).
        With an empty row or column its status is ``no_estimate`` and every p-value is 1.

    Raises
    ------
    ValueError
        If the table is not two by two, or a count is negative or not whole.

    References
    ----------
    Fisher (1935), The Design of Experiments. Cornfield (1956), Proceedings of the Third Berkeley
    Symposium 4, 135-148. Woolf (1955), Annals of Human Genetics 19, 251-253.
    """
    level = check_confidence(confidence)
    rows = [check_counts(row, f"table, row {place}") for place, row in enumerate(table, start=1)]
    if len(rows) != 2 or any(len(row) != 2 for row in rows):
        raise ValueError("table: give two rows of two counts, one group a row: with the event and without.")
    (a, b), (c, d) = rows
    method, variant = "odds ratio", "conditional"
    if 0 in {a + b, c + d, a + c, b + d}:
        return OddsRatio(
            confidence=level,
            method=method,
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=("A row or a column of the table is empty, so the groups cannot be compared.",),
        )
    p_value, p_greater, p_less = (
        float(stats.fisher_exact(rows, alternative=side).pvalue) for side in ("two-sided", "greater", "less")
    )
    counted = a * d / (b * c) if b * c else math.inf
    if min(a, b, c, d) > LARGE_CELL:
        spread = math.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
        reach = math.exp(float(stats.norm.ppf((1 + level) / 2)) * spread)
        variant, value, se, lower, upper = (
            "woolf",
            counted,
            counted * spread,
            counted / reach,
            counted * reach,
        )
    else:
        result = stats.contingency.odds_ratio(rows, kind="conditional")
        limits = result.confidence_interval(confidence_level=level)
        value, se, lower, upper = float(result.statistic), None, float(limits.low), float(limits.high)
    empty = ("A cell of the table is empty: read the limits, not the figure alone.",)
    return OddsRatio(
        value=value,
        se=se,
        lower=lower,
        upper=upper,
        confidence=level,
        method=method,
        variant=variant,
        notes=empty if 0 in {a, b, c, d} else (),
        p_value=p_value,
        p_greater=p_greater,
        p_less=p_less,
        sample_odds_ratio=counted,
    )
