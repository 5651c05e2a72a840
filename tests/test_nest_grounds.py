"""Nests on a day on which the kind does not dig, or in a pond where no female stands, are asked about."""

import datetime as dt

import pytest
from django.urls import reverse

from ponds.models import Kind, NestDay, Pond
from ponds.sheets import load, registered_sheets
from stock.advisor.nesting_dates import CURVES
from stock.book import balances, by_day
from stock.nest_grounds import asked_of_nests, is_in_dates

pytestmark = pytest.mark.django_db
OPENING = "pond,kind,day,females,males,how known\nA,red-eared-slider,2024-01-02,300,100,seined\n"


@pytest.fixture
def ponds():
    slider = Kind.objects.create(code="red-eared-slider", common_name="Slider")
    made = {code: Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1)) for code in "AG"}
    for pond in made.values():
        pond.kinds_allowed.add(slider)
    outcome = load(registered_sheets()["stock"], "stock.csv", OPENING.encode())
    assert outcome.written.new == 1
    return made


def asked(pond, on, nests=30, kind="red-eared-slider"):
    row = NestDay(pond=pond, kind=Kind.objects.filter(code=kind).first(), dug_on=on, nests=nests)
    return asked_of_nests([row])[0]


@pytest.mark.parametrize(
    ("code", "on", "is_in"),
    [
        # Sliders: mid-April to mid-July, stragglers to mid-August (Aresco 2004); 28 days either side here.
        ("red-eared-slider", (2026, 11, 28), False),
        ("red-eared-slider", (2026, 3, 12), False),
        ("red-eared-slider", (2026, 3, 13), True),
        ("red-eared-slider", (2026, 8, 28), True),
        ("red-eared-slider", (2026, 8, 29), False),
        # Peninsula cooters: late September to June; mud turtles practically all year (Ernst & Lovich 2009).
        ("peninsula-cooter", (2026, 9, 1), True),
        ("peninsula-cooter", (2026, 8, 29), True),
        ("peninsula-cooter", (2026, 8, 10), False),
        ("eastern-mud-turtle", (2026, 11, 28), True),
        ("river-cooter", (2026, 9, 1), True),
    ],
)
def test_the_dates_of_a_kind_hold_with_four_weeks_on_either_side(code, on, is_in):
    assert is_in_dates(CURVES[code], dt.date(*on)) is is_in


def test_a_nest_out_of_its_kinds_dates_is_asked_about(ponds):
    assert asked(ponds["A"], dt.date(2024, 5, 14)) == ()
    (question,) = asked(ponds["A"], dt.date(2024, 11, 28))
    assert question.startswith(
        "28 Nov 2024 is out of the nesting dates: Slider digs from 10 Apr to 31 Jul, with stragglers"
    )
    assert asked(ponds["A"], dt.date(2024, 11, 28), nests=0) == ()
    assert len(asked(ponds["A"], dt.date(2024, 11, 28), kind="none")) == 1


def test_a_nest_where_no_female_stands_is_asked_about(ponds):
    assert asked(ponds["G"], dt.date(2024, 5, 14)) == (
        "No female of Slider stands in pond G by the book on 14 May 2024. Are the pond and the day right?",
    )
    assert len(asked(ponds["G"], dt.date(2024, 5, 14), kind="none")) == 1
    # Before the register's first day the book says nothing of any pond.
    assert asked(ponds["G"], dt.date(2023, 5, 14)) == ()
    moved = "day,pond,kind,class,from,to,heads\n2024-05-10,A,red-eared-slider,female,A,G,5\n"
    assert load(registered_sheets()["moves"], "moves.csv", moved.encode()).written.new == 1
    assert len(asked(ponds["G"], dt.date(2024, 5, 9))) == 1
    assert asked(ponds["G"], dt.date(2024, 5, 10)) == ()


def test_what_stood_years_ago_is_read_from_a_month_end(ponds, django_assert_num_queries):
    """The cost is that of the months asked about: of the farm's earlier days none is read."""
    moved = "day,pond,kind,class,from,to,heads\n" + "".join(
        f"{year}-0{month}-1{day},A,red-eared-slider,female,A,{outside},{year - 2020 + day}\n"
        for year in (2024, 2025)
        for month, day, outside in ((2, 1, "died"), (5, 2, "sold"), (5, 3, "died"), (8, 1, "sold"))
    )
    assert load(registered_sheets()["moves"], "moves.csv", moved.encode()).written.new == 8
    pond, first = ponds["A"], dt.date(2025, 5, 11)
    with django_assert_num_queries(2):
        found = by_day(first, dt.date(2025, 5, 14), pond_ids=[pond.pk], classes=["FEMALE"])
    ((opening, changes),) = found.values()
    assert sorted(changes) == [dt.date(2025, 5, 12), dt.date(2025, 5, 13)]
    for day in (11, 12, 13, 14):
        on = dt.date(2025, 5, day)
        (held,) = [one.heads for one in balances(on, pond_ids=[pond.pk]) if one.of_class == "FEMALE"]
        assert opening + sum(heads for at, heads in changes.items() if at <= on) == held
    rows = [
        NestDay(pond=pond, kind=None, dug_on=first, nests=3),
        NestDay(pond=ponds["G"], dug_on=first, nests=3),
    ]
    with django_assert_num_queries(5):
        assert [len(questions) for questions in asked_of_nests(rows)] == [0, 1]


def test_the_nest_form_asks_before_it_books(hand, ponds):
    entry = {
        "key": "6f0f2f1e-5a4b-4c1d-9e59-0f4d1d0d8a11", "pond": "G", "kind": "red-eared-slider",
        "dug_on": "2024-11-28", "nests": "30", "eggs": "", "broken": "", "clutches": "", "note": "",
    }  # fmt: skip
    answer = hand.post(reverse("ponds:nest-new"), entry)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "28 Nov 2024 is out of the nesting dates" in page
    assert "No female of Slider stands in pond G by the book on 28 Nov 2024" in page
    assert NestDay.objects.count() == 0
