"""Hatchling sex against temperature, held to published fits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.advisor.hatch_sex import fit, male_share

# Iowa turtle eggs: Faraway (2006), Extending the Linear Model with R, data set turtle; fit checked in R.
IOWA = (
    [27.2] * 3 + [27.7] * 3 + [28.3] * 3 + [28.4] * 3 + [29.9] * 3,
    [1, 0, 1, 7, 4, 6, 13, 6, 7, 7, 5, 7, 10, 8, 9],
    [9, 8, 8, 3, 2, 2, 0, 3, 1, 3, 3, 2, 1, 0, 0],
)


def test_iowa_turtles():
    curve = fit(*IOWA)
    assert (curve.intercept.value, curve.intercept.se) == pytest.approx((-61.3183, 12.0224), abs=1e-4)
    assert (curve.slope.value, curve.slope.se) == pytest.approx((2.2110, 0.4309), abs=1e-4)
    assert (curve.deviance, curve.null_deviance) == pytest.approx((24.9425, 74.5080), abs=1e-4)
    assert curve.degrees_of_freedom == 13
    # Derived from that fit: delta method, Fieller, 2 ln 19 / slope, Pearson's chi-square over 13.
    pivotal = curve.pivotal
    assert pivotal.value == pytest.approx(27.73290, abs=1e-5)
    assert pivotal.se == pytest.approx(0.10534, abs=1e-5)
    assert (pivotal.lower, pivotal.upper) == pytest.approx((27.4794, 27.9297), abs=1e-4)
    assert curve.transition_width.value == pytest.approx(2.66341, abs=1e-5)
    assert curve.dispersion == pytest.approx(2.0186, abs=1e-4)
    assert curve.status == "low_confidence"
    assert "multiplied by 1.42" in curve.notes[0]


def test_clutches_that_differ_more_than_by_chance_widen_the_errors():
    curve, wider = fit(*IOWA), fit(*IOWA).widened()
    for name in ("intercept", "slope", "pivotal", "transition_width"):
        plain, widened = getattr(curve, name), getattr(wider, name)
        assert widened.value == plain.value
        assert widened.se == pytest.approx(plain.se * math.sqrt(2.0186), rel=1e-4)
        assert widened.lower < plain.lower < plain.upper < widened.upper
    assert "are multiplied by 1.42" in wider.notes[0]
    assert wider.status == "ok"


def test_seven_temperatures():
    # Example of predict.tsd (rdocumentation.org); fit checked in R and statsmodels.
    curve = fit(range(25, 32), [10, 14, 7, 4, 3, 0, 0], [0, 1, 2, 4, 15, 10, 13])
    assert (curve.intercept.value, curve.intercept.se) == pytest.approx((44.4890, 9.1892), abs=1e-4)
    assert (curve.slope.value, curve.slope.se) == pytest.approx((-1.5959, 0.3279), abs=1e-4)
    assert curve.deviance == pytest.approx(1.3403, abs=1e-4)
    assert (curve.pivotal.value, curve.pivotal.se) == pytest.approx((27.8771, 0.2417), abs=1e-4)
    assert (curve.pivotal.lower, curve.pivotal.upper) == pytest.approx((27.3349, 28.3711), abs=1e-4)
    assert curve.transition_width.value == pytest.approx(3.6900, abs=1e-4)
    assert (curve.status, curve.notes) == ("ok", ())
    # Less spread than chance allows narrows nothing.
    assert curve.widened() is curve


boxes = st.lists(
    st.tuples(st.integers(24, 33), st.integers(0, 12), st.integers(0, 12)), min_size=1, max_size=12
)


@settings(deadline=None)
@given(boxes)
def test_a_fit_meets_the_likelihood_equations_or_says_why_not(rows):
    """At the maximum males expected equal males seen, in number and weighted by temperature."""
    degrees, males, females = (np.array(column) for column in zip(*rows, strict=True))
    curve = fit(degrees.tolist(), males.tolist(), females.tolist())
    if curve.slope.value is None:
        assert curve.status == "no_estimate"
        assert curve.notes
        return
    eggs = males + females
    expected = eggs / (1 + np.exp(-curve.intercept.value - curve.slope.value * degrees))
    assert expected.sum() == pytest.approx(males.sum(), rel=1e-6)
    assert expected @ degrees == pytest.approx(males @ degrees, rel=1e-6)
    if curve.pivotal.value is not None:
        assert curve.pivotal.lower < curve.pivotal.value < curve.pivotal.upper
        assert curve.transition_width.lower < curve.transition_width.value < curve.transition_width.upper


@settings(deadline=None)
@given(boxes)
def test_swapping_the_sexes_turns_the_curve_over(rows):
    degrees, males, females = (list(column) for column in zip(*rows, strict=True))
    curve, turned = fit(degrees, males, females), fit(degrees, females, males)
    assert turned.status == curve.status
    if curve.slope.value is not None:
        assert turned.slope.value == pytest.approx(-curve.slope.value, rel=1e-6, abs=1e-9)
        assert turned.deviance == pytest.approx(curve.deviance, rel=1e-9, abs=1e-9)
    assert (turned.pivotal.lower is None) == (curve.pivotal.lower is None)


@pytest.mark.parametrize(
    ("degrees", "males", "females", "bracket"),
    [
        ([25, 26, 29, 30], [9, 8, 0, 0], [0, 0, 7, 9], (26, 29)),
        ([25, 26, 29, 30], [0, 0, 7, 9], [9, 8, 0, 0], (26, 29)),
        # One mixed temperature between the pure ones still parts them.
        ([25, 27, 29], [9, 4, 0], [0, 5, 9], (25, 29)),
        ([27, 29], [4, 0], [5, 9], (None, 29)),
        ([25, 27], [0, 4], [9, 5], (25, None)),
    ],
)
def test_sexes_that_part_completely_leave_a_bracket(degrees, males, females, bracket):
    curve = fit(degrees, males, females)
    assert (curve.pivotal.lower, curve.pivotal.upper) == bracket
    assert (curve.pivotal.status, curve.slope.status, curve.status) == ("no_estimate",) * 3
    assert "part completely" in curve.notes[0]
    assert curve.widened() is curve


def test_too_little_to_see_a_change():
    assert "Two temperatures" in fit([28, 28], [3, 4], [5, 6]).notes[0]
    for curve in (fit([], [], []), fit([27, 29], [3, 4], [0, 0]), fit([27], [0], [0])):
        assert curve.status == "no_estimate"
        assert "both sexes" in curve.notes[0]


def test_a_slope_that_could_be_none_has_no_pivot():
    # Two boxes alike in sex: no degrees of freedom are left, and no slope.
    curve = fit([27, 29], [5, 5], [5, 6])
    assert curve.slope.lower < 0 < curve.slope.upper
    assert (curve.pivotal.status, curve.transition_width.status) == ("no_estimate", "no_estimate")
    assert (curve.degrees_of_freedom, curve.dispersion) == (0, None)
    assert "does not change with temperature" in curve.notes[0]
    # Even one that is clear by chance alone may not be once the clutches' own spread is counted.
    erratic = fit([27, 27, 29, 29], [20, 0, 19, 11], [0, 20, 1, 9])
    assert erratic.pivotal.status == "ok"
    assert erratic.widened().pivotal.status == erratic.widened().status == "no_estimate"


def test_boxes_without_hatchlings_are_left_out():
    degrees, males, females = IOWA
    assert fit([*degrees, 20], [*males, 0], [*females, 0]) == fit(*IOWA)


def test_the_curve_is_girondots():
    # Girondot (1999): share = 1 / (1 + exp((P - T) / S)), S = 1 / slope; 5 % and 95 % half a width away.
    assert male_share([29.3], pivotal=29.3, slope=-2.4) == pytest.approx([0.5])
    width = 2 * math.log(19) / 2.4
    shares = male_share([29.3 - width / 2, 29.3 + width / 2], pivotal=29.3, slope=-2.4)
    assert shares == pytest.approx([0.95, 0.05])
    assert male_share(28, pivotal=29, slope=2) == pytest.approx(1 / (1 + math.exp((29 - 28) / 0.5)))


@settings(deadline=None)
@given(st.floats(20, 35), st.floats(-6, 6))
def test_the_share_of_males_stays_a_share(degree, slope):
    share = float(male_share(degree, pivotal=28, slope=slope))
    assert 0 <= share <= 1
    assert share + float(male_share(56 - degree, pivotal=28, slope=slope)) == pytest.approx(1)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([82], [1], [1]), "temperatures_c, number 1: 82 does not lie between 0 and 60"),
        (([28], [1, 2], [1]), "males: 2 were given for 1"),
        (([28], [1], []), "females: 0 were given for 1"),
        (([28], [-1], [1]), "males, number 1"),
    ],
)
def test_impossible_boxes_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        fit(*arguments)


def test_impossible_temperatures_are_refused():
    for figures in ((82, 29, -2), (28, 82, -2), (28, 29, math.nan), (math.nan, 29, -2)):
        with pytest.raises(ValueError, match=r"temperature_c|pivotal|slope"):
            male_share(figures[0], pivotal=figures[1], slope=figures[2])
