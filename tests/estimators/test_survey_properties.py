"""Whatever was hauled, a survey is read without an error, and its figures agree with one another."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.estimators.estimate import Status
from stock.estimators.survey import CLASSES, FEMALE, Circumstances, HaulCatch, read_survey

few = st.integers(0, 60)


@st.composite
def surveys(draw):
    """Return hauls with possible numbers, of any form, and their circumstances."""
    hauls, day = [], 739_000
    out = {of_class: draw(st.sampled_from((0, 0, 0, 9))) for of_class in CLASSES}
    before = dict(out)
    fate = draw(st.sampled_from(("held", "returned", "returned", "mixed")))
    marks_all = draw(st.booleans())
    classes = draw(st.sampled_from((("FEMALE",), ("FEMALE", "MALE"), CLASSES, ("UNSEXED",))))
    for _ in range(draw(st.integers(1, 5))):
        caught, carrying, newly, dead = {}, {}, {}, {}
        for of_class in classes:
            caught[of_class] = draw(few)
            carrying[of_class] = draw(st.integers(0, min(caught[of_class], out[of_class])))
            fresh = caught[of_class] - carrying[of_class]
            newly[of_class] = fresh if marks_all else draw(st.integers(0, fresh))
            dead[of_class] = draw(st.integers(0, min(2, caught[of_class])))
            out[of_class] = max(out[of_class] + newly[of_class] - dead[of_class], 0)
        hauls.append(
            HaulCatch(
                day,
                draw(st.sampled_from(("SEINE", "SEINE", "TRAPS"))),
                draw(st.sampled_from((None, 1.0, 1.0, 2.0))),
                {"held": True, "returned": False, "mixed": draw(st.booleans())}[fate],
                draw(st.integers(0, 9)) == 0,
                caught,
                carrying,
                newly,
                dead,
            )
        )
        day += draw(st.integers(0, 6))
    checked = draw(st.sampled_from((None, None, (0, 0, 0), (9, 1, 2), (0, 1, 1), (5, 0, 0))))
    return hauls, Circumstances(before, checked, draw(st.sampled_from((0, 0, 3, 40))))


@settings(max_examples=100, deadline=None)
@given(surveys())
def test_a_survey_is_read_and_its_figures_agree(survey):
    hauls, circumstances = survey
    reading = read_survey(hauls, circumstances)
    assert reading.as_of == hauls[-1].day
    if reading.headline is None:
        assert reading.refusal
    for one in reading.readings:
        figures = [one.total, one.females, one.males, one.juveniles]
        for figure in filter(None, figures):
            if figure.value is None:
                assert figure.status is Status.NO_ESTIMATE
                continue
            assert math.isfinite(figure.value)
            if figure.lower is not None and figure.upper is not None:
                assert figure.lower <= figure.value * (1 + 1e-9) + 1e-9
                assert figure.value <= figure.upper * (1 + 1e-9) + 1e-9
        if one.females is not None and one.total.value is not None:
            assert one.females.value + one.males.value == pytest.approx(one.total.value, rel=1e-6)
        if one.fit is not None:
            assert len(one.fit.labels) == len(one.fit.observed) == len(one.fit.expected)
        assert one.capture_probability is None or 0 <= one.capture_probability <= 1
        assert -1 <= one.reference < len(hauls)
    if reading.headline is not None and not reading.refusal:
        assert reading.headline.total.value is not None
        assert not any(assumption.forbids for assumption in reading.assumptions)


@settings(max_examples=30, deadline=None)
@given(surveys())
def test_the_order_of_classes_does_not_matter(survey):
    hauls, circumstances = survey
    turned = [
        HaulCatch(
            haul.day,
            haul.method,
            haul.effort,
            haul.is_held_out,
            haul.is_complete,
            *(
                dict(reversed(list(column.items())))
                for column in (haul.caught, haul.carrying, haul.newly_marked, haul.dead)
            ),
        )
        for haul in hauls
    ]
    assert read_survey(turned, circumstances) == read_survey(hauls, circumstances)


@settings(max_examples=30, deadline=None)
@given(surveys(), st.sampled_from((0.5, 0.8, 0.99)))
def test_limits_widen_with_the_confidence_asked_for(survey, confidence):
    hauls, circumstances = survey
    narrow, wide = (
        read_survey(hauls, circumstances, confidence=level) for level in (confidence, (1 + confidence) / 2)
    )
    if narrow.headline is None or narrow.headline.total.value is None:
        return
    for part in ("total", "females", "males"):
        inner, outer = getattr(narrow.headline, part), getattr(wide.headline, part)
        if inner is None or inner.lower is None or outer.lower is None:
            continue
        assert outer.lower <= inner.lower * (1 + 1e-9)
        assert outer.upper >= inner.upper * (1 - 1e-9)


def test_nothing_of_a_class_is_the_same_as_not_naming_it():
    named = [HaulCatch(1, caught={FEMALE: 9, "MALE": 0, "UNSEXED": 0})]
    assert read_survey(named) == read_survey([HaulCatch(1, caught={FEMALE: 9})])
