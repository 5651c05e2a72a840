"""The Ponds page: every pond at a glance, worst first; sorted, filtered, searched, exported."""

import csv
import io

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stock import standing_facts
from stock.models import Task
from tests.factories import PondFactory
from tests.page_rules import page_faults
from tests.pages.farm_of_ponds import FarmOfPonds

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(owner):
    """A is in band, B short of females, C without males, D of juveniles."""
    farm = FarmOfPonds(owner.user)
    farm.pond("A", females=300, males=100)
    farm.pond("B", females=200, males=100)
    farm.pond("C", females=40)
    farm.pond("D", juveniles=60)
    return farm


def order(response):
    return [row.record.pond for row in response.context["table"].rows]


def shown(client, **asked):
    response = client.get(reverse("stock:pond-list"), asked)
    assert response.status_code == 200
    assert page_faults(response) == []
    return response


def test_the_worst_stands_first(owner, farm):
    assert order(shown(owner)) == ["C", "B", "A", "D"]


def test_a_row_without_a_standing_says_the_book_and_the_last_hauls_interval_in_words(owner, farm):
    # C was never counted by sex: the book speaks, the last haul beside it.
    farm.haul("C", 75, 25)
    page = shown(owner, q="pond c").content.decode()
    assert "no males" in page
    # Wilson's 95 % limits of 75 of 100: 1.9 to 4.7 to 1 (Newcombe 1998, method 3).
    assert "1.9 to 4.7 : 1" in page


def test_a_row_shows_the_standing_with_limits_and_age_and_sorts_by_them(owner, farm):
    farm.drained("E", females=100, males=50)
    page = shown(owner, q="pond e").content.decode()
    assert "2.00 : 1" in page
    assert "today" in page
    # C has no males and D nobody sexed: no standing, so they come first.
    assert order(shown(owner, sort="standing"))[-3:] in (["E", "B", "A"], ["B", "E", "A"])
    assert order(shown(owner, sort="counted"))[0] == "E"


def test_no_males_is_never_infinity(owner, farm):
    page = shown(owner).content.decode()
    assert "no males" in page
    assert "inf" not in page.replace("information", "")


def test_sorting_takes_numbers_as_numbers_and_ponds_in_letter_order(owner, farm):
    farm.pond("AA", females=9, males=3)
    assert order(shown(owner, sort="-females"))[:4] == ["A", "B", "C", "AA"]
    assert order(shown(owner, sort="pond")) == ["A", "B", "C", "D", "AA"]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"verdict": "ratio: no males"}, ["C"]),
        ({"verdict": "wrong"}, ["C", "B"]),
        ({"kind": "slider", "q": "short"}, ["B"]),
        ({"state": "QUARANTINE"}, []),
        ({"q": "nowhere"}, []),
    ],
)
def test_filters_and_search_narrow_the_list(owner, farm, asked, found):
    assert order(shown(owner, **asked)) == found


def test_a_filter_that_is_not_offered_shows_everything_and_says_so(owner, farm):
    response = shown(owner, kind="unicorn")
    assert len(order(response)) == 4
    assert "unicorn" in response.content.decode()


def test_the_csv_holds_figures_and_guards_words(owner, farm):
    farm.haul("A", 75, 25)
    response = owner.get(reverse("stock:pond-list"), {"_export": "csv", "sort": "pond"})
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert [row["Pond"] for row in rows] == ["A", "B", "C", "D"]
    assert (rows[0]["Females"], rows[0]["By the book"], rows[0]["How it stands"]) == (
        "300",
        "3.0",
        "ratio: in band",
    )
    # The haul of 75 : 25 is weighed in the standing, with limits of its own; C has no males and D nobody sexed.
    low, ratio, high = (
        float(rows[0][name]) for name in ("Standing, at least", "Standing, 90 % limits", "Standing, at most")
    )
    assert 2.5 < low < ratio < high < 3.6
    assert (rows[0]["Counted"], rows[0]["Ratio by"][:12]) == ("300", "by the stand")
    assert (rows[2]["Standing, 90 % limits"], rows[2]["Ratio by"][:11]) == ("", "by the book")
    assert round(float(rows[0]["Last haul, at least"]), 1) == 1.9
    assert (rows[2]["By the book"], rows[3]["By the book"]) == ("no males", "")


def test_the_workbook_opens_and_holds_numbers(owner, farm):
    response = owner.get(reverse("stock:pond-list"), {"_export": "xlsx", "sort": "pond"})
    sheet = openpyxl.load_workbook(io.BytesIO(response.content)).active
    head, first = list(sheet.iter_rows(values_only=True))[:2]
    assert dict(zip(head, first, strict=True))["Females"] == 300


def test_open_tasks_are_counted_beside_their_pond(owner, farm):
    from ponds.models import Pond

    pond = Pond.objects.get(code="B")
    Task.objects.create(pond=pond, verb="RECOUNT", decided_on=farm.today, by_name="wren")
    (row,) = [row.record for row in shown(owner).context["table"].rows if row.record.pond == "B"]
    assert row.open_tasks == 1


def test_an_empty_farm_is_told_what_to_do_first(owner):
    page = shown(owner).content.decode()
    assert "What to do first" in page
    assert reverse("ponds:kind-list") in page
    assert reverse("ponds:pond-settings") in page


def test_a_farm_of_empty_ponds_is_told_to_open_its_stock(owner):
    FarmOfPonds(owner.user).pond("A")
    page = shown(owner).content.decode()
    assert "Open the stock" in page
    assert reverse("ponds:sheets") in page


def test_a_reader_sees_the_ponds_and_no_button(reader, farm):
    farm.haul("A", 75, 25)
    page = shown(reader).content.decode()
    assert "Pond A" in page
    assert reverse("stock:looked") not in page


def test_the_same_queries_at_three_ponds_and_at_sixty(owner, farm):
    farm.haul("A", 30, 10)
    standing_facts.forget()
    with CaptureQueriesContext(connection) as few:
        shown(owner)
    for number in range(56):
        code = f"{'XYZ'[number // 26]}{chr(65 + number % 26)}"
        PondFactory(code=code, kinds=[farm.slider])
        farm.opening(code, females=90, males=30)
        farm.haul(code, 30, 12)
    standing_facts.forget()
    with CaptureQueriesContext(connection) as many:
        response = shown(owner, per_page="100")
    assert len(order(response)) == 60
    assert len(many) == len(few)
    assert len(many) <= 50
