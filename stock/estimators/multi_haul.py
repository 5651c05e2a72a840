"""Heads of a pond from marks put on and looked for over several hauls."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scipy import stats

from stock.estimators.estimate import Status, check_confidence, check_counts
from stock.estimators.limits import (
    FEW_RECAPTURES,
    HeadCount,
    bounded_heads,
    few_recaptures_note,
    garwood_limits,
)

_ENOUGH_FOR_T = 50
_NONE_RECAPTURED = "No marked animal recaptured: only a lower limit is known."
_NONE_AT_LARGE = "No haul caught anything while marked animals were at large."


@dataclass(frozen=True)
class MultiHaul(HeadCount):
    """
    Heads from several hauls; ``se_reciprocal`` is the standard error of 1 / heads.

    ``marked_at_large`` is how many marked animals were at large just before each haul.
    """

    se_reciprocal: float | None = None
    marked_at_large: tuple[int, ...] = ()


@dataclass(frozen=True)
class _Hauls:
    caught: tuple[int, ...]
    recaptured: tuple[int, ...]
    at_large: tuple[int, ...]
    known_alive: int

    @property
    def total_recaptured(self) -> int:
        return sum(self.recaptured)

    @property
    def with_catch(self) -> int:
        """Hauls that caught anything."""
        return sum(1 for heads in self.caught if heads)

    def total(self, power: int) -> int:
        """Return the sum of caught x marked at large ** ``power``."""
        return sum(drawn * marked**power for drawn, marked in zip(self.caught, self.at_large, strict=True))


def _check_hauls(caught: Sequence[Any], recaptured: Sequence[Any], returned: Sequence[Any]) -> _Hauls:
    drawn, seen = check_counts(caught, "caught"), check_counts(recaptured, "recaptured")
    put_back = check_counts(returned, "returned")
    if not len(drawn) == len(seen) == len(put_back):
        raise ValueError(
            f"hauls: {len(drawn)} numbers caught, {len(seen)} recaptured and {len(put_back)} returned; "
            "each haul needs one of each."
        )
    at_large: list[int] = []
    marked = ever_marked = known_alive = 0
    for haul, (caught_now, seen_now, back_now) in enumerate(zip(drawn, seen, put_back, strict=True), start=1):
        if seen_now > caught_now:
            raise ValueError(f"recaptured, haul {haul}: {seen_now} marked among {caught_now} caught.")
        if seen_now > marked:
            raise ValueError(
                f"recaptured, haul {haul}: {seen_now} marked, but {marked} marked were at large."
            )
        if back_now > caught_now:
            raise ValueError(f"returned, haul {haul}: {back_now} returned with marks of {caught_now} caught.")
        at_large.append(marked)
        # An animal put back without a mark may be met again, so only those marked are surely apart.
        known_alive = max(known_alive, ever_marked + caught_now - seen_now)
        ever_marked += max(back_now - seen_now, 0)
        marked += back_now - seen_now
    return _Hauls(drawn, seen, tuple(at_large), known_alive)


def _nothing(hauls: _Hauls, lower: float, confidence: float, method: str, variant: str) -> MultiHaul:
    return MultiHaul(
        lower=max(lower, float(hauls.known_alive)),
        upper=math.inf,
        confidence=confidence,
        method=method,
        variant=variant,
        status=Status.NO_ESTIMATE,
        notes=(_NONE_RECAPTURED if hauls.total(1) else _NONE_AT_LARGE,),
        known_alive=hauls.known_alive,
        marked_at_large=hauls.at_large,
    )


def _inverted(reciprocal: float, reach: float) -> tuple[float, float]:
    """Return the limits of 1 / ``reciprocal`` from ``reciprocal`` give or take ``reach``."""
    return 1 / (reciprocal + reach), 1 / (reciprocal - reach) if reciprocal > reach else math.inf


def schnabel(
    caught: Sequence[int],
    recaptured: Sequence[int],
    returned: Sequence[int],
    *,
    modified: bool = True,
    confidence: float = 0.95,
) -> MultiHaul:
    """
    Estimate the heads of a closed pond by Schnabel's method.

    Parameters
    ----------
    caught, recaptured : sequence of int
        Animals caught in each haul, and those of them already marked, in the order of the hauls.
    returned : sequence of int
        Animals of each haul returned alive with a mark, newly marked or marked before. Those that
        died in the net or were kept are thereby no longer counted at large.
    modified : bool
        Chapman's form, dividing by one recapture more: the headline.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    MultiHaul
        Heads, with ``se_reciprocal`` = sqrt(recaptures) / sum(caught x marked at large). Below 50
        recaptures in all the limits are Garwood's, from there on those of 1 / heads by Student's t
        with one degree of freedom fewer than hauls that caught anything. Without a recapture the
        modified form has ``low_confidence`` and no upper limit, the other no estimate. Below 7
        recaptures: ``low_confidence``.

    Raises
    ------
    ValueError
        If the numbers are not one for each haul, or more are recaptured or returned than can be.

    References
    ----------
    Schnabel (1938), American Mathematical Monthly 45, 348-352. Chapman (1952), Biometrics 8, 286-306.
    Ricker (1975), Bulletin of the Fisheries Research Board of Canada 191, section 3.8.
    """
    level = check_confidence(confidence)
    hauls = _check_hauls(caught, recaptured, returned)
    method, variant = "schnabel", "modified" if modified else "unmodified"
    at_risk, seen = hauls.total(1), hauls.total_recaptured
    fewest, most = garwood_limits(seen, level)
    if at_risk == 0 or (seen == 0 and not modified):
        return _nothing(hauls, at_risk / most, level, method, variant)
    value = at_risk / (seen + 1 if modified else seen)
    se_reciprocal = math.sqrt(seen) / at_risk if seen else None
    if seen < _ENOUGH_FOR_T:
        lower, upper = at_risk / most, at_risk / fewest if fewest > 0 else math.inf
    else:
        t = float(stats.t.ppf((1 + level) / 2, hauls.with_catch - 1))
        lower, upper = _inverted(seen / at_risk, t * math.sqrt(seen) / at_risk)
    notes = []
    if seen == 0:
        notes.append(_NONE_RECAPTURED)
    elif seen < FEW_RECAPTURES:
        notes.append(few_recaptures_note(seen))
    return MultiHaul(
        se=None if se_reciprocal is None else value * value * se_reciprocal,
        confidence=level,
        method=method,
        variant=variant,
        se_reciprocal=se_reciprocal,
        marked_at_large=hauls.at_large,
        # At a low confidence the modified figure may lie outside the limits of the plain one.
        **bounded_heads(
            value,
            min(lower, value),
            max(upper, value),
            hauls.known_alive,
            status=Status.LOW_CONFIDENCE if notes else Status.OK,
            notes=notes,
        ),
    )


def schumacher_eschmeyer(
    caught: Sequence[int],
    recaptured: Sequence[int],
    returned: Sequence[int],
    *,
    confidence: float = 0.95,
) -> MultiHaul:
    """
    Estimate the heads of a closed pond by Schumacher and Eschmeyer's method.

    The share of marked animals in each haul is laid on a line through the origin, weighted by catch.

    Parameters
    ----------
    caught, recaptured, returned : sequence of int
        As for `schnabel`.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    MultiHaul
        Heads, with limits of 1 / heads by Student's t with two degrees of freedom fewer than hauls
        that caught anything, the first haul included. Without a recapture there is no estimate. With
        fewer than three hauls, or all on one line by chance, there are no limits and the status is
        ``low_confidence``; so it is below 7 recaptures.

    Raises
    ------
    ValueError
        As `schnabel`.

    References
    ----------
    Schumacher & Eschmeyer (1943), J. Tennessee Academy of Science 18, 228-249. Krebs (1989),
    Ecological Methodology, section 2.2.
    """
    level = check_confidence(confidence)
    hauls = _check_hauls(caught, recaptured, returned)
    method = "schumacher-eschmeyer"
    seen = hauls.total_recaptured
    if seen == 0:
        return _nothing(hauls, 0.0, level, method, "")
    weight = hauls.total(2)
    products = sum(again * marked for again, marked in zip(hauls.recaptured, hauls.at_large, strict=True))
    value = weight / products
    # In fractions, so that hauls exactly on the line are known as such.
    scatter = sum(
        (
            Fraction(again * again, drawn)
            for again, drawn in zip(hauls.recaptured, hauls.caught, strict=True)
            if drawn
        ),
        start=Fraction(0),
    ) - Fraction(products * products, weight)
    freedom = hauls.with_catch - 2
    notes = [few_recaptures_note(seen)] if seen < FEW_RECAPTURES else []
    lower = upper = se_reciprocal = None
    if freedom < 1:
        notes.append("Fewer than three hauls caught anything, so there are no limits.")
    elif scatter == 0:
        notes.append("All hauls lie on one line by chance, so there are no limits.")
    else:
        se_reciprocal = math.sqrt(float(scatter / freedom / weight))
        t = float(stats.t.ppf((1 + level) / 2, freedom))
        lower, upper = _inverted(1 / value, t * se_reciprocal)
    return MultiHaul(
        se=None if se_reciprocal is None else value * value * se_reciprocal,
        confidence=level,
        method=method,
        se_reciprocal=se_reciprocal,
        marked_at_large=hauls.at_large,
        **bounded_heads(
            value,
            lower,
            upper,
            hauls.known_alive,
            status=Status.LOW_CONFIDENCE if notes else Status.OK,
            notes=notes,
        ),
    )
