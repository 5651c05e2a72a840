"""Verdicts and remedies against the trade's arithmetic, exhaustive search and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.advisor.ratio import Remedy, sex_more, verdict
from stock.advisor.sexing import _log_choose


def book(females, males, **settings_given):
    return verdict(females, 0, males, 0, **settings_given)


def test_300_to_100_needs_nothing():
    # The trade's three females to a male: add 0.
    judged = book(300, 100)
    assert judged.verdict == "in band"
    assert judged.ratio == 3.0
    assert judged.to_target == Remedy(0, 0, 0, 0)
    assert (judged.p_below, judged.p_in, judged.p_above) == (0, 1, 0)
    assert judged.lower is None


def test_240_to_100_add_60_or_take_out_20():
    # ceil(3 x 100 - 240) females to add; 100 - floor(240 / 3) males to remove.
    judged = book(240, 100)
    assert judged.verdict == "short of females"
    assert judged.ratio == pytest.approx(2.4)
    assert judged.to_target == Remedy(60, 20, None, None)
    assert judged.to_band == Remedy(10, 4, None, None)
    assert (judged.p_below, judged.p_in, judged.p_above) == (1, 0, 0)


def test_too_few_males():
    judged = book(500, 100)
    assert judged.verdict == "short of males"
    assert judged.to_target == Remedy(None, None, 200, 67)
    assert judged.to_band == Remedy(None, None, 50, 12)
    assert judged.p_above == 1


def test_no_males_has_no_ratio():
    judged = book(10, 0)
    assert judged.verdict == "no males"
    assert judged.ratio is None
    assert judged.to_target == Remedy(None, None, None, 4)
    assert judged.to_band == Remedy(None, None, None, 3)


def test_no_females_can_only_be_mended_by_females():
    judged = book(0, 10)
    assert judged.verdict == "no females"
    assert judged.ratio == 0
    assert judged.to_target == Remedy(30, None, None, None)
    assert judged.to_band == Remedy(25, None, None, None)


def test_an_empty_pond_has_no_probabilities():
    judged = book(0, 0)
    assert judged.verdict == "no males"
    assert judged.p_below is None
    assert judged.to_target == Remedy(None, None, None, None)


@pytest.mark.parametrize(
    ("females", "word"),
    [(250, "in band"), (249, "short of females"), (450, "in band"), (451, "short of males")],
)
def test_the_edges_of_the_band_belong_to_it(females, word):
    assert book(females, 100).verdict == word


def test_an_edge_that_binary_fractions_miss_is_still_the_edge():
    judged = book(270, 100, band=(2.7, 2.9))
    assert judged.verdict == "in band"
    assert judged.to_band == Remedy(0, 0, 0, 0)


def search(females, males, accepts):
    """Try every number of heads, smallest first, for each way alone."""
    ways = (
        [(females + x, males) for x in range(400)],
        [(females, males - x) for x in range(males)] or [(females, males)],
        [(females - x, males) for x in range(females)] or [(females, males)],
        [(females, males + x) for x in range(400)],
    )
    return Remedy(
        *(next((x for x, pair in enumerate(way) if pair[1] and accepts(*pair)), None) for way in ways)
    )


@settings(max_examples=300, deadline=None)
@given(
    st.integers(0, 60),
    st.integers(0, 30),
    st.sampled_from([(2.5, 4.5), (2.9, 3.1), (3.0, 3.0), (1.5, 2.0)]),
    st.sampled_from([1.0, 2.5, 3.0, 4.0]),
)
def test_remedies_against_exhaustive_search(females, males, band, target):
    judged = book(females, males, band=band, target=target)
    low, high = band
    assert judged.to_band == search(
        females, males, lambda f, m: low * m - 1e-9 <= f <= high * m + 1e-9 and f > 0
    )
    if not males or females > target * males:
        expected = search(females, males, lambda f, m: 0 < f <= target * m)
    else:
        expected = search(females, males, lambda f, m: f >= target * m)
    if females == target * males and males:
        expected = Remedy(0, 0, 0, 0)
    assert judged.to_target == expected


@pytest.mark.parametrize(
    ("female_mean", "female_se", "male_mean", "male_se", "covariance"),
    [
        (240, 12, 100, 6, 40),
        (300, 30, 100, 10, -150),
        (5, 3, 2, 2, 1),
        (5, 3, 2, 2, -6),
        (30, 4, 8, 0, 0),
        (8, 4, 3, 0, 0),
        (8, 0, 3, 2, 0),
        (1, 2, 6, 3, 0),
    ],
)
def test_probabilities_against_simulation(female_mean, female_se, male_mean, male_se, covariance):
    """400,000 joint normal draws, those below zero heads thrown out: standard error under 0.0013."""
    rng = np.random.default_rng(7)
    matrix = [[female_se**2, covariance], [covariance, male_se**2]]
    drawn = rng.multivariate_normal([female_mean, male_mean], matrix, 400_000)
    drawn = drawn[(drawn >= 0).all(axis=1)]
    ratios = drawn[:, 0] / np.maximum(drawn[:, 1], 1e-12)
    judged = verdict(female_mean, female_se, male_mean, male_se, covariance=covariance)
    assert judged.p_below == pytest.approx((ratios < 2.5).mean(), abs=0.005)
    assert judged.p_above == pytest.approx((ratios > 4.5).mean(), abs=0.005)
    assert judged.p_below + judged.p_in + judged.p_above == pytest.approx(1)
    assert (ratios < judged.lower).mean() == pytest.approx(0.1, abs=0.005)
    assert (ratios < judged.upper).mean() == pytest.approx(0.9, abs=0.005)


def test_counts_that_do_not_settle_it_are_said_not_to():
    assert verdict(240, 12, 100, 6).verdict == "not known well enough"
    assert verdict(240, 12, 100, 6, certainty=0.6).verdict == "short of females"
    assert verdict(350, 5, 100, 2).verdict == "in band"
    assert verdict(600, 12, 100, 6).verdict == "short of males"


def test_few_males_that_may_be_none():
    assert verdict(100, 5, 0, 0.2).verdict == "no males"
    assert verdict(0, 0.2, 100, 5).verdict == "no females"
    assert verdict(100, 5, 0, 3).verdict == "short of males"
    assert verdict(100, 5, 0, 3).lower is None


def test_limits_beyond_all_search_are_zero_or_infinite():
    assert verdict(50, 0, 1e-15, 1e-16).upper == math.inf
    assert verdict(1e-4, 1e-5, 1e9, 0).lower == 0


def test_males_that_may_well_be_near_none_leave_usable_limits():
    # M is a normal of spread 3 cut at zero (mean all but 0): its 5 % and 95 % points are 3 x .0627 and 3 x 1.96.
    judged = verdict(50, 0, 1e-30, 3, certainty=0.9)
    assert judged.lower == pytest.approx(50 / (3 * 1.95996), rel=0.001)
    assert judged.upper == pytest.approx(50 / (3 * 0.06271), rel=0.01)


def test_limits_without_spread_close_on_the_ratio():
    judged = verdict(300, 1e-8, 100, 0)
    assert judged.lower == pytest.approx(3.0, abs=1e-6)
    assert judged.upper == pytest.approx(3.0, abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"covariance": 80.0}, "more than the errors"),
        ({"band": (0, 4)}, "not a band"),
        ({"band": (5, 4)}, "not a band"),
        ({"target": 0}, "not above 0"),
        ({"certainty": 1}, "certainty"),
    ],
)
def test_impossible_questions_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        verdict(240, 12, 100, 6, **arguments)


def test_negative_heads_are_refused():
    with pytest.raises(ValueError, match="male_mean"):
        verdict(240, 12, -1, 6)


def chance_of_settling(females, males, more, *, band=(2.5, 4.5), certainty=0.8):
    """Simulate sexing ``more`` turtles and judging by 4,000 draws' worth of Beta posterior quantiles."""
    rng = np.random.default_rng(3)

    found = rng.binomial(more, females / (females + males), 4000)
    posterior = stats.beta(females + found + 0.5, males + more - found + 0.5)
    below = posterior.cdf(band[0] / (1 + band[0]))
    above = posterior.sf(band[1] / (1 + band[1]))
    return (np.maximum.reduce([below, above, 1 - below - above]) >= certainty).mean()


@pytest.mark.parametrize(("females", "males"), [(30, 10), (75, 25), (33, 10), (22, 10)])
def test_the_number_to_sex_reaches_its_power_and_half_of_it_does_not(females, males):
    more = sex_more(females, males)
    assert more > 0
    assert chance_of_settling(females, males, more) == pytest.approx(0.8, abs=0.03)
    assert chance_of_settling(females, males, more // 2) < 0.77


def test_what_is_settled_needs_no_more():
    assert sex_more(20, 20) == 0
    assert sex_more(300, 30) == 0
    assert sex_more(20, 0) == 0
    assert sex_more(30, 10, total=40) == 0


def test_on_the_edge_of_the_band_sexing_never_settles_it():
    assert sex_more(25, 10) is None
    assert sex_more(90, 20) is None


def test_with_nothing_seen_no_number_can_be_named():
    assert sex_more(0, 0) is None


def test_a_small_pond_is_settled_by_sexing_all_of_it_at_the_latest():
    for total in (45, 60, 200):
        more = sex_more(30, 10, total=total)
        assert 0 <= more <= total - 40
    assert sex_more(30, 10, total=200) < sex_more(30, 10)
    assert 0 < sex_more(25, 10, total=50, certainty=0.99, power=0.99) <= 15


def test_a_total_below_the_sexed_is_refused():
    with pytest.raises(ValueError, match="hold 30, but 40"):
        sex_more(30, 10, total=30)


def test_ways_to_choose():
    assert np.exp(_log_choose(5, np.array([0, 2, 5]))) == pytest.approx([1, math.comb(5, 2), 1])
    assert np.isneginf(_log_choose(5, np.array([-1, 6]))).all()
