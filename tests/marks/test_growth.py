"""Sizes by sex on published shells, and growth from increments of published curves."""

import math

import numpy as np
import pytest
from scipy import stats

from stock.estimators.estimate import Status
from stock.marks.growth import growth_curve, sex_difference, size_summary
from tests.marks.painted_turtles import sizes


@pytest.mark.parametrize(
    ("sex", "name", "mean", "variance"),
    [
        # Means and variances of Jolicoeur & Mosimann 1960, Growth 24: 339-354, as reprinted in Morrison,
        # Multivariate Statistical Methods: lengths of both sexes, widths of males.
        ("M", "length", 113.38, 138.77),
        ("F", "length", 136.00, 451.39),
        ("M", "width", 88.29, 50.04),
    ],
)
def test_published_means_and_variances(sex, name, mean, variance):
    summary = size_summary(sizes(sex, name))
    assert summary.heads == 24
    assert summary.mean.value == pytest.approx(mean, abs=0.006)
    assert summary.deviation**2 == pytest.approx(variance, abs=0.006)


def test_published_means_of_logarithms():
    """Johnson & Wichern 2007, Applied Multivariate Statistical Analysis, 6th edition, example 8.4: males."""
    for name, mean, variance in (("length", 4.725, 11.072e-3), ("width", 4.478, 6.417e-3)):
        summary = size_summary([math.log(value) for value in sizes("M", name)])
        assert summary.mean.value == pytest.approx(mean, abs=5e-4)
        assert summary.deviation**2 == pytest.approx(variance, abs=1e-6)


def test_females_are_larger_as_published():
    """Jolicoeur & Mosimann 1960: females reach greater sizes, and are higher for their length."""
    found = sex_difference(sizes("F", "length"), sizes("M", "length"))
    outside = stats.ttest_ind(sizes("F", "length"), sizes("M", "length"), equal_var=False)
    limits = outside.confidence_interval(0.95)
    assert found.difference.value == pytest.approx(136.0 - 113.375)
    assert found.difference.lower == pytest.approx(limits.low)
    assert found.difference.upper == pytest.approx(limits.high)
    assert found.p_value == pytest.approx(outside.pvalue)
    assert found.ratio.value == pytest.approx(136 / 113.375)
    assert 1.0 < found.ratio.lower < found.ratio.value < found.ratio.upper
    shares = {
        sex: [high / long for high, long in zip(sizes(sex, "height"), sizes(sex, "length"), strict=True)]
        for sex in "FM"
    }
    assert sex_difference(shares["F"], shares["M"]).difference.lower > 0


def test_limits_of_a_ratio_cover_it():
    """Fieller's limits hold the true ratio as often as they say (simulated, known truth)."""
    random = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        found = sex_difference(random.normal(136, 21, 24), random.normal(113, 12, 24)).ratio
        held += found.lower <= 136 / 113 <= found.upper
    assert 0.92 <= held / 400 <= 0.98


@pytest.mark.parametrize(
    ("sizes_given", "status"),
    [([], Status.NO_ESTIMATE), ([200], Status.LOW_CONFIDENCE), ([200, 210], Status.LOW_CONFIDENCE)],
)
def test_few_animals_say_little(sizes_given, status):
    assert size_summary(sizes_given).mean.status is status
    assert sex_difference(sizes_given[:1], [180, 190]).difference.status is Status.NO_ESTIMATE


@pytest.mark.parametrize("wrong", [[-1], [0], [math.nan], ["200"]])
def test_what_is_no_size_is_refused(wrong):
    with pytest.raises(ValueError, match="size"):
        size_summary(wrong)


# Plastron length and age of painted turtles, Frazer, Gibbons & Greene 1991, American Midland Naturalist 125: 245-258:
# males 111.8 (1 - 0.792 exp(-0.184 t)), females 152.2 (1 - 0.852 exp(-0.128 t)).
PUBLISHED = {"males": (111.8, 0.792, 0.184), "females": (152.2, 0.852, 0.128)}


def at_age(curve, age):
    asymptote, start, rate = curve
    return asymptote * (1 - start * np.exp(-rate * age))


@pytest.mark.parametrize("sex", PUBLISHED)
def test_a_published_curve_comes_back_from_its_increments(sex):
    curve = PUBLISHED[sex]
    ages, years = np.arange(1.0, 15.0), np.tile([1.0, 2.0], 7)
    found = growth_curve(at_age(curve, ages), at_age(curve, ages + years), years)
    assert found.asymptote.value == pytest.approx(curve[0], rel=1e-4)
    assert found.rate.value == pytest.approx(curve[2], rel=1e-3)
    assert found.length_after(at_age(curve, 3), 4) == pytest.approx(at_age(curve, 7), rel=1e-4)


def test_limits_of_a_curve_cover_it_though_calipers_differ():
    """Increments of the published curve of females, each length read with an error of 1 mm."""
    random, curve = np.random.default_rng(11), PUBLISHED["females"]
    held = [0, 0]
    for _ in range(200):
        ages, years = random.uniform(1, 15, 40), random.uniform(1, 4, 40)
        was = at_age(curve, ages)
        found = growth_curve(was, at_age(curve, ages + years) + random.normal(0, 1, 40), years)
        held[0] += found.asymptote.lower <= curve[0] <= found.asymptote.upper
        held[1] += found.rate.lower <= curve[2] <= found.rate.upper
    assert min(held) >= 0.90 * 200


@pytest.mark.parametrize(
    ("first", "last", "years", "says"),
    [
        ([100] * 5, [110] * 5, [1] * 5, "6 are needed"),
        ([100] * 9, [110] * 9, [0.1] * 9, "6 are needed"),
        (np.arange(50, 130, 10), np.arange(60, 140, 10), [1] * 8, "none slows down"),
    ],
)
def test_measures_that_do_not_say_where_growth_ends(first, last, years, says):
    found = growth_curve(first, last, years)
    assert found.asymptote.status is found.rate.status is Status.NO_ESTIMATE
    assert says in found.asymptote.notes[0]
    assert found.length_after(100, 1) is None


def test_animals_all_of_one_size_give_no_wild_curve():
    found = growth_curve([200] * 8, [200, 201, 199, 200, 201, 199, 200, 200], [1.0] * 8)
    assert found.asymptote.value is None or 150 < found.asymptote.value < 250


def test_pairs_must_match():
    with pytest.raises(ValueError, match="one of each a pair"):
        growth_curve([100], [110, 120], [1])
