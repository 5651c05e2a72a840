"""Means of many ponds learnt together, against published figures."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.advisor.yields import shrink_estimates, shrink_means

# Davies, Statistical Methods in Research and Production; Box & Tiao (1973), section 5.1: yields of six batches.
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]
# Rubin (1981); Gelman et al., Bayesian Data Analysis, section 5.5: coaching in eight schools.
SCHOOLS = [28, 8, -3, 7, -1, 1, 18, 12], [15, 10, 16, 11, 9, 11, 10, 18]
# Colditz et al. (1994), JAMA 271:698-702: tuberculosis and none among vaccinated, then among others.
BCG = [(4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761)]
BCG += [(180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232)]
BCG += [(17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825)]


def test_dyestuff():
    shrunk = shrink_means(DYESTUFF)
    assert shrunk.pooled.value == 1527.5
    assert (shrunk.between_mean_square, shrunk.within_variance) == (11271.5, 2451.25)
    assert shrunk.between_variance == pytest.approx(1764.05, abs=1e-9)
    expected = [-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953]
    assert [mean.value - 1527.5 for mean in shrunk.means] == pytest.approx(expected, abs=1e-4)
    assert shrunk.status == "ok"


def test_the_next_value_of_a_batch():
    # By hand: variance 2451.25 + B 2451.25 / 5, B = 1764.05 / (1764.05 + 490.25).
    shrunk = shrink_means(DYESTUFF)
    to_come = shrunk.predict(2)
    share = 1764.05 / (1764.05 + 490.25)
    assert shrunk.shrinkage[2] == pytest.approx(share)
    assert to_come.value == shrunk.means[2].value
    assert to_come.se == pytest.approx(math.sqrt(2451.25 + share * 490.25))
    assert "doubt is not in these limits" in to_come.notes[0]
    # A batch not sampled yet varies as batches do.
    unseen = shrink_means([*DYESTUFF, []])
    assert unseen.means[-1].value == 1527.5
    assert unseen.predict(6).se == pytest.approx(math.sqrt(2451.25 + 1764.05))
    for place in (-1, 6):
        with pytest.raises(ValueError, match="there is no pond"):
            shrunk.predict(place)


def test_eight_schools():
    shrunk = shrink_estimates(*SCHOOLS)
    assert (shrunk.pooled.value, shrunk.pooled.se) == pytest.approx((7.6856, 4.0719), abs=1e-4)
    assert shrunk.heterogeneity == pytest.approx(4.7071, abs=1e-4)
    assert shrunk.between_variance == 0
    assert set(shrunk.means) == {shrunk.pooled}
    assert "complete pooling" in shrunk.notes[0]
    assert shrunk.status == "low_confidence"


def test_bcg_trials_differ_beyond_chance():
    # The same trials with R's metafor, method "DL": -0.7141 (SE 0.1787), tau^2 0.3088, Q 152.2330.
    values = [math.log(a / (a + b) * (c + d) / c) for a, b, c, d in BCG]
    ses = [math.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)) for a, b, c, d in BCG]
    shrunk = shrink_estimates(values, ses)
    assert (shrunk.pooled.value, shrunk.pooled.se) == pytest.approx((-0.7141, 0.1787), abs=5e-5)
    assert shrunk.between_variance == pytest.approx(0.3088, abs=5e-5)
    assert shrunk.heterogeneity == pytest.approx(152.2330, abs=5e-5)
    # By hand: the first trial keeps tau^2 / (tau^2 + se^2) of its own figure.
    share = 0.3088 / (0.3088 + ses[0] ** 2)
    assert shrunk.means[0].value == pytest.approx(-0.7141 + share * (values[0] + 0.7141), abs=2e-4)
    assert shrunk.means[0].se == pytest.approx(math.sqrt(share) * ses[0], abs=2e-4)
    assert shrunk.status == "ok"


figures = st.floats(-50, 50).map(lambda figure: round(figure, 3))


@settings(deadline=None)
@given(st.lists(st.lists(figures, max_size=6), min_size=1, max_size=8))
def test_shrunk_means_lie_between_their_own_and_the_mean_of_all(groups):
    shrunk = shrink_means(groups)
    assert len(shrunk.means) == len(groups)
    if shrunk.status == "no_estimate":
        assert all(len(group) < 2 for group in groups)
        return
    assert shrunk.between_variance >= 0
    middle = shrunk.pooled.value
    for place, (mean, group) in enumerate(zip(shrunk.means, groups, strict=True)):
        own = float(np.mean(group)) if group else middle
        assert min(own, middle) - 1e-9 <= mean.value <= max(own, middle) + 1e-9
        assert 0 <= shrunk.shrinkage[place] <= 1
        assert shrunk.predict(place).value == mean.value


@settings(deadline=None)
@given(st.lists(st.tuples(figures, st.floats(0.1, 20)), min_size=1, max_size=8), figures)
def test_shrunk_estimates_move_with_their_figures(ponds, shift):
    values, ses = (list(column) for column in zip(*ponds, strict=True))
    shrunk = shrink_estimates(values, ses)
    moved = shrink_estimates([value + shift for value in values], ses)
    assert moved.pooled.value == pytest.approx(shrunk.pooled.value + shift, abs=1e-4)
    assert moved.between_variance == pytest.approx(shrunk.between_variance, rel=1e-6, abs=1e-6)
    for value, se, mean in zip(values, ses, shrunk.means, strict=True):
        middle = shrunk.pooled.value
        assert min(value, middle) - 1e-9 <= mean.value <= max(value, middle) + 1e-9
        assert shrunk.between_variance == 0 or mean.se < se


def test_equal_sizes_shrink_like_estimates_with_the_errors_of_the_means():
    """With the variances the analysis found, the two ways must agree on every batch."""
    shrunk = shrink_means(DYESTUFF)
    own = [float(np.mean(batch)) for batch in DYESTUFF]
    other = shrink_estimates(own, [math.sqrt(2451.25 / 5)] * 6)
    assert other.between_variance == pytest.approx(1764.05)
    assert [mean.value for mean in other.means] == pytest.approx([mean.value for mean in shrunk.means])


def test_ponds_that_differ_by_chance_only_are_pooled():
    shrunk = shrink_means([[8, 10, 12], [9, 11, 10], []])
    assert shrunk.between_variance == 0
    assert {mean.value for mean in shrunk.means} == {10}
    assert shrunk.pooled.se == pytest.approx(math.sqrt(shrunk.within_variance / 6))
    assert "complete pooling" in shrunk.notes[0]
    assert shrunk.status == shrunk.means[0].status == "low_confidence"
    assert shrunk.predict(2).se == pytest.approx(math.sqrt(shrunk.within_variance))


def test_one_pond_stands_alone():
    shrunk = shrink_means([[8, 10, 12]])
    assert (shrunk.pooled.value, shrunk.between_mean_square) == (10, None)
    assert "One pond" in shrunk.notes[0]
    single = shrink_estimates([5], [2])
    assert (single.pooled.value, single.pooled.se) == (5, 2)
    assert "One pond" in single.notes[0]


def test_one_nest_a_pond_tells_nothing_of_spread():
    for groups in ([[8], [9], [12]], [], [[], []]):
        shrunk = shrink_means(groups)
        assert (shrunk.status, shrunk.pooled.value, shrunk.within_variance) == ("no_estimate", None, None)
    assert shrink_means([[8], [9]]).predict(0).status == "no_estimate"


def test_no_spread_within_ponds_has_no_limits():
    apart = shrink_means([[8, 8], [9, 9], [13, 13]])
    assert [mean.value for mean in apart.means] == [8, 9, 13]
    assert (apart.means[0].se, apart.means[0].lower) == (None, None)
    assert "No spread was seen" in apart.means[0].notes[-1]
    same = shrink_means([[8, 8], [8, 8, 8]])
    assert (same.pooled.value, same.pooled.se, same.status) == (8, None, "low_confidence")


def test_no_ponds_no_estimate():
    assert shrink_estimates([], []).status == "no_estimate"


@pytest.mark.parametrize(
    ("values", "ses", "words"),
    [
        ([1, 2], [1], "1 were given for 2 values"),
        ([1], [0], "a standard error of 0"),
        ([1], [-1], "ses, number 1"),
        ([math.inf], [1], "values, number 1"),
    ],
)
def test_impossible_estimates_are_refused(values, ses, words):
    with pytest.raises(ValueError, match=words):
        shrink_estimates(values, ses)


def test_impossible_values_are_refused():
    with pytest.raises(ValueError, match="groups, pond 2"):
        shrink_means([[1, 2], [math.nan]])
