"""The nest book's pages: list, entry, correction, taking back."""

import csv
import datetime as dt
import io
import uuid

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from ponds import nest_book
from ponds.farm import the_farm
from ponds.models import NestDay
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db
LIST = reverse("ponds:nest-list")
NEW = reverse("ponds:nest-new")


@pytest.fixture
def slider():
    return KindFactory(code="slider", common_name="Slider")


@pytest.fixture
def pond(slider):
    return PondFactory(code="A", opened_on=dt.date(2020, 1, 1), kinds=[slider])


def record(pond, kind=None, day=dt.date(2026, 5, 14), nests=14, eggs=121, **more):
    return nest_book.record(
        key=uuid.uuid4(), pond=pond, kind=kind, dug_on=day, nests=nests, eggs=eggs, today=day, **more
    )


def typed(**changes) -> dict:
    entry = {
        "key": str(uuid.uuid4()),
        "pond": "A",
        "kind": "slider",
        "dug_on": "2024-05-14",
        "nests": "14",
        "eggs": "121",
        "broken": "3",
        "note": "",
    }
    return entry | changes


def test_nests_are_entered_once_however_often_the_form_is_sent(hand, pond):
    entry = typed()
    for _ in range(2):
        answer = hand.post(NEW, entry)
        assert answer.status_code == 303
        assert answer.headers["Location"] == f"{NEW}?day=2024-05-14"
    row = NestDay.objects.get()
    assert (row.nests, row.eggs, row.broken, row.by) == (14, 121, 3, hand.user)
    page = hand.get(answer.headers["Location"]).content.decode()
    assert "14 nests, 121 eggs" in page
    assert f'action="{reverse("ponds:nest-take-back", args=[row.key])}"' in page
    assert 'value="2024-05-14"' in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"nests": "-1"}, "This is below 0"),
        ({"nests": "5001"}, "5\u202f001 nests in a day"),
        ({"nests": "9" * 400}, "not between 0 and 5\u202f000"),
        ({"nests": "a few"}, "not a whole number"),
        ({"nests": "2.5"}, "not a whole number"),
        ({"nests": ""}, "0 where there is none"),
        ({"eggs": "99999"}, "99\u202f999 eggs from 14 nests"),
        ({"broken": "122"}, "122 broken of 121"),
        ({"eggs": "", "broken": "2"}, "say how many were picked"),
        ({"dug_on": "2999-01-01"}, "still to come"),
        ({"dug_on": "2019-12-31"}, "opened on 1 Jan 2020"),
        ({"dug_on": "May"}, "not a day"),
        ({"dug_on": "0001-01-01"}, "look at the year"),
        ({"pond": "Q"}, "no such pond"),
        ({"pond": ""}, "Choose a pond."),
        ({"kind": "newt"}, "no such kind"),
        ({"kind": "snapper"}, "is for Slider, not Snapper"),
        ({"note": "x" * 5_000_000}, "5000000 characters; 300 is the most"),
        ({"key": "x"}, "lost its key"),
        ({"key": ""}, "lost its key"),
    ],
)
def test_what_cannot_be_gets_its_sentence_and_loses_nothing_typed(hand, pond, changes, words):
    KindFactory(code="snapper", common_name="Snapper")
    entry = typed(**({"note": "after rain"} | changes))
    answer = hand.post(NEW, entry)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert "There is a problem" in page
    assert NestDay.objects.count() == 0
    for name in ("nests", "eggs", "broken", "dug_on"):
        assert not entry[name] or f'value="{entry[name]}"' in page
    if "note" not in changes:
        assert "after rain" in page


def test_the_same_key_with_other_figures_is_refused(hand, pond):
    entry = typed()
    hand.post(NEW, entry)
    answer = hand.post(NEW, entry | {"nests": "15"})
    assert answer.status_code == 422
    assert "sent before with other figures" in answer.content.decode()
    assert NestDay.objects.get().nests == 14


def test_a_row_is_corrected_by_a_new_one(hand, pond, slider):
    row = record(pond, slider, by=hand.user)
    address = reverse("ponds:nest-correct", args=[row.key])
    assert 'value="14"' in hand.get(address).content.decode()
    entry = typed(dug_on="2026-05-14", nests="12", eggs="100", broken="")
    assert hand.post(address, entry).status_code == 303
    mended = NestDay.objects.standing().get()
    assert (mended.nests, mended.replaces, mended.pond) == (12, row, pond)
    page = hand.get(LIST).content.decode()
    assert "corrected" in page
    answer = hand.post(address, typed(dug_on="2026-05-14", nests="11"))
    assert answer.status_code == 422
    assert "corrected already by hand: now 12 nests" in answer.content.decode()


def test_a_row_is_taken_back(hand, pond):
    row = record(pond, by=hand.user)
    address = reverse("ponds:nest-take-back", args=[row.key])
    assert "count for nothing" in hand.get(address).content.decode()
    assert hand.post(address, {"key": str(uuid.uuid4())}).status_code == 303
    assert list(NestDay.objects.standing()) == []
    answer = hand.post(address, {"key": str(uuid.uuid4())})
    assert "taken back already by hand" in answer.content.decode()


def test_a_hand_does_not_mend_what_somebody_else_entered(hand, owner, pond):
    row = record(pond, by=owner.user)
    for name, sent in (
        ("ponds:nest-correct", typed(dug_on="2026-05-14", nests="2")),
        ("ponds:nest-take-back", {}),
    ):
        address = reverse(name, args=[row.key])
        assert address not in hand.get(LIST).content.decode()
        assert address in owner.get(LIST).content.decode()
        assert "This row was entered by owner." in hand.get(address, follow=True).content.decode()
        answer = hand.post(address, {"key": str(uuid.uuid4()), **sent})
        assert answer.status_code == 422
        assert "You may correct your own; ask an owner for this one." in answer.content.decode()
    assert NestDay.objects.standing().get() == row


def test_the_list_is_searched_and_filtered(reader, pond, slider):
    other = PondFactory(code="B", opened_on=dt.date(2020, 1, 1))
    record(pond, slider, nests=11)
    record(other, None, day=dt.date(2025, 5, 1), nests=22, note="fox on the bank")
    for query, shown, hidden in (
        ("pond=A", ">11<", ">22<"),
        ("kind=slider", ">11<", ">22<"),
        ("kind=not-known", ">22<", ">11<"),
        ("season=2026", ">11<", ">22<"),
        ("season=2025", ">22<", ">11<"),
        ("q=fox", ">22<", ">11<"),
        ("q=slider", ">11<", ">22<"),
    ):
        page = reader.get(f"{LIST}?{query}").content.decode()
        assert shown in page, query
        assert hidden not in page, query
    assert "Correct<" not in page


def test_an_unknown_filter_gets_a_sentence_not_an_error(reader, pond):
    for query in ("season=x", "pond=ZZ", "kind=newt", "page=x", "page=99", "per_page=1e9", "sort=nonsense"):
        assert reader.get(f"{LIST}?{query}").status_code == 200


def test_the_export_holds_every_row_and_numbers_stay_numbers(reader, pond):
    for day in range(1, 31):
        record(pond, day=dt.date(2026, 5, day), nests=day, eggs=None, note="=1+1")
    text = reader.get(f"{LIST}?_export=csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 30
    assert {row["Nests"] for row in rows} == {str(day) for day in range(1, 31)}
    assert {row["Note"] for row in rows} == {"'=1+1"}
    assert {row["Eggs"] for row in rows} == {""}
    assert "Change" not in rows[0]


def test_days_of_the_workbooks_are_days_and_water_is_in_the_unit_of_its_heading(owner, pond):
    record(pond, day=dt.date(2026, 5, 3))
    pond.water_area_cm2, pond.water_area_typed, pond.water_area_unit = 101_171_411, "2.5", "ACRE"
    pond.save()

    def columns(address):
        content = owner.get(f"{address}?_export=xlsx").content
        heading, row, *_ = load_workbook(io.BytesIO(content)).active.iter_rows(values_only=True)
        return dict(zip(heading, row, strict=True))

    assert columns(LIST)["Day"].date() == dt.date(2026, 5, 3)
    found = columns(reverse("ponds:pond-settings"))
    assert isinstance(found["Opened"], dt.datetime)
    assert found["Water, acres"] == 2.5


def test_the_list_costs_the_same_at_three_rows_and_at_three_hundred(
    owner, pond, slider, django_assert_max_num_queries, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert owner.get(f"{LIST}?per_page=100").status_code == 200
        assert not any("COUNT(" in query["sql"] for query in caught.captured_queries)
        return len(caught)

    for number in range(3):
        record(pond, slider, day=dt.date(2024, 5, 1) + dt.timedelta(days=number))
    few = queries()
    for number in range(297):
        record(PondFactory(opened_on=dt.date(2020, 1, 1)) if number < 30 else pond, nests=number % 50, eggs=0)
    assert queries() == few
    assert few <= 12  # one of them asks which marked females dug the nests


def test_a_pond_with_one_kind_offers_it(hand, pond):
    page = hand.get(f"{NEW}?pond=a").content.decode()
    assert '<option value="A" selected>' in page
    assert '<option value="slider" selected>' in page


def test_today_is_the_farms_day(hand, pond):
    assert f'value="{the_farm().today():%Y-%m-%d}"' in hand.get(NEW).content.decode()
