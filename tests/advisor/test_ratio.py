"""Ratios, their limits and tests, against published and hand-derived figures."""

import json
import math

import pytest

from stock.advisor.ratio import catchability_ratio, ratio, ratio_test


@pytest.mark.parametrize(
    ("females", "males", "lower", "upper"),
    [
        # Newcombe (1998), Table I, Wilson limits of 81/263, mapped by p / (1 - p).
        (81, 182, 0.342802, 0.577809),
        # The same map of Wilson limits of 18/23.
        (18, 5, 1.386436, 9.347706),
    ],
)
def test_ratio_limits_are_share_limits_mapped(females, males, lower, upper):
    estimate = ratio(females, males)
    assert (estimate.lower, estimate.upper) == pytest.approx((lower, upper), abs=1e-6)
    assert estimate.value == pytest.approx(females / males)
    assert estimate.se == pytest.approx(females / males * math.sqrt(1 / females + 1 / males))


def test_300_females_to_100_males_as_a_sample():
    # Arithmetic of the trade's 3:1: 300 to 100 is 3.00:1; as a sample 2.39 to 3.76 (Wilson).
    estimate = ratio(300, 100)
    assert estimate.value == 3.0
    assert (estimate.lower, estimate.upper) == pytest.approx((2.39, 3.76), abs=0.005)


def test_no_males_is_at_least_and_never_a_number():
    estimate = ratio(20, 0)
    assert estimate.value == math.inf
    assert estimate.upper == math.inf
    assert estimate.lower == pytest.approx(5.206355, abs=1e-6)
    assert (estimate.share.lower, estimate.share.upper) == pytest.approx((0.838875, 1.0), abs=1e-6)
    assert "at least 5.2 : 1" in estimate.notes[0]
    written = json.loads(json.dumps(estimate.to_json(), allow_nan=False))
    assert written["value"] is None
    assert written["unbounded"] is True
    assert written["share"]["value"] == 1.0


def test_no_females_is_a_ratio_of_zero():
    estimate = ratio(0, 20)
    assert estimate.value == 0
    assert estimate.lower == 0
    assert "at most" in estimate.notes[0]


def test_none_sexed_is_no_estimate():
    assert ratio(0, 0).status == "no_estimate"
    assert ratio(0, 0).bounds_if_unsexed is None
    assert ratio(0, 0, total=0).status == "no_estimate"
    unsexed = ratio(0, 0, 7)
    assert unsexed.status == "no_estimate"
    assert unsexed.bounds_if_unsexed == (0.0, 1.0)


def test_unsexed_turtles_are_never_dropped_silently():
    # Derived: 18/23, and 18/27 to 22/27 with the four unsexed all male or all female.
    estimate = ratio(18, 5, 4)
    assert estimate.share.value == pytest.approx(0.782609, abs=1e-6)
    assert estimate.bounds_if_unsexed == pytest.approx((0.666667, 0.814815), abs=1e-6)
    assert estimate.status == "ok"
    many = ratio(18, 5, 6)
    assert many.status == "low_confidence"
    assert "6 of the 29" in many.notes[0]


def test_a_pond_of_known_size_narrows_the_ratio():
    # 18 of 23 sexed out of 30: 20 to 25 females by the hypergeometric tails.
    estimate = ratio(18, 5, total=30)
    assert (estimate.lower, estimate.upper) == pytest.approx((20 / 10, 25 / 5))
    assert estimate.se == pytest.approx(3.6 * math.sqrt((1 - 23 / 30) * (1 / 18 + 1 / 5)))
    whole = ratio(18, 5, total=23)
    assert whole.lower == pytest.approx(3.6)
    assert whole.upper == pytest.approx(3.6)
    with pytest.raises(ValueError, match="hold 25, but the haul brought 27"):
        ratio(18, 5, 4, total=25)


def test_conover_1971_test_of_three_to_one():
    # Conover (1971), Practical Nonparametric Statistics: 682 of 925 against 3/4.
    tested = ratio_test(682, 243)
    assert tested.p_value == pytest.approx(0.3824916, abs=1e-6)
    assert (tested.share.lower, tested.share.upper) == pytest.approx((0.7076683, 0.7654066), abs=1e-6)
    assert "not distinguishable from 3:1" in tested.notes[0]


@pytest.mark.parametrize(
    ("females", "males", "p_value"),
    # Exact two-sided binomial p-values as R's binom.test gives them.
    [(8, 0, 0.2139282), (12, 8, 0.1261245), (20, 0, 0.0071134), (18, 5, 1.0)],
)
def test_small_hauls_against_three_to_one(females, males, p_value):
    assert ratio_test(females, males).p_value == pytest.approx(p_value, abs=1e-6)


def test_the_test_says_differs_only_where_it_does():
    assert ratio_test(20, 0).notes[0].startswith("The haul differs from 3:1")
    assert ratio_test(0, 0).p_value is None
    with pytest.raises(ValueError, match="not above 0"):
        ratio_test(3, 1, 0)


def test_unequal_catch_after_mcknight_and_ligon_2017():
    # Formula of McKnight & Ligon (2017), PLoS ONE 12:e0184101, worked by hand.
    estimate = catchability_ratio(30, 10, 0.6, 0.3)
    assert estimate.heads == pytest.approx((50, 33.333333), abs=1e-6)
    assert estimate.value == pytest.approx(1.5)
    assert estimate.share.value == pytest.approx(0.6)
    assert (estimate.lower, estimate.upper) == pytest.approx((0.851865, 2.641265), abs=1e-6)
    assert estimate.share.lower == pytest.approx(0.851865 / 1.851865, abs=1e-6)


def test_doubt_about_the_catch_widens_the_ratio():
    doubtful = catchability_ratio(30, 10, 0.6, 0.3, se_female=0.06, se_male=0.09)
    known = catchability_ratio(30, 10, 0.6, 0.3)
    assert (doubtful.se / 1.5) ** 2 - (known.se / 1.5) ** 2 == pytest.approx(0.1**2 + 0.3**2)


def test_without_one_sex_no_correction_is_made():
    assert catchability_ratio(30, 0, 0.6, 0.3).value == math.inf
    assert catchability_ratio(0, 10, 0.6, 0.3).value == 0
    assert "equal catch is assumed" in catchability_ratio(30, 0, 0.6, 0.3).notes[-1]
    assert catchability_ratio(0, 0, 0.6, 0.3).status == "no_estimate"


@pytest.mark.parametrize("chance", [0, 1.2, -0.1])
def test_an_impossible_catch_is_refused(chance):
    with pytest.raises(ValueError, match="p_male"):
        catchability_ratio(30, 10, 0.6, chance)
