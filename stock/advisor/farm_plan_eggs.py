"""What a female gives in each pond of a whole-farm plan, and how far the eggs that a plan adds are known."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from stock.advisor.eggs_a_female import EggsAFemale, eggs_a_female
from stock.advisor.families import Floats
from stock.advisor.farm_plan import FarmPlan
from stock.advisor.season_learning import YieldsLearnt
from stock.estimators.estimate import check_confidence

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


def eggs_of_places(
    learnt: YieldsLearnt,
    rows: Sequence[int | None],
    kinds: Sequence[Any],
    *,
    seasons: int,
    draws: int,
    rng: int,
) -> EggsAFemale:
    """
    Return hatched eggs of a settled female and season in each place of a plan.

    Parameters
    ----------
    learnt : YieldsLearnt
    rows : sequence of int or None
        Row of ``learnt`` of each place; None where nobody ever laid: such a pond is taken for any pond of its kind.
    kinds : sequence
        Kind of each place, all of them among those of ``learnt``.
    seasons, draws : int
        Seasons ahead that a draw is the mean of, and how many are drawn.
    rng : int
        Seed.

    Raises
    ------
    ValueError
        If a place without a row is of a kind that was not learnt.
    """
    of_ponds = eggs_a_female(learnt, seasons=seasons, draws=draws, rng=rng)
    generator = np.random.default_rng(rng + 1)
    mean, drawn = np.zeros(len(rows)), np.zeros((len(rows), draws))
    for place, row in enumerate(rows):
        if row is not None:
            mean[place], drawn[place] = of_ponds.mean[row], of_ponds.draws[row]
            continue
        mean[place], drawn[place] = _any_pond(learnt, kinds[place], draws, generator)
    return EggsAFemale(mean, drawn)


def _any_pond(
    learnt: YieldsLearnt, kind: Any, draws: int, generator: np.random.Generator
) -> tuple[float, Floats]:
    """Return mean and draws of a pond of which nothing is known but its kind."""
    if kind not in learnt.kinds:
        raise ValueError(f"kinds: nothing was learnt of {kind}.")
    at = list(dict.fromkeys(learnt.kinds)).index(kind)
    mean, drawn = 1.0, np.ones(draws)
    for figure in (learnt.nests, learnt.eggs, learnt.hatch):
        found = figure.hierarchy
        level, doubt = float(found.kind_mean[at]), float(found.kind_sd[at])
        apart = math.fsum(point.weight * float(point.spreads[0]) ** 2 for point in found.points)
        spread = math.sqrt(doubt**2 + apart)
        season = math.hypot(figure.season_spread, figure.rest_spread)
        knots = level + math.hypot(spread, season) * _NODES
        mean *= float(figure.family.inverse(knots) @ _WEIGHTS) / math.sqrt(2 * math.pi)
        drawn *= figure.family.inverse(generator.normal(level, spread, draws))
    # Rounded as those of the ponds are, and set to the mean.
    mean = round(mean, 9)
    return mean, drawn * (mean / float(drawn.mean()))


def eggs_gained(plan: FarmPlan, eggs: EggsAFemale, *, confidence: float = 0.9) -> tuple[float, float, float]:
    """
    Return the eggs that a plan adds to those without any move: low limit, mean, high limit.

    Parameters
    ----------
    plan : FarmPlan
        Of which the eggs of each stock are known (``eggs_by_place``).
    eggs : EggsAFemale
        One row a stock: the eggs of its females go up and down with its draws.
    confidence : float
        Two-sided confidence level of the limits, which hold the doubt about the ponds' yields alone.

    Raises
    ------
    ValueError
        If the plan tells no eggs, or the rows are not those of its stocks.
    """
    level = check_confidence(confidence)
    changes = np.array([after - before for before, after in plan.eggs_by_place])
    if eggs.mean.shape != changes.shape:
        raise ValueError(f"eggs: {len(eggs.mean)} rows were given for {len(changes)} stocks with eggs.")
    if not len(changes):
        return 0.0, 0.0, 0.0
    means = eggs.mean[:, np.newaxis]
    by_draw = changes @ np.divide(eggs.draws, means, out=np.ones_like(eggs.draws), where=means > 0)
    low, high = np.quantile(by_draw, [(1 - level) / 2, (1 + level) / 2]).tolist()
    return low, float(changes.sum()), high
