"""Control charts against the handbook and textbook examples."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.advisor.watch import c_chart, p_chart, u_chart

WAFERS = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13]
CANS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13]


def test_c_chart_of_nist():
    # NIST/SEMATECH e-Handbook, section 6.3.3.1: defects on 25 wafers.
    chart = c_chart(WAFERS)
    assert (chart.center, chart.lower[0], chart.upper[-1]) == (16, 4, 28)
    # Sample 24 (31) is outside; sample 3 (28) is on the limit and no signal.
    assert chart.signals == chart.above == (23,)
    assert chart.below == ()
    assert not any(chart.exact)
    assert "leave it out" in chart.notes[0]
    assert chart.status == "ok"


def test_u_chart_with_unequal_exposure():
    # wizedu.com/questions/202510: ten days of defects on unequal numbers of units.
    chart = u_chart([6, 3, 8, 6, 10, 7, 5, 7, 20, 25], [110, 112, 195, 185, 245, 250, 100, 170, 250, 270])
    assert chart.center == pytest.approx(0.0514043, abs=1e-7)
    upper = [
        0.116257,
        0.115675,
        0.100113,
        0.101412,
        0.094859,
        0.094422,
        0.119422,
        0.103571,
        0.094422,
        0.092799,
    ]
    assert chart.upper == pytest.approx(upper, abs=1e-6)
    assert [place for place, limit in enumerate(chart.lower, start=1) if limit == 0] == [1, 2, 7, 8]
    # Day 10 (.0926) is just inside.
    assert chart.signals == ()


def test_p_chart_of_montgomery():
    # Montgomery, Introduction to Statistical Quality Control; NIST/SEMATECH section 6.3.3.2: 30 samples of 50.
    chart = p_chart([*CANS, 9, 6], [50] * 30)
    assert (chart.center, chart.upper[0], chart.lower[0]) == pytest.approx(
        (0.231333, 0.410239, 0.052428), abs=1e-6
    )
    assert [place + 1 for place in chart.signals] == [15, 23]


def test_a_low_point_signals_too():
    chart = c_chart([30, 31, 29, 30, 5])
    assert chart.below == (4,)
    assert chart.values[4] < chart.lower[4]


@settings(deadline=None)
@given(rate=st.floats(0.0005, 0.02), exposure=st.floats(1, 249))
def test_small_counts_have_exact_poisson_limits(rate, exposure):
    """The largest count that is no signal, found here by adding up the tail term by term."""
    # The center is `rate` to within a millionth: the other sample's exposure swamps the first.
    large = 1e9
    chart = u_chart([0, round(rate * large)], [exposure, large])
    expected = chart.center * exposure
    assert chart.exact == (expected < 5, False)
    if expected < 5:
        count = 0
        while (
            1 - sum(math.exp(-expected) * expected**k / math.factorial(k) for k in range(count + 1)) > 0.00135
        ):
            count += 1
        assert chart.upper[0] * exposure == pytest.approx(count)
        assert chart.lower[0] == 0
        assert "exact ones" in chart.notes[1]


def test_an_exact_limit_is_no_signal_and_the_next_count_is():
    # Poisson tails by scipy: at a mean of 2, P(8 or more) = .0011 and P(7 or more) = .0045.
    assert stats.poisson.sf(7, 2) < 0.00135 < stats.poisson.sf(6, 2)
    assert c_chart([7] + [1] * 5 + [2, 2]).signals == ()
    assert c_chart([8] + [1] * 4 + [2, 2, 0]).signals == (0,)


def test_shares_near_none_or_all_have_exact_binomial_limits():
    # Binomial tails by scipy: P(4 or more of 20 | .05) = .0159, of 5 .0026, of 6 .0003.
    chart = p_chart([1, 1, 1, 1], [20] * 4)
    assert chart.upper[0] * 20 == pytest.approx(5)
    assert chart.exact == (True,) * 4
    mirrored = p_chart([19, 19, 19, 19], [20] * 4)
    assert mirrored.lower[0] * 20 == pytest.approx(15)
    assert mirrored.upper[0] == 1


@settings(deadline=None)
@given(st.lists(st.integers(0, 60), min_size=1, max_size=30))
def test_equal_exposure_makes_a_u_chart_a_c_chart(counts):
    plain, per_head = c_chart(counts), u_chart(counts, [4.0] * len(counts))
    assert per_head.center * 4 == pytest.approx(plain.center)
    assert [limit * 4 for limit in per_head.upper] == pytest.approx(list(plain.upper))
    assert per_head.signals == plain.signals


def test_nothing_sampled_is_no_chart():
    for chart in (c_chart([]), u_chart([], []), u_chart([2], [0]), p_chart([0], [0])):
        assert chart.status == "no_estimate"
        assert chart.center is None
        assert chart.signals == ()


def test_a_sample_without_exposure_is_left_out():
    chart = u_chart([3, 1, 2], [100, 0, 100])
    assert chart.center == pytest.approx(0.025)
    assert (chart.values[1], chart.upper[1], chart.lower[1]) == (None, None, None)
    assert chart.status == "low_confidence"
    assert "1 of the 3 samples had no exposure" in chart.notes[-1]
    assert p_chart([3, 0], [9, 0]).values == (pytest.approx(1 / 3), None)


def test_one_sample_or_no_event_says_little():
    single = c_chart([9])
    assert single.status == "low_confidence"
    assert "compared with itself" in single.notes[1]
    nothing = c_chart([0, 0, 0])
    assert (nothing.center, nothing.upper[0], nothing.signals) == (0, 0, ())
    assert nothing.status == "low_confidence"
    assert "No event was seen yet" in nothing.notes[1]


@pytest.mark.parametrize(
    ("chart", "arguments", "words"),
    [
        (c_chart, ([1, -1],), "counts, number 2: -1 is below zero"),
        (c_chart, ([1.5],), "not a whole number"),
        (u_chart, ([1, 2], [3]), "1 were given for 2 counts"),
        (u_chart, ([1], [-3]), "exposures, number 1"),
        (p_chart, ([1, 2], [3]), "1 were given for 2 counts"),
        (p_chart, ([4], [3]), "number 1: 4 is more than the 3"),
    ],
)
def test_impossible_samples_are_refused(chart, arguments, words):
    with pytest.raises(ValueError, match=words):
        chart(*arguments)
