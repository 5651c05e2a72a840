"""A post costs the same queries however old the farm is and however many moves a sheet has."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.models import Kind, Pond
from stock import ledger
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

TODAY = dt.date(2026, 6, 30)
OPENED = dt.date(2020, 1, 1)
# With the savepoint that a test has in place of a transaction, and PostgreSQL's two locks.
MOST = 13


@pytest.fixture
def farm(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=OPENED).kinds_allowed.add(slider)
    wren = make_person("owner", "wren")
    lines = tuple(Line("slider", "FEMALE", "OPENING", code, 5000, batch="O") for code in "AB")
    opening = Draft(uuid.uuid4(), OPENED, lines, "OPENING", batches=(BatchDraft("O", "OPENING", OPENED),))
    ledger.record(opening, by=wren, today=TODAY)
    return wren


def move(day, made_as="BANK"):
    haul = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 9),)) if made_as == "BANK" else None
    return Draft(uuid.uuid4(), day, (Line("slider", "FEMALE", "A", "B", 1),), made_as, pond="A", haul=haul)


def queries_of(drafts, by):
    with CaptureQueriesContext(connection) as queries:
        ledger.record_all(drafts, by=by, today=TODAY)
    return len(queries)


def month_after_month(number):
    return [move(OPENED + dt.timedelta(days=30 * step)) for step in range(number)]


def test_one_office_move_is_posted_in_few_queries(farm, django_assert_max_num_queries):
    ledger.record(move(TODAY, "OFFICE"), by=farm, today=TODAY)
    with django_assert_max_num_queries(MOST):
        ledger.record(move(TODAY, "OFFICE"), by=farm, today=TODAY)


@pytest.mark.parametrize("made_as", ["BANK", "OFFICE"])
@pytest.mark.parametrize("day", [TODAY, dt.date(2020, 2, 1)])
def test_an_old_farm_needs_no_more_queries_than_a_young_one(farm, made_as, day):
    ledger.record(move(day, "BANK"), by=farm, today=TODAY)  # makes the cells
    young = queries_of([move(day, made_as)], farm)
    ledger.record_all(month_after_month(75), by=farm, today=TODAY)
    assert queries_of([move(day, made_as)], farm) == young


def test_a_sheet_needs_no_more_queries_for_more_rows(farm):
    ledger.record_all(month_after_month(2), by=farm, today=TODAY)  # makes the cells
    assert queries_of(month_after_month(60), farm) <= queries_of(month_after_month(3), farm) + 2
