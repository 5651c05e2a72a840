"""Plans of surveys against published figures, and against the surveys they plan, drawn by seeded chance."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.advisor.sexing import sex_more
from stock.advisor.share import finite_share
from stock.estimators.marked_sexes import Marks, chapman, limits
from stock.estimators.passes_over import PassesOver
from stock.estimators.planner import (
    band_plan,
    hauls_plan,
    hauls_precision,
    passes_plan,
    robson_regier_ratio,
    sexing_plan,
)
from stock.estimators.planner_passes import chance_no_decline
from stock.estimators.two_sample import two_sample

WIDTHS = st.floats(0.01, 1)
POND = st.integers(1, 800)


# Two hauls with marks


@pytest.mark.parametrize(
    ("accuracy", "confidence", "ratio"),
    [
        (0.5, 0.95, 24.35001031), (0.25, 0.95, 69.83385388), (0.2, 0.95, 103.9898307),
        (0.15, 0.95, 178.3155987), (0.1, 0.95, 391.4504252), (0.05, 0.95, 1543.721381),
        (0.5, 0.99, 48.707), (0.25, 0.99, 135.529229), (0.1, 0.99, 694.4679116),
        (0.5, 0.8, 6.64835), (0.25, 0.8, 25.80786976), (0.1, 0.8, 163.6673542),
    ],
)  # fmt: skip
def test_robson_and_regier_1964_ratio(accuracy, confidence, ratio):
    # Robson & Regier (1964), Trans. American Fisheries Society 93, 215-226: D to all digits as quoted in
    # public statistical software; Seber (1982), section 3.1.5, prints 24.4, 69.9 and 392 (from memory).
    assert robson_regier_ratio(accuracy, confidence) == pytest.approx(ratio, rel=5e-5)


@pytest.mark.parametrize(
    ("expected", "marked", "accuracy", "number"),
    [(1000, None, 0.25, 210), (1000, 100, 0.25, 387), (1000, None, 0.1, 385), (10_000, None, 0.5, 471)],
)
def test_robson_and_regier_1964_numbers_to_mark_and_catch(expected, marked, accuracy, number):
    # M C (N - 1) / ((N - M) (N - C)) = D, solved by hand with the published D of the test above.
    plan = hauls_plan(expected, half_width=accuracy, marked=marked)
    assert plan.robson_regier == number
    if accuracy <= 0.25:
        # A normal accuracy and the half of a skewed interval: two measures that come together as they get finer.
        assert plan.caught == pytest.approx(number, rel=0.13)
    else:
        # The rule guards the longer, upper side, so it asks for more than the half-width does.
        assert plan.caught < number
        assert plan.chance_within > 0.9


def test_seven_recaptures_are_asked_for_whatever_the_width():
    # Robson & Regier (1964): below 7 recaptures the estimate is off by more than chance; and M C > 4 N.
    for heads in (12, 50, 400, 5000):
        plan = hauls_plan(heads, half_width=1)
        assert plan.expected_recaptures >= 7
        assert plan.marked * plan.caught > 4 * heads


def test_the_planned_interval_is_that_of_the_headline_estimate():
    # Of 500 heads 20 or 40 recaptures are expected, whole numbers: exact limits below 30, else log-normal.
    for marked, seen, interval in ((100, 20, "exact"), (200, 40, "lognormal")):
        plan = hauls_precision(500, marked, 100)
        shown = two_sample(marked, 100, seen, interval=interval)
        assert plan.expected_recaptures == seen
        assert (plan.lower, plan.upper) == pytest.approx((shown.lower, shown.upper))
        assert plan.half_width == pytest.approx((shown.upper - shown.lower) / 1000)
    # 20.5 recaptures: half way between 20 and 21.
    plan = hauls_precision(1000, 100, 205)
    shown = [two_sample(100, 205, seen, interval="exact") for seen in (20, 21)]
    assert plan.upper == pytest.approx((shown[0].upper + shown[1].upper) / 2)


@given(POND, WIDTHS, WIDTHS, st.integers(1, 800))
@settings(max_examples=15, deadline=None)
def test_more_precision_never_needs_fewer_heads(heads, one, other, marked):
    fine, coarse = sorted((one, other))
    for at_large in (None, min(marked, heads)):
        many, few = (hauls_plan(heads, half_width=width, marked=at_large) for width in (fine, coarse))
        assert (many.caught or math.inf) >= (few.caught or math.inf)


@given(POND, WIDTHS)
@settings(max_examples=20, deadline=None)
def test_the_planned_hauls_are_enough_and_no_more_than_needed(heads, width):
    plan = hauls_plan(heads, half_width=width)
    if not plan.is_reached:
        whole = hauls_precision(heads, heads, heads, half_width=width)
        assert heads < 7 or whole.half_width > width
        return
    assert plan.half_width <= width + 1e-8
    assert plan.expected_recaptures >= 7
    assert hauls_precision(heads, plan.marked, plan.caught, half_width=width).half_width == plan.half_width
    if plan.caught > 1:
        fewer = hauls_precision(heads, plan.marked - 1, plan.caught - 1, half_width=width)
        assert not fewer.is_reached or fewer.expected_recaptures < 7


@pytest.mark.parametrize(("heads", "width"), [(120, 0.2), (600, 0.25), (3000, 0.15), (600, 0.5)])
def test_planned_hauls_drawn_by_chance_are_as_precise_as_promised(heads, width):
    plan = hauls_plan(heads, half_width=width)
    seen = np.random.default_rng(7).hypergeometric(plan.marked, heads - plan.marked, plan.caught, 600)
    marks = Marks.of(plan.marked, plan.caught, seen)
    value, se = chapman(marks)
    lower, upper, _ = limits(marks, value, se, 0.95)
    # Slack: recaptures are whole numbers.
    assert np.median((upper - lower) / 2 / heads) == pytest.approx(width, rel=0.12)
    within = np.mean(np.abs(value - heads) <= width * heads)
    assert plan.chance_within == pytest.approx(within, abs=4 * math.sqrt(0.25 / 600))
    assert np.mean(seen < 7) == pytest.approx(plan.chance_few, abs=0.04)
    assert np.mean((plan.recaptures_low <= seen) & (seen <= plan.recaptures_high)) >= 0.9 - 0.04
    assert np.mean((lower <= heads) & (heads <= upper)) >= 0.92


def test_the_chance_to_be_within_is_the_sum_over_all_recaptures():
    # Every number of recaptures tried with scipy's hypergeometric distribution.
    plan = hauls_precision(90, 30, 40, half_width=0.2)
    seen = np.arange(31)
    estimates = 31 * 41 / (seen + 1) - 1
    within = np.abs(estimates - 90) <= 18
    assert plan.chance_within == pytest.approx(stats.hypergeom.pmf(seen, 90, 30, 40)[within].sum())


def test_hauls_that_cannot_be_planned_get_a_sentence():
    assert "nothing to plan" in hauls_plan(0).notes[0]
    assert hauls_plan(0).caught is None
    none_marked = hauls_plan(50, marked=0)
    assert (none_marked.caught, none_marked.is_reached) == (None, False)
    assert "No marked head" in none_marked.notes[0]
    assert "Nothing is caught" in hauls_precision(50, 10, 0).notes[0]
    assert "With 3 marked there cannot be 7 recaptures" in hauls_plan(3).notes[0]
    # All 20 caught twice: the exact limits still allow 21 (a chance of 1 in 21, above 2.5 %), so 2.5 % are left.
    plan = hauls_plan(20, half_width=0.02)
    assert (plan.marked, plan.caught, plan.is_reached) == (None, None, False)
    assert "2.5% would be left" in plan.notes[0]
    assert "drawing the pond down" in hauls_plan(30, half_width=0.06).notes[0]
    few = hauls_precision(1000, 100, 50)
    assert "5.0 recaptures" in few.notes[0]
    assert "1500" in few.notes[-1]
    none = hauls_precision(1000, 10, 50)
    assert (none.half_width, none.upper, none.is_reached) == (None, None, False)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        pytest.param(lambda: hauls_plan(-1), "below zero", id="hauls_plan(-1)"),
        pytest.param(lambda: hauls_plan(2_000_000), "at most|the most is", id="hauls_plan(2_000_000)"),
        pytest.param(lambda: hauls_plan(10, half_width=25), "0.25", id="hauls_plan(10, half_width=25)"),
        pytest.param(
            lambda: hauls_plan(10, half_width=-0.1), "below 0", id="hauls_plan(10, half_width=-0.1)"
        ),
        pytest.param(
            lambda: hauls_plan(10, half_width=math.nan),
            "not finite",
            id="hauls_plan(10, half_width=math.nan)",
        ),
        pytest.param(
            lambda: hauls_plan(10, marked=11), "11 carry marks but only 10", id="hauls_plan(10, marked=11)"
        ),
        pytest.param(
            lambda: hauls_precision(10, 5, 11), "11 cannot be caught of 10", id="hauls_precision(10, 5, 11)"
        ),
        pytest.param(
            lambda: hauls_plan(10, confidence=95), "0.95 means 95 %", id="hauls_plan(10, confidence=95)"
        ),
        pytest.param(lambda: passes_plan(10, 1.2), "between 0 and 1", id="passes_plan(10, 1.2)"),
        pytest.param(lambda: passes_plan(10.5, 0.5), "not a whole number", id="passes_plan(10.5, 0.5)"),
        pytest.param(lambda: sexing_plan(10), "one of the two", id="sexing_plan(10)"),
        pytest.param(
            lambda: sexing_plan(10, share=0.5, ratio=1),
            "one of the two",
            id="sexing_plan(10, share=0.5, ratio=1)",
        ),
        pytest.param(lambda: sexing_plan(10, share=1.5), "between 0 and 1", id="sexing_plan(10, share=1.5)"),
        pytest.param(lambda: sexing_plan(10, ratio=-1), "below 0", id="sexing_plan(10, ratio=-1)"),
        pytest.param(lambda: band_plan(10), "one of the two", id="band_plan(10)"),
        pytest.param(
            lambda: band_plan(10, females=9, males=4), "13 were sexed", id="band_plan(10, females=9, males=4)"
        ),
        pytest.param(
            lambda: band_plan(10, share=0.5, band=(4, 2)), "band", id="band_plan(10, share=0.5, band=(4, 2))"
        ),
    ],
)
def test_an_impossible_question_is_refused_with_a_sentence(ask, words):
    with pytest.raises(ValueError, match=words):
        ask()


# Passes that hold out what they catch


@pytest.mark.parametrize(
    ("chance", "passes", "percents"),
    [
        (0.4, 2, (42, 30, 21, 15)), (0.4, 3, (19, 13, 9, 7)), (0.4, 4, (10, 7, 5, 4)),
        (0.6, 2, (14, 10, 7, 5)), (0.6, 3, (6, 4, 3, 2)), (0.6, 4, (3, 2, 1.5, 1)),
        (0.8, 2, (4, 3, 2, 1.5)), (0.8, 3, (1.4, 1, 0.7, 0.5)), (0.8, 4, (0.6, 0.4, 0.3, 0.2)),
    ],
)  # fmt: skip
def test_coefficients_of_variation_bohlin_1989_table_2(chance, passes, percents):
    # Bohlin, Hamrin, Heggberget, Rasmussen & Saltveit (1989), Hydrobiologia 173, 9-43, table 2:
    # standard error in percent of 50, 100, 200 and 400 animals, printed to the whole or to a tenth.
    for heads, percent in zip((50, 100, 200, 400), percents, strict=True):
        row = passes_plan(heads, chance).rows[passes - 2]
        slack = 0.55 if percent == round(percent) else 0.1
        assert 100 * row.se / heads == pytest.approx(percent, abs=slack)


def test_the_chance_of_no_decline_is_that_of_binomial_catches():
    # Two passes decline where c1 > c2, three where c1 > c3 (Seber & Whale 1970): summed over all catches.
    for heads, chance in ((1, 0.3), (9, 0.5), (40, 0.2), (150, 0.1)):
        first = np.arange(heads + 1)
        of_first = stats.binom.pmf(first, heads, chance)
        second = stats.binom.sf(first - 1, heads - first, chance)
        third = stats.binom.sf(first - 1, heads - first, chance * (1 - chance))
        assert chance_no_decline(heads, chance, 2) == pytest.approx((of_first * second).sum(), abs=1e-10)
        assert chance_no_decline(heads, chance, 3) == pytest.approx((of_first * third).sum(), abs=1e-10)


@pytest.mark.parametrize(("heads", "chance", "passes"), [(60, 0.1, 5), (200_000, 0.001, 8), (25, 0.3, 4)])
def test_the_chance_of_no_decline_is_what_chance_gives(heads, chance, passes):
    catches = drawn_catches(heads, chance, passes, 4000)
    spared = (passes + 1 - 2 * np.arange(1, passes + 1)) @ catches
    found = np.mean(spared <= 0)
    assert chance_no_decline(heads, chance, passes) == pytest.approx(found, abs=4 * math.sqrt(0.25 / 4000))


def drawn_catches(heads, chance, passes, surveys):
    """Return catches (pass by survey) with seeded chance."""
    random = np.random.default_rng(11)
    left = np.full(surveys, heads)
    catches = np.empty((passes, surveys), dtype=int)
    for place in range(passes):
        catches[place] = random.binomial(left, chance)
        left = left - catches[place]
    return catches


@pytest.mark.parametrize(("heads", "chance", "width"), [(300, 0.4, 0.1), (150, 0.5, 0.15), (800, 0.3, 0.1)])
def test_planned_passes_drawn_by_chance_are_as_precise_as_promised(heads, chance, width):
    plan = passes_plan(heads, chance, half_width=width)
    lower, upper = PassesOver(drawn_catches(heads, chance, plan.passes, 400).T).profile_limits(0.95)
    # Slack: the width of so few passes is skewed; its middle lies a little below that of the mean catches.
    assert np.median(upper - lower) / 2 / heads == pytest.approx(plan.row.half_width, rel=0.1)
    assert plan.row.half_width <= width
    assert np.mean((lower <= heads) & (heads <= upper)) >= 0.92


@given(POND, st.floats(0.01, 1), WIDTHS, WIDTHS)
@settings(max_examples=20, deadline=None)
def test_more_precision_never_needs_fewer_passes(heads, chance, one, other):
    fine, coarse = sorted((one, other))
    few = passes_plan(heads, chance, half_width=coarse)
    many = passes_plan(heads, chance, half_width=fine)
    assert (few.passes or 9) <= (many.passes or 9)
    caught = [row.expected_catch for row in few.rows]
    assert caught == sorted(caught)
    assert caught[-1] <= heads + 1e-6


def test_passes_that_do_not_reach_it_say_so():
    plan = passes_plan(60, 0.1, half_width=0.1)
    assert (plan.passes, plan.row, plan.is_reached) == (None, None, False)
    assert "No number of passes up to 8" in plan.notes[0]
    assert "fewer than 20 %" in plan.notes[1]
    assert len(plan.rows) == 7
    assert "nothing to plan" in passes_plan(0, 0.5).notes[0]
    assert "no chance of being caught" in passes_plan(50, 0).notes[0]
    sure = passes_plan(50, 1)
    assert (sure.passes, sure.row.half_width) == (2, 0)
    assert "first pass" in sure.notes[0]
    risky = passes_plan(10, 0.5, half_width=1)
    assert risky.row.chance_no_decline > 0.05
    assert "nothing to accept" in risky.notes[0]


# Sexing


@pytest.mark.parametrize(
    ("heads", "large_pond", "number"),
    # Published examples of Cochran (1977), section 4.4, share 0.5, half-width 0.05, 95 %: 384 and a
    # population of 528 give 222 (with n0 / (1 + n0 / N); 222.5), 385 and one of 1000 give 278.
    [(528, 384.16, 222.5), (1000, 384.16, 277.7)],
)
def test_cochran_1977_section_4_4(heads, large_pond, number):
    plan = sexing_plan(heads, share=0.5, half_width=0.05)
    assert plan.large_pond == math.ceil(large_pond)
    assert plan.cochran == math.ceil(number)


def test_cochran_1977_islanders():
    # Cochran (1977), section 4.4: 3,200 islanders, share 0.5, half-width 0.05, t = 2: n0 = 400, n = 356
    # (from memory).
    plan = sexing_plan(3200, share=0.5, half_width=0.05, confidence=2 * stats.norm.cdf(2) - 1)
    assert (plan.large_pond, plan.cochran) == (400, 356)


@pytest.mark.parametrize(("heads", "share", "width"), [(300, 0.75, 0.1), (528, 0.5, 0.05), (4000, 0.8, 0.03)])
def test_planned_sexing_drawn_by_chance_is_as_precise_as_promised(heads, share, width):
    plan = sexing_plan(heads, share=share, half_width=width)
    females = round(share * heads)
    found = np.random.default_rng(3).hypergeometric(females, heads - females, plan.to_sex, 200)
    shown = [finite_share(int(one), plan.to_sex, heads) for one in found]
    assert np.median([(one.upper - one.lower) / 2 for one in shown]) == pytest.approx(width, rel=0.05)
    assert np.mean([one.lower <= females / heads <= one.upper for one in shown]) >= 0.92
    assert plan.cochran <= plan.to_sex <= plan.large_pond + 1 / width


@given(st.integers(1, 400), st.floats(0, 1), WIDTHS, WIDTHS)
@settings(max_examples=40, deadline=None)
def test_more_precision_never_needs_fewer_sexed(heads, share, one, other):
    fine, coarse = sorted((one, other))
    many = sexing_plan(heads, share=share, half_width=fine)
    few = sexing_plan(heads, share=share, half_width=coarse)
    assert few.to_sex <= many.to_sex <= heads
    assert many.half_width <= fine + 1e-9
    assert many.expected_females + many.expected_males == many.to_sex


def test_a_pond_without_males_is_planned_by_the_interval():
    plan = sexing_plan(300, ratio=math.inf, half_width=0.05)
    assert (plan.share, plan.ratio, plan.cochran) == (1, math.inf, 0)
    assert "No male is expected" in plan.notes[0]
    assert plan.upper == 1
    # Its exact interval is just narrow enough: with one fewer it is not.
    assert finite_share(plan.to_sex, plan.to_sex, 300).lower >= 0.9
    assert finite_share(plan.to_sex - 1, plan.to_sex - 1, 300).lower < 0.9
    large = sexing_plan(50_000, share=0, half_width=0.05)
    # Nearly the large pond's: 1 - 0.025^(1/n) <= 0.1 (Clopper & Pearson).
    assert large.to_sex == pytest.approx(math.log(0.025) / math.log(0.9), abs=1.5)


def test_sexing_that_cannot_be_planned_gets_a_sentence():
    assert "none to sex" in sexing_plan(0, share=0.5).notes[0]
    assert sexing_plan(0, share=0.5).to_sex is None
    whole = sexing_plan(40, share=0.5, half_width=0)
    assert (whole.to_sex, whole.half_width) == (40, 0)
    assert "every head" in whole.notes[0]
    assert "more than half" in sexing_plan(100, share=0.5, half_width=0.06).notes[0]
    assert "none to sex" in band_plan(0, share=0.5).notes[0]


def test_the_ratio_is_told_from_its_band_with_the_promised_power():
    plan = band_plan(400, ratio=1.8)
    assert plan.to_sex == sex_more(0, 0, total=400, share=plan.share)
    females = round(plan.share * 400)
    found = np.random.default_rng(5).hypergeometric(females, 400 - females, plan.to_sex, 3000)
    # Settled as short of females where at least 80 % of the posterior (Jeffreys) lies below 2.5 : 1.
    left = 400 - plan.to_sex
    settled = 0
    for one, times in zip(*np.unique(found, return_counts=True), strict=True):
        most = math.ceil(400 * 2.5 / 3.5) - 1 - one
        a, b = one + 0.5, plan.to_sex - one + 0.5
        settled += times * (stats.betabinom.cdf(most, left, a, b) >= 0.8)
    assert settled / 3000 == pytest.approx(0.8, abs=0.08)


def test_band_plans_say_when_it_is_settled_and_when_it_never_will_be():
    settled = band_plan(400, females=10, males=40)
    assert (settled.to_sex, settled.ratio) == (0, 0.25)
    assert "settle it" in settled.notes[0]
    edge = band_plan(700, share=2.5 / 3.5)
    assert "edge of the band" in edge.notes[0]
    assert band_plan(400, females=18, males=5).to_sex == sex_more(18, 5, total=400)


def test_plans_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        hauls_plan(100).caught = 3
