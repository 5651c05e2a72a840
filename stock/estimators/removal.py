"""Heads of a pond from passes of the seine that each hold out what they catch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scipy import optimize

from stock.estimators.catch_effort import CatchEffort, catch_effort
from stock.estimators.estimate import Status, check_choice, check_confidence, worst
from stock.estimators.limits import HeadCount, bounded_heads, lognormal_limits
from stock.estimators.passes import Passes, check_passes

__all__ = ["VARIANTS", "CatchEffort", "Removal", "catch_effort", "removal"]

VARIANTS = ("carle-strub", "mle", "zippin", "seber", "robson-regier")
_SMALL_CHANCE = 0.2
_NO_DECLINE = "The catch did not decline from pass to pass, so the heads left in the pond cannot be told."


@dataclass(frozen=True)
class Removal(HeadCount):
    """
    Heads before the first pass, with the chance of being caught in one pass.

    ``value_integer`` is the value to whole heads; for the variant mle, the likelier of its neighbors.
    """

    capture_probability: float | None = None
    capture_probability_se: float | None = None
    value_integer: int | None = None


def _carle_strub(passes: Passes) -> int:
    """Return the least whole number of heads at which the posterior no longer grows."""

    def grows(heads: int) -> float:
        spared = passes.k * heads - passes.weighted
        # The prior is Beta(1, 1).
        return math.log1p(passes.taken / (heads - passes.taken + 1)) + sum(
            math.log1p(-(passes.taken + 1) / (spared + 2 + place)) for place in range(passes.k)
        )

    def has_peaked(heads: int) -> bool:
        rise = grows(heads)
        if abs(rise) > 1e-12:
            return rise < 0
        # Too near for logarithms: in fractions.
        spared = passes.k * heads - passes.weighted
        ratio = Fraction(heads + 1, heads - passes.taken + 1)
        for place in range(passes.k):
            ratio *= Fraction(spared - passes.taken + 1 + place, spared + 2 + place)
        return ratio <= 1

    low, high = passes.taken, 2 * passes.taken
    if has_peaked(low):
        return low
    while not has_peaked(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if has_peaked(middle):
            high = middle
        else:
            low = middle
    return high


def _zippin(passes: Passes) -> tuple[float, float]:
    """Return heads and chance of capture from Zippin's asymptotic equation."""
    k = passes.k
    wanted = (k - 1) - passes.weighted / passes.taken
    if wanted == 0:
        return float(passes.taken), 1.0

    def excess(missed: float) -> float:
        # The mean pass of a capture, less 1, given that there was one.
        chances = [missed**place for place in range(k)]
        return sum(place * chance for place, chance in enumerate(chances)) / sum(chances) - wanted

    missed = float(optimize.brentq(excess, 0.0, 1.0, xtol=1e-15))
    return passes.taken / (1 - missed**k), 1 - missed


def _closed_form(passes: Passes, variant: str) -> tuple[float, float]:
    """Return heads and chance of capture from Seber's or Robson and Regier's closed forms."""
    first, second = passes.catches[:2]
    if variant == "robson-regier":
        return (first**2 - second) / (first - second), 1 - second / first
    if passes.k == 2:
        return first**2 / (first - second), 1 - second / first
    taken, weighted = passes.taken, passes.weighted
    root = math.sqrt(taken**2 + 6 * weighted * taken - 3 * weighted**2)
    heads = (6 * weighted**2 - 3 * weighted * taken - taken**2 + taken * root) / (18 * (weighted - taken))
    return heads, 1 - (1 - taken / heads) ** (1 / 3) if heads > taken else 1.0


def _best_whole(passes: Passes, heads: float) -> int:
    return max(math.floor(heads), math.ceil(heads), key=passes.log_likelihood)


def removal(catches: Sequence[int], *, variant: str = "carle-strub", confidence: float = 0.95) -> Removal:
    """
    Estimate the heads of a closed pond from passes that hold out what they catch.

    Parameters
    ----------
    catches : sequence of int
        Animals caught in each pass, in order. What was caught must be held out until the last pass.
    variant : {"carle-strub", "mle", "zippin", "seber", "robson-regier"}
        Carle and Strub's weighted likelihood is the headline. "mle" maximizes Moran and Zippin's
        likelihood over real heads; its limits are those of the profile likelihood. "zippin" solves
        the asymptotic equation. "seber" is the closed form for two or three passes, "robson-regier"
        for two.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    Removal
        Heads before the first pass, with ``capture_probability``. Limits are log-normal in the heads
        not caught, but where none is left over they are those of the profile likelihood and the status
        is ``bounded``. The standard error of "mle" is taken at the best whole number of heads. If the
        catch did not decline (Seber & Whale 1970) there is no estimate; only "carle-strub" then gives
        its number for comparison, with ``low_confidence`` and no upper limit. No catch, or fewer than
        two passes: no estimate. A chance of capture below 0.2, or a profile likelihood without
        an upper limit: ``low_confidence``.

    Raises
    ------
    ValueError
        If a catch is not a count, or the variant is not made for so many passes.

    References
    ----------
    Carle & Strub (1978), Biometrics 34, 621-630. Moran (1951), Biometrika 38, 307-311. Zippin (1956),
    Biometrics 12, 163-189. Seber & Whale (1970), Biometrics 26, 393-400. Seber (1982), The Estimation
    of Animal Abundance, 2nd edition, chapter 7. Robson & Regier (1968), in Ricker (editor), Methods for
    Assessment of Fish Production in Fresh Waters.
    """
    check_choice(variant, VARIANTS, "variant")
    level = check_confidence(confidence)
    passes = check_passes(catches)
    most_passes = {"seber": 3, "robson-regier": 2}.get(variant)
    if most_passes is not None and passes.k > most_passes:
        raise ValueError(
            f"variant: {variant} is made for at most {most_passes} passes; there were {passes.k}."
        )

    lower, upper = float(passes.taken), math.inf
    reason = ""
    if passes.k < 2:
        reason = "One pass cannot tell what it left in the pond; two or more are needed."
    elif passes.taken == 0:
        reason = "Nothing was caught. That is not a count of 0: the seine may have missed them."
    else:
        lower, upper = passes.limits(level)
        if not passes.declined:
            reason = _NO_DECLINE
    if reason and not (reason is _NO_DECLINE and variant == "carle-strub"):
        return Removal(
            lower=lower,
            upper=upper,
            confidence=level,
            method="removal",
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=(reason,),
            known_alive=passes.taken,
        )

    if variant == "carle-strub":
        value = float(_carle_strub(passes))
        chance, whole = passes.capture_probability(value), round(value)
    elif variant == "mle":
        value = passes.best()
        chance, whole = passes.capture_probability(value), _best_whole(passes, value)
    else:
        value, chance = _zippin(passes) if variant == "zippin" else _closed_form(passes, variant)
        value = max(value, float(passes.taken))
        whole = math.floor(value + 0.5)
    if variant == "mle":
        se, chance_se = passes.errors(whole, passes.capture_probability(whole))
    else:
        se, chance_se = passes.errors(value, chance)
    if passes.k == 2 and variant in ("seber", "robson-regier"):
        first, second = passes.catches
        se = first * second * math.sqrt(first + second) / (first - second) ** 2 or None

    notes = []
    if math.isinf(upper) and not reason:
        notes.append("The likelihood of these catches sets no upper limit, so the figure is fragile.")
    if reason:
        notes.append(reason + " The figure is for comparison only; there is nothing to accept.")
        upper = math.inf
    elif variant != "mle" and se is not None and value > passes.taken:
        lower, upper = lognormal_limits(value, se, passes.taken, level)
    if chance < _SMALL_CHANCE:
        notes.append(f"Each pass caught about {chance:.0%} of those there; below 20 % the count is fragile.")
    status = Status.LOW_CONFIDENCE if notes else Status.OK
    if value == passes.taken and not reason:
        status = worst(status, Status.BOUNDED)
        notes.append("By this figure every animal was caught; the lower limit can be no less.")
    return Removal(
        se=se,
        confidence=level,
        method="removal",
        variant=variant,
        capture_probability=chance,
        capture_probability_se=chance_se,
        value_integer=whole,
        **bounded_heads(
            value,
            min(lower, value),
            max(upper, value),
            passes.taken,
            status=status,
            notes=notes,
        ),
    )
