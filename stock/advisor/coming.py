"""The coming season's nests, eggs and hatched eggs, drawn from what was learnt of past ones."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stock.advisor.families import Floats
from stock.advisor.hierarchy import mirrored
from stock.advisor.ranges import Spread, check_heads, spread_of
from stock.advisor.season_learning import FigureLearnt, YieldsLearnt
from stock.estimators.estimate import check_count

__all__ = ["ComingSeason", "SeasonPrior", "coming_season", "draw_figure", "season_prior"]


@dataclass(frozen=True)
class SeasonPrior:
    """
    What is expected of each pond before its season begins, as `forecast` takes it.

    Parameters
    ----------
    median : array, shape (ponds,)
        Expected nests of the season (or eggs a nest), a middling draw.
    own_sd : array, shape (ponds,)
        Standard deviation of its natural logarithm, what all ponds share left out.
    shared_sd : float
        The same for what all ponds share: a good or bad season.
    """

    median: Floats
    own_sd: Floats
    shared_sd: float


@dataclass(frozen=True)
class ComingSeason:
    """
    A season to come: 5 % point, mean and 95 % point of nests, eggs, hatched and clear eggs.

    Arrays of shape (pond-kinds,); those of ``total_`` of shape (), whose limits are not the sums of the
    limits, for good and bad seasons are shared. ``arithmetic`` of each is the product of the middling
    figures. ``by_kind`` holds nests, eggs, hatched and clear eggs of all ponds of each kind together, of
    shape (). ``nest_prior`` and ``egg_prior`` are what `forecast` and `forecast_eggs` begin with.
    """

    nests: Spread
    eggs: Spread
    hatched: Spread
    clear: Spread
    total_nests: Spread
    total_eggs: Spread
    total_hatched: Spread
    total_clear: Spread
    by_kind: Mapping[Any, tuple[Spread, Spread, Spread, Spread]]
    nest_prior: SeasonPrior
    egg_prior: SeasonPrior


def coming_season(
    learnt: YieldsLearnt,
    females: ArrayLike,
    *,
    female_se: ArrayLike | None = None,
    fertility: ArrayLike = 1.0,
    draws: int = 4000,
    rng: int | np.random.Generator,
) -> ComingSeason:
    """
    Simulate the coming season of every pond-kind from what was learnt.

    Each draw takes one choice of the spreads, the levels of all ponds together, one season effect for
    the whole farm and what each pond does beyond it; nests are Poisson about females x nests a female,
    eggs Poisson about nests x eggs a nest, hatched eggs binomial. So extremes are never multiplied, and
    a bad season is bad in all ponds of the same draw.

    Parameters
    ----------
    learnt : YieldsLearnt
    females : array, shape (pond-kinds,), or (pond-kinds, draws) of joint draws
        Settled-equivalent females that will stand.
    female_se : array, shape (pond-kinds,), optional
        Their standard error, not with joint draws. Draws are lognormal.
    fertility : array, shape (pond-kinds,), or one number
        Share of full fertility (`delayed_fertility`): hatched eggs fall by it, clear eggs rise.
    draws : int
        Draws, 1 or more; ignored where ``females`` brings its own.
    rng : int or numpy.random.Generator
        Seed, or source of chance.

    Returns
    -------
    ComingSeason

    Raises
    ------
    ValueError
        If a number is impossible or of the wrong shape.

    Notes
    -----
    Good seasons for nests are not taken to be good for eggs or hatch as well. Eggs that are never picked
    or set are not taken off.
    """
    heads = check_heads(females, "females")
    rows = len(learnt.kinds)
    if len(heads) != rows:
        raise ValueError(f"females: {len(heads)} pond-kinds were given, but {rows} were learnt.")
    count = heads.shape[1] if heads.shape[1] > 1 else check_count(draws, "draws")
    if not count:
        raise ValueError("draws: give at least one draw.")
    generator = np.random.default_rng(rng)
    fertile = np.broadcast_to(np.asarray(fertility, dtype=float), (rows,))
    if not ((fertile >= 0) & (fertile <= 1)).all():
        raise ValueError("fertility: a share of full fertility lies between 0 and 1.")
    standing = _draw_heads(heads, female_se, count, generator)
    expected = standing * draw_figure(learnt.nests, count, generator)
    nests = generator.poisson(expected)
    per_nest = draw_figure(learnt.eggs, count, generator)
    eggs = generator.poisson(nests * per_nest)
    full = fertile[:, np.newaxis]
    hatch = full * draw_figure(learnt.hatch, count, generator)
    hatched = generator.binomial(eggs, hatch)
    clear_share = 1 - full * (1 - draw_figure(learnt.clear, count, generator))
    # Of the eggs that did not hatch: the two shares are learnt apart and must not exceed 1 together.
    of_rest = np.clip(clear_share / np.maximum(1 - hatch, 1e-9), 0.0, 1.0)
    clear = generator.binomial(eggs - hatched, of_rest)
    middling = [
        np.array([pond.value for pond in figure.ponds])
        for figure in (learnt.nests, learnt.eggs, learnt.hatch, learnt.clear)
    ]
    by_hand = heads.mean(axis=1) * middling[0]
    eggs_by_hand = by_hand * middling[1]
    parts = [
        (nests, by_hand),
        (eggs, eggs_by_hand),
        (hatched, eggs_by_hand * fertile * middling[2]),
        (clear, eggs_by_hand * (1 - fertile * (1 - middling[3]))),
    ]
    spreads = [spread_of(np.asarray(drawn, dtype=float), product) for drawn, product in parts]
    totals = _together(parts, range(rows))
    by_kind = {
        kind: _together(parts, [row for row in range(rows) if learnt.kinds[row] == kind])
        for kind in dict.fromkeys(learnt.kinds)
    }
    return ComingSeason(
        nests=spreads[0],
        eggs=spreads[1],
        hatched=spreads[2],
        clear=spreads[3],
        total_nests=totals[0],
        total_eggs=totals[1],
        total_hatched=totals[2],
        total_clear=totals[3],
        by_kind=by_kind,
        nest_prior=season_prior(expected),
        egg_prior=season_prior(per_nest),
    )


def _together(
    parts: Sequence[tuple[NDArray[Any], Floats]], rows: Sequence[int]
) -> tuple[Spread, Spread, Spread, Spread]:
    """Return nests, eggs, hatched and clear eggs of some rows together."""
    at = np.array(rows, dtype=np.int64)
    nests, eggs, hatched, clear = (
        spread_of(np.asarray(drawn[at].sum(axis=0), dtype=float), product[at].sum())
        for drawn, product in parts
    )
    return nests, eggs, hatched, clear


def season_prior(drawn: ArrayLike) -> SeasonPrior:
    """
    Split what draws of a season's expected figures share from what is each pond's own.

    Parameters
    ----------
    drawn : array, shape (ponds, draws)
        Expected nests of each pond in each draw, 0 or more. A pond at 0 in any draw is given 0.

    Raises
    ------
    ValueError
        If the shape is wrong or a figure negative.
    """
    table = np.asarray(drawn, dtype=float)
    if table.ndim != 2 or (table < 0).any() or not np.isfinite(table).all():
        raise ValueError("drawn: give one row of draws a pond, every figure 0 or more.")
    ponds = len(table)
    stands = (table > 0).all(axis=1)
    median, own = np.zeros(ponds), np.zeros(ponds)
    shared = 0.0
    if stands.any():
        logs = np.log(table[stands])
        median[stands] = np.exp(np.median(logs, axis=1))
        variance = logs.var(axis=1)
        standing = int(stands.sum())
        if standing > 1:
            of_mean = float(logs.mean(axis=0).var())
            shared = max(0.0, (of_mean - float(variance.mean()) / standing) / (1 - 1 / standing))
        own[stands] = np.sqrt(np.maximum(variance - shared, 1e-6))
    return SeasonPrior(median, own, float(np.sqrt(shared)))


def draw_figure(figure: FigureLearnt, count: int, rng: np.random.Generator) -> Floats:
    """Return draws of a figure in a season to come, shape (pond-kinds, draws); good and bad seasons are shared."""
    levels, season, rest = figure.hierarchy.draw(count, rng)
    return figure.family.inverse(levels + season + rest)


def _draw_heads(heads: Floats, se: ArrayLike | None, count: int, rng: np.random.Generator) -> Floats:
    standing: Floats = np.broadcast_to(heads, (len(heads), count))
    if se is None:
        return standing
    errors = check_heads(se, "female_se")
    if heads.shape[1] > 1 or errors.shape != heads.shape:
        raise ValueError("female_se: give one standard error for each pond-kind, and none with joint draws.")
    relative = np.divide(errors, heads, out=np.zeros_like(heads), where=heads > 0)
    spread = np.sqrt(np.log1p(relative**2))
    drawn: Floats = standing * np.exp(spread * mirrored(rng, *standing.shape) - spread**2 / 2)
    return drawn
