"""What is asked before a nest is a female's, and nests of a day and pond long past."""

import datetime as dt
import html
import uuid

import pytest
from django.urls import reverse

from ponds.models import NestDay
from stock.models import NestOfTurtle
from tests.factories import PondFactory
from tests.turtles.one_turtle import marked_turtle

pytestmark = pytest.mark.django_db
JUNE = dt.date(2024, 6, 2)


@pytest.fixture
def turtle(hand):
    return marked_turtle(hand.user)


def nest(turtle, person, day=JUNE, nests=1, **more):
    more.setdefault("pond", turtle.cell.pond)
    return NestDay.objects.create(kind=turtle.kind, dug_on=day, nests=nests, by=person, **more)


def link(client, turtle, row, **more):
    given = {"key": str(uuid.uuid4()), "nest": str(row.pk), "eggs": "", **more}
    return client.post(reverse("stock:turtle-nest", args=[turtle.pk]), given)


@pytest.mark.parametrize(
    ("made", "typed", "says"),
    [
        (
            {"day": dt.date(2024, 4, 2)},
            {},
            "was dug on 2 Apr 2024 and turtle {pk} was first marked on 1 May 2024",
        ),
        (
            {"eggs": 12},
            {"eggs": "13"},
            "13 eggs are more than the nest book has of its one nest of that day, 12.",
        ),
        ({"nests": 3}, {"eggs": "500"}, "500 eggs in one nest: more than 50 are not known"),
        ({}, {"eggs": "0"}, "0 eggs: leave it empty if nobody counted them."),
    ],
)
def test_an_odd_nest_is_asked_about_once(hand, turtle, made, typed, says):
    row = nest(turtle, hand.user, **made)
    answer = link(hand, turtle, row, **typed)
    assert answer.status_code == 422
    assert says.format(pk=turtle.pk) in html.unescape(answer.content.decode())
    assert not NestOfTurtle.objects.exists()
    right = answer.context["form"].may_be_right
    assert link(hand, turtle, row, right=right, **typed).status_code == 303


def test_a_nest_of_a_pond_where_she_does_not_stand_is_asked_about(hand, turtle):
    row = nest(turtle, hand.user, pond=PondFactory(kinds=[turtle.kind]))
    page = html.unescape(link(hand, turtle, row).content.decode())
    assert f"and turtle {turtle.pk} stood in pond {turtle.cell.pond.code} on 2 Jun 2024" in page


def test_a_second_nest_within_days_is_asked_about_and_one_two_weeks_later_is_not(hand, turtle):
    row = nest(turtle, hand.user, nests=3)
    key = str(uuid.uuid4())
    for _ in range(2):
        assert link(hand, turtle, row, key=key).status_code == 303
    assert "She has a nest of 2 Jun 2024 already" in link(hand, turtle, row).content.decode()
    assert link(hand, turtle, nest(turtle, hand.user, dt.date(2024, 6, 16))).status_code == 303
    assert NestOfTurtle.objects.count() == 2


def test_nests_of_a_day_and_pond_beyond_the_newest_are_found_and_linked(hand, turtle):
    may = nest(turtle, hand.user, dt.date(2024, 5, 7))
    for day in range(62):
        nest(turtle, hand.user, dt.date(2024, 6, 1) + dt.timedelta(days=day))
    page = reverse("stock:turtle-nest", args=[turtle.pk])
    newest = hand.get(page).content.decode()
    assert "7 May 2024" not in newest
    assert "The newest 60 are offered" in newest
    chosen = hand.get(page, {"day": "2024-05-07", "pond": turtle.cell.pond.code}).content.decode()
    assert "7 May 2024, pond" in chosen
    assert "1 Jun 2024, pond" not in chosen
    assert link(hand, turtle, may).status_code == 303
