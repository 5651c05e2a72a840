"""Heads of a pond from catch per unit of effort falling as animals are taken out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from stock.estimators.estimate import Status, check_choice, check_confidence, check_counts, check_number
from stock.estimators.limits import HeadCount, bounded_heads

VARIANTS = ("leslie", "delury")
_ON_THE_LINE = 1e-12


@dataclass(frozen=True)
class CatchEffort(HeadCount):
    """Heads before the first catch; ``catchability`` is the share taken by one unit of effort."""

    catchability: float | None = None


@dataclass(frozen=True)
class _Line:
    """A straight line by least squares through ``n`` points, with its mean point and its scatter."""

    n: int
    slope: float
    mean_x: float
    mean_y: float
    spread_x: float
    variance: float | None

    @property
    def at_zero(self) -> float:
        return self.mean_y - self.slope * self.mean_x


def _fit(x: Any, y: Any) -> _Line | None:
    """Return the line, or None where all x are the same or there are fewer than two points."""
    n = len(x)
    if n < 2 or np.ptp(x) == 0:
        return None
    off_x, off_y = x - x.mean(), y - y.mean()
    spread_x = float(off_x @ off_x)
    slope = float(off_x @ off_y) / spread_x
    left_over = off_y - slope * off_x
    rest = float(left_over @ left_over)
    # Points on the line by chance leave nothing to judge the scatter by.
    has_scatter = n > 2 and rest > _ON_THE_LINE * float(y @ y)
    return _Line(
        n, slope, float(x.mean()), float(y.mean()), spread_x, rest / (n - 2) if has_scatter else None
    )


def _fieller(line: _Line, variance: float, confidence: float) -> tuple[float, float]:
    """
    Return Fieller's limits of where the line meets 0.

    They are the roots d of A d^2 - 2 q y d + y^2 - t^2 s^2 / n = 0, from the mean catch on, with
    A = q^2 - t^2 s^2 / Sxx; without an upper root (A <= 0) the upper limit is infinite.
    """
    t = float(stats.t.ppf((1 + confidence) / 2, line.n - 2))
    noise = t * t * variance
    leading = line.slope**2 - noise / line.spread_x
    middle = -line.slope * line.mean_y
    last = line.mean_y**2 - noise / line.n
    inside = middle**2 - leading * last
    if inside < 0:
        return -math.inf, math.inf
    lower = line.mean_x + last / (middle + math.sqrt(inside))
    return lower, line.mean_x + (middle + math.sqrt(inside)) / leading if leading > 0 else math.inf


def catch_effort(
    catches: Sequence[int],
    efforts: Sequence[float],
    *,
    variant: str = "leslie",
    half_catch: bool = False,
    confidence: float = 0.95,
) -> CatchEffort:
    """
    Estimate the heads of a closed pond from catches that were taken out, and the effort of each.

    Parameters
    ----------
    catches : sequence of int
        Animals taken out each time, in order.
    efforts : sequence of float
        Effort of each time, above 0, in any one unit (hauls, trap-nights).
    variant : {"leslie", "delury"}
        "leslie" lays catch per effort on a line over the catch taken before; "delury" lays its
        logarithm over the effort spent before.
    half_catch : bool
        Add half of the current catch ("delury": effort) to what went before (Ricker).
    confidence : float
        Two-sided confidence level.

    Returns
    -------
    CatchEffort
        Heads before the first catch, with ``catchability``. Leslie has a standard error and Fieller's
        limits, the upper of which may be infinite (``low_confidence``); DeLury has the point only, and
        leaves out times without a catch. Fewer than three times, or all on one line by chance: no
        limits and ``low_confidence``. If catch per effort did not fall there is no estimate. Fewer
        heads than were taken: ``bounded``.

    Raises
    ------
    ValueError
        If an effort is 0 or less, or the catches and efforts are not as many.

    References
    ----------
    Leslie & Davis (1939), J. Animal Ecology 8, 94-113. DeLury (1947), Biometrics 3, 145-167. Ricker
    (1975), Bulletin of the Fisheries Research Board of Canada 191, chapter 6.
    """
    check_choice(variant, VARIANTS, "variant")
    level = check_confidence(confidence)
    taken = check_counts(catches, "catches")
    spent = tuple(
        check_number(effort, f"efforts, number {place}") for place, effort in enumerate(efforts, start=1)
    )
    if len(taken) != len(spent):
        raise ValueError(f"efforts: {len(spent)} efforts for {len(taken)} catches; each catch needs one.")
    for place, amount in enumerate(spent, start=1):
        if amount <= 0:
            raise ValueError(f"efforts, number {place}: {amount:g} is no effort; it must be above 0.")
    total = sum(taken)
    catch, effort = np.array(taken, dtype=float), np.array(spent, dtype=float)
    step = catch if variant == "leslie" else effort
    before = np.cumsum(step) - (step / 2 if half_catch else step)
    rate = catch / effort
    notes: list[str] = []
    if variant == "delury":
        caught = catch > 0
        if not caught.all():
            notes.append(f"{int((~caught).sum())} without a catch left out: DeLury's logarithm takes none.")
        before, rate = before[caught], np.log(rate[caught])

    line = _fit(before, rate)
    if line is None or line.slope >= 0:
        too_few = "Too few catches to see whether catch per effort fell."
        return CatchEffort(
            lower=float(total),
            upper=math.inf,
            confidence=level,
            method="catch and effort",
            variant=variant,
            status=Status.NO_ESTIMATE,
            notes=(
                *notes,
                too_few if line is None else "Catch per effort did not fall as animals were taken out.",
            ),
            known_alive=total,
        )
    catchability = -line.slope
    status = Status.OK
    se = lower = upper = None
    if variant == "delury":
        # Beyond what a float holds the line is as good as level.
        value = math.exp(min(line.at_zero, 700.0)) / catchability
        notes.append("DeLury's figure has no standard error and no limits.")
    else:
        value = line.at_zero / catchability
        if line.variance is None:
            notes.append("Fewer than three catches, or all on one line by chance, so there are no limits.")
            status = Status.LOW_CONFIDENCE
        else:
            relative = 1 / line.n + (value - line.mean_x) ** 2 / line.spread_x
            se = math.sqrt(line.variance * relative) / catchability
            lower, upper = _fieller(line, line.variance, level)
            if math.isinf(upper):
                notes.append("The catches set no upper limit.")
                status = Status.LOW_CONFIDENCE
    return CatchEffort(
        se=se,
        confidence=level,
        method="catch and effort",
        variant=variant,
        catchability=catchability,
        **bounded_heads(
            value,
            None if lower is None else max(lower, 0.0),
            upper,
            total,
            status=status,
            notes=notes,
        ),
    )
