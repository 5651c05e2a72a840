"""Before two hauls with marks: how many to mark and to catch for a wanted precision."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, special, stats

from stock.estimators.drawn import Array
from stock.estimators.estimate import check_confidence, check_count, check_number
from stock.estimators.limits import FEW_RECAPTURES
from stock.estimators.marked_sexes import Marks, chapman, limits

MOST_PLANNED = 1_000_000
"""The largest pond a survey is planned for."""

_RANGE = 0.9
_MORE_THAN_EXPECTED = 1.5
_HARDLY_LESS_THAN_ALL = 0.8
_GRID = 1000
_SLACK = 1e-9


@dataclass(frozen=True)
class HaulsPlan:
    """
    Two hauls with marks, as they would go in a pond that holds the heads expected.

    Parameters
    ----------
    expected : int
        Heads expected in the pond.
    marked, caught : int or None
        Heads to mark in the first haul (or marked already), and to catch in the second. None where no
        number reaches what was wanted; ``is_reached`` is then False and ``notes`` say why.
    half_width_wanted : float or None
        Half the width of the interval asked for, as a share of ``expected``; None where only the
        precision of given hauls was asked for.
    half_width : float or None
        Half the width of the limits that a survey's reading would give if as many are recaptured as
        expected, as a share of ``expected``; None where there would be no upper limit.
    lower, upper : float or None
        Those limits, in heads.
    expected_recaptures : float or None
        Marked x caught / expected.
    recaptures_low, recaptures_high : int or None
        Between these the recaptures fall in nine surveys of ten.
    chance_few : float or None
        Chance that fewer than 7 are recaptured, which weakens the count.
    chance_within : float or None
        Chance that the estimate comes out within ``half_width_wanted`` of the heads there are.
    robson_regier : int or None
        What Robson and Regier's rule gives for the same: the equal number to mark and to catch, or the
        number to catch where the marked are given.
    is_reached : bool
        Whether the plan gives what was wanted.
    confidence : float
        Two-sided confidence level.
    notes : tuple of str
        Sentences whoever plans must see.
    """

    expected: int
    marked: int | None = None
    caught: int | None = None
    half_width_wanted: float | None = None
    half_width: float | None = None
    lower: float | None = None
    upper: float | None = None
    expected_recaptures: float | None = None
    recaptures_low: int | None = None
    recaptures_high: int | None = None
    chance_few: float | None = None
    chance_within: float | None = None
    robson_regier: int | None = None
    is_reached: bool = False
    confidence: float = 0.95
    notes: tuple[str, ...] = ()


def check_expected(expected: Any) -> int:
    """
    Return the heads expected as an int.

    Raises
    ------
    ValueError
        If they are not a count, or more than a million.
    """
    heads = check_count(expected, "expected heads")
    if heads > MOST_PLANNED:
        raise ValueError(
            f"expected heads: {heads} is more than a survey is planned for; the most is {MOST_PLANNED}."
        )
    return heads


def check_half_width(half_width: Any) -> float:
    """
    Return a wanted half-width as a float.

    Raises
    ------
    ValueError
        If it is not a share from 0 to 1.
    """
    share = check_number(half_width, "half-width wanted", low=0)
    if share > 1:
        raise ValueError(
            f"half-width wanted: {half_width} is more than the heads themselves; "
            "give a share, such as 0.25 for plus or minus 25 %."
        )
    return share


def expected_limits(expected: int, marked: Array, caught: Array, confidence: float) -> tuple[Array, Array]:
    """
    Return the headline's limits of pairs of hauls if as many are recaptured as expected.

    Where that is not a whole number they lie between those of the two whole numbers beside it.
    """
    seen = marked * caught / expected
    fewer = np.floor(seen + _SLACK)
    more = np.minimum(fewer + 1, np.minimum(marked, caught))
    at_fewer, at_more = (_limits_at(marked, caught, whole, confidence) for whole in (fewer, more))
    # Where every head is handled more than expected cannot come.
    portion = np.where(more > fewer, np.clip(seen - fewer, 0, 1), 0.0)
    with np.errstate(invalid="ignore"):
        lower, upper = (
            np.where(portion > 0, (1 - portion) * one + portion * other, one)
            for one, other in zip(at_fewer, at_more, strict=True)
        )
    return lower, upper


def _limits_at(marked: Array, caught: Array, seen: Array, confidence: float) -> tuple[Array, Array]:
    marks = Marks.of(marked, caught, seen)
    lower, upper, _ = limits(marks, *chapman(marks), confidence)
    known = marks.known(1.0)
    return np.maximum(lower, known), np.maximum(upper, known)


def _half_widths(expected: int, marked: Array, caught: Array, confidence: float) -> Array:
    """Return for each pair of hauls half the width of the headline's limits as a share of ``expected``."""
    lower, upper = expected_limits(expected, marked, caught, confidence)
    widths: Array = (upper - lower) / 2 / expected
    # Fewer recaptures than the rule of thumb asks for are no plan.
    return np.where(marked * caught < FEW_RECAPTURES * expected, math.inf, widths)


def _first_narrow(expected: int, marked: int | None, wanted: float, confidence: float) -> int | None:
    """
    Return the least number to catch (and to mark, where that is not given) that is precise enough.

    Looked for on a grid, then between two of its points: so a finer precision can never come out with
    fewer. None where not even catching every head is.
    """
    low, high = 1, expected
    while True:
        step = max(1, math.ceil((high - low) / _GRID))
        numbers = np.append(np.arange(low, high, step, dtype=float), float(high))
        given = numbers if marked is None else np.full(numbers.size, float(marked))
        widths = _half_widths(expected, given, numbers, confidence)
        enough = np.flatnonzero(widths <= wanted + _SLACK)
        if not enough.size:
            return None
        high = int(numbers[enough[0]])
        if enough[0] == 0 or step == 1:
            return high
        low = int(numbers[enough[0] - 1]) + 1


def robson_regier_ratio(accuracy: float, confidence: float = 0.95) -> float:
    """
    Return D, the ratio that two hauls must reach, by Robson and Regier's rule.

    D = M C (N - 1) / ((N - M) (N - C)) is the square of the mean recaptures over their standard
    deviation. With a normal number of recaptures Petersen's estimate lies within ``accuracy`` of the
    truth with probability ``confidence`` where D is as returned.

    References
    ----------
    Robson & Regier (1964), Trans. American Fisheries Society 93, 215-226. Seber (1982), The Estimation of
    Animal Abundance, 2nd edition, section 3.1.5.
    """

    def excess(root: float) -> float:
        above = special.ndtr(root * accuracy / (1 - accuracy)) if accuracy < 1 else 1.0
        return float(above - special.ndtr(-root * accuracy / (1 + accuracy))) - confidence

    return float(optimize.brentq(excess, 1e-9, 40 / accuracy)) ** 2


def _robson_regier(expected: int, marked: int | None, accuracy: float, confidence: float) -> int | None:
    """Return the number to catch (and to mark, where that is not given) by Robson and Regier's rule."""
    if accuracy < 1 / MOST_PLANNED:
        return expected
    ratio = robson_regier_ratio(accuracy, confidence)
    if marked is None:
        return math.ceil(expected / (math.sqrt((expected - 1) / ratio) + 1))
    if marked in (0, expected):
        return None
    return math.ceil(expected / (marked * (expected - 1) / ((expected - marked) * ratio) + 1))


def _chance_within(expected: int, marked: int, caught: int, accuracy: float) -> float:
    """Return the exact chance that Chapman's estimate lies within ``accuracy`` of ``expected``."""
    both = (marked + 1) * (caught + 1)
    fewest = math.ceil(both / (expected * (1 + accuracy) + 1) - 1 - _SLACK)
    most = math.floor(min(both / (expected * (1 - accuracy) + 1) - 1, marked) + _SLACK)
    seen = stats.hypergeom(expected, marked, caught)
    return float(max(seen.cdf(most) - seen.cdf(fewest - 1), 0.0))


def _described(
    expected: int, marked: int, caught: int, wanted: float | None, confidence: float
) -> dict[str, Any]:
    """Return the fields of a `HaulsPlan` that tell how given hauls would go."""
    pair = (np.array([float(marked)]), np.array([float(caught)]))
    lower, upper = (float(limit[0]) for limit in expected_limits(expected, *pair, confidence))
    seen = stats.hypergeom(expected, marked, caught)
    has_upper = math.isfinite(upper)
    return {
        "half_width": (upper - lower) / 2 / expected if has_upper else None,
        "lower": lower,
        "upper": upper if has_upper else None,
        "expected_recaptures": marked * caught / expected,
        "recaptures_low": int(seen.ppf((1 - _RANGE) / 2)),
        "recaptures_high": int(seen.ppf((1 + _RANGE) / 2)),
        "chance_few": float(seen.cdf(FEW_RECAPTURES - 1)),
        "chance_within": None if wanted is None else _chance_within(expected, marked, caught, wanted),
    }


def _notes(expected: int, marked: int, caught: int, confidence: float, chance_few: float) -> list[str]:
    """Return what holds of any two hauls."""
    notes = []
    recaptures = marked * caught / expected
    if recaptures < FEW_RECAPTURES:
        notes.append(
            f"About {recaptures:.1f} recaptures are to be expected; with fewer than "
            f"{FEW_RECAPTURES} the count is off by more than chance."
        )
    elif caught > _HARDLY_LESS_THAN_ALL * expected:
        notes.append(
            f"{caught} of {expected} heads are to be caught; drawing the pond down is hardly more work."
        )
    elif chance_few > 0.05:
        notes.append(
            f"Fewer than {FEW_RECAPTURES} would be recaptured in {chance_few:.0%} of such surveys; "
            "the count is then off by more than chance."
        )
    more = round(expected * _MORE_THAN_EXPECTED)
    if caught < expected and marked < expected:
        half = _described(more, marked, caught, None, confidence)["half_width"]
        told = "these hauls would set no upper limit."
        if half is not None:
            told = f"these hauls would tell them to plus or minus {half:.0%}."
        notes.append(f"The heads expected are a guess: should {more} stand there, {told}")
    return notes


def hauls_plan(
    expected: int, *, half_width: float = 0.25, marked: int | None = None, confidence: float = 0.95
) -> HaulsPlan:
    """
    Say how many heads to mark and to catch so that two hauls give a wanted precision.

    Parameters
    ----------
    expected : int
        Heads expected in the pond: book, last count or guess. Where in doubt, the larger figure is safer.
    half_width : float
        Half the width of the interval wanted, as a share of ``expected`` (0.25: plus or minus 25 %).
    marked : int, optional
        Heads that carry marks already; then only the number to catch is looked for. Without it, the
        least number to mark and, equal to it, to catch, which is the fewest heads handled in all.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    HaulsPlan
        The least number for which the limits that a survey's reading gives (exact below 30 recaptures
        or 200 heads, else log-normal in the heads not seen) are as narrow as wanted, if as many are
        recaptured as expected. At least 7 recaptures must be expected. In a small pond, or for a fine
        precision, no number is enough, for two hauls that catch every head do not show that they did.
        With recaptures as chance has them about half of such surveys come out a little wider and half a
        little narrower.

    Raises
    ------
    ValueError
        If a number is impossible, or more heads are marked than are expected.

    References
    ----------
    Chapman (1951), Univ. California Publ. Statistics 1, 131-160. Seber (1970), Biometrics 26, 13-22.
    Chao (1987), Biometrics 43, 783-791. Robson & Regier (1964), Trans. American Fisheries Society 93,
    215-226.
    """
    heads, wanted = check_expected(expected), check_half_width(half_width)
    level = check_confidence(confidence)
    known = None if marked is None else _check_marked(marked, heads)
    stated = HaulsPlan(heads, known, half_width_wanted=wanted, confidence=level)
    if heads == 0:
        return _without_plan(stated, "No head is expected in the pond, so there is nothing to plan.")
    if known == 0:
        return _without_plan(stated, "No marked head is at large, so a catch alone cannot tell the heads.")
    caught = _first_narrow(heads, known, wanted, level)
    if caught is None:
        return _without_plan(stated, _out_of_reach(heads, known, wanted, level))
    at_large = caught if known is None else known
    told = _described(heads, at_large, caught, wanted, level)
    return HaulsPlan(
        expected=heads,
        marked=at_large,
        caught=caught,
        half_width_wanted=wanted,
        robson_regier=_robson_regier(heads, known, wanted, level),
        is_reached=True,
        confidence=level,
        notes=tuple(_notes(heads, at_large, caught, level, told["chance_few"])),
        **told,
    )


def hauls_precision(
    expected: int,
    marked: int,
    caught: int,
    *,
    half_width: float | None = None,
    confidence: float = 0.95,
) -> HaulsPlan:
    """
    Say how precisely given hauls would tell the heads of a pond.

    Parameters
    ----------
    expected : int
        Heads expected in the pond.
    marked, caught : int
        Heads that will carry marks, and heads that will be caught in the second haul.
    half_width : float, optional
        A wanted half-width as a share of ``expected``; ``chance_within`` and ``is_reached`` are told
        against it.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    HaulsPlan
        With ``half_width`` None where nothing is marked or nothing caught.

    Raises
    ------
    ValueError
        If a number is impossible, or more are marked or caught than are expected.
    """
    heads, level = check_expected(expected), check_confidence(confidence)
    wanted = None if half_width is None else check_half_width(half_width)
    at_large, drawn = _check_marked(marked, heads), check_count(caught, "caught")
    if drawn > heads:
        raise ValueError(f"caught: {drawn} cannot be caught of {heads} expected; raise the heads expected.")
    stated = HaulsPlan(heads, at_large, drawn, half_width_wanted=wanted, confidence=level)
    if not (at_large and drawn):
        missing = "No marked head is at large" if not at_large else "Nothing is caught"
        return _without_plan(stated, f"{missing}, so the heads cannot be told.", keeps_hauls=True)
    told = _described(heads, at_large, drawn, wanted, level)
    return HaulsPlan(
        expected=heads,
        marked=at_large,
        caught=drawn,
        half_width_wanted=wanted,
        is_reached=wanted is not None and (told["half_width"] or math.inf) <= wanted + _SLACK,
        confidence=level,
        notes=tuple(_notes(heads, at_large, drawn, level, told["chance_few"])),
        **told,
    )


def _check_marked(marked: Any, expected: int) -> int:
    at_large = check_count(marked, "marked")
    if at_large > expected:
        raise ValueError(
            f"marked: {at_large} carry marks but only {expected} heads are expected; "
            "raise the heads expected, or take off the marks of heads that left the pond."
        )
    return at_large


def _out_of_reach(expected: int, marked: int | None, wanted: float, confidence: float) -> str:
    at_large = expected if marked is None else marked
    if at_large < FEW_RECAPTURES:
        return (
            f"With {at_large} marked there cannot be {FEW_RECAPTURES} recaptures, and with fewer the count is off "
            "by more than chance. Mark more, or draw the pond down and count them."
        )
    half = _described(expected, at_large, expected, None, confidence)["half_width"]
    return (
        f"Two hauls cannot tell the heads to plus or minus {wanted:.1%}: even if every head were caught, "
        f"nobody would know that it was, and {half:.1%} would be left. Draw the pond down and count them."
    )


def _without_plan(stated: HaulsPlan, reason: str, *, keeps_hauls: bool = False) -> HaulsPlan:
    return HaulsPlan(
        stated.expected,
        stated.marked,
        stated.caught if keeps_hauls else None,
        half_width_wanted=stated.half_width_wanted,
        confidence=stated.confidence,
        notes=(reason,),
    )
