"""
Levels of many ponds learnt over seasons: pond drawn toward kind, kind toward a published range.

On a linking scale (logarithm for nests and eggs, log odds for shares) the level of pond i of kind k in
season t is m_k + u_i + s_t + e_it. The kind's m_k starts from the published range; ponds u_i differ with
spread ``pond``; a season s_t is good or bad for the whole farm with spread ``season``; e_it, spread ``rest``,
is what one pond does in one season beyond that. The three spreads are learnt along with the levels.
"""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, special

from stock.advisor.families import Family, Floats, Kept

Places = NDArray[np.int64]

_ROUNDS, _STEPS, _CLOSE = 3, 60, 1e-9
_REACH = 12.0
_HALF_STEP = 0.1
# A spread is learnt up to so many times what was stated, and down to as small a part of it.
_MOST_TIMES = 4.0
# Three points of Gauss and Hermite along each spread, in standard deviations, and their weights.
_KNOTS, _KNOT_WEIGHTS = (-np.sqrt(3.0), 0.0, np.sqrt(3.0)), (1 / 6, 2 / 3, 1 / 6)


@dataclass(frozen=True)
class Spreads:
    """
    How far levels differ, as standard deviations on the linking scale, before anything is learnt.

    Parameters
    ----------
    pond : float
        Between ponds of a kind.
    season : float
        Between seasons of the whole farm: good and bad years.
    rest : float
        Between seasons of one pond beyond that.
    doubt : float
        Standard deviation of the natural logarithm of each of the three, which is cut off at four times
        and at a quarter: a season without any nest must not make all seasons look wild.
    """

    pond: float
    season: float
    rest: float
    doubt: float = 0.7


@dataclass(frozen=True)
class Point:
    """The levels under one choice of the three spreads, and the weight of that choice."""

    weight: float
    spreads: Floats
    common: Floats
    common_root: Floats
    pond_precision: Floats
    pond_sum: Floats
    carried: Floats
    own: Floats
    own_share: Floats
    kind_value: Floats
    published_share: Floats
    published_seasons: Floats
    log_chance: float = 0.0


@dataclass(frozen=True)
class Hierarchy:
    """
    What was learnt: levels and spreads as a mixture over choices of the spreads.

    Attributes
    ----------
    mean, sd : array, shape (ponds,)
        Of each pond's level m_k + u_i.
    kind_mean, kind_sd : array, shape (kinds,)
        Of each kind's level m_k.
    own, kind, published : array, shape (ponds,)
        What the pond's seasons, those of all ponds of the kind, and the published range say, season by
        season set to a middling one.
    own_share, kind_share, published_share : array, shape (ponds,)
        How much of the mean comes from each; they add up to 1, and the mean is their sum of products.
    published_seasons : array, shape (kinds,)
        Seasons of a pond that the published range counts as much as.
    spreads : array, shape (3,)
        Learnt spread of ponds, seasons and the rest.
    season_effects : array, shape (seasons,)
        How good each season was for the whole farm.
    """

    kind_of: Places
    points: tuple[Point, ...]
    mean: Floats
    sd: Floats
    kind_mean: Floats
    kind_sd: Floats
    own: Floats
    kind: Floats
    published: Floats
    own_share: Floats
    kind_share: Floats
    published_share: Floats
    published_seasons: Floats
    spreads: Floats
    season_effects: Floats

    def draw(self, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
        """
        Draw a coming season.

        Returns
        -------
        levels : array, shape (ponds, draws)
            m_k + u_i.
        season : array, shape (draws,)
            The farm-wide effect of a season not seen yet.
        rest : array, shape (ponds, draws)
            What each pond does beyond it.
        """
        chances = np.array([point.weight for point in self.points])
        counts = rng.multinomial(draws, chances)
        ponds, kinds = len(self.kind_of), len(self.kind_mean)
        levels, season, rest = np.empty((ponds, draws)), np.empty(draws), np.empty((ponds, draws))
        begun = 0
        for point, count in zip(self.points, counts.tolist(), strict=True):
            if not count:
                continue
            part = slice(begun, begun + count)
            begun += count
            noise = mirrored(rng, len(point.common), count)
            # Inverted once: solving for thousands of columns starts threads that cost more than the sum.
            spread = linalg.solve_triangular(
                point.common_root, np.eye(len(point.common)), lower=True, trans="T"
            )
            common = point.common[:, np.newaxis] + spread @ noise
            precision = point.pond_precision[:, np.newaxis]
            own = (point.pond_sum[:, np.newaxis] - point.carried @ common) / precision
            own += mirrored(rng, ponds, count) / np.sqrt(precision)
            levels[:, part] = common[:kinds][self.kind_of] + own
            season[part] = point.spreads[1] * mirrored(rng, 1, count)[0]
            rest[:, part] = point.spreads[2] * mirrored(rng, ponds, count)
        # Draws lie point by point; mixed, so that draws of several figures can be put side by side.
        order = rng.permutation(draws)
        return levels[:, order], season[order], rest[:, order]


def mirrored(rng: np.random.Generator, rows: int, count: int) -> Floats:
    """
    Return standard normal draws, shape (rows, count), the second half those of the first with their signs turned.

    Means of what rises with a draw come out far steadier so (antithetic variates, Hammersley & Morton 1956, Proc.
    Camb. Phil. Soc. 52:449): a forecast should not move because a row of another pond was booked.
    """
    half = rng.standard_normal((rows, -(-count // 2)))
    return np.hstack([half, -half])[:, :count]


@dataclass(frozen=True)
class Problem:
    """All that does not change while spreads are tried."""

    kept: Kept
    kind_of: Places
    published: Floats
    published_sd: Floats
    published_weight: float | None

    @property
    def kinds(self) -> int:
        return len(self.published)

    def published_variance(self, spreads: Floats) -> Floats:
        """Return the variance of the published range, from its width or from the seasons it is to weigh."""
        if self.published_weight is None:
            return self.published_sd**2
        return np.full(self.kinds, float(spreads @ spreads) / self.published_weight)


def learn_hierarchy(
    kept: Kept,
    kind_of: Places,
    published: Floats,
    published_sd: Floats,
    *,
    family: Family,
    spreads: Spreads,
    published_weight: float | None = None,
) -> Hierarchy:
    """
    Learn the levels of ponds, kinds and seasons, and how far they differ.

    Counts are Poisson (``log``) or binomial (``logit``) about their level; each is turned into a working
    level with a precision at the likeliest levels, and the rest is exact: all levels are normal given the
    three spreads, which are averaged over (27 choices about the likeliest ones, weighted by how likely
    each makes what was kept). A season that counts w adds w times its log chance.

    Parameters
    ----------
    kept : Kept
        Tables of shape (ponds, seasons).
    kind_of : array of int, shape (ponds,)
        Place of each pond's kind.
    published, published_sd : array, shape (kinds,)
        Level and standard deviation of the published range.
    family : Family
        How counts come about.
    spreads : Spreads
        The spreads before anything is learnt.
    published_weight : float, optional
        Seasons of a pond that the published range is to count as much as; by default its width decides.

    References
    ----------
    Breslow & Clayton (1993), JASA 88, 9-25 (working levels). Rue, Martino & Chopin (2009), J. R. Stat.
    Soc. B 71, 319-392 (averaging over the spreads). Ibrahim & Chen (2000), Statistical Science 15, 46-60
    (weights on what was seen long ago).
    """
    problem = Problem(kept, kind_of, published, published_sd, published_weight)
    centre = np.log([spreads.pond, spreads.season, spreads.rest])
    logs = centre.copy()
    levels, precision = family.start(kept)
    for number in range(_ROUNDS):
        levels, precision = _settle_levels(problem, family, np.exp(logs), levels, precision)
        loss = partial(
            _loss, problem=problem, levels=levels, precision=precision, centre=centre, prior=spreads
        )
        found = optimize.minimize(
            loss, logs, method="Nelder-Mead", options={"xatol": 0.02, "fatol": 0.005, "maxiter": 200}
        )
        moved = float(np.abs(found.x - logs).max())
        logs = found.x
        if number and moved < _HALF_STEP:
            break
    # Derivatives are taken, and averages laid out, within the bounds.
    most = float(np.log(_MOST_TIMES))
    hessian = _bend(loss, np.clip(logs, centre - most + 2 * _HALF_STEP, centre + most - 2 * _HALF_STEP))
    return _average(problem, levels, precision, loss, logs, hessian, (centre - most, centre + most))


def _settle_levels(
    problem: Problem, family: Family, spreads: Floats, levels: Floats, precision: Floats
) -> tuple[Floats, Floats]:
    """Return working levels and precisions about the likeliest levels under the spreads given."""
    extra = spreads[2] ** 2 + problem.kept.doubt**2
    kinds = problem.kinds
    for _ in range(_STEPS):
        point = solve_levels(problem, spreads, levels, precision)
        own = (point.pond_sum - point.carried @ point.common) / point.pond_precision
        fitted = (point.common[problem.kind_of] + own)[:, np.newaxis] + point.common[np.newaxis, kinds:]
        kept_of = extra * precision / (extra * precision + 1)
        likeliest = np.clip(fitted + kept_of * (levels - fitted), -_REACH, _REACH)
        after, precision = family.working(problem.kept, likeliest)
        change = float(np.abs(np.where(precision > 0, after - levels, 0.0)).max(initial=0.0))
        levels = after
        if change < _CLOSE:
            break
    return levels, precision


def _loss(
    logs: Floats, *, problem: Problem, levels: Floats, precision: Floats, centre: Floats, prior: Spreads
) -> float:
    far = (logs - centre) / prior.doubt
    if np.abs(logs - centre).max() > np.log(_MOST_TIMES) + 1e-9:
        return float("inf")
    return float(0.5 * far @ far) - solve_levels(problem, np.exp(logs), levels, precision).log_chance


def solve_levels(problem: Problem, spreads: Floats, levels: Floats, precision: Floats) -> Point:
    """
    Solve the normal equations under one choice of spreads, ponds eliminated first.

    Unknowns in common are the kinds' m, then the seasons' s; a pond's u given those stands alone.
    """
    kept, kinds = problem.kept, problem.kinds
    pond_sd, season_sd, rest_sd = spreads
    seen = precision > 0
    variance = np.where(seen, 1 / np.where(seen, precision, 1.0), 0.0) + rest_sd**2 + kept.doubt**2
    weight = np.where(seen, kept.weights / variance, 0.0)
    published_variance = problem.published_variance(spreads)
    is_kind = np.zeros((len(problem.kind_of), kinds))
    is_kind[np.arange(len(problem.kind_of)), problem.kind_of] = 1.0
    by_pond, seasons = weight.sum(axis=1), weight.shape[1]
    pond_precision = by_pond + 1 / pond_sd**2
    pond_sum = (weight * levels).sum(axis=1)
    carried = np.hstack([is_kind * by_pond[:, np.newaxis], weight])
    first = np.concatenate([1 / published_variance, np.full(seasons, 1 / season_sd**2)])
    full = np.diag(first + np.concatenate([is_kind.T @ by_pond, weight.sum(axis=0)]))
    full[:kinds, kinds:] = is_kind.T @ weight
    full[kinds:, :kinds] = full[:kinds, kinds:].T
    right = np.concatenate([is_kind.T @ pond_sum, (weight * levels).sum(axis=0)])
    right[:kinds] += problem.published / published_variance
    reduced = full - carried.T @ (carried / pond_precision[:, np.newaxis])
    root = linalg.cholesky(reduced, lower=True, check_finite=False)
    left = right - carried.T @ (pond_sum / pond_precision)
    common = linalg.cho_solve((root, True), left, check_finite=False)
    squares = (
        float((weight * levels**2).sum())
        + float((problem.published**2 / published_variance).sum())
        - float((pond_sum**2 / pond_precision).sum())
        - float(left @ common)
    )
    log_chance = -0.5 * (
        squares
        + float(np.log(pond_precision * pond_sd**2).sum())
        + 2 * float(np.log(np.diag(root)).sum())
        - float(np.log(first).sum())
        + float((np.where(seen, kept.weights * np.log(variance), 0.0)).sum())
    )
    of_own = np.divide((weight * (levels - common[kinds:])).sum(axis=1), by_pond, out=np.zeros(len(by_pond)),
                       where=by_pond > 0)  # fmt: skip
    pond_weight = np.divide(by_pond, 1 + by_pond * pond_sd**2)
    kind_weight = is_kind.T @ pond_weight
    kind_value = np.divide(is_kind.T @ (pond_weight * of_own), kind_weight, out=np.zeros(kinds),
                           where=kind_weight > 0)  # fmt: skip
    return Point(
        1.0, spreads, common, root, pond_precision, pond_sum, carried, of_own, by_pond / pond_precision,
        kind_value, 1 / (1 + kind_weight * published_variance),
        float(spreads @ spreads) / published_variance, log_chance,
    )  # fmt: skip


def _bend(loss: Callable[[Floats], float], logs: Floats) -> Floats:
    """Return the second derivatives of the loss, by differences, made positive where they are not."""
    size, middle = len(logs), loss(logs)
    steps = _HALF_STEP * np.eye(size)
    bend = np.empty((size, size))
    for one in range(size):
        bend[one, one] = (loss(logs + steps[one]) - 2 * middle + loss(logs - steps[one])) / _HALF_STEP**2
        for other in range(one):
            ends = [loss(logs + a * steps[one] + b * steps[other]) * a * b for a in (1, -1) for b in (1, -1)]
            bend[one, other] = bend[other, one] = sum(ends) / (4 * _HALF_STEP**2)
    values, vectors = np.linalg.eigh(bend)
    mended: Floats = (vectors * np.maximum(values, 0.5)) @ vectors.T
    return mended


def _average(
    problem: Problem,
    levels: Floats,
    precision: Floats,
    loss: Callable[[Floats], float],
    logs: Floats,
    hessian: Floats,
    bounds: tuple[Floats, Floats],
) -> Hierarchy:
    root = linalg.inv(linalg.cholesky(hessian, lower=True)).T
    points, chances = [], []
    for knots in itertools.product(range(3), repeat=3):
        far = np.array([_KNOTS[knot] for knot in knots])
        at = np.clip(logs + root @ far, *bounds)
        points.append(solve_levels(problem, np.exp(at), levels, precision))
        rule = float(np.prod([_KNOT_WEIGHTS[knot] for knot in knots]))
        chances.append(np.log(rule) - loss(at) + 0.5 * float(far @ far))
    weights = np.exp(np.array(chances) - special.logsumexp(chances))
    kept_points = tuple(
        Point(
            **{column.name: getattr(point, column.name) for column in fields(Point)}
            | {"weight": float(weight)}
        )
        for point, weight in zip(points, weights, strict=True)
    )
    return _sum_up(problem, kept_points, weights)


def _sum_up(problem: Problem, points: tuple[Point, ...], weights: Floats) -> Hierarchy:
    kind_of, kinds = problem.kind_of, problem.kinds
    means, variances, kind_means, kind_variances = [], [], [], []
    for point in points:
        inverse = linalg.cho_solve((point.common_root, True), np.eye(len(point.common)))
        # A pond's level is linear in what is common: m_k less what the pond carries of it, and its own part.
        through = -point.carried / point.pond_precision[:, np.newaxis]
        through[np.arange(len(kind_of)), kind_of] += 1.0
        means.append(through @ point.common + point.pond_sum / point.pond_precision)
        variances.append(((through @ inverse) * through).sum(axis=1) + 1 / point.pond_precision)
        kind_means.append(point.common[:kinds])
        kind_variances.append(np.diag(inverse)[:kinds])
    mean, sd = _mixture(weights, np.array(means), np.array(variances))
    kind_mean, kind_sd = _mixture(weights, np.array(kind_means), np.array(kind_variances))

    def averaged(parts: Floats, values: Floats) -> tuple[Floats, Floats]:
        share = weights @ parts
        value = np.divide(weights @ (parts * values), share, out=np.zeros_like(share), where=share > 0)
        return share, value

    own_parts = np.array([point.own_share for point in points])
    of_published = np.array([point.published_share[kind_of] for point in points])
    own_share, own = averaged(own_parts, np.array([point.own for point in points]))
    kind_share, kind = averaged(
        (1 - own_parts) * (1 - of_published), np.array([point.kind_value[kind_of] for point in points])
    )
    return Hierarchy(
        kind_of=kind_of,
        points=points,
        mean=mean,
        sd=sd,
        kind_mean=kind_mean,
        kind_sd=kind_sd,
        own=own,
        kind=kind,
        published=problem.published[kind_of],
        own_share=own_share,
        kind_share=kind_share,
        published_share=weights @ ((1 - own_parts) * of_published),
        published_seasons=weights @ np.array([point.published_seasons for point in points]),
        spreads=np.exp(weights @ np.log([point.spreads for point in points])),
        season_effects=weights @ np.array([point.common[kinds:] for point in points]),
    )


def _mixture(weights: Floats, means: Floats, variances: Floats) -> tuple[Floats, Floats]:
    mean = weights @ means
    return mean, np.sqrt(weights @ (variances + (means - mean) ** 2))
