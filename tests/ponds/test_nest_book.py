"""The nest book's door: record, replace, take back, and each refusal."""

import datetime as dt
import uuid

import pytest

from ponds import nest_book
from ponds.models import NestDay
from ponds.nest_book import AlreadyMended, KeyUsed, KindNotThere, NestRefused, NotYours, WrongCount, WrongDay
from ponds.nest_sheet import NESTS_SHEET
from ponds.sheets import load
from ponds.svg_marks import day_text
from tests.factories import KindFactory, PondFactory, UserFactory

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 6, 1)


@pytest.fixture
def pond():
    return PondFactory(code="A", opened_on=dt.date(2020, 1, 1))


def record(pond, **changes):
    entry = {
        "key": uuid.uuid4(),
        "pond": pond,
        "kind": None,
        "dug_on": dt.date(2026, 5, 14),
        "nests": 14,
        "eggs": 121,
        "broken": 3,
        "note": "",
        "today": TODAY,
    }
    return nest_book.record(**entry | changes)


def replace(row, **changes):
    entry = {
        "key": uuid.uuid4(),
        "kind": None,
        "dug_on": row.dug_on,
        "nests": 12,
        "eggs": 100,
        "broken": None,
        "note": "",
        "today": TODAY,
    }
    return nest_book.replace(row=row, **entry | changes)


def test_a_day_of_nests_is_recorded_and_signed(pond):
    person = UserFactory(role="hand")
    row = record(pond, by=person)
    assert NestDay.objects.standing().get() == row
    assert (row.nests, row.eggs, row.broken, row.by) == (14, 121, 3, person)


def test_no_nests_and_eggs_not_counted_are_facts_too(pond):
    assert record(pond, nests=0, eggs=None, broken=None).nests == 0


def test_the_same_key_gives_the_first_row_again_and_refuses_other_figures(pond):
    key = uuid.uuid4()
    first = record(pond, key=key)
    assert record(pond, key=key) == first
    with pytest.raises(KeyUsed, match="14 nests on 14 May 2026"):
        record(pond, key=key, nests=15)
    assert NestDay.objects.count() == 1


def test_a_replaced_row_no_longer_stands(pond):
    row = record(pond)
    mended = replace(row)
    assert NestDay.objects.standing().get() == mended
    assert NestDay.objects.count() == 2
    assert replace(row, key=mended.key) == mended


def test_a_row_taken_back_counts_for_nothing(pond):
    row = record(pond)
    key = uuid.uuid4()
    void = nest_book.take_back(row=row, key=key, today=TODAY)
    assert list(NestDay.objects.standing()) == []
    assert nest_book.take_back(row=row, key=key, today=TODAY) == void


def test_a_row_is_mended_once(pond):
    row = record(pond)
    mended = replace(row, by=UserFactory(username="wren", role="owner"))
    with pytest.raises(AlreadyMended, match="corrected already by wren: now 12 nests"):
        replace(row, nests=11)
    with pytest.raises(AlreadyMended, match="corrected already"):
        nest_book.take_back(row=row, key=uuid.uuid4(), today=TODAY)
    void = nest_book.take_back(row=mended, key=uuid.uuid4(), today=TODAY)
    with pytest.raises(AlreadyMended, match="taken back already"):
        replace(mended)
    with pytest.raises(AlreadyMended, match="enter the nests anew"):
        replace(void)


def test_a_hand_mends_their_own_rows_for_31_days_and_an_owner_any(pond):
    hand, other, owner = (UserFactory(username=name, role=role) for name, role in
                          (("wren", "hand"), ("heron", "hand"), ("stork", "owner")))  # fmt: skip
    row = record(pond, by=hand)
    entered = row.recorded_at.date()
    last = entered + dt.timedelta(days=31)
    with pytest.raises(NotYours, match=r"entered by wren\. You may correct your own; ask an owner"):
        replace(row, by=other, today=entered)
    with pytest.raises(NotYours, match=f"could correct it until {day_text(last)}"):
        replace(row, by=hand, today=last + dt.timedelta(days=1))
    with pytest.raises(NotYours, match="Ask an owner"):
        nest_book.take_back(row=row, key=uuid.uuid4(), by=hand, today=last + dt.timedelta(days=1))
    assert NestDay.objects.count() == 1
    mended = replace(row, by=hand, today=last)
    assert mended.by == hand
    void = nest_book.take_back(row=mended, key=uuid.uuid4(), by=owner, today=last + dt.timedelta(days=900))
    assert void.by == owner


@pytest.mark.parametrize(
    ("changes", "refusal", "field", "words"),
    [
        ({"dug_on": dt.date(2026, 6, 2)}, WrongDay, "dug_on", "still to come; today is 1 Jun 2026"),
        ({"dug_on": dt.date(2019, 12, 31)}, WrongDay, "dug_on", "Pond A opened on 1 Jan 2020"),
        ({"nests": -1}, WrongCount, "nests", "not between 0 and 5\u202f000"),
        ({"nests": 5001}, WrongCount, "nests", "5\u202f001 nests"),
        ({"eggs": -1}, WrongCount, "eggs", "not between 0 and 2\u202f800"),
        ({"eggs": 2801}, WrongCount, "eggs", r"2\u202f801 eggs from 14 nests .* \(200 a nest\)"),
        ({"nests": 0}, WrongCount, "eggs", "121 eggs from 0 nests"),
        ({"broken": 122}, WrongCount, "broken", "122 broken of 121 eggs"),
        ({"broken": -1}, WrongCount, "broken", "−1 broken"),
        ({"eggs": None}, WrongCount, "eggs", "say how many were picked"),
        ({"note": "x" * 5_000_000}, NestRefused, "note", "5\u202f000\u202f000 characters; 300 is the most"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(pond, changes, refusal, field, words):
    with pytest.raises(refusal, match=words) as refused:
        record(pond, **changes)
    assert refused.value.field == field
    assert NestDay.objects.count() == 0


def test_nests_after_a_pond_was_retired_are_refused():
    pond = PondFactory(code="B", retired_on=dt.date(2025, 1, 1))
    with pytest.raises(WrongDay, match="retired on 1 Jan 2025"):
        record(pond)


def test_a_kind_the_pond_is_not_for_is_refused():
    slider, snapper = KindFactory(common_name="Slider"), KindFactory(common_name="Snapper")
    pond = PondFactory(kinds=[slider])
    assert record(pond, kind=slider).kind == slider
    with pytest.raises(KindNotThere, match="is for Slider, not Snapper"):
        record(pond, kind=snapper)


def test_a_sheet_of_nests_loaded_twice_records_once(pond):
    KindFactory(code="slider")
    text = (
        b"dug on,pond,kind,nests,eggs\n2026-05-15,A,slider,3,27\n2026-05-14,A,,2,\n2026-05-15,A,slider,3,27\n"
    )
    assert str(load(NESTS_SHEET, "nests.csv", text).written) == "3 new, 0 changed, 0 as they were"
    assert str(load(NESTS_SHEET, "nests.csv", text).written) == "0 new, 0 changed, 3 as they were"
    assert NestDay.objects.count() == 3


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("2026-05-15,Q,,3,", "pond", "There is no pond Q"),
        ("2026-05-15,A,newt,3,", "kind", "There is no kind newt"),
        ("2019-05-15,A,,3,", "dug on", "opened on 1 Jan 2020"),
        ("2026-05-15,A,,1,201", "eggs", "201 eggs from 1 nests"),
        ("2026-05-15,A,,x,", "nests", "x is not a whole number"),
    ],
)
def test_a_bad_row_of_nests_is_named(pond, row, column, words):
    outcome = load(
        NESTS_SHEET, "nests.csv", f"dug on,pond,kind,nests,eggs\n2026-05-01,A,,1,8\n{row}\n".encode()
    )
    assert [(bad.row, bad.column) for bad in outcome.bad_rows] == [(3, column)]
    assert words in outcome.bad_rows[0].reason
    assert NestDay.objects.count() == 0


def new_row(pond, **changes):
    entry = {"key": uuid.uuid4(), "pond": pond, "dug_on": dt.date(2026, 5, 14), "nests": 14, "eggs": 121}
    return NestDay(**entry | changes)


def test_a_batch_is_recorded_once_with_few_queries(pond, django_assert_max_num_queries):
    slider = KindFactory()
    pond.kinds_allowed.set([slider])
    rows = [new_row(pond, kind=slider, nests=number) for number in range(2, 300)]
    with django_assert_max_num_queries(12):
        recorded = nest_book.record_all(rows, today=TODAY)
    again = [new_row(pond, key=row.key, kind=slider, nests=row.nests) for row in rows[:2]]
    assert nest_book.record_all(again, today=TODAY) == recorded[:2]
    assert NestDay.objects.count() == 298


@pytest.mark.parametrize(
    ("changes", "refusal", "words"),
    [
        ({"dug_on": dt.date(2026, 6, 2)}, WrongDay, "still to come"),
        ({"nests": 1, "eggs": 201}, WrongCount, "201 eggs from 1 nests"),
        ({"key": uuid.UUID(int=1), "nests": 13}, KeyUsed, "14 nests on 14 May 2026"),
    ],
)
def test_a_batch_with_a_bad_row_records_nothing_and_names_it(pond, changes, refusal, words):
    rows = [new_row(pond, key=uuid.UUID(int=1)), new_row(pond), new_row(pond, **changes)]
    with pytest.raises(refusal, match=words) as refused:
        nest_book.record_all(rows, today=TODAY)
    assert refused.value.row == 2
    assert NestDay.objects.count() == 0
