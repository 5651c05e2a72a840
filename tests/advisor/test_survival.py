"""Survival curves, known fates and the odds ratio against published figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.advisor.watch import known_fate, odds_ratio, survival_curve

followed = st.lists(st.tuples(st.integers(1, 20), st.booleans()), min_size=1, max_size=25)


def test_aml_maintained_arm():
    # Miller (1997), Survival Analysis, as given with R's survival package (data set aml): 13+, 28+, ... lost.
    days = [9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161]
    died = [True, True, False, True, True, False, True, True, False, True, False]
    curve = survival_curve(days, died)
    assert curve.times == (9, 13, 18, 23, 31, 34, 48)
    assert curve.at_risk == (11, 10, 8, 7, 5, 4, 2)
    assert curve.survival == pytest.approx([0.9091, 0.8182, 0.7159, 0.6136, 0.4909, 0.3682, 0.1841], abs=6e-5)
    assert curve.se == pytest.approx([0.0867, 0.1163, 0.1397, 0.1526, 0.1642, 0.1627, 0.1535], abs=6e-5)
    assert curve.lower == pytest.approx([0.5081, 0.4474, 0.3502, 0.2658, 0.1673, 0.0928, 0.0117], abs=6e-5)
    assert curve.upper == pytest.approx([0.9867, 0.9512, 0.8990, 0.8353, 0.7534, 0.6570, 0.5250], abs=6e-5)
    assert curve.median == 31
    assert curve.status == "ok"


def test_bobwhite_of_pollock_1989():
    # Pollock et al. (1989), Journal of Wildlife Management 53:7-15, weekly bobwhite.
    at_risk = [18, 18, 18, 16, 16, 16, 15, 15, 13, 10, 8, 8, 7]
    died = [0, 0, 2, 0, 0, 1, 0, 1, 1, 1, 0, 0, 0]
    fate = known_fate(at_risk, died)
    expected = [1, 1, 0.8889, 0.8889, 0.8889, 0.8333, 0.8333, 0.7778, 0.7179] + [0.6462] * 4
    assert fate.survival == pytest.approx(expected, abs=5e-5)
    assert (fate.lower[12], fate.upper[12]) == pytest.approx((0.361, 0.931), abs=5e-4)
    assert fate.se[12] == pytest.approx(0.1181, abs=5e-5)
    assert fate.interval_survival[2] == pytest.approx(16 / 18)
    # No death yet: the exact binomial limit of 18 of 18, Clopper & Pearson by scipy.
    exact = stats.binomtest(18, 18).proportion_ci(method="exact")
    assert (fate.lower[1], fate.upper[1]) == pytest.approx((exact.low, exact.high))
    assert fate.se[1] is None
    assert "the exact one" in fate.notes[0]


@pytest.mark.filterwarnings("ignore:The confidence interval is undefined")
@settings(deadline=None)
@given(followed)
def test_without_entries_the_curve_is_scipys(animals):
    days, died = zip(*animals, strict=True)
    curve = survival_curve(days, died)
    uncensored = [day for day, dead in animals if dead]
    if not uncensored:
        assert curve.survival == (1.0,)
        assert curve.median is None
        return
    lost = [day for day, dead in animals if not dead]
    fit = stats.ecdf(stats.CensoredData(uncensored=uncensored, right=lost)).sf
    places = np.searchsorted(fit.quantiles, curve.times)
    assert curve.survival == pytest.approx(fit.probabilities[places], abs=1e-12)
    if curve.survival[0] not in {0, 1}:
        limits = fit.confidence_interval(method="log-log")
        assert curve.lower[0] == pytest.approx(limits.low.probabilities[places][0])
        assert curve.upper[0] == pytest.approx(limits.high.probabilities[places][0])
    reached = [
        time for time, share in zip(curve.times, fit.probabilities[places], strict=True) if share < 0.5 + 1e-9
    ]
    assert curve.median == (reached[0] if reached else None)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 8), st.integers(1, 9), st.booleans()), min_size=1, max_size=15))
def test_with_entries_the_curve_is_the_product_over_days(animals):
    """The definition, day by day: at risk are those that came before the day and had not left."""
    entry = [start for start, _, _ in animals]
    days = [start + stay for start, stay, _ in animals]
    died = [dead for _, _, dead in animals]
    curve = survival_curve(days, died, entry=entry)
    share, expected = 1.0, {}
    for day in range(1, 20):
        at_risk = sum(start < day <= end for start, end in zip(entry, days, strict=True))
        dead = sum(end == day and fate for end, fate in zip(days, died, strict=True))
        if dead:
            share *= 1 - dead / at_risk
            expected[float(day)] = share
    assert dict(zip(curve.times, curve.survival, strict=True)) == pytest.approx(expected or {max(days): 1.0})


def test_the_last_animal_dies():
    curve = survival_curve([3, 5, 5], [False, True, True])
    assert curve.survival == (0,)
    assert (curve.se, curve.lower, curve.upper) == ((None,), (None,), (None,))
    assert curve.median == 5
    assert "last animal followed has died" in curve.notes[0]
    fate = known_fate([3, 2], [1, 2])
    assert (fate.survival[1], fate.se[1], fate.lower[1]) == (0, None, None)
    assert fate.lower[0] < 2 / 3 < fate.upper[0]


def test_no_deaths_give_a_limit_and_not_an_error_of_zero():
    # Clopper & Pearson by scipy: 12 of 12.
    exact = stats.binomtest(12, 12).proportion_ci(method="exact")
    curve = survival_curve([90] * 12, [False] * 12)
    assert (curve.times, curve.survival, curve.se) == ((90,), (1,), (None,))
    assert (curve.lower[0], curve.upper[0]) == pytest.approx((exact.low, 1))
    assert curve.status == "ok"
    # With 3 of them lost early only 9 are known to have lived through.
    fewer = survival_curve([30] * 3 + [90] * 9, [False] * 12)
    assert fewer.lower[0] == pytest.approx(stats.binomtest(9, 9).proportion_ci(method="exact").low)


def test_a_single_animal_is_little_to_go_by():
    curve = survival_curve([2, 5, 9], [False, False, True])
    assert curve.status == "low_confidence"
    assert curve.statuses == ("low_confidence",)
    early = survival_curve([2, 5, 9], [True, True, False])
    assert (early.statuses, early.status) == (("ok", "ok"), "ok")
    late = known_fate([2, 1], [1, 0])
    assert late.statuses == ("ok", "low_confidence")
    assert "rests on that animal" in late.notes[-1]


def test_nobody_at_risk_for_a_while():
    fate = known_fate([4, 0, 3], [1, 0, 0])
    assert fate.survival == (0.75, None, None)
    assert fate.interval_survival == (0.75, None, 1)
    assert fate.statuses == ("ok", "no_estimate", "no_estimate")
    assert fate.status == "no_estimate"
    assert "interval 2" in fate.notes[-1]
    curve = survival_curve([3, 9], [False, False], entry=[0, 5])
    assert (curve.lower, curve.status) == ((0,), "low_confidence")


def test_nobody_followed():
    assert known_fate([], []).status == "no_estimate"
    assert known_fate([0], [0]).survival == (None,)
    assert survival_curve([], []).status == "no_estimate"
    # Came and left alive on one day.
    left = survival_curve([4], [False], entry=[4])
    assert (left.status, left.times) == ("no_estimate", ())


def test_a_death_on_the_day_of_entry_counts():
    curve = survival_curve([4, 9, 9], [True, False, False], entry=[4, 4, 4])
    assert (curve.times, curve.at_risk) == ((4,), (3,))
    assert curve.survival == pytest.approx([2 / 3])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([-1], [True], None), "days, number 1"),
        (([1], [2], None), "died, number 1: 2 is neither yes nor no"),
        (([1, 2], [True], None), "1 fates were given for 2 animals"),
        (([1], [True], [0, 0]), "2 were given for 1 animals"),
        (([1], [True], [2]), "day 2 is after day 1"),
    ],
)
def test_impossible_animals_are_refused(arguments, words):
    days, died, entry = arguments
    with pytest.raises(ValueError, match=words):
        survival_curve(days, died, entry=entry)


@pytest.mark.parametrize(
    ("at_risk", "died", "words"),
    [([1, 2], [1], "1 were given for 2 intervals"), ([1], [2], "2 are more than the 1")],
)
def test_impossible_fates_are_refused(at_risk, died, words):
    with pytest.raises(ValueError, match=words):
        known_fate(at_risk, died)


def test_fisher_and_the_lady_tasting_tea():
    # Fisher (1935); R's fisher.test gives the odds ratio and the lower limit. R prints the upper limit as
    # 621.93, where the exact tail is .02517; the root itself is 626.244.
    result = odds_ratio([[3, 1], [1, 3]])
    assert (result.p_value, result.p_greater) == pytest.approx((0.4857143, 0.2428571), abs=1e-7)
    assert result.value == pytest.approx(6.408319, abs=1e-4)
    assert (result.lower, result.upper) == pytest.approx((0.211736, 626.244), rel=1e-3)
    assert result.sample_odds_ratio == 9
    assert result.variant == "conditional"


def test_the_conditional_limits_leave_one_tail_each():
    result = odds_ratio([[7, 12], [3, 25]])
    for limit, tail in ((result.lower, "above"), (result.upper, "below")):
        spread = stats.nchypergeom_fisher(47, 19, 10, limit)
        probability = spread.sf(6) if tail == "above" else spread.cdf(7)
        assert probability == pytest.approx(0.025, abs=1e-6)
    assert result.p_less == pytest.approx(odds_ratio([[3, 25], [7, 12]]).p_greater)


def test_an_empty_margin_cannot_be_compared():
    for table in ([[0, 0], [3, 4]], [[0, 3], [0, 4]]):
        result = odds_ratio(table)
        assert (result.status, result.p_value, result.value) == ("no_estimate", 1, None)


def test_an_empty_cell_leaves_one_side_open():
    result = odds_ratio([[5, 0], [3, 4]])
    assert (result.value, result.upper, result.sample_odds_ratio) == (np.inf, np.inf, np.inf)
    assert 0 < result.lower < 1
    assert "cell of the table is empty" in result.notes[0]
    assert odds_ratio([[0, 5], [3, 4]]).value == 0


def test_large_tables_have_the_limits_of_woolf():
    # scipy's sample odds ratio uses the same normal limits of the logarithm.
    table = [[300, 20_000], [210, 30_000]]
    reference = stats.contingency.odds_ratio(table, kind="sample")
    limits = reference.confidence_interval(0.9)
    result = odds_ratio(table, confidence=0.9)
    assert (result.variant, result.value) == ("woolf", reference.statistic)
    assert (result.lower, result.upper) == pytest.approx((limits.low, limits.high))


@pytest.mark.parametrize("table", [[[1, 2]], [[1, 2], [3]], [[1, 2], [3, -4]]])
def test_impossible_tables_are_refused(table):
    with pytest.raises(ValueError, match="table"):
        odds_ratio(table)
