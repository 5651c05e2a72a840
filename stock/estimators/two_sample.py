"""Heads of a pond from marks put on in one haul and looked for in a second."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from stock.estimators.estimate import (
    Estimate,
    Status,
    check_choice,
    check_confidence,
    check_count,
    check_number,
    worst,
)
from stock.estimators.limits import (
    FEW_RECAPTURES,
    HeadCount,
    bounded_heads,
    few_recaptures_note,
    lognormal_limits,
    normal_quantile,
)
from stock.estimators.two_hauls import TwoHauls, exact_limits, normal_limits

VARIANTS = ("petersen", "chapman", "bailey")
INTERVALS = ("lognormal", "exact", "wald", "normal")
_NO_ERROR = "The formula's standard error is 0, which would read as certainty; use the limits."


@dataclass(frozen=True)
class TagLoss(Estimate):
    """
    Marked recaptures corrected for turtles that lost both tags.

    ``loss_a`` and ``loss_b`` are the chances of having lost tag A and tag B since marking, with
    their standard errors; None where they cannot be told.
    """

    loss_a: float | None = None
    loss_a_se: float | None = None
    loss_b: float | None = None
    loss_b_se: float | None = None


def _point(hauls: TwoHauls, variant: str) -> tuple[float, float]:
    """Return heads and their standard error."""
    marked, caught, seen = hauls.holding, hauls.caught, hauls.recaptured
    unmarked, not_seen = caught - seen, max(marked - seen, 0.0)
    if variant == "petersen":
        per_mark = caught / seen
        value, variance = (
            marked * per_mark,
            per_mark * per_mark * marked * marked * unmarked / (caught * seen),
        )
    elif variant == "chapman":
        per_mark = (caught + 1) / (seen + 1)
        value = (marked + 1) * per_mark - 1
        variance = (marked + 1) * per_mark * not_seen * unmarked / ((seen + 1) * (seen + 2))
    else:
        per_mark = (caught + 1) / (seen + 1)
        value = marked * per_mark
        variance = marked * marked * per_mark * unmarked / ((seen + 1) * (seen + 2))
    return value, math.sqrt(variance + (hauls.marked * hauls.retention_se * per_mark) ** 2)


def _check_hauls(
    marked: Any, caught: Any, recaptured: Any, variant: str, retention: Any, retention_se: Any
) -> TwoHauls:
    at_large, drawn = check_count(marked, "marked"), check_count(caught, "caught")
    seen = check_count(recaptured, "recaptured")
    if seen > drawn:
        raise ValueError(f"recaptured: {seen} marked among {drawn} caught; there cannot be more.")
    if seen > at_large and variant != "bailey":
        raise ValueError(
            f"recaptured: {seen} marked were caught, but {at_large} marked were at large. "
            "Where one animal may be seen twice, use the variant bailey."
        )
    kept = check_number(retention, "retention", low=0, high=1)
    if kept == 0:
        raise ValueError("retention: at 0 every mark is lost and none could be recaptured.")
    return TwoHauls(
        marked=at_large,
        caught=drawn,
        recaptured=seen,
        retention=kept,
        retention_se=check_number(retention_se, "retention_se", low=0),
        is_with_replacement=variant == "bailey",
    )


def two_sample(
    marked: int,
    caught: int,
    recaptured: int,
    *,
    variant: str = "chapman",
    interval: str = "lognormal",
    retention: float = 1.0,
    retention_se: float = 0.0,
    known_alive: int = 0,
    confidence: float = 0.95,
) -> HeadCount:
    """
    Estimate the heads of a closed pond from marked animals caught again.

    Parameters
    ----------
    marked : int
        Marked animals alive and at large just before the second haul.
    caught, recaptured : int
        Animals caught in the second haul, and those of them that carry marks.
    variant : {"chapman", "petersen", "bailey"}
        Chapman is the headline. Bailey is for sightings, where one animal may be counted twice;
        there more may be recaptured than were marked.
    interval : {"lognormal", "exact", "wald", "normal"}
        "lognormal" is log-normal in the heads not seen. "exact" keeps every whole number of heads for
        which neither tail of the hypergeometric distribution (for Bailey, and for hauls above 20,000
        heads: the binomial) falls to half of 1 - confidence. "normal" is for Petersen only (Krebs).
    retention, retention_se : float
        Chance that a mark is still held, 0 < retention <= 1, and its standard error. The marked are
        multiplied by it. The exact and the normal interval are made at the retention's own limits, so
        that the widest is given.
    known_alive : int
        Heads known to be alive from elsewhere; what the two hauls prove is reckoned here.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    HeadCount
        Heads. With no marked animal recaptured Petersen has no estimate, the others have
        ``low_confidence``; whatever interval was asked for, the lower limit is then the exact one and
        the upper is infinite. Where the formula leaves no error, or no animal unseen (every marked
        animal was caught, or every animal caught was marked), the status is ``bounded``, the interval
        the exact one, and a standard error of 0 is given as None. With nothing
        marked or nothing caught there is no estimate. Below 7 recaptures: ``low_confidence``.

    Raises
    ------
    ValueError
        If more are recaptured than were caught, or (but for Bailey) than were marked; if a count is
        not one; if the interval does not go with the variant.

    References
    ----------
    Chapman (1951), Univ. California Publ. Statistics 1, 131-160. Bailey (1951), Biometrika 38,
    293-306. Seber (1970), Biometrika 57, 313-318. Chao (1987), Biometrics 43, 783-791. Robson &
    Regier (1964), Trans. American Fisheries Society 93, 215-226.
    """
    check_choice(variant, VARIANTS, "variant")
    check_choice(interval, INTERVALS, "interval")
    if interval == "normal" and variant != "petersen":
        raise ValueError(f"interval: normal goes with the variant petersen only, not with {variant}.")
    level = check_confidence(confidence)
    hauls = _check_hauls(marked, caught, recaptured, variant, retention, retention_se)
    known = max(hauls.known_alive, check_count(known_alive, "known_alive"))

    if hauls.marked == 0 or hauls.caught == 0:
        missing = "No marked animal was at large" if hauls.marked == 0 else "Nothing was caught"
        return HeadCount(
            lower=float(known),
            upper=math.inf,
            confidence=level,
            method="two sample",
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=(f"{missing}, so the pond's heads cannot be told.",),
            known_alive=known,
        )
    status, notes = Status.OK, []
    if hauls.recaptured == 0:
        notes.append("No marked animal recaptured: only a lower limit is known.")
    elif hauls.recaptured < FEW_RECAPTURES:
        notes.append(few_recaptures_note(hauls.recaptured))
    if notes:
        status = Status.LOW_CONFIDENCE
    if hauls.recaptured == 0 and variant == "petersen":
        return HeadCount(
            lower=max(float(known), exact_limits(hauls, level)[0]),
            upper=math.inf,
            confidence=level,
            method="two sample",
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=tuple(notes),
            known_alive=known,
        )

    value, error = _point(hauls, variant)
    se = error if error > 0 else None
    is_all_seen = se is None or value <= hauls.known_alive
    if (
        hauls.recaptured == 0
        or interval == "exact"
        or se is None
        or (is_all_seen and interval == "lognormal")
    ):
        lower, upper = exact_limits(hauls, level)
    elif interval == "normal":
        lower, upper = normal_limits(hauls, level)
    elif interval == "wald":
        reach = normal_quantile(level) * se
        lower, upper = value - reach, value + reach
    else:
        lower, upper = lognormal_limits(value, se, known, level)
    if is_all_seen or value <= known:
        status = worst(status, Status.BOUNDED)
    if se is None:
        notes.append(_NO_ERROR)
    return HeadCount(
        se=se,
        confidence=level,
        method="two sample",
        variant=variant,
        # An exact interval may leave out the point by a fraction of a head.
        **bounded_heads(value, min(lower, value), max(upper, value), known, status=status, notes=notes),
    )


def tag_loss(both: int, only_a: int, only_b: int, *, confidence: float = 0.95) -> TagLoss:
    """
    Correct marked recaptures for tags lost, from animals tagged twice.

    Parameters
    ----------
    both, only_a, only_b : int
        Recaptured animals that hold both tags, only tag A, only tag B.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    TagLoss
        Marked recaptures, those that lost both tags included, with limits log-normal in the animals
        not seen to be marked. The two tags are taken to be lost independently. With no animal holding
        both there is no estimate.

    Raises
    ------
    ValueError
        If a count is negative or not whole.

    References
    ----------
    Seber (1982), The Estimation of Animal Abundance, 2nd edition, section 3.2.4. Sekar & Deming
    (1949), J. American Statistical Association 44, 101-115 (standard error).
    """
    level = check_confidence(confidence)
    held, a_left, b_left = (
        check_count(both, "both"),
        check_count(only_a, "only_a"),
        check_count(only_b, "only_b"),
    )
    seen = held + a_left + b_left
    if held == 0:
        return TagLoss(
            lower=float(seen),
            upper=math.inf,
            confidence=level,
            method="tag loss",
            status=Status.NO_ESTIMATE,
            notes=("No recaptured animal holds both tags, so the loss cannot be told.",),
            known_alive=seen,
        )
    with_a, with_b = held + a_left, held + b_left
    value = with_a * with_b / held
    error = math.sqrt(with_a * with_b * a_left * b_left / held**3)
    loss_a, loss_b = b_left / with_b, a_left / with_a
    lower, upper = lognormal_limits(value, error, seen, level)
    return TagLoss(
        value=value,
        se=error if error > 0 else None,
        lower=lower,
        upper=upper,
        confidence=level,
        method="tag loss",
        status=Status.OK if error > 0 else Status.LOW_CONFIDENCE,
        notes=() if error > 0 else ("One of the tags was never seen lost alone; the limits are not known.",),
        known_alive=seen,
        loss_a=loss_a,
        loss_a_se=math.sqrt(loss_a * (1 - loss_a) / with_b),
        loss_b=loss_b,
        loss_b_se=math.sqrt(loss_b * (1 - loss_b) / with_a),
    )


def add_estimates(parts: Iterable[Estimate]) -> HeadCount:
    """
    Add independent head counts, as of females and males estimated apart.

    Parameters
    ----------
    parts : iterable of Estimate
        The counts, all at the same confidence.

    Returns
    -------
    HeadCount
        Values, variances and heads known to be alive added; the worst status; limits log-normal in
        the heads not seen. Where a part has no standard error or no upper limit the limits are the
        sums of the parts' limits, which is wider. If a part has no estimate the sum has none.

    Raises
    ------
    ValueError
        If there are no parts, or they are not at the same confidence.
    """
    counts = tuple(parts)
    if not counts:
        raise ValueError("parts: nothing to add; give one estimate or more.")
    levels = sorted({part.confidence for part in counts})
    if len(levels) > 1:
        raise ValueError(
            f"parts: limits at different confidence ({levels[0]} and {levels[-1]}) cannot be added."
        )
    known = sum(part.known_alive for part in counts)
    status = worst(*(part.status for part in counts))
    notes = tuple(dict.fromkeys(note for part in counts for note in part.notes))
    lowers = [part.known_alive if part.lower is None else part.lower for part in counts]
    uppers = [math.inf if part.upper is None else part.upper for part in counts]
    lower, upper = float(sum(lowers)), float(sum(uppers))
    values = [part.value for part in counts if part.value is not None]
    if len(values) < len(counts) or status is Status.NO_ESTIMATE:
        return HeadCount(
            lower=max(lower, float(known)),
            upper=upper,
            confidence=levels[0],
            method="sum",
            status=Status.NO_ESTIMATE,
            notes=(*notes, "A part has no estimate, so the sum has none."),
            known_alive=known,
        )
    value = float(sum(values))
    errors = [part.se for part in counts if part.se is not None]
    se = math.hypot(*errors) if len(errors) == len(counts) else None
    if se is not None and math.isfinite(upper) and value > known:
        lower, upper = lognormal_limits(value, se, known, levels[0])
    return HeadCount(
        se=se,
        confidence=levels[0],
        method="sum",
        **bounded_heads(value, lower, upper, known, status=status, notes=notes),
    )
