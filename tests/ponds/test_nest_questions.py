"""A line of clutches fills a day of nests, and what is odd is asked once."""

import datetime as dt
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import escape

from ponds import nest_book
from ponds.clutches import ClutchCount
from ponds.models import Clutch, NestDay
from ponds.nest_book import KeyUsed, WrongCount, clutches_of
from ponds.nest_checks import DaysBefore, disagreements, doubts
from ponds.nest_doubts import doubts_about_all
from ponds.nest_sheet import NESTS_SHEET
from ponds.sheets import load
from tests.factories import KindFactory, PondFactory

NEW = reverse("ponds:nest-new")
LIST = reverse("ponds:nest-list")
DAY = dt.date(2024, 5, 14)
QUIET = DaysBefore(30, 20, None)


@pytest.fixture
def pond(db):
    return PondFactory(
        code="A", opened_on=dt.date(2020, 1, 1), kinds=[KindFactory(code="slider", common_name="Slider")]
    )


def record(pond, **changes):
    entry = {"key": uuid.uuid4(), "pond": pond, "kind": pond.kinds_allowed.first(), "dug_on": DAY, "nests": 14,
             "eggs": 121, "broken": 3, "today": DAY}  # fmt: skip
    return nest_book.record(**entry | changes)


def typed(**changes) -> dict:
    entry = {"key": str(uuid.uuid4()), "pond": "A", "kind": "slider", "dug_on": "2024-05-14", "clutches": "",
             "nests": "14", "eggs": "121", "broken": "3", "note": "after rain"}  # fmt: skip
    return entry | changes


def ask(**changes):
    figures = {"nests": 14, "eggs": 121, "before": QUIET, "eggs_a_nest": (6.5, 11)} | changes
    return doubts(pond="A", kind="Slider", **figures)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"nests": 61}, "61 nests in a day: the most ever dug of Slider at pond A is 20, on one of 30 days"),
        ({"nests": 14, "eggs": 45}, "45 eggs from 14 nests are 3.2 a nest; Slider lays 6.5 to 11"),
        ({"nests": 14, "eggs": 0}, "0 eggs from 14 nests are 0.0 a nest"),
        ({"nests": 10, "eggs": 166}, "166 eggs from 10 nests are 16.6 a nest"),
        (
            {"before": DaysBefore(30, 20, 14)},
            "Pond A has 14 nests of Slider in the book for this day already",
        ),
    ],
)
def test_what_is_odd_is_asked_with_its_figures(changes, words):
    changes = {"eggs": None} | changes
    assert any(words in question for question in ask(**changes)), ask(**changes)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"nests": 60, "eggs": 540},
        {"nests": 61, "eggs": 540, "before": DaysBefore(4, 1, None)},
        {"nests": 9, "eggs": 81, "before": DaysBefore(30, 1, None)},
        {"nests": 0, "eggs": 0},
        {"eggs": None},
        {"eggs": 14, "eggs_a_nest": None},
        {"nests": 14, "eggs": 46},
        {"nests": 10, "eggs": 165},
    ],
)
def test_what_may_well_be_is_not_asked(changes):
    assert ask(**changes) == ()


def test_figures_typed_beside_a_line_of_clutches_agree_or_are_asked():
    line = (ClutchCount(9), ClutchCount(8), ClutchCount(10, 1))
    assert disagreements(line, nests=3, eggs=27, broken=1) == ()
    assert disagreements(line, nests=None, eggs=None, broken=None) == ()
    assert disagreements((), nests=3, eggs=4, broken=5) == ()
    (question,) = disagreements(line, nests=4, eggs=27, broken=0)
    assert "comes to 3 nests, 1 broken; you typed 4 nests, 0 broken" in question


def test_a_line_of_clutches_fills_the_day(hand, pond):
    entry = typed(clutches="9 8 10 (1)", nests="", eggs="", broken="")
    for _ in range(2):
        assert hand.post(NEW, entry).status_code == 303
    row = NestDay.objects.get()
    assert (row.nests, row.eggs, row.broken) == (3, 27, 1)
    assert clutches_of(row) == (ClutchCount(9), ClutchCount(8), ClutchCount(10, 1))
    assert "27 eggs, 1 broken (9 8 10 (1))" in hand.get(NEW).content.decode()
    assert "9 8 10 (1)" in hand.get(LIST).content.decode()
    answer = hand.post(NEW, entry | {"clutches": "9 8 9 10", "nests": "3", "eggs": "27"})
    assert answer.status_code == 422


def test_some_nests_counted_one_by_one_are_asked_about_and_then_stand(hand, pond):
    entry = typed(clutches="9 8", nests="14", eggs="121")
    page = hand.post(NEW, entry).content.decode()
    assert "comes to 2 nests, 17 eggs, 0 broken; you typed 14 nests, 121 eggs, 3 broken" in page
    assert NestDay.objects.count() == 0
    mark = re.search(r'name="stands" value="(\w+)"', page)[1]
    assert hand.post(NEW, entry | {"stands": mark}).status_code == 303
    row = NestDay.objects.get()
    assert (row.nests, row.eggs, row.clutches.count()) == (14, 121, 2)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"clutches": "9 8", "nests": "1"},
            "The line of clutches comes to 2 nests, more than the 1 typed here.",
        ),
        ({"clutches": "9 8", "nests": "", "eggs": "16"}, "comes to 17 eggs, more than the 16"),
        (
            {"clutches": "9 8 (2)", "nests": "", "eggs": "", "broken": "1"},
            "comes to 2 broken, more than the 1",
        ),
        ({"clutches": "nine"}, "“nine” cannot be read."),
        ({"clutches": "9 (10)"}, "10 broken of 9 eggs"),
        ({"clutches": "9 " * 1600}, "This line is too long"),
        ({"clutches": "", "nests": ""}, "0 where there is none"),
    ],
)
def test_a_line_that_cannot_be_is_said_and_kept(hand, pond, changes, words):
    answer = hand.post(NEW, typed(**changes))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert escape(words) in page or words in page
    assert "after rain" in page
    assert not changes["clutches"] or changes["clutches"][:9].strip() in page
    assert NestDay.objects.count() == 0


def test_an_odd_day_is_asked_once_and_nothing_typed_is_lost(hand, pond):
    entry = typed(nests="2", eggs="60", broken="0")
    answer = hand.post(NEW, entry)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Is this right?" in page
    assert "60 eggs from 2 nests are 30.0 a nest; Slider lays 6.5 to 11." in page
    assert "Nothing is booked yet" in page
    assert NestDay.objects.count() == 0
    for value in ("2", "60", "after rain", entry["key"]):
        assert f'value="{value}"' in page
    mark = re.search(r'name="stands" value="(\w+)"', page)[1]
    other = hand.post(NEW, entry | {"eggs": "90", "stands": mark})
    assert "90 eggs from 2 nests" in other.content.decode()
    assert NestDay.objects.count() == 0
    for _ in range(2):
        assert hand.post(NEW, entry | {"stands": mark}).status_code == 303
    assert NestDay.objects.get().eggs == 60


def test_a_day_that_stands_already_is_asked_about(hand, pond):
    record(pond)
    page = hand.post(NEW, typed(nests="3", eggs="27", broken="0")).content.decode()
    assert "Pond A has 14 nests of Slider in the book for this day already. Are these 3 nests more?" in page
    assert NestDay.objects.count() == 1


def test_nests_many_times_what_was_ever_dug_there_are_asked_about(hand, pond):
    for day in range(1, 7):
        record(pond, dug_on=dt.date(2024, 5, day), nests=day, eggs=9 * day, broken=0)
    page = hand.post(NEW, typed(nests="30", eggs="270", broken="0")).content.decode()
    assert "30 nests in a day: the most ever dug of Slider at pond A is 6, on one of 6 days" in page


def test_a_correction_is_asked_about_and_leaves_out_the_row_it_mends(hand, pond):
    row = record(pond, by=hand.user, clutches=(ClutchCount(9),), nests=1, eggs=9, broken=0)
    address = reverse("ponds:nest-correct", args=[row.key])
    assert 'name="clutches" value="9"' in hand.get(address).content.decode()
    odd = typed(nests="2", eggs="60", clutches="")
    answer = hand.post(address, odd)
    assert answer.status_code == 422
    assert "already. Are these" not in answer.content.decode()
    assert NestDay.objects.standing().get() == row
    assert hand.post(address, typed(nests="", eggs="", broken="", clutches="8 (1)")).status_code == 303
    mended = NestDay.objects.standing().get()
    assert (mended.nests, mended.eggs, mended.broken, mended.clutches.count()) == (1, 8, 1, 1)
    assert Clutch.objects.count() == 2


def test_the_door_holds_clutches_to_the_key_and_to_the_figures(pond):
    row = record(pond, clutches=(ClutchCount(9), ClutchCount(8)))
    assert record(pond, key=row.key, clutches=(ClutchCount(9), ClutchCount(8))) == row
    with pytest.raises(KeyUsed):
        record(pond, key=row.key, clutches=(ClutchCount(8), ClutchCount(9)))
    with pytest.raises(WrongCount, match="comes to 15 nests, more than the 14"):
        record(pond, clutches=(ClutchCount(1),) * 15)


def test_a_sheet_takes_clutches_and_holds_them_to_its_figures(pond):
    head = "dug on,pond,kind,nests,eggs,clutches\n"
    good = (head + "2024-05-14,A,slider,14,121,9 8 10 (1)\n").encode()
    for written in ("1 new, 0 changed, 0 as they were", "0 new, 0 changed, 1 as they were"):
        assert str(load(NESTS_SHEET, "nests.csv", good).written) == written
    assert clutches_of(NestDay.objects.get()) == (ClutchCount(9), ClutchCount(8), ClutchCount(10, 1))
    for line, words in (
        ("9 nine", "“nine” cannot be read"),
        ("9 " * 15, "comes to 15 nests, more than the 14"),
    ):
        bad = load(NESTS_SHEET, "nests.csv", (head + f"2024-05-15,A,slider,14,,{line}\n").encode()).bad_rows
        assert words in bad[0].reason
    assert NestDay.objects.count() == 1


def sheet_of(*lines):
    return load(NESTS_SHEET, "nests.csv", "\n".join(["dug on,pond,kind,nests,eggs", *lines]).encode())


def test_a_row_that_says_what_another_says_is_asked_about(pond):
    outcome = sheet_of("2024-05-14,A,slider,4,36", "2024-05-15,A,slider,4,36", "2024-05-14,A,slider,4,36")
    assert outcome.written.warnings == (
        "Row 4: Pond A has 4 nests of Slider in row 2 of this sheet for this day already. Are these 4 nests more?",
    )
    again = sheet_of("2024-05-14,A,slider,4,36", "2024-05-15,A,slider,4,36", "2024-05-14,A,slider,4,36")
    assert (again.written.same, again.written.warnings) == (3, ())


def test_a_sheets_row_of_a_day_that_the_book_has_is_asked_about_as_on_the_form(pond):
    record(pond)
    outcome = sheet_of("2024-05-14,A,slider,1,9", "2024-05-13,A,slider,2,60")
    assert outcome.written.warnings == (
        "Row 2: Pond A has 14 nests of Slider in the book for this day already. Are these 1 nest more?",
        "Row 3: 60 eggs from 2 nests are 30.0 a nest; Slider lays 6.5 to 11.",
    )


def test_questions_cost_the_same_for_one_row_and_for_two_hundred(pond):
    def queries(days):
        rows = [
            NestDay(pond=pond, kind=pond.kinds_allowed.get(), dug_on=DAY + dt.timedelta(days=day), nests=4)
            for day in range(days)
        ]
        with CaptureQueriesContext(connection) as seen:
            doubts_about_all(rows)
        return len(seen)

    # One more where heads ever stood in the pond: what came and went there in the months asked about.
    assert queries(1) == queries(200) == 8
