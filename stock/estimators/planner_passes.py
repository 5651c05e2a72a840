"""Before passes that hold out what they catch: how many passes for a wanted precision."""

import math
from dataclasses import dataclass

import numpy as np

from stock.estimators.estimate import check_confidence, check_number
from stock.estimators.passes import Passes
from stock.estimators.passes_over import PassesOver
from stock.estimators.planner_hauls import check_expected, check_half_width

FEWEST_PASSES, MOST_PASSES = 2, 8

_OFTEN = 0.05
_SMALL_CHANCE = 0.2
_FEW_HEADS = {2: 200}
_FEW_HEADS_OTHERWISE = 50


@dataclass(frozen=True)
class PassesRow:
    """
    What so many passes would give.

    Parameters
    ----------
    passes : int
        Number of passes, 2 to 8.
    expected_catches : tuple of float
        Heads expected in each pass.
    expected_catch : float
        Their sum.
    se : float or None
        Standard error of the heads (Seber 1982, equation 7.21); None where the formula gives none.
    half_width : float or None
        Half the width of the limits that a survey's reading would give (those of the profile likelihood)
        if the catches come out as expected, as a share of the heads expected; None where there would be no
        upper limit.
    lower, upper : float or None
        Those limits, in heads.
    chance_no_decline : float
        Chance that the catch does not decline (Seber & Whale 1970), so that there is nothing to accept.
    """

    passes: int
    expected_catches: tuple[float, ...]
    expected_catch: float
    se: float | None
    half_width: float | None
    lower: float | None
    upper: float | None
    chance_no_decline: float


@dataclass(frozen=True)
class PassesPlan:
    """
    The fewest passes that tell the heads as precisely as wanted, and what every number would give.

    Parameters
    ----------
    expected : int
        Heads expected in the pond before the first pass.
    capture_probability : float
        Chance that a head still there is caught in a pass.
    half_width_wanted : float
        Half the width of the interval asked for, as a share of ``expected``.
    passes : int or None
        Passes needed; None where not even 8 reach it (``notes`` say so).
    row : PassesRow or None
        The row of ``rows`` that goes with ``passes``.
    rows : tuple of PassesRow
        One for each number of passes from 2 to 8; empty where nothing can be planned.
    confidence : float
        Two-sided confidence level.
    notes : tuple of str
        Sentences whoever plans must see.
    """

    expected: int
    capture_probability: float
    half_width_wanted: float
    passes: int | None = None
    row: PassesRow | None = None
    rows: tuple[PassesRow, ...] = ()
    confidence: float = 0.95
    notes: tuple[str, ...] = ()

    @property
    def is_reached(self) -> bool:
        """Whether a number of passes gives what was wanted."""
        return self.passes is not None


def chance_no_decline(expected: int, capture_probability: float, passes: int) -> float:
    """
    Return the chance that the catch does not decline enough for an estimate to exist.

    That is P(sum of (k + 1 - 2 i) c_i <= 0) over the catches c_i of k passes. Each head adds the weight
    of the pass that takes it, or 0, so the sum is that of independent equal parts, whose distribution is
    the inverse of the power of their characteristic function: exact, but for a millionth of a millionth.

    References
    ----------
    Seber & Whale (1970), Biometrics 26, 393-400.
    """
    missed = 1 - capture_probability
    weights = np.array([passes + 1 - 2 * place for place in range(1, passes + 1)])
    chances = capture_probability * missed ** np.arange(passes)
    mean = float(weights @ chances)
    deviation = math.sqrt(expected * max(float(weights**2 @ chances) - mean**2, 0.0))
    whole_length = 2 * expected * (passes - 1) + 1
    # Beyond twenty deviations from the mean nothing is left of a sum of so many.
    length = min(whole_length, math.ceil(40 * deviation) + 200 * passes)
    if length < whole_length and expected * mean > 20 * deviation + 100 * passes:
        return 0.0
    turns = 2j * np.pi * np.arange(length) / length
    of_one = np.full(length, missed**passes, dtype=complex)
    for weight, chance in zip(weights.tolist(), chances.tolist(), strict=True):
        of_one += chance * np.exp(turns * weight)
    sums = np.fft.fft(of_one**expected).real / length
    # Place j holds the sums j, j - length, ...; those up to the middle of the window are told apart.
    if length == whole_length:
        below = float(sums[0] + sums[expected * (passes - 1) + 1 :].sum())
    else:
        center = round(expected * mean)
        least = center - length // 2
        below = float(sum(sums[value % length] for value in range(least, 1)))
    return min(max(below, 0.0), 1.0)


def _row(expected: int, chance: float, passes: int, confidence: float) -> PassesRow:
    missed = 1 - chance
    catches = tuple(expected * chance * missed**place for place in range(passes))
    caught = math.fsum(catches)
    left = expected * missed**passes
    se, _ = Passes((0,) * passes).errors(expected, chance)
    lower = float(expected)
    upper: float | None = float(expected)
    if left == 0:
        se = 0.0
    else:
        low, high = PassesOver([catches]).profile_limits(confidence)
        lower, upper = float(low[0]), float(high[0]) if math.isfinite(high[0]) else None
    half = None if upper is None else (upper - lower) / 2 / expected
    return PassesRow(
        passes=passes,
        expected_catches=catches,
        expected_catch=caught,
        se=se,
        half_width=half,
        lower=lower,
        upper=upper,
        chance_no_decline=chance_no_decline(expected, chance, passes),
    )


def passes_plan(
    expected: int, capture_probability: float, *, half_width: float = 0.25, confidence: float = 0.95
) -> PassesPlan:
    """
    Say how many passes that hold out what they catch give a wanted precision.

    Parameters
    ----------
    expected : int
        Heads expected in the pond before the first pass.
    capture_probability : float
        Chance that a head still in the pond is caught in one pass, 0 to 1; the last survey of the pond
        tells it. The larger it is taken, the fewer passes seem enough.
    half_width : float
        Half the width of the interval wanted, as a share of ``expected``.
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    PassesPlan
        The fewest passes, from 2 to 8, whose interval would be as narrow as wanted if the catches come
        out as expected; and a row for every number of passes.

    Raises
    ------
    ValueError
        If a number is impossible.

    References
    ----------
    Zippin (1956), Biometrics 12, 163-189. Seber (1982), The Estimation of Animal Abundance, 2nd edition,
    chapter 7. Bohlin, Hamrin, Heggberget, Rasmussen & Saltveit (1989), Hydrobiologia 173, 9-43 (how few
    heads are too few).
    """
    heads, wanted = check_expected(expected), check_half_width(half_width)
    chance = check_number(capture_probability, "chance of being caught in a pass", low=0, high=1)
    level = check_confidence(confidence)
    if heads == 0 or chance == 0:
        reason = (
            "No head is expected in the pond, so there is nothing to plan."
            if heads == 0
            else "With no chance of being caught no number of passes can tell the heads."
        )
        return PassesPlan(heads, chance, wanted, confidence=level, notes=(reason,))
    rows = tuple(_row(heads, chance, passes, level) for passes in range(FEWEST_PASSES, MOST_PASSES + 1))
    row = next((one for one in rows if one.half_width is not None and one.half_width <= wanted), None)
    return PassesPlan(
        expected=heads,
        capture_probability=chance,
        half_width_wanted=wanted,
        passes=row.passes if row else None,
        row=row,
        rows=rows,
        confidence=level,
        notes=tuple(_notes(heads, chance, wanted, row, rows[-1])),
    )


def _notes(expected: int, chance: float, wanted: float, row: PassesRow | None, last: PassesRow) -> list[str]:
    notes = []
    if row is None:
        best = "no limit upward"
        if last.half_width is not None:
            best = "a half-width larger than the heads themselves"
            if last.half_width <= 1:
                best = f"plus or minus {last.half_width:.1%}"
        notes.append(
            f"No number of passes up to {MOST_PASSES} reaches plus or minus {wanted:.1%}; "
            f"{MOST_PASSES} passes would give {best}. Passes that catch more, or marks, are needed."
        )
    elif row.chance_no_decline > _OFTEN:
        notes.append(
            f"In {row.chance_no_decline:.0%} of such surveys the catch would not decline "
            "and there would be nothing to accept; another pass makes that rarer."
        )
    if chance < _SMALL_CHANCE:
        notes.append("Where a pass catches fewer than 20 % of those there, the count is fragile.")
    if chance == 1:
        notes.append("If every head is caught in the first pass, the second only shows that none is left.")
    few = _FEW_HEADS.get(row.passes if row else last.passes, _FEW_HEADS_OTHERWISE)
    if expected < few and chance < 1:
        notes.append(
            f"Below about {few} heads the standard error of so many passes is itself doubtful; "
            "take the half-width as a rough guide."
        )
    return notes
