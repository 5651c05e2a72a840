"""Females, males and their sum over arrays: what every method that tells the sexes apart hands back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stock.estimators.drawn import Array
from stock.estimators.limits import normal_quantile


@dataclass(frozen=True)
class Heads:
    """Heads with their standard error (0: none) and limits; ``is_exact`` where these are the exact ones."""

    value: Array
    se: Array
    lower: Array
    upper: Array
    is_exact: Any


@dataclass(frozen=True)
class Sexed:
    """
    Adults, females and males of each survey.

    ``is_by_sex`` where the sexes were estimated apart, else the total was shared out; ``equal_catch``
    is the p-value of the test that both sexes were caught again alike, ``is_capped`` where a sex without a
    recapture has its upper limit from the total, taking equal catch for granted.
    """

    total: Heads
    females: Heads
    males: Heads
    covariance: Array
    is_by_sex: Any
    equal_catch: Array
    is_capped_females: Any
    is_capped_males: Any


def lognormal_over(value: Array, se: Array, known: Array, confidence: float) -> tuple[Array, Array]:
    """Return limits log-normal in the heads not seen (Chao 1987); both are ``known`` where none are unseen."""
    unseen = value - known
    is_some = unseen > 0
    ratio = np.where(is_some, se / np.where(is_some, unseen, 1), 0)
    spread = np.exp(normal_quantile(confidence) * np.sqrt(np.log1p(ratio * ratio)))
    unseen = np.maximum(unseen, 0)
    return known + unseen / spread, known + unseen * spread


def sum_limits(value: Array, parts: list[Heads]) -> tuple[Array, Array]:
    """
    Return limits of a sum of independent counts from each part's value and limits.

    The squares of the arms are added, so that lop-sided arms and exact ones stay what they are.

    References
    ----------
    Zou & Donner (2008), Statistics in Medicine 27, 1693-1702.
    """
    below, above = (np.zeros_like(value) for _ in range(2))
    for part in parts:
        below, above = np.hypot(below, part.value - part.lower), np.hypot(above, part.upper - part.value)
    return value - below, value + above


def handled_share(females: Array, males: Array, total: Array) -> tuple[Array, Array]:
    """
    Return the share of females among the animals handled, with its standard error in a pond of ``total``.

    Where one sex alone was handled the error is that of half an animal of the other; none: a half.
    """
    sexed = females + males
    share = np.where(sexed > 0, females / np.maximum(sexed, 1), 0.5)
    inside = np.where(sexed > 0, (females + 0.5) / (sexed + 1), 0.5)
    left_out = np.maximum(total - sexed, 0) / np.maximum(total - 1, 1)
    return share, np.sqrt(inside * (1 - inside) / np.maximum(sexed, 1) * left_out)


def product_limits(total: Heads, part: Array, sexed: Array, confidence: float) -> tuple[Array, Array]:
    """
    Return limits of ``total`` times the share ``part`` / ``sexed``: the arms added as squares, in logarithms.

    The share's limits are Wilson's (1927), J. American Statistical Association 22, 209-212.
    """
    z = normal_quantile(confidence)
    size = np.maximum(sexed, 1)
    middle = (part + z * z / 2) / (size + z * z)
    reach = z * np.sqrt(part * (size - part) / size + z * z / 4) / (size + z * z)
    # A share of 0 has no logarithm: its arms are measured from Wilson's middle.
    share = np.where(part > 0, part / size, middle)
    middling, low = np.maximum(total.value, 1e-9), np.maximum(total.lower, 1e-9)
    below = np.hypot(np.log(middling / low), np.log(share / np.maximum(middle - reach, 1e-300)))
    above = np.hypot(np.log(total.upper / middling), np.log((middle + reach) / share))
    return middling * share * np.exp(-below), middling * share * np.exp(above)


def raised_to(parts: list[Heads], known: Array) -> list[Heads]:
    """Return the parts raised alike, where their sum is below the heads known to be alive."""
    factor = np.maximum(1.0, known / np.maximum(parts[0].value + parts[1].value, 1e-9))
    return [
        replace(part, value=part.value * factor, upper=np.maximum(part.upper, part.value * factor))
        for part in parts
    ]


def shared_covariance(total: Heads, share: Array, share_se: Array) -> Array:
    """Return the covariance of females and males shared out of a total; their sum has the total's variance."""
    variance, doubt = total.se**2, share_se**2
    return np.asarray(share * (1 - share) * variance - (total.value**2 + variance) * doubt)


def choose(where: Any, some: Heads, others: Heads) -> Heads:
    """Return ``some`` where ``where``, elsewhere ``others``."""
    return Heads(
        *(
            np.where(where, getattr(some, name), getattr(others, name))
            for name in ("value", "se", "lower", "upper", "is_exact")
        )
    )


def shared_heads(
    total: Heads, here: Array, sexed: Array, share: Array, share_se: Array, confidence: float
) -> Heads:
    """Return one sex's part of a total, as ``here`` of those ``sexed``, by the delta method."""
    value = np.maximum(total.value * share, here)
    se = np.sqrt((share * total.se) ** 2 + (total.value * share_se) ** 2 + (total.se * share_se) ** 2)
    lower, upper = product_limits(total, here, sexed, confidence)
    return Heads(
        value, se, np.minimum(np.maximum(lower, here), value), np.maximum(upper, value), total.is_exact
    )
