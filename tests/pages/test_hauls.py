"""Counts: the list of hauls and one haul with the ratio of what was sexed."""

from __future__ import annotations

import html
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stock import ledger
from stock.drafts import CatchLine, Draft, HaulDraft
from stock.models import Haul, Move
from tests.page_rules import page_faults
from tests.pages.bank import make_farm, today

pytestmark = pytest.mark.django_db

COUNTS = "/counts/hauls/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return html.unescape(response.content.decode())


def haul_draft(*catch: CatchLine, pond="A", method="SEINE", note="") -> Draft:
    return Draft(uuid.uuid4(), today(), pond=pond, haul=HaulDraft(method, catch), note=note)


def haul(*catch: CatchLine, **more) -> Haul:
    receipt = ledger.record(haul_draft(*catch, **more), by=None, today=today())
    return Haul.objects.get(move_id=receipt.move_id)


def caught(of_class: str, heads: int, **more) -> CatchLine:
    return CatchLine("slider", of_class, heads, **more)


def test_a_haul_is_listed_with_its_catch_by_class(reader):
    haul(caught("FEMALE", 33, carrying_marks=4), caught("MALE", 11), caught("UNSEXED", 2))
    response = reader.get(COUNTS)
    text = words(response)
    for label, figure in (
        ("Females", 33),
        ("Males", 11),
        ("Unsexed", 2),
        ("Juveniles", 0),
        ("Carrying marks", 4),
    ):
        assert f'data-label="{label}" class="num">{figure}</td>' in text
    assert page_faults(response) == []


def test_kinds_of_one_haul_are_rows_of_their_own_here_and_in_the_export(reader):
    haul(
        caught("FEMALE", 33, carrying_marks=4),
        CatchLine("snapper", "FEMALE", 5),
        CatchLine("snapper", "MALE", 2),
    )
    haul()
    found = [
        (row.record.kind, row.record.females, row.record.males, row.record.marked)
        for row in reader.get(COUNTS).context["table"].rows
    ]
    assert found == [(None, 0, 0, None), ("Slider", 33, 0, 4), ("Snapper", 5, 2, None)]
    only = reader.get(COUNTS, {"kind": "snapper"}).context["table"].rows
    assert [row.record.females for row in only] == [5]
    heading, *lines = reader.get(COUNTS, {"_export": "csv"}).content.decode().splitlines()
    assert heading.split(",")[:5] == ["Day", "Pond", "Kind", "How", "Females"]
    assert [line.split(",")[2] for line in lines] == ["", "Slider", "Snapper"]


def test_hauls_in_which_nobody_looked_for_marks_come_last_either_way(reader):
    for marks in (0, 2, None):
        haul(caught("FEMALE", 5, carrying_marks=marks))
    for sort, order in (("marked", [0, 2, None]), ("-marked", [2, 0, None])):
        rows = reader.get(COUNTS, {"sort": sort}).context["table"].rows
        assert [row.record.marked for row in rows] == order


def test_the_ratio_of_the_sexed_stands_with_its_interval(reader):
    shown = haul(caught("FEMALE", 81), caught("MALE", 182))
    response = reader.get(reverse("stock:haul-detail", args=[shown.pk]))
    text = words(response)
    # Wilson limits of 81 of 263 are .2553 and .3662 (Newcombe 1998, Table I); p / (1 - p): 0.343 and 0.578.
    assert "0.45 : 1" in text
    assert "0.3 to 0.6 : 1" in text
    assert page_faults(response) == []


def test_a_haul_without_males_says_at_least(reader):
    shown = haul(caught("FEMALE", 12))
    text = words(reader.get(reverse("stock:haul-detail", args=[shown.pk])))
    assert "no males" in text
    assert "at least" in text


def test_a_haul_that_caught_nothing_says_so(reader):
    shown = haul()
    assert "The haul caught nothing." in words(reader.get(reverse("stock:haul-detail", args=[shown.pk])))


def test_a_haul_taken_back_says_so_and_can_be_left_out(reader, owner):
    shown = haul(caught("FEMALE", 12))
    ledger.reverse(shown.move, key=uuid.uuid4(), by=owner.user, today=today())
    assert "taken back" in words(reader.get(COUNTS))
    assert "taken back" in words(reader.get(reverse("stock:haul-detail", args=[shown.pk])))
    address = reverse("stock:haul-detail", args=[shown.pk])
    assert address not in words(reader.get(COUNTS, {"standing": "on"}))


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, {"A", "B"}),
        ({"pond": "B"}, {"B"}),
        ({"method": "TRAPS"}, {"B"}),
        ({"kind": "slider"}, {"A"}),
        ({"q": "levee"}, {"A"}),
        ({"until": "2020-01-01"}, set()),
    ],
)
def test_filters_and_search(reader, asked, found):
    hauls = {"A": haul(caught("FEMALE", 5), note="by the levee"), "B": haul(pond="B", method="TRAPS")}
    text = words(reader.get(COUNTS, asked))
    shown = {pond for pond, one in hauls.items() if reverse("stock:haul-detail", args=[one.pk]) in text}
    assert shown == found


def test_the_list_is_sorted_and_exported(reader):
    haul(caught("FEMALE", 5), caught("MALE", 2))
    for sort in ("pond", "-pond", "females", "-marked", "method", "happened_on"):
        assert reader.get(COUNTS, {"sort": sort}).status_code == 200
    exported = reader.get(COUNTS, {"_export": "csv"}).content.decode()
    assert f"{today()},A,Slider,seine,5,2,0,0,,stands" in exported


def test_the_list_asks_the_same_number_of_queries_at_three_rows_and_at_three_hundred(reader):
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert reader.get(COUNTS, {"per_page": 100}).status_code == 200
        return len(asked)

    for _ in range(3):
        haul(caught("FEMALE", 5))
    few = queries()
    ledger.record_all([haul_draft(caught("MALE", 2)) for _ in range(297)], by=None, today=today())
    assert Move.objects.filter(haul__isnull=False).count() == 300
    assert queries() == few
