"""The result object and the checks of numbers."""

import json
import math

import numpy as np
import pytest

from stock.estimators.estimate import (
    Estimate,
    Status,
    check_choice,
    check_confidence,
    check_count,
    check_counts,
    check_number,
    worst,
)


def test_the_worst_status_wins_in_the_stated_order():
    assert worst("ok", "bounded", "low_confidence") == "bounded"
    assert worst("bounded", "no_estimate") == "no_estimate"
    assert worst("low_confidence", "ok") is Status.LOW_CONFIDENCE
    assert worst() == "ok"


def test_an_unknown_status_is_refused():
    with pytest.raises(ValueError, match="certain"):
        worst("certain")


def test_infinity_is_null_and_unbounded_in_json():
    inner = Estimate(value=1.0)
    estimate = Estimate(value=math.inf, lower=5.2, upper=math.inf, notes=("No males.",))
    written = json.loads(json.dumps(estimate.to_json(), allow_nan=False))
    assert written["value"] is None
    assert written["upper"] is None
    assert written["lower"] == 5.2
    assert written["unbounded"] is True
    assert written["unbounded_fields"] == ["value", "upper"]
    assert written["status"] == "ok"
    assert written["notes"] == ["No males."]
    assert "unbounded" not in inner.to_json()


def test_an_estimate_is_frozen():
    with pytest.raises(AttributeError):
        Estimate(value=1.0).value = 2.0


def test_no_estimate_carries_no_value_and_may_keep_limits():
    assert Estimate(lower=12.0, status="no_estimate").lower == 12.0
    with pytest.raises(ValueError, match="cannot carry a value"):
        Estimate(value=1.0, status="no_estimate")


def test_a_figure_that_is_not_a_number_is_refused():
    with pytest.raises(ValueError, match="upper is not a number"):
        Estimate(upper=math.nan)


@pytest.mark.parametrize(
    "value", [7, 7.0, np.int64(7), np.float64(7)], ids=["int", "float", "int64", "float64"]
)
def test_whole_numbers_of_any_type_are_counts(value):
    assert check_count(value, "females") == 7
    assert type(check_count(value, "females")) is int


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (-1, "females: -1 is below zero"),
        (2.5, "females: 2.5 is not a whole number"),
        (math.nan, "females: nan is not a count"),
        (math.inf, "females: inf is not a count"),
        ("7", "females: '7' is not a count"),
        (True, "females: True is not a count"),
        (None, "females: None is not a count"),
        (10**400, "females: the number is too large"),
    ],
)
def test_what_is_no_count_is_refused_in_a_sentence(value, words):
    with pytest.raises(ValueError, match=words):
        check_count(value, "females")


def test_the_wrong_one_of_several_counts_is_named():
    assert check_counts([1, 2.0], "catch") == (1, 2)
    with pytest.raises(ValueError, match="catch, number 2: -3 is below zero"):
        check_counts([1, -3], "catch")


def test_numbers_are_held_to_their_range():
    assert check_number(0.5, "share", low=0, high=1) == 0.5
    for value, bounds, words in (
        (-1, {"low": 0}, "below 0"),
        (3, {"high": 2}, "above 2"),
        (1.5, {"low": 0, "high": 1}, "between 0 and 1"),
        (math.nan, {}, "not finite"),
        (10**400, {}, "not finite"),
        ("x", {}, "not a number"),
    ):
        with pytest.raises(ValueError, match=words):
            check_number(value, "share", **bounds)


@pytest.mark.parametrize("level", [0, 1, 95])
def test_a_confidence_lies_strictly_between_zero_and_one(level):
    with pytest.raises(ValueError, match="means 95 %"):
        check_confidence(level)


def test_an_unknown_choice_lists_the_known_ones():
    assert check_choice("a", ("a", "b"), "method") == "a"
    with pytest.raises(ValueError, match="choose one of a, b"):
        check_choice("c", ("a", "b"), "method")
