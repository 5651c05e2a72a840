"""Cumulative sums and moving averages against the handbook examples."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.advisor.watch import count_reference, cusum, ewma

# NIST/SEMATECH e-Handbook, section 6.3.2.3.
MOLDS = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6]
MOLDS += [324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]
# NIST/SEMATECH e-Handbook, section 6.3.2.4.
READINGS = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
READINGS += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]

series = st.lists(st.floats(-50, 50), min_size=1, max_size=30)


def test_cusum_of_nist():
    chart = cusum(MOLDS, target=325, k=0.3175, h=4.1959)
    expected = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    assert chart.high[12:] == pytest.approx(expected, abs=1e-6)
    assert chart.first_signal + 1 == 14
    assert chart.below == ()
    assert chart.limit == 4.1959


def test_ewma_of_nist():
    # The worked averages are rounded at each step, so they are met to .006.
    chart = ewma(READINGS, target=50, sigma=2.0539, weight=0.3, width=3, asymptotic=True)
    expected = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    expected += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    assert chart.values == pytest.approx(expected, abs=0.006)
    assert (chart.upper[0], chart.lower[-1]) == pytest.approx((52.5884, 47.4116), abs=1e-4)
    assert chart.signals == ()


def test_limits_of_an_average_start_narrow_and_widen():
    chart = ewma(READINGS, target=50, sigma=2.0539, weight=0.3, width=3)
    assert chart.upper[0] == pytest.approx(50 + 3 * 0.3 * 2.0539)
    assert list(chart.upper) == sorted(chart.upper)
    assert chart.upper[-1] == pytest.approx(52.5884, abs=1e-3)


@settings(deadline=None)
@given(series, st.floats(0.05, 1))
def test_an_average_is_the_weighted_sum_of_its_samples(x, weight):
    """Roberts (1959): weights w (1 - w)^j going back, the rest on the target."""
    back = np.arange(len(x))[::-1]
    weights = weight * (1 - weight) ** back
    chart = ewma(x, target=7, sigma=2, weight=weight, width=3)
    assert chart.values[-1] == pytest.approx(float(weights @ x + (1 - weights.sum()) * 7))
    spread = 2 * math.sqrt(float((weights**2).sum()))
    assert (chart.upper[-1] - chart.lower[-1]) / 2 == pytest.approx(3 * spread)
    assert all(chart.values[place] > chart.upper[place] for place in chart.above)
    assert all(chart.values[place] < chart.lower[place] for place in chart.below)


@settings(deadline=None)
@given(series)
def test_a_weight_of_one_charts_the_samples_themselves(x):
    chart = ewma(x, target=0, sigma=10, weight=1, width=3)
    assert chart.values == pytest.approx(x)
    assert chart.signals == tuple(place for place, figure in enumerate(x) if abs(figure) > 30)


@settings(deadline=None)
@given(series, st.floats(0, 3), st.floats(0, 5))
def test_a_cusum_turned_upside_down_swaps_its_sides(x, k, head_start):
    chart = cusum(x, target=0, k=k, h=5, head_start=head_start)
    turned = cusum([-figure for figure in x], target=0, k=k, h=5, head_start=head_start)
    assert chart.high == turned.low
    assert chart.above == turned.below
    assert min(chart.high + chart.low) >= 0


@settings(deadline=None)
@given(series, st.floats(0, 3))
def test_a_cusum_is_the_worst_run_of_its_samples(x, k):
    """Page (1954): the sum is the largest of all runs that end here, or 0."""
    runs = [sum(x[start:]) - k * (len(x) - start) for start in range(len(x))]
    assert cusum(x, target=0, k=k, h=5).high[-1] == pytest.approx(max(0.0, *runs), abs=1e-9)


def test_a_head_start_signals_sooner():
    # Lucas & Crosier (1982): start both sums at h / 2.
    x = [1.5, 1.5, 1.5, 1.5]
    assert cusum(x, target=0, k=0.5, h=3).first_signal == 3
    assert cusum(x, target=0, k=0.5, h=3, head_start=1.5).first_signal == 1
    assert cusum([0.0], target=0, k=0.5, h=3).first_signal is None


@pytest.mark.parametrize(("count", "exposure"), [(0, 1.0), (3, 2.5), (11, 4.0)])
def test_the_reference_rate_weighs_two_poisson_rates_against_each_other(count, exposure):
    """Lucas (1985): a sample adds to the sum in proportion to its log likelihood ratio (scipy's)."""
    k = count_reference(1, 2)
    assert k == pytest.approx(1 / math.log(2))
    by_likelihood = stats.poisson.logpmf(count, 2 * exposure) - stats.poisson.logpmf(count, exposure)
    chart = cusum([count], target=1, k=k, h=50, exposure=[exposure], head_start=20)
    assert (chart.high[0] - 20) * math.log(2) == pytest.approx(by_likelihood)


def test_a_cusum_of_counts_by_hand():
    # By hand: 3 - 2 x 1 = 1; 1 + 4 - 2 x 0.5 = 4; below, (2 x 1.5 - 2) x 1 - 3 < 0, then 0.
    chart = cusum([3, 4, 0], target=1.5, k=2, h=3.5, exposure=[1, 0.5, 2])
    assert chart.high == pytest.approx((1, 4, 0))
    assert chart.low == pytest.approx((0, 0, 2))
    assert chart.above == (1,)


def test_nothing_sampled_is_no_chart():
    assert cusum([], target=0, k=1, h=5).status == "no_estimate"
    empty = ewma([], target=0, sigma=1, weight=0.2, width=3)
    assert (empty.status, empty.signals) == ("no_estimate", ())
    assert "Nothing was sampled" in empty.notes[0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"x": [math.nan]}, "x, number 1"),
        ({"k": -1}, "k: -1 is below 0"),
        ({"h": 0}, "h: 0 makes no chart"),
        ({"head_start": 9}, "head_start: 9 does not lie between 0 and 5"),
        ({"exposure": [1]}, "k: the reference rate 1 is below 2"),
        ({"exposure": [1, 2], "target": 0.5}, "2 were given for 1 samples"),
        ({"exposure": [-1], "target": 0.5}, "exposure, number 1"),
    ],
)
def test_impossible_cusums_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        cusum(**({"x": [1], "target": 2, "k": 1, "h": 5} | arguments))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"sigma": 0}, "sigma: 0 makes no chart"),
        ({"weight": 1.5}, "weight: 1.5 is above 1"),
        ({"width": -1}, "width: -1 is below 0"),
    ],
)
def test_impossible_averages_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        ewma([1], **({"target": 0, "sigma": 1, "weight": 0.2, "width": 3} | arguments))


@pytest.mark.parametrize(("acceptable", "excessive"), [(0, 1), (2, 2), (2, 1)])
def test_impossible_rates_have_no_reference(acceptable, excessive):
    with pytest.raises(ValueError, match=r"acceptable|excessive"):
        count_reference(acceptable, excessive)
