"""Limits of head counts, and the bound that heads known to be alive lay on them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from scipy import special, stats

from stock.estimators.estimate import Estimate, Status, worst

FEW_RECAPTURES = 7
"""Below this many recaptures a head count is off by more than chance (Robson & Regier 1964)."""


@dataclass(frozen=True)
class HeadCount(Estimate):
    """
    A number of heads, never below the heads known to be alive.

    ``raw`` is the value, and ``raw_lower`` the lower limit, before heads known to be alive were laid
    on them; each is None where it stands as computed.
    """

    raw_lower: float | None = None


def normal_quantile(confidence: float) -> float:
    """Return z such that a standard normal figure lies within -z..z with probability ``confidence``."""
    return float(special.ndtri((1 + confidence) / 2))


def few_recaptures_note(recaptures: int) -> str:
    """Return the sentence that a head count from so few recaptures must carry."""
    return f"{recaptures} recaptured; with fewer than {FEW_RECAPTURES} the count is off by more than chance."


def lognormal_limits(
    value: float, se: float, known_alive: float, confidence: float = 0.95
) -> tuple[float, float]:
    """
    Return limits of a head count that is log-normal in the heads not seen.

    Parameters
    ----------
    value, se : float
        Heads and their standard error.
    known_alive : float
        Heads known to be alive. Where the value does not exceed them, both limits are these heads.
    confidence : float
        Two-sided confidence level.

    References
    ----------
    Chao (1987), Biometrics 43, 783-791.
    """
    unseen = value - known_alive
    if unseen <= 0:
        return float(known_alive), float(known_alive)
    # log1p(ratio^2) without squaring a ratio that may be as large as a float can hold.
    spread = math.exp(normal_quantile(confidence) * math.sqrt(2 * math.log(math.hypot(1, se / unseen))))
    return known_alive + unseen / spread, known_alive + unseen * spread


def garwood_limits(count: int, confidence: float = 0.95) -> tuple[float, float]:
    """
    Return exact limits of the mean of a Poisson count.

    References
    ----------
    Garwood (1936), Biometrika 28, 437-442.
    """
    tail = (1 - confidence) / 2
    lower = float(stats.chi2.ppf(tail, 2 * count)) / 2 if count else 0.0
    return lower, float(stats.chi2.isf(tail, 2 * count + 2)) / 2


def bounded_heads(
    value: float,
    lower: float | None,
    upper: float | None,
    known_alive: int,
    *,
    status: Status = Status.OK,
    notes: Iterable[str] = (),
) -> dict[str, Any]:
    """
    Return the fields of a `HeadCount` with value and limits raised to the heads known to be alive.

    Where the bound was needed the status is at best ``bounded``, and a note says so.
    """
    said = list(notes)
    fields: dict[str, Any] = {"value": value, "lower": lower, "upper": upper, "known_alive": known_alive}
    if value < known_alive:
        fields.update(value=float(known_alive), raw=value)
        said.append(f"The figure came out at {value:.1f}; {known_alive} are known to be alive.")
    if lower is not None and lower < known_alive:
        fields.update(lower=float(known_alive), raw_lower=lower)
        said.append(f"The lower limit came out at {lower:.1f}; {known_alive} are known to be alive.")
    if upper is not None:
        fields["upper"] = max(upper, float(known_alive))
    is_bounded = "raw" in fields or "raw_lower" in fields
    return fields | {
        "status": worst(status, Status.BOUNDED) if is_bounded else status,
        "notes": tuple(said),
    }
