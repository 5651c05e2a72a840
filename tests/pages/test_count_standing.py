"""What accepting a count does to the standing: the eve's figures and the count's, each by its precision."""

from __future__ import annotations

import uuid

import numpy as np
import pytest
from django.urls import reverse

from stock import ledger
from stock.count_standing import joined
from stock.drafts import CountDraft
from stock.models import Count
from stock.standing_facts import standings
from tests.pages.bank import make_farm, today
from tests.pages.survey_farm import ago, passes, survey
from tests.pages.test_surveys import accept_url, sent, words


def test_two_figures_are_joined_by_their_precision():
    # The weighted mean of two independent estimates (Cochran 1954): 100 +- 10 and 120 +- 5 are 116 +- 4.47.
    mean, left, is_apart = joined(
        np.array([100.0, 40.0]), np.diag([100.0, 16.0]), np.array([120.0, 40.0]), np.diag([25.0, 16.0])
    )
    assert mean == pytest.approx([116, 40])
    assert np.sqrt(np.diag(left)) == pytest.approx([np.sqrt(20), np.sqrt(8)])
    assert not is_apart


def test_two_figures_too_far_apart_leave_wider_limits():
    # Birge (1932): chi-square 200^2 / (100 + 100) = 200 scales the variance 50, here from its 99 % point 9.21 on.
    mean, left, is_apart = joined(
        np.array([1100.0, 40.0]), np.diag([100.0, 16.0]), np.array([1300.0, 40.0]), np.diag([100.0, 16.0])
    )
    assert is_apart
    assert mean == pytest.approx([1200, 40])
    assert left[0, 0] == pytest.approx(50 * (1 + 200 - 9.21), rel=1e-4)


def test_what_was_drained_is_what_stands():
    mean, left, is_apart = joined(
        np.array([100.0, 40.0]),
        np.array([[100.0, 20.0], [20.0, 16.0]]),
        np.array([91.0, 38.0]),
        np.zeros((2, 2)),
    )
    assert not is_apart
    assert mean == pytest.approx([91, 38])
    assert left == pytest.approx(np.zeros((2, 2)))


def test_a_count_of_females_tells_of_males_where_they_err_together():
    # Regression of one normal variate on the other: 40 + 20 / (100 + 0) x 10 where females are known exactly.
    noise = np.diag([0.0, 1e12])
    mean, _, _ = joined(
        np.array([100.0, 40.0]), np.array([[100.0, 20.0], [20.0, 16.0]]), np.array([110.0, 0.0]), noise
    )
    assert mean == pytest.approx([110, 42], abs=1e-3)


@pytest.mark.django_db
def test_the_pages_show_the_standing_before_and_after(owner):
    make_farm()
    before = CountDraft("A", "slider", ago(200), "SEINED", females=98, females_se=6, males=39, males_se=4)
    ledger.accept_count(before, key=uuid.uuid4(), by=None, today=today())
    one = survey(*passes((60, 24), (24, 9), (9, 3)))
    text = words(owner.get(accept_url(one)))
    assert "What the pond is taken to hold" in text
    eve, about = owner.get(accept_url(one)).context["standing"]
    ((stood),) = standings(ago(4)).values()
    assert (eve.females, eve.males) == (stood.females, stood.males)
    owner.post(accept_url(one), sent(one, owner))
    page = owner.get(reverse("stock:count-detail", args=[Count.objects.latest("pk").pk]))
    eve_then, after = page.context["standing"]
    assert eve_then.females == pytest.approx(eve.females)
    # What was foretold is what the farm's own reckoning then says, to a head or two.
    assert (after.females, after.males) == pytest.approx((about.females, about.males), abs=2)
    assert after.female_limits[1] - after.female_limits[0] < eve.female_limits[1] - eve.female_limits[0]


@pytest.mark.django_db
def test_a_count_far_from_what_was_expected_is_said_before_and_after(owner):
    make_farm()
    before = CountDraft("A", "slider", ago(40), "SEINED", females=290, females_se=8, males=110, males_se=4)
    ledger.accept_count(before, key=uuid.uuid4(), by=None, today=today())
    one = survey(*passes((60, 24), (24, 9), (9, 3)))
    assert "further apart than chance makes them" in words(owner.get(accept_url(one)))
    owner.post(accept_url(one), sent(one, owner))
    page = owner.get(reverse("stock:count-detail", args=[Count.objects.latest("pk").pk]))
    assert "further apart than chance makes them" in words(page)
    (stood,) = standings(today()).values()
    counted = stood.count.counted
    assert stood.foretold is not None
    # Wider than the count by itself, 1.645 standard errors to each side, though the surer figure still leads.
    assert stood.female_limits[0] < counted.females < stood.female_limits[1]
    assert stood.female_se > counted.female_se
    pond = words(owner.get(reverse("stock:pond-detail", args=["A"])))
    assert f"where {stood.foretold[0]:.0f} and {stood.foretold[1]:.0f} were expected" in pond


@pytest.mark.django_db
def test_a_surveys_earlier_hauls_do_not_speak_twice(owner):
    make_farm()
    before = CountDraft("A", "slider", ago(200), "SEINED", females=98, females_se=9, males=39, males_se=8)
    ledger.accept_count(before, key=uuid.uuid4(), by=None, today=today())
    # The share of the sexes in these hauls is far from the count's, so a haul that spoke twice would be seen.
    days = zip((8, 5, 2), ((40, 40), (16, 16), (6, 6)), strict=True)
    one = survey(*[made for day, catch in days for made in passes(catch, days=day)])
    eve, about = owner.get(accept_url(one)).context["standing"]
    ((stood),) = standings(ago(9)).values()
    assert (eve.females, eve.males) == (stood.females, stood.males)
    ((late),) = standings(ago(3)).values()
    assert late.males != pytest.approx(stood.males, abs=1)
    owner.post(accept_url(one), sent(one, owner))
    page = owner.get(reverse("stock:count-detail", args=[Count.objects.latest("pk").pk]))
    eve_then, after = page.context["standing"]
    assert eve_then.words == eve.words
    assert eve_then.females == pytest.approx(eve.females)
    assert (after.females, after.males) == pytest.approx((about.females, about.males), abs=2)


@pytest.mark.django_db
def test_the_planner_asks_the_standing_first(reader):
    make_farm()
    count = CountDraft("A", "slider", ago(30), "SEINED", females=98, females_se=1, males=39, males_se=1)
    ledger.accept_count(count, key=uuid.uuid4(), by=None, today=today())
    asked = {"method": "marks", "pond": "A", "kind": "slider"}
    response = reader.get(reverse("stock:count-plan"), asked)
    assert "Pond A probably holds 1" in words(response)
    ((stands),) = standings(today()).values()
    assert response.context["form"]["expected"].value() == str(round(stands.females + stands.males))
