"""From figures over arrays, or from a method's own estimates, to the adults, females and males of one survey."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stock.estimators.estimate import Estimate, Status, worst
from stock.estimators.limits import FEW_RECAPTURES, HeadCount, few_recaptures_note, normal_quantile
from stock.estimators.sexes_over import Heads, handled_share, shared_covariance, shared_heads, sum_limits
from stock.estimators.survey_reading import heads_of


@dataclass(frozen=True)
class Split:
    """Adults of one survey, and where some were sexed females and males with their covariance."""

    total: Estimate
    females: Estimate | None = None
    males: Estimate | None = None
    covariance: float = 0.0
    by_sex: bool = False


def as_count(
    heads: Heads,
    *,
    known: int,
    confidence: float,
    method: str,
    variant: str,
    status: Status = Status.OK,
    notes: Iterable[str] = (),
) -> HeadCount:
    """Return the first place of arrays of figures as a head count; a standard error of 0 is none."""
    value, se, lower, upper = (
        float(np.ravel(figure)[0]) for figure in (heads.value, heads.se, heads.lower, heads.upper)
    )
    is_all_seen = known > 0 and value <= known * (1 + 1e-12)
    value = float(known) if is_all_seen else value
    return HeadCount(
        value=value,
        se=se if se > 0 else None,
        lower=lower,
        upper=upper,
        confidence=confidence,
        method=method,
        variant=variant,
        status=worst(status, Status.BOUNDED) if is_all_seen else status,
        notes=(*notes, "By this figure every animal was caught.") if is_all_seen else tuple(notes),
        known_alive=known,
    )


def recapture_notes(recaptured: int, whose: str = "") -> tuple[str, ...]:
    """Return what a head count from so few recaptures must say; nothing from 7 on."""
    begin = f"{whose}: " if whose else ""
    if recaptured == 0:
        return (f"{begin}no marked animal recaptured: only a lower limit is known.",)
    return (begin + few_recaptures_note(recaptured),) if recaptured < FEW_RECAPTURES else ()


def weaker(estimate: Estimate | None, notes: Iterable[str]) -> Any:
    """Return the estimate marked ``low_confidence`` for the reasons given; unchanged without any."""
    reasons = tuple(notes)
    if estimate is None or not reasons:
        return estimate
    return replace(
        estimate,
        status=worst(estimate.status, Status.LOW_CONFIDENCE),
        notes=tuple(dict.fromkeys((*estimate.notes, *reasons))),
    )


def as_heads(estimate: Estimate) -> Heads:
    """Return an estimate as arrays of one figure; a limit it lacks is the widest there can be."""
    figures = (
        estimate.value,
        estimate.se or 0.0,
        estimate.known_alive if estimate.lower is None else estimate.lower,
        math.inf if estimate.upper is None else estimate.upper,
    )
    value, se, lower, upper = (np.array([figure], dtype=float) for figure in figures)
    return Heads(value, se, lower, upper, np.array([False]))


def share_out(total: Estimate, females: int, males: int, unsexed: int = 0) -> Split:
    """
    Return the total shared out as the sexed animals handled, with variances by the delta method.

    Parameters
    ----------
    total : Estimate
        Adults.
    females, males, unsexed : int
        Different animals handled.

    Returns
    -------
    Split
        The total alone where nobody was sexed or there is no total.
    """
    sexed = females + males
    if not sexed or total.value is None:
        return Split(total)
    heads = as_heads(total)
    share, share_se = handled_share(np.array([float(females)]), np.array([float(males)]), heads.value)
    notes = list(total.notes)
    notes.append(
        f"The total shared out as the {sexed} sexed: {heads_of(females, 'female')}, {heads_of(males, 'male')}."
    )
    if unsexed:
        notes.append(f"{unsexed} were not sexed and are taken to be as the sexed.")
    parts = []
    for here, part in ((females, share), (males, 1 - share)):
        own = shared_heads(
            heads, np.array([float(here)]), np.array([float(sexed)]), part, share_se, total.confidence
        )
        # Values must add up to the total, so heads handled bound the limits alone.
        value = heads.value * part
        own = replace(
            own, value=value, lower=np.minimum(own.lower, value), upper=np.maximum(own.upper, value)
        )
        parts.append(
            as_count(
                own,
                known=0,
                confidence=total.confidence,
                method=total.method,
                variant=total.variant,
                status=total.status,
                notes=notes,
            )
        )
    females_part, males_part = (
        replace(part, known_alive=here) for part, here in zip(parts, (females, males), strict=True)
    )
    covariance = float(shared_covariance(heads, share, share_se)[0])
    return Split(total, females_part, males_part, covariance)


def add_up(females: Estimate, males: Estimate, scale: float = 1.0, *, known: int) -> Split:
    """
    Return females and males estimated apart and added; ``scale`` makes up for the unsexed.

    The limits of the sum add the squares of the parts' arms (Zou & Donner 2008).
    """
    parts = [scaled(part, scale) for part in (females, males)]
    heads = [as_heads(part) for part in parts]
    value = heads[0].value + heads[1].value
    lower, upper = sum_limits(value, heads)
    se = np.hypot(heads[0].se, heads[1].se)
    has_limits = all(part.lower is not None and part.upper is not None for part in parts)
    total = as_count(
        Heads(value, se, np.maximum(lower, min(known, value[0])), upper, np.array([False])),
        known=known,
        confidence=females.confidence,
        method=females.method,
        variant=females.variant,
        # A bound on one sex is not one on the sum.
        status=worst(*(part.status for part in parts if part.status is not Status.BOUNDED)),
        notes=dict.fromkeys(note for part in parts for note in part.notes if "known to be alive" not in note),
    )
    if not has_limits:
        total = replace(total, lower=None, upper=None)
    if any(part.se is None for part in parts):
        total = replace(total, se=None)
    return Split(total, parts[0], parts[1], 0.0, True)


def scaled(estimate: Estimate, factor: float, factor_se: float = 0.0) -> Any:
    """Return the estimate times a factor; its limits are taken at the factor's own limits."""
    if factor == 1 and not factor_se:
        return estimate
    reach = normal_quantile(estimate.confidence) * factor_se
    low, high = max(factor - reach, factor / 1000), factor + reach
    if factor <= 1:
        high = min(high, 1.0)
    value, se = estimate.value, estimate.se
    return replace(
        estimate,
        value=None if value is None else max(value * factor, float(estimate.known_alive)),
        se=None if se is None or value is None else math.hypot(se * factor, value * factor_se),
        lower=None if estimate.lower is None else max(estimate.lower * low, float(estimate.known_alive)),
        upper=None if estimate.upper is None else max(estimate.upper * high, float(estimate.known_alive)),
    )
