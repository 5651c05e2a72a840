"""Females per male of a survey, with limits, over arrays and for one reading."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from stock.estimators.drawn import Array
from stock.estimators.estimate import Estimate, Status, worst
from stock.estimators.limits import normal_quantile
from stock.estimators.sexes_over import Heads
from stock.estimators.survey_reading import Reading
from stock.estimators.survey_sexes import as_heads

_LEAST = 1e-9
_LEAST_LEFT = 0.01
"""Of a pond nearly all of which was handled so much is always taken to be left, against limits of no width."""


def ratio_limits(
    females: Heads, males: Heads, handled: tuple[Array, Array], is_by_sex: Any, confidence: float
) -> tuple[Array, Array]:
    """
    Return limits of females per male.

    Parameters
    ----------
    females, males : Heads
        As estimated.
    handled : (ndarray, ndarray)
        Different females and males handled.
    is_by_sex : array_like of bool
        Where the sexes were estimated apart the arms of both are added as squares, in logarithms; elsewhere
        the limits are Wilson's of the share handled, in a finite pond.
    confidence : float
        Two-sided confidence level.

    References
    ----------
    Zou & Donner (2008), Statistics in Medicine 27, 1693-1702. Wilson (1927), J. American Statistical
    Association 22, 209-212.
    """
    logs = [
        [np.log(np.maximum(figure, _LEAST)) for figure in (sex.value, sex.lower, sex.upper)]
        for sex in (females, males)
    ]
    (of_f, low_f, high_f), (of_m, low_m, high_m) = logs
    middle = of_f - of_m
    low_apart = np.exp(middle - np.hypot(of_f - low_f, high_m - of_m))
    high_apart = np.exp(np.minimum(middle + np.hypot(high_f - of_f, of_m - low_m), 700))

    z = normal_quantile(confidence)
    # The most heads there may be: the estimate itself runs low where little was seen again.
    total = np.maximum(females.upper + males.upper, 1)
    sexed = np.maximum(handled[0] + handled[1], 1)
    size = sexed / np.maximum(1 - sexed / total, _LEAST_LEFT)
    share = handled[0] / sexed
    center = (share + z * z / (2 * size)) / (1 + z * z / size)
    reach = z * np.sqrt(share * (1 - share) / size + (z / (2 * size)) ** 2) / (1 + z * z / size)
    low, high = np.maximum(center - reach, 0), np.minimum(center + reach, 1)
    low_shared = low / np.maximum(1 - low, _LEAST)
    # No male handled: the share's upper limit is 1 but for rounding.
    is_open = (handled[1] == 0) | (high >= 1)
    high_shared = np.where(is_open, math.inf, high / np.where(is_open, 1, 1 - high))
    return np.where(is_by_sex, low_apart, low_shared), np.where(is_by_sex, high_apart, high_shared)


def survey_ratio(reading: Reading) -> Estimate | None:
    """
    Return females per male by one reading of a survey; None where nobody was sexed.

    The value is infinite where the reading has no males.
    """
    females, males = reading.females, reading.males
    if females is None or males is None or females.value is None or males.value is None:
        return None
    level = females.confidence
    status = worst(females.status, males.status)
    value = females.value / males.value if males.value else math.inf
    if reading.method == "drain-down" and reading.by_sex:
        return Estimate(value, 0.0, value, value, level, "survey ratio", "counted", status)
    heads = [as_heads(sex) for sex in (females, males)]
    handled = (np.array([float(females.known_alive)]), np.array([float(males.known_alive)]))
    lower, upper = ratio_limits(heads[0], heads[1], handled, np.array([reading.by_sex]), level)
    se = None
    if math.isfinite(value) and value and females.se is not None and males.se is not None:
        relative = (
            (females.se / females.value) ** 2
            + (males.se / males.value) ** 2
            - 2 * reading.covariance / (females.value * males.value)
        )
        se = value * math.sqrt(max(relative, 0.0))
    return Estimate(
        value,
        se or None,
        min(float(lower[0]), value),
        max(float(upper[0]), value),
        level,
        "survey ratio",
        "by sex" if reading.by_sex else "as handled",
        Status.LOW_CONFIDENCE if status is Status.BOUNDED else status,
    )
