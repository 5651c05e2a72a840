"""Levels of ponds over seasons, against published figures and against dense matrices."""

import numpy as np
import pytest
from scipy import stats

from stock.advisor.families import Family, Kept
from stock.advisor.hierarchy import Problem, Spreads, learn_hierarchy, solve_levels
from tests.advisor.test_shrinkage import DYESTUFF, SCHOOLS

ONE_KIND = np.zeros(6, dtype=np.int64)
LOG = Family("log")
NARROW = 1e-5


def kept(counts, sizes, *, doubt=0.0, share=1.0, weights=1.0):
    shape = np.shape(counts)
    full = [
        np.broadcast_to(np.asarray(figure, dtype=float), shape) for figure in (sizes, doubt, share, weights)
    ]
    return Kept(np.asarray(counts, dtype=float), *full)


def known(levels, precision, spreads, *, published_sd=1e5):
    """Solve with levels and their precision as they are, nothing known beforehand."""
    ponds = len(levels)
    problem = Problem(
        kept(np.zeros_like(levels), 1.0),
        np.zeros(ponds, dtype=np.int64),
        np.zeros(1),
        np.array([published_sd]),
        None,
    )
    return solve_levels(problem, np.array(spreads), levels, precision)


def own_levels(point):
    return (point.pond_sum - point.carried @ point.common) / point.pond_precision


def test_dyestuff_with_its_variances():
    # Davies; Box & Tiao (1973), section 5.1: between 1764.05, within 2451.25; deviations of the batches.
    levels = np.array(DYESTUFF, dtype=float)
    point = known(levels, np.full(levels.shape, 1 / 2451.25), (np.sqrt(1764.05), NARROW, NARROW))
    assert point.common[0] == pytest.approx(1527.5, abs=1e-3)
    expected = [-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953]
    assert own_levels(point) == pytest.approx(expected, abs=1e-3)
    assert point.own_share == pytest.approx(1764.05 / (1764.05 + 490.25))


def test_eight_schools_all_alike():
    # Rubin (1981); Gelman et al., Bayesian Data Analysis, section 5.5: pooled 7.6856, standard error 4.0719.
    effects, errors = (np.array(column, dtype=float)[:, np.newaxis] for column in SCHOOLS)
    point = known(effects, 1 / errors**2, (NARROW, NARROW, NARROW))
    assert point.common[0] == pytest.approx(7.6856, abs=1e-3)
    assert 1 / point.common_root[0, 0] == pytest.approx(4.0719, abs=1e-3)
    assert own_levels(point) == pytest.approx(np.zeros(8), abs=1e-3)


def dense(levels, variance, kind_of, published, published_sd, spreads):
    """Mean and covariance of all levels by plain multivariate normals, no elimination."""
    ponds, seasons = levels.shape
    pond = np.repeat(np.arange(ponds), seasons)
    season = np.tile(np.arange(seasons), ponds)
    kind = kind_of[pond]
    between = (kind[:, None] == kind) * published_sd[kind] ** 2 + (pond[:, None] == pond) * spreads[0] ** 2
    all_of = between + (season[:, None] == season) * spreads[1] ** 2 + np.diag(variance.ravel())
    of_pond = (kind_of[:, None] == kind) * published_sd[kind] ** 2
    of_pond = of_pond + (np.arange(ponds)[:, None] == pond) * spreads[0] ** 2
    return stats.multivariate_normal(published[kind], all_of), of_pond, published[kind_of]


@pytest.fixture
def two_kinds():
    rng = np.random.default_rng(3)
    kind_of = np.array([0, 0, 1, 1, 1])
    levels = rng.normal(0, 0.4, (5, 4)) + kind_of[:, None]
    return levels, rng.uniform(20, 200, (5, 4)), kind_of, np.array([0.2, 1.1]), np.array([0.3, 0.6])


def test_levels_and_their_chance_against_dense_matrices(two_kinds):
    levels, precision, kind_of, published, published_sd = two_kinds
    problem = Problem(kept(np.ones((5, 4)), 1.0), kind_of, published, published_sd, None)
    chances, dense_chances = [], []
    for spreads in ((0.3, 0.2, 0.1), (0.1, 0.4, 0.25)):
        variance = 1 / precision + spreads[2] ** 2
        normal, of_pond, start = dense(levels, variance, kind_of, published, published_sd, spreads)
        point = solve_levels(problem, np.array(spreads), levels, precision)
        wanted = start + of_pond @ np.linalg.solve(normal.cov, (levels.ravel() - normal.mean))
        assert point.common[kind_of] + own_levels(point) == pytest.approx(wanted)
        chances.append(point.log_chance)
        dense_chances.append(normal.logpdf(levels.ravel()))
    assert chances[1] - chances[0] == pytest.approx(dense_chances[1] - dense_chances[0])


def test_spreads_are_learnt_and_levels_found():
    rng = np.random.default_rng(1)
    own, season = rng.normal(0, 0.3, 60), rng.normal(0, 0.2, 12)
    sizes = np.full((60, 12), 300.0)
    level = 0.5 + own[:, None] + season + rng.normal(0, 0.1, (60, 12))
    found = learn_hierarchy(
        kept(rng.poisson(sizes * np.exp(level)), sizes),
        np.zeros(60, dtype=np.int64), np.array([0.0]), np.array([1.0]), family=LOG, spreads=Spreads(0.15, 0.1, 0.2),
    )  # fmt: skip
    # Standard deviations drawn from 60, 12 and 720: errors of about 9, 20 and 3 %.
    assert found.spreads == pytest.approx([0.3, 0.2, 0.1], rel=0.35)
    assert np.corrcoef(found.mean, own)[0, 1] > 0.98
    assert np.corrcoef(found.season_effects, season)[0, 1] > 0.95
    assert found.own_share + found.kind_share + found.published_share == pytest.approx(np.ones(60))
    parts = (
        found.own * found.own_share + found.kind * found.kind_share + found.published * found.published_share
    )
    assert found.mean == pytest.approx(parts)


def test_draws_have_the_mean_and_spread_told():
    rng = np.random.default_rng(2)
    sizes = np.full((6, 3), 80.0)
    found = learn_hierarchy(
        kept(rng.poisson(sizes), sizes), ONE_KIND, np.array([0.0]), np.array([0.5]), family=LOG,
        spreads=Spreads(0.2, 0.15, 0.1),
    )  # fmt: skip
    levels, season, rest = found.draw(40_000, rng)
    assert levels.mean(axis=1) == pytest.approx(found.mean, abs=0.005)
    assert levels.std(axis=1) == pytest.approx(found.sd, rel=0.03)
    assert (season.shape, rest.shape) == ((40_000,), (6, 40_000))


def test_nothing_kept_leaves_the_published_range():
    for seasons in (0, 3):
        found = learn_hierarchy(
            kept(np.zeros((6, seasons)), 0.0), ONE_KIND, np.array([0.4]), np.array([0.3]), family=LOG,
            spreads=Spreads(0.2, 0.15, 0.1),
        )  # fmt: skip
        assert found.mean == pytest.approx(np.full(6, 0.4))
        assert found.published_share == pytest.approx(np.ones(6))
        assert (found.kind_sd[0], found.own_share.max()) == (pytest.approx(0.3), 0)
        # Beside the range, ponds differ.
        assert (found.sd > 0.3).all()


def test_all_zero_counts_are_low_not_impossible():
    found = learn_hierarchy(
        kept(np.zeros((6, 3)), 50.0), ONE_KIND, np.array([0.4]), np.array([0.3]), family=LOG,
        spreads=Spreads(0.2, 0.15, 0.1),
    )  # fmt: skip
    assert np.isfinite(found.mean).all()
    assert (found.mean < -1).all()


def test_old_seasons_count_less():
    counts = np.tile([200.0, 200.0, 50.0], (6, 1))
    figures = []
    for decay in (1.0, 0.3):
        weights = decay ** np.array([2.0, 1.0, 0.0])
        found = learn_hierarchy(
            kept(counts, 100.0, weights=weights), ONE_KIND, np.array([0.0]), np.array([1.0]), family=LOG,
            spreads=Spreads(0.2, 0.3, 0.1),
        )  # fmt: skip
        figures.append(found.mean.mean())
    assert figures[1] < figures[0]


@pytest.mark.parametrize(("rises", "seen"), [(False, 0.5 * 0.8), (True, 1 - 0.5 * 0.9)])
def test_shares_are_learnt_as_with_full_fertility(rises, seen):
    """At half fertility 80 % hatch of what is fertile, or 10 % would be clear with males enough."""
    found = learn_hierarchy(
        kept(np.full((6, 4), round(4000 * seen)), 4000.0, share=0.5), ONE_KIND, np.array([0.0]), np.array([2.0]),
        family=Family("logit", rises=rises), spreads=Spreads(0.2, 0.1, 0.1),
    )  # fmt: skip
    figures = Family("logit").inverse(found.mean)
    assert figures == pytest.approx(np.full(6, 0.1 if rises else 0.8), abs=0.01)


def test_a_weight_for_the_published_range():
    counts, shares = np.full((6, 2), 300.0), []
    for weight in (0.5, 50.0):
        found = learn_hierarchy(
            kept(counts, 100.0), ONE_KIND, np.array([0.0]), np.array([1.0]), family=LOG,
            spreads=Spreads(0.2, 0.15, 0.1), published_weight=weight,
        )  # fmt: skip
        assert found.published_seasons == pytest.approx([weight])
        shares.append(found.mean.mean())
    assert shares[1] < shares[0] < np.log(3)
