"""Limits and rates of deaths against published figures."""

import pytest

from stock.advisor.watch import losing_heads, poisson_limits, rate_per_1000_head_days


@pytest.mark.parametrize(
    ("count", "lower", "upper"),
    # Garwood (1936), Biometrika 28:437-442, 95 % limits.
    [
        (0, 0, 3.6889),
        (1, 0.0253, 5.5716),
        (5, 1.6235, 11.6683),
        (10, 4.7954, 18.3904),
        (24, 15.3773, 35.7101),
    ],
)
def test_garwood_1936(count, lower, upper):
    estimate = poisson_limits(count)
    assert (estimate.lower, estimate.upper) == pytest.approx((lower, upper), abs=6e-5)
    assert tuple(estimate) == (estimate.lower, estimate.upper)
    assert estimate.value == count


def test_a_rate_from_the_documentation_of_r():
    # R, poisson.test example: 137 events in 24.19893 units of exposure.
    estimate = rate_per_1000_head_days(137, 24_198.93)
    assert (estimate.value, estimate.lower, estimate.upper) == pytest.approx(
        (5.661407, 4.753125, 6.692709), abs=1e-6
    )


def test_mayfield_1975_and_johnson_1979():
    # Mayfield (1975), Wilson Bulletin 87: 35 losses in 878 nest-days; daily error Johnson (1979).
    estimate = rate_per_1000_head_days(35, 878)
    assert estimate.value == pytest.approx(39.863, abs=5e-4)
    assert estimate.se / 1000 == pytest.approx(0.006602, abs=1e-6)


def test_few_deaths_and_none():
    # Derived: Garwood limits over 4,380 head-days (12 heads for a year).
    nothing = rate_per_1000_head_days(0, 4380)
    assert (nothing.value, nothing.lower, nothing.upper) == pytest.approx((0, 0, 0.842210), abs=1e-6)
    assert nothing.se is None
    three = rate_per_1000_head_days(3, 4380, at_risk=12)
    assert (three.value, three.lower, three.upper) == pytest.approx((0.684932, 0.141249, 2.001661), abs=1e-6)


def test_without_exposure_there_is_no_rate():
    assert rate_per_1000_head_days(0, 0).status == "no_estimate"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((13, 4380, 12), "13 are more than the 12"),
        ((-1, 4380, None), "below zero"),
        ((1, -5, None), "head_days"),
    ],
)
def test_impossible_deaths_are_refused(arguments, words):
    deaths, head_days, at_risk = arguments
    with pytest.raises(ValueError, match=words):
        rate_per_1000_head_days(deaths, head_days, at_risk=at_risk)


def test_a_pond_is_losing_heads_where_even_the_lower_limit_is_too_many():
    # 100 heads for a year at 95 %: -ln 0.95 x 100 = 5.129 deaths; Garwood's lower limit of 10 is 4.7954.
    ten = losing_heads(10, 36_525, expected_annual_survival=0.95)
    assert ten.expected == pytest.approx(5.1293, abs=1e-4)
    assert not ten.is_losing
    assert "within what the kind may lose" in ten.sentence
    twenty_four = losing_heads(24, 36_525, expected_annual_survival=0.95)
    assert twenty_four.is_losing
    assert twenty_four.lower == pytest.approx(15.3773, abs=6e-5)
    assert "24 deaths recorded (limits 15.4 to 35.7) where 5.1 are expected" in twenty_four.sentence


def test_losing_heads_at_the_ends():
    assert not losing_heads(0, 0, expected_annual_survival=0.95).is_losing
    assert "cannot be judged" in losing_heads(2, 0, expected_annual_survival=0.95).sentence
    single = losing_heads(1, 365, expected_annual_survival=1)
    assert single.is_losing
    assert single.expected == 0
    assert single.sentence.startswith("1 death recorded")
    with pytest.raises(ValueError, match="every head dies"):
        losing_heads(1, 365, expected_annual_survival=0)
