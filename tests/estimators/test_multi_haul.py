"""Head counts from several hauls against published worked examples."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stock.estimators.limits import garwood_limits
from stock.estimators.multi_haul import schnabel, schumacher_eschmeyer

# Gordy Lake sunfish: Gerking (1953), Ecology 34:365-400, as worked by Ricker (1975), Bull. Fish. Res.
# Board Can. 191, p. 99, and Krebs (1989), Ecological Methodology, Table 2.2.
CAUGHT = [10, 27, 17, 7, 1, 5, 6, 15, 9, 18, 16, 5, 7, 19]
RECAPTURED = [0, 0, 0, 0, 0, 0, 2, 1, 5, 5, 4, 2, 2, 3]
RETURNED = [10, 27, 17, 7, 1, 5, 6, 15, 9, 18, 14, 5, 6, 0]
AT_LARGE = (0, 10, 37, 54, 61, 62, 67, 71, 85, 89, 102, 112, 115, 119)
GORDY_LAKE = (CAUGHT, RECAPTURED, RETURNED)


def test_gordy_lake_schnabel():
    plain, modified = schnabel(*GORDY_LAKE, modified=False), schnabel(*GORDY_LAKE)
    assert plain.marked_at_large == AT_LARGE
    assert (plain.value, modified.value) == (447.5, 429.6)
    assert plain.se_reciprocal == pytest.approx(math.sqrt(24) / 10740)
    assert plain.se == pytest.approx(447.5**2 * math.sqrt(24) / 10740)
    for estimate in (plain, modified):
        assert (estimate.lower, estimate.upper) == pytest.approx((300.755, 698.434), abs=0.001)
        assert estimate.status == "ok"


def test_gordy_lake_published_limits_follow_from_the_same_sums():
    estimate = schnabel(*GORDY_LAKE, modified=False)
    # Ricker's 320-746 is the normal interval of 1/N, with 1.96; Krebs's 310-720 the shortest Poisson limits.
    reach = 1.96 * estimate.se_reciprocal
    assert (1 / (1 / 447.5 + reach), 1 / (1 / 447.5 - reach)) == pytest.approx((319.62, 745.94), abs=0.01)
    at_risk = estimate.value * 24
    assert (at_risk / 34.665, at_risk / 14.921) == pytest.approx((309.82, 719.79), abs=0.01)


def test_gordy_lake_schumacher_eschmeyer():
    # Krebs (1989), section 2.2: 423, limits 300-719.
    estimate = schumacher_eschmeyer(*GORDY_LAKE)
    assert estimate.value == pytest.approx(422.971, abs=0.001)
    assert (estimate.lower, estimate.upper) == pytest.approx((299.66, 718.74), abs=0.01)
    assert estimate.se_reciprocal**2 == pytest.approx((7.745113 - 2294**2 / 970296) / 12 / 970296, rel=1e-6)
    assert estimate.se == pytest.approx(estimate.value**2 * estimate.se_reciprocal)
    assert (estimate.status, estimate.marked_at_large) == ("ok", AT_LARGE)


def test_garwood_1936_limits():
    # Garwood (1936), Biometrika 28:437-442.
    for count, lower, upper in [
        (0, 0, 3.6889),
        (1, 0.0253, 5.5716),
        (10, 4.7954, 18.3904),
        (24, 15.3773, 35.7101),
    ]:
        assert garwood_limits(count) == pytest.approx((lower, upper), abs=6e-5)


def test_from_fifty_recaptures_on_student_t():
    # 1/N +- t sqrt(R) / sum(CM), one degree of freedom fewer than hauls: Ricker (1975), section 3.8.
    caught, recaptured = [80, 80, 0, 80, 80], [0, 20, 0, 30, 40]
    estimate = schnabel(caught, recaptured, caught, modified=False)
    at_risk = 80 * (80 + 140 + 190)
    assert estimate.value == pytest.approx(at_risk / 90)
    reach = stats.t.ppf(0.975, 3) * math.sqrt(90)
    assert (estimate.lower, estimate.upper) == pytest.approx((at_risk / (90 + reach), at_risk / (90 - reach)))
    two_hauls = schnabel([100, 100], [0, 60], [100, 100])
    assert two_hauls.upper == math.inf


def test_no_recapture():
    hauls = ([20, 15, 10], [0, 0, 0], [20, 15, 10])
    modified, plain, regression = (
        schnabel(*hauls),
        schnabel(*hauls, modified=False),
        schumacher_eschmeyer(*hauls),
    )
    at_risk = 15 * 20 + 10 * 35
    assert (modified.value, modified.se, modified.upper) == (at_risk, None, math.inf)
    assert modified.lower == pytest.approx(at_risk / 3.688879, rel=1e-6)
    assert (modified.status, modified.se_reciprocal) == ("low_confidence", None)
    assert (plain.value, plain.lower, plain.status) == (None, modified.lower, "no_estimate")
    assert (regression.value, regression.lower, regression.upper) == (None, 45, math.inf)
    for estimate in (modified, plain, regression):
        assert "No marked animal recaptured" in estimate.notes[0]


@pytest.mark.parametrize(
    "hauls", [([], [], []), ([30], [0], [30]), ([30, 0], [0, 0], [30, 0]), ([4, 9], [0, 0], [0, 9])]
)
def test_without_marks_at_large_there_is_no_estimate(hauls):
    for estimate in (schnabel(*hauls), schnabel(*hauls, modified=False), schumacher_eschmeyer(*hauls)):
        assert (estimate.value, estimate.status, estimate.upper) == (None, "no_estimate", math.inf)
        assert estimate.lower == estimate.known_alive == max(hauls[0], default=0)
        assert "while marked animals were at large" in estimate.notes[0]


def test_a_regression_needs_three_hauls():
    two_hauls = schumacher_eschmeyer([100, 90, 0], [0, 20, 0], [100, 90, 0])
    assert (two_hauls.value, two_hauls.se, two_hauls.lower, two_hauls.upper) == (450, None, None, None)
    assert (two_hauls.status, two_hauls.notes) == (
        "low_confidence",
        ("Fewer than three hauls caught anything, so there are no limits.",),
    )
    # 10 of 100 with 50 marked at large, 14 of 50 with 140: both are M / 500.
    on_a_line = schumacher_eschmeyer([50, 100, 50], [0, 10, 14], [50, 100, 50])
    assert (on_a_line.value, on_a_line.se, on_a_line.lower) == (500, None, None)
    assert "on one line by chance" in on_a_line.notes[0]


def test_a_scattered_regression_has_no_upper_limit():
    estimate = schumacher_eschmeyer([40, 40, 40], [0, 1, 12], [40, 40, 40])
    assert estimate.upper == math.inf
    assert estimate.lower >= estimate.known_alive


def test_few_recaptures_are_low_confidence():
    hauls = ([20, 20, 20], [0, 2, 4], [20, 20, 20])
    assert schnabel(*hauls).status == schumacher_eschmeyer(*hauls).status == "low_confidence"
    assert "6 recaptured; with fewer than 7" in schnabel(*hauls).notes[0]


def test_deaths_in_the_net_leave_the_marks_at_large():
    # Two of the five recaptured died, and three of the twenty unmarked.
    estimate = schnabel([30, 25, 10], [0, 5, 4], [30, 20, 10])
    assert estimate.marked_at_large == (0, 30, 45)
    assert estimate.known_alive == 51
    # Everything recaptured was kept: fewer marked at large than before.
    assert schnabel([30, 5, 10], [0, 5, 4], [30, 0, 10]).marked_at_large == (0, 30, 25)


def test_heads_known_alive_bound_both():
    hauls = ([10, 20, 30], [0, 9, 14], [10, 20, 30])
    estimate = schnabel(*hauls)
    assert (estimate.value, estimate.known_alive, estimate.status) == (37, 37, "bounded")
    assert estimate.raw == pytest.approx((20 * 10 + 30 * 21) / 24)
    assert schumacher_eschmeyer(*hauls).value >= 37


def test_impossible_hauls_are_refused():
    for estimator in (schnabel, schumacher_eschmeyer):
        with pytest.raises(ValueError, match="3 numbers caught, 2 recaptured and 3 returned"):
            estimator([9, 9, 9], [0, 1], [9, 9, 9])
        with pytest.raises(ValueError, match="haul 2: 5 marked among 4 caught"):
            estimator([9, 4], [0, 5], [9, 4])
        with pytest.raises(ValueError, match="haul 1: 1 marked, but 0 marked were at large"):
            estimator([9, 4], [1, 0], [9, 4])
        with pytest.raises(ValueError, match="haul 2: 6 returned with marks of 4 caught"):
            estimator([9, 4], [0, 1], [9, 6])
        with pytest.raises(ValueError, match="caught, number 2: -4 is below zero"):
            estimator([9, -4], [0, 0], [9, 0])


@st.composite
def hauls(draw):
    caught, recaptured, returned, marked = [], [], [], 0
    for _ in range(draw(st.integers(1, 8))):
        caught.append(draw(st.integers(0, 60)))
        recaptured.append(draw(st.integers(0, min(caught[-1], marked))))
        returned.append(draw(st.integers(0, caught[-1])))
        marked += returned[-1] - recaptured[-1]
    return caught, recaptured, returned


@given(hauls(), st.sampled_from([0.5, 0.95, 0.999]))
@settings(max_examples=60, deadline=None)
def test_any_hauls_give_a_figure_between_its_limits(hauls, confidence):
    for estimate in (
        schnabel(*hauls, confidence=confidence),
        schnabel(*hauls, modified=False, confidence=confidence),
        schumacher_eschmeyer(*hauls, confidence=confidence),
    ):
        if estimate.value is not None:
            assert estimate.value >= estimate.known_alive
        if estimate.lower is not None:
            assert estimate.known_alive <= estimate.lower <= estimate.upper
            assert estimate.value is None or estimate.lower <= estimate.value <= estimate.upper


@given(hauls(), st.integers(2, 7))
@settings(max_examples=30, deadline=None)
def test_heads_scale_with_the_hauls(hauls, times):
    larger = tuple([times * heads for heads in row] for row in hauls)
    for estimator in (lambda *rows: schnabel(*rows, modified=False), schumacher_eschmeyer):
        small, large = estimator(*hauls), estimator(*larger)
        assert large.known_alive == times * small.known_alive
        assert (small.value is None) == (large.value is None)
        if small.value is not None:
            assert large.value == pytest.approx(times * small.value)


@given(hauls(), st.integers(0, 8))
@settings(max_examples=30, deadline=None)
def test_an_empty_haul_changes_nothing(hauls, place):
    with_empty = tuple([*row[:place], 0, *row[place:]] for row in hauls)
    for estimator in (schnabel, schumacher_eschmeyer):
        plain, more = estimator(*hauls), estimator(*with_empty)
        assert (plain.value, plain.se, plain.lower, plain.upper) == (
            more.value,
            more.se,
            more.lower,
            more.upper,
        )
