"""What a female gives in each pond of a whole-farm plan, and how far the eggs that a plan adds are known."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stock.advisor.eggs_a_female import EggsAFemale, eggs_a_female
from stock.advisor.farm_plan import FarmPlan
from stock.advisor.hierarchy import Hierarchy, Point
from stock.advisor.season_learning import YieldsLearnt
from stock.estimators.estimate import check_confidence


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

    All places are drawn together: two ponds of a kind share the doubt about the kind's level, and all share good and
    bad seasons, whether they ever laid or not, so that what is not known of both is not counted against a move
    between them.

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
    unknown = [kinds[place] for place, row in enumerate(rows) if row is None]
    drawn = eggs_a_female(_with_any_ponds(learnt, unknown), seasons=seasons, draws=draws, rng=rng)
    added = iter(range(len(learnt.kinds), len(learnt.kinds) + len(unknown)))
    at = [next(added) if row is None else row for row in rows]
    return EggsAFemale(drawn.mean[at], drawn.draws[at])


def _with_any_ponds(learnt: YieldsLearnt, kinds: Sequence[Any]) -> YieldsLearnt:
    """Return what was learnt with a pond more for each kind named, of which nothing is known but its kind."""
    if not kinds:
        return learnt
    known = list(dict.fromkeys(learnt.kinds))
    if missing := [kind for kind in kinds if kind not in known]:
        raise ValueError(f"kinds: nothing was learnt of {missing[0]}.")
    places = np.array([known.index(kind) for kind in kinds])
    nests, eggs, hatch = (
        replace(figure, hierarchy=_with_ponds(figure.hierarchy, places))
        for figure in (learnt.nests, learnt.eggs, learnt.hatch)
    )
    return replace(learnt, nests=nests, eggs=eggs, hatch=hatch)


def _with_ponds(found: Hierarchy, kinds: NDArray[np.int64]) -> Hierarchy:
    """Add ponds without a season to levels: they are at their kind's level, give or take what ponds differ by."""
    none = np.zeros(len(kinds))
    points = tuple(_point_with(point, len(kinds)) for point in found.points)
    apart = sum(point.weight * float(point.spreads[0]) ** 2 for point in found.points)
    level, doubt = found.kind_mean[kinds], found.kind_sd[kinds]
    return replace(
        found,
        kind_of=np.append(found.kind_of, kinds),
        points=points,
        mean=np.append(found.mean, level),
        sd=np.append(found.sd, np.sqrt(doubt**2 + apart)),
        # What a level was put together from is not asked of them.
        own=np.append(found.own, none),
        kind=np.append(found.kind, level),
        published=np.append(found.published, none),
        own_share=np.append(found.own_share, none),
        kind_share=np.append(found.kind_share, none + 1),
        published_share=np.append(found.published_share, none),
    )


def _point_with(point: Point, ponds: int) -> Point:
    none = np.zeros(ponds)
    return replace(
        point,
        pond_precision=np.append(point.pond_precision, none + 1 / float(point.spreads[0]) ** 2),
        pond_sum=np.append(point.pond_sum, none),
        carried=np.vstack([point.carried, np.zeros((ponds, point.carried.shape[1]))]),
        own=np.append(point.own, none),
        own_share=np.append(point.own_share, none),
    )


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
