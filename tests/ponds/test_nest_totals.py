"""The nest book summed by week and season, and a season drawn beside the one before."""

import csv
import datetime as dt
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds import nest_book
from ponds.models import NestDay
from ponds.nest_totals import SEASON, WEEK, season_so_far, seasons_in_book, totals
from ponds.seasons import Season
from tests.factories import KindFactory, PondFactory

pytestmark = pytest.mark.django_db
TOTALS = reverse("ponds:nest-totals")
DRAWN = reverse("ponds:nest-season")
TODAY = dt.date(2023, 11, 1)


@pytest.fixture
def slider():
    return KindFactory(code="slider", common_name="Slider")


def book(*rows) -> None:
    """Record (pond, kind, day, nests, eggs) rows; ponds are made as they are named."""
    from ponds.models import Pond

    found = []
    for pond, kind, day, nests, eggs in rows:
        held = Pond.objects.filter(code=pond).first() or PondFactory(code=pond, opened_on=dt.date(2020, 1, 1))
        found.append(
            NestDay(key=uuid.uuid4(), pond=held, kind=kind, dug_on=day, nests=nests, eggs=eggs,
                    broken=None if eggs is None else 0)
        )  # fmt: skip
    nest_book.record_all(found, today=TODAY)


def a_book(slider) -> None:
    # Week 37 of a season runs from 11 to 17 May in years that are not leap years: 1 September + 36 x 7 days.
    book(
        ("A", slider, dt.date(2022, 5, 12), 4, 36),
        ("A", slider, dt.date(2022, 6, 20), 9, 80),
        ("A", slider, dt.date(2023, 5, 11), 5, 45),
        ("A", slider, dt.date(2023, 5, 17), 3, None),
        ("A", None, dt.date(2023, 5, 17), 2, 20),
        ("B", slider, dt.date(2023, 5, 18), 7, 60),
    )


def test_days_fall_into_the_weeks_of_the_season(slider):
    assert Season(2023).starts_on + dt.timedelta(days=7 * 36) == dt.date(2023, 5, 11)
    a_book(slider)
    rows = totals(by=WEEK, season=2023, each_pond=True)
    assert [(row.week, row.starts_on, row.pond, row.kind, row.nests, row.eggs) for row in rows] == [
        (38, dt.date(2023, 5, 18), "B", "Slider", 7, 60),
        (37, dt.date(2023, 5, 11), "A", "Slider", 8, 45),
        (37, dt.date(2023, 5, 11), "A", "not known", 2, 20),
    ]


def test_eggs_a_nest_go_by_the_days_whose_eggs_were_counted(slider):
    a_book(slider)
    found = next(row for row in totals(by=WEEK, season=2023, each_pond=True) if row.nests == 8)
    assert (found.nests_counted, found.eggs_a_nest) == (5, 9.0)


def test_seasons_are_summed_over_all_ponds(slider):
    a_book(slider)
    rows = totals(by=SEASON, season=None, each_pond=False)
    assert [(row.season, row.week, row.pond, row.kind, row.nests) for row in rows] == [
        (2023, None, "all", "Slider", 15),
        (2023, None, "all", "not known", 2),
        (2022, None, "all", "Slider", 13),
    ]
    assert seasons_in_book() == [2023, 2022]


def test_sums_come_to_what_the_rows_come_to_and_a_row_taken_back_counts_for_nothing(slider):
    a_book(slider)
    row = NestDay.objects.standing().get(nests=7)
    nest_book.take_back(row=row, key=uuid.uuid4(), today=TODAY)
    for by in (WEEK, SEASON):
        assert sum(row.nests for row in totals(by=by, season=None, each_pond=True)) == 23


def test_a_season_so_far_is_set_against_the_same_day_of_the_one_before(slider):
    a_book(slider)
    found = season_so_far(Season(2023), today=dt.date(2023, 5, 20))
    assert (found.farm.nests, found.farm.nests_before, found.farm.eggs_a_nest) == (17, 4, 125 / 14)
    assert [held.pond for held in found.ponds] == ["A", "B"]
    assert found.weeks == (37, 38, 39, 40, 41, 42)
    whole = season_so_far(Season(2023), today=TODAY, kind="")
    assert (whole.farm.nests, whole.farm.nests_before, whole.last_on) == (2, 0, dt.date(2023, 8, 31))
    assert season_so_far(Season(2021), today=TODAY).weeks == ()


def test_the_list_of_sums_is_filtered_sorted_and_exported(reader, slider):
    a_book(slider)
    page = reader.get(TOTALS).content.decode()
    assert "all ponds" in page
    assert "18 May 2023" in page
    for query, shown, hidden in (
        ("by=season", ">2022<", "18 May 2023"),
        ("by=season&season=2023", ">15<", ">13<"),
        ("by=week&season=2022", ">9<", ">7<"),
        ("by=week&season=every", "18 May 2023", "never there"),
        ("ponds=every", ">B<", "all ponds<"),
        ("kind=not known", ">2<", ">15<"),
        ("kind=Slider&q=pond", ">8<", ">2<"),
        ("sort=-nests", ">8<", "never there"),
    ):
        page = reader.get(f"{TOTALS}?{query}").content.decode()
        assert shown in page, query
        assert hidden not in page, query
    rows = list(
        csv.DictReader(
            io.StringIO(reader.get(f"{TOTALS}?ponds=every&_export=csv").content.decode("utf-8-sig"))
        )
    )
    assert [(row["From"], row["Week"], row["Pond"], row["Nests"], row["Eggs a nest"]) for row in rows][1] == (
        "2023-05-11", "37", "A", "8", "9.0",
    )  # fmt: skip
    for query in ("by=x", "season=x", "season=99999", "kind=Newt", "ponds=x", "sort=x", "page=9"):
        assert reader.get(f"{TOTALS}?{query}").status_code == 200


def test_the_season_is_drawn_for_the_farm_and_for_a_pond(reader, slider):
    a_book(slider)
    page = reader.get(DRAWN).content.decode()
    assert "What has the bank given in season 2023?" in page
    assert page.count("<svg") == 1 + 2
    assert "17 nests by 31 Aug; the most, 10, in the week from 11 May." in page
    assert "The season before had 13 by the same day." in page
    page = reader.get(f"{DRAWN}?season=2023&pond=b").content.decode()
    assert "What has pond B given in season 2023?" in page
    assert "7 nests by 31 Aug" in page
    page = reader.get(f"{DRAWN}?season=2022&kind=slider").content.decode()
    assert "13 nests, 116 eggs by 31 Aug 2022; 0 nests" in page
    for query in ("season=x", "season=2021", "pond=ZZ", "kind=newt", "kind=not-known"):
        assert reader.get(f"{DRAWN}?{query}").status_code == 200


def test_an_empty_book_says_so(hand, reader):
    assert "No nests in the book for this season yet." in reader.get(DRAWN).content.decode()
    assert "Enter nests" in hand.get(DRAWN).content.decode()
    assert "No nests in the book for what is asked here." in reader.get(TOTALS).content.decode()


def test_three_rows_and_three_hundred_cost_the_same(reader, slider):
    def queries(address: str) -> int:
        with CaptureQueriesContext(connection) as caught:
            assert reader.get(address).status_code == 200
        return len(caught)

    first = dt.date(2023, 3, 1)
    addresses = (TOTALS, f"{TOTALS}?ponds=every&by=season", DRAWN, f"{DRAWN}?pond=A")
    book(*(("A", slider, first + dt.timedelta(days=place), 2, 18) for place in range(3)))
    few = [queries(address) for address in addresses]
    ponds = [PondFactory(opened_on=dt.date(2020, 1, 1)).code for _ in range(20)]
    book(*((ponds[place % 20], slider, first + dt.timedelta(days=place // 3), 2, 18) for place in range(297)))
    assert [queries(address) for address in addresses] == few
    assert max(few) <= 9
