"""Catch per unit of effort against published worked examples."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from stock.estimators.removal import catch_effort

# Little Silver Lake smallmouth bass: Omand (1951), as worked by Ricker (1975), Bull. Fish. Res. Board
# Can. 191, examples 6.1 and 6.2: ten days with 7 traps each.
CATCHES = (131, 69, 99, 78, 56, 76, 49, 42, 63, 47)
EFFORTS = (7,) * 10


def test_leslie_ricker_1975_example_6_1():
    estimate = catch_effort(CATCHES, EFFORTS, half_catch=True)
    assert estimate.value == pytest.approx(1077.571, abs=0.01)
    assert 7 * estimate.catchability == pytest.approx(0.106755, abs=1e-6)
    assert (estimate.lower, estimate.upper) == pytest.approx((813.63, 2057.20), abs=0.01)
    assert (estimate.status, estimate.known_alive) == ("ok", 710)


def test_delury_ricker_1975_example_6_2():
    estimate = catch_effort(CATCHES, EFFORTS, variant="delury", half_catch=True)
    assert estimate.value == pytest.approx(1150.42, abs=0.01)
    assert estimate.catchability == pytest.approx(0.0131938, abs=1e-7)
    assert (estimate.se, estimate.lower, estimate.upper) == (None, None, None)
    assert "no standard error" in estimate.notes[0]


def test_plain_leslie_and_its_line():
    # Ricker (1975), section 6.2; the line is scipy's.
    estimate = catch_effort(CATCHES, EFFORTS)
    before = np.cumsum(CATCHES) - np.array(CATCHES)
    line = stats.linregress(before, np.array(CATCHES) / 7)
    assert estimate.value == pytest.approx(-line.intercept / line.slope)
    assert (estimate.value, estimate.se) == pytest.approx((1060.296, 169.268), abs=0.001)


def test_fieller_limits_are_where_the_line_may_be_0():
    # Fieller: the x at which t s sqrt(1/n + (x - mean)^2 / Sxx) reaches the line, found by scipy.
    before = np.cumsum(CATCHES) - np.array(CATCHES) / 2
    rate = np.array(CATCHES) / 7
    line = stats.linregress(before, rate)
    rest = rate - line.intercept - line.slope * before
    variance, spread = rest @ rest / 8, ((before - before.mean()) ** 2).sum()

    def excess(x):
        reach = stats.t.ppf(0.975, 8) ** 2 * variance * (1 / 10 + (x - before.mean()) ** 2 / spread)
        return (line.intercept + line.slope * x) ** 2 - reach

    estimate = catch_effort(CATCHES, EFFORTS, half_catch=True)
    roots = optimize.brentq(excess, 710, 1077), optimize.brentq(excess, 1078, 9999)
    assert (estimate.lower, estimate.upper) == pytest.approx(roots)


def test_a_slope_that_may_be_level_has_no_upper_limit():
    estimate = catch_effort((40, 28, 41, 30), (7, 7, 7, 7))
    assert (estimate.upper, estimate.status) == (math.inf, "bounded")
    assert estimate.known_alive <= estimate.lower <= estimate.value
    assert "The catches set no upper limit." in estimate.notes
    # Hardly a catch at all: not even the mean is told from 0.
    hardly = catch_effort((0, 3, 0, 0, 0), (1,) * 5)
    assert (hardly.upper, hardly.lower) == (math.inf, 3)


@pytest.mark.parametrize("variant", ["leslie", "delury"])
@pytest.mark.parametrize(
    ("catches", "words"),
    [
        ((20, 25, 31), "did not fall"),
        ((20, 20, 20), "did not fall"),
        ((), "Too few catches"),
        ((12,), "Too few catches"),
        ((0, 0, 0), None),
    ],
)
def test_no_fall_is_no_estimate(variant, catches, words):
    estimate = catch_effort(catches, (5,) * len(catches), variant=variant)
    assert (estimate.value, estimate.status, estimate.upper) == (None, "no_estimate", math.inf)
    assert estimate.lower == estimate.known_alive == sum(catches)
    assert words is None or words in estimate.notes[-1]


def test_a_time_without_catch_counts_for_leslie_and_is_left_out_by_delury():
    catches, efforts = (60, 31, 0, 12), (10, 10, 4, 10)
    assert catch_effort(catches, efforts).known_alive == 103
    delury = catch_effort(catches, efforts, variant="delury")
    assert "1 without a catch left out" in delury.notes[0]
    # The effort spent in vain still counts as spent.
    line = stats.linregress([0, 10, 24], np.log([6, 3.1, 1.2]))
    assert delury.catchability == pytest.approx(-line.slope)
    assert delury.raw == pytest.approx(math.exp(line.intercept) / -line.slope)
    assert (delury.value, delury.status) == (103, "bounded")


def test_without_scatter_there_are_no_limits():
    two = catch_effort((60, 30), (10, 10))
    assert (two.value, two.se, two.lower, two.upper, two.status) == (120, None, None, None, "low_confidence")
    on_a_line = catch_effort((100, 50, 25), (10, 10, 10))
    assert (on_a_line.value, on_a_line.se, on_a_line.status) == (pytest.approx(200), None, "low_confidence")
    assert "on one line by chance" in on_a_line.notes[0]


def test_fewer_heads_than_were_taken_is_bounded():
    estimate = catch_effort((80, 10, 1, 15), (10, 10, 10, 10))
    assert (estimate.value, estimate.lower, estimate.status) == (106, 106, "bounded")
    assert estimate.raw < 106
    assert estimate.raw_lower < 106


def test_a_line_too_steep_for_a_float():
    assert math.isfinite(catch_effort((10, 1), (1, 1e-300), variant="delury", half_catch=True).raw or 0)


def test_impossible_effort_is_refused():
    with pytest.raises(ValueError, match="efforts, number 2: 0 is no effort"):
        catch_effort((9, 4), (3, 0))
    with pytest.raises(ValueError, match="1 efforts for 2 catches"):
        catch_effort((9, 4), (3,))
    with pytest.raises(ValueError, match="efforts, number 1"):
        catch_effort((9, 4), (math.nan, 3))
    with pytest.raises(ValueError, match="choose one of leslie"):
        catch_effort((9, 4), (3, 3), variant="ricker")


records = st.lists(st.tuples(st.integers(0, 80), st.integers(1, 20)), max_size=8)


@given(records, st.sampled_from(["leslie", "delury"]), st.booleans(), st.sampled_from([0.5, 0.95, 0.999]))
@settings(max_examples=80, deadline=None)
def test_any_catches_give_a_figure_between_its_limits(records, variant, half_catch, confidence):
    catches, efforts = [catch for catch, _ in records], [effort for _, effort in records]
    estimate = catch_effort(catches, efforts, variant=variant, half_catch=half_catch, confidence=confidence)
    if estimate.value is not None:
        assert estimate.value >= estimate.known_alive == sum(catches)
    if estimate.lower is not None:
        assert estimate.known_alive <= estimate.lower <= estimate.upper
        assert estimate.value is None or estimate.lower <= estimate.value <= estimate.upper


@given(records, st.sampled_from(["leslie", "delury"]), st.sampled_from([0.25, 2, 8]))
@settings(max_examples=30, deadline=None)
def test_the_unit_of_effort_does_not_matter(records, variant, unit):
    catches, efforts = [catch for catch, _ in records], [effort for _, effort in records]
    plain = catch_effort(catches, efforts, variant=variant)
    other = catch_effort(catches, [unit * effort for effort in efforts], variant=variant)
    assert (plain.value is None) == (other.value is None)
    if plain.value is not None:
        assert other.value == pytest.approx(plain.value, rel=1e-6)
        assert other.catchability == pytest.approx(plain.catchability / unit, rel=1e-6)
