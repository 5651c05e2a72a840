"""Lists whose own tests look at fewer rows: the same number of queries at 3 rows and at 300."""

import datetime as dt

import pytest
from django.contrib.auth.models import Group, User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind, Pond
from ponds.names import next_pond_code
from stock.models import Batch

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 1, 5)


def ponds(number: int) -> None:
    kind, _ = Kind.objects.get_or_create(code="slider", defaults={"common_name": "Slider"})
    codes = list(Pond.objects.values_list("code", flat=True))
    while len(codes) < number:
        codes.append(next_pond_code(codes))
        Pond.objects.create(code=codes[-1], opened_on=DAY).kinds_allowed.add(kind)


def batches(number: int) -> None:
    standing = Batch.objects.count()
    Batch.objects.bulk_create(
        Batch(code=f"B{one}", source="BOUGHT", arrived_on=DAY) for one in range(standing, number)
    )


def people(number: int) -> None:
    standing = User.objects.count()
    made = User.objects.bulk_create(User(username=f"person{one}") for one in range(standing, number))
    Group.objects.get(name="hand").user_set.add(*made)


@pytest.mark.parametrize(
    ("page", "make"),
    [
        ("stock:pond-list", ponds),
        ("ponds:pond-settings", ponds),
        ("stock:batch-list", batches),
        ("people-list", people),
    ],
)
def test_a_list_costs_the_same_at_three_rows_and_at_three_hundred(page, make, owner):
    costs = []
    for number in (3, 300):
        make(number)
        owner.get(reverse(page))  # what is kept between requests is kept now
        with CaptureQueriesContext(
            connection,
        ) as queries:
            answer = owner.get(reverse(page))
        assert answer.status_code == 200
        costs.append(len(queries))
    assert costs[0] == costs[1]
