"""Head counts as `stock.advisor.standing` takes them: females and males, the unsexed shared out among them."""

import math
from dataclasses import dataclass

import numpy as np

ASSUMED_HALF_WIDTH = {"DRAINED": 0.0, "SEINED": 0.10, "NOTEBOOK": 0.15, "GUESS": 0.30}
"""Plus-or-minus (95 %) of a count that was given none, as a share of the heads (an assumption). A pond that was
not drained to the last head is never known exactly."""

_Z_95 = 1.959964


@dataclass(frozen=True)
class Counted:
    """
    Females and males counted, their errors, and whether the errors are assumed.

    ``unsexed`` of them were counted without looking, and shared out as the others.
    """

    females: float
    female_se: float
    males: float
    male_se: float
    covariance: float
    unsexed: float
    is_error_assumed: bool

    @property
    def ratio(self) -> float | None:
        """Females per male; infinite without males, None with neither."""
        if self.males > 0:
            return self.females / self.males
        return math.inf if self.females > 0 else None


def counted_by_sex(
    females: float | None,
    female_se: float | None,
    males: float | None,
    male_se: float | None,
    covariance: float = 0.0,
    unsexed: float | None = None,
    unsexed_se: float | None = None,
    *,
    how_known: str,
) -> Counted | None:
    """
    Return a count by sex, or None where it does not tell females from males.

    None where either sex was not counted, or where nobody was sexed while heads stood there. U unsexed heads
    are shared out by the share p of females among the sexed, F' = F + p U; the errors of F, M and U are carried
    over by the slopes of that (delta method), and the chance of the split adds U p (1 - p) to both variances.

    Parameters
    ----------
    females, males, unsexed : float or None
        Heads; None was not counted. Without a figure the unsexed are taken to be among the others, as a survey
        shares them out itself.
    female_se, male_se, unsexed_se : float or None
        Standard errors. Where all are 0 or missing and the pond was not drained, `ASSUMED_HALF_WIDTH` stands in.
    covariance : float
        Of females and males.
    how_known : str
        "DRAINED", "SEINED", "NOTEBOOK" or "GUESS".
    """
    if females is None or males is None:
        return None
    heads = np.array([females, males, unsexed or 0.0])
    errors = np.array([female_se or 0.0, male_se or 0.0, unsexed_se or 0.0])
    is_assumed = not errors.any() and ASSUMED_HALF_WIDTH[how_known] > 0 and heads.any()
    if is_assumed:
        errors = heads * ASSUMED_HALF_WIDTH[how_known] / _Z_95
    sexed = heads[0] + heads[1]
    own = np.diag(errors**2)
    own[0, 1] = own[1, 0] = float(np.clip(covariance, -errors[0] * errors[1], errors[0] * errors[1]))
    if heads[2] > 0:
        if sexed <= 0:
            return None
        share = heads[0] / sexed
        slope = heads[2] / sexed**2
        lean = np.array(
            [
                [1 + slope * heads[1], -slope * heads[0], share],
                [-slope * heads[1], 1 + slope * heads[0], 1 - share],
            ]
        )
        split = heads[2] * share * (1 - share)
        own = lean @ own @ lean.T + split * np.array([[1.0, -1.0], [-1.0, 1.0]])
        heads = np.array([heads[0] + share * heads[2], heads[1] + (1 - share) * heads[2], heads[2]])
    se = np.sqrt(np.maximum(np.diag(own)[:2], 0.0))
    most = float(se[0] * se[1])
    return Counted(
        females=float(heads[0]),
        female_se=float(se[0]),
        males=float(heads[1]),
        male_se=float(se[1]),
        covariance=float(np.clip(own[0, 1], -most, most)),
        unsexed=float(heads[2]),
        is_error_assumed=bool(is_assumed),
    )
