"""The extract of a month in which something was booked for a closed one: its rows come to its sums, and say so."""

import datetime as dt
import html
import io
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds.models import Farm, Pond
from ponds.retiring import retire
from stock import ledger
from stock.extract import extract_of
from stock.models import Move
from tests.pages.hand_worked import JULY, JUNE, MAY, TODAY, make_farm
from tests.pages.test_extract import DAYS, table, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

APRIL = dt.date(2024, 4, 1)
ENDS = {MAY: dt.date(2024, 5, 31), JUNE: dt.date(2024, 6, 30), JULY: dt.date(2024, 7, 31)}
IN_JUNE = {"since": "2024-06-01", "until": "2024-06-30"}


@pytest.fixture
def farm(owner, monkeypatch):
    """May is closed, and June's book takes what is logged for it: a sale back, two dead, a move, one bought, sexing."""
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    made = make_farm(owner.user)
    Farm.objects.get_or_create(only=True)
    sale = made.post((5, 13), ("FEMALE", "A", "SOLD", 5))
    for month in (APRIL, MAY):
        ledger.close_month(month, by=made.by, today=TODAY)
    ledger.reverse(_move(sale), key=uuid.uuid4(), by=made.by, today=TODAY, note="wrong pond")
    made.post((5, 25), ("FEMALE", "A", "DIED", 3), pond="A")
    made.post((5, 26), ("FEMALE", "A", "C", 7), pond="A")
    made.post((5, 27), ("UNSEXED", "C", "C", 1, {"to_class": "MALE"}), pond="C")
    made.post((6, 10), ("MALE", "A", "SOLD", 2))
    return made


def _move(receipt) -> Move:
    return Move.objects.get(pk=receipt.move_id)


def sheet(code, first):
    return extract_of(Pond.objects.get(code=code), Farm.objects.get(), first, ENDS[first])


def sums_of_rows(found, pond):
    """Add up the rows of heads that are not said to be booked after the days: (class) -> in, out, dead."""
    came, went, dead = {}, {}, {}

    def add(to, words, heads):
        (of_class,) = re.findall(r"\b(females?|males?|unsexed|juveniles?)\b", words)
        of_class = of_class if of_class.endswith("s") or of_class == "unsexed" else f"{of_class}s"
        to[of_class] = to.get(of_class, 0) + heads

    def rows(title):
        return [row for row in table(found, title).rows if "booked after these days" not in row[0]]

    for row in rows("What came from outside"):
        add(came, row[2], row[1])
    for row in rows("What was sold"):
        add(went, row[2], row[1])
    for row in rows("What moved"):
        add(went if row[1] == pond else came, row[4], row[3])
    for row in rows("What became"):
        add(went, row[2], row[1])
        add(came, row[3], row[1])
    for row in rows("Heads nobody"):
        heads, rest = row[1].split(" ", 1)
        assert "more than the book held" in row[1]
        add(went if "taken back" in row[1] else came, rest, int(heads))
    for row in rows("What died"):
        for of_class, heads in zip(("females", "males", "unsexed", "juveniles"), row[3:7], strict=True):
            dead[of_class] = dead.get(of_class, 0) + heads
    return came, went, dead


@pytest.mark.parametrize("first", [MAY, JUNE, JULY])
@pytest.mark.parametrize("code", ["A", "B", "C"])
def test_the_rows_come_to_what_the_book_says_came_went_and_died(farm, code, first):
    found = sheet(code, first)
    came, went, dead = sums_of_rows(found, code)
    reconciled = table(found, "Opening").rows
    assert reconciled
    for words, opening, in_, out, died, closing in reconciled:
        of_class = words.split(", ")[1]
        assert (came.get(of_class, 0), went.get(of_class, 0), dead.get(of_class, 0)) == (in_, out, died)
        assert opening + in_ - out - died == closing
    # Nothing is told of a class that the sums do not have.
    assert {*came, *went} <= {row[0].split(", ")[1] for row in reconciled}


def test_the_month_it_was_booked_in_says_of_which_day_it_is(farm):
    june = sheet("A", JUNE)
    assert table(june, "Opening").rows[0] == ("Slider, females", 282, 0, 2, 3, 277)
    sold = [row[:4] for row in table(june, "What was sold").rows]
    assert sold == [
        ("of 13 May 2024, booked 1 Jun 2024", -5, "Slider females, taken back", "sold"),
        ("10 Jun 2024", 2, "Slider males", "sold"),
    ]
    assert [row[:5] for row in table(june, "What moved").rows] == [
        ("of 26 May 2024, booked 1 Jun 2024", "A", "C", 7, "Slider females")
    ]
    assert [row[:4] for row in table(june, "What died").rows] == [
        ("of May 2024, booked 1 Jun 2024", "Slider", "cause not known", 3)
    ]
    (back,) = table(june, "Every correction").rows
    assert back[0] == "of 13 May 2024, booked 1 Jun 2024"
    assert back[3:5] == ("5 Slider females sold from A, taken back", "wrong pond")


def test_the_month_it_is_of_lists_it_as_booked_after_these_days(farm):
    may = sheet("A", MAY)
    later = "booked after these days (1 Jun 2024)"
    assert table(may, "Opening").rows[0] == ("Slider, females", 300, 0, 17, 1, 282)
    assert [row[:3] for row in table(may, "What was sold").rows] == [
        ("3 May 2024", 4, "Slider males"),
        ("13 May 2024", 5, "Slider females, taken back later (booked 1 Jun 2024)"),
        (f"13 May 2024, {later}", -5, "Slider females, taken back"),
    ]
    assert f"26 May 2024, {later}" in [row[0] for row in table(may, "What moved").rows]
    assert {row[0]: row[3] for row in table(may, "What died").rows} == {
        "May 2024": 1, f"May 2024, {later}": 3,
    }  # fmt: skip
    became = {row[0]: row[1:5] for row in table(sheet("C", MAY), "What became").rows}
    assert became[f"27 May 2024, {later}"] == (1, "Slider unsexed", "male", "sexed")


def test_what_is_booked_late_and_taken_back_later_still_is_told_where_it_was_booked(farm):
    late = farm.post((5, 28), ("MALE", "B", "SOLD", 4))
    ledger.close_month(JUNE, by=farm.by, today=TODAY)
    ledger.reverse(_move(late), key=uuid.uuid4(), by=farm.by, today=TODAY)
    # By May's book it is no sale, and of the two that were booked later one takes the other back.
    assert table(sheet("B", MAY), "What was sold").rows == ()
    (june,) = table(sheet("B", JUNE), "What was sold").rows
    assert june[:3] == (
        "of 28 May 2024, booked 1 Jun 2024", 4, "Slider males, taken back later (booked 1 Jul 2024)",
    )  # fmt: skip
    (july,) = table(sheet("B", JULY), "What was sold").rows
    assert july[:3] == ("of 28 May 2024, booked 1 Jul 2024", -4, "Slider males, taken back")
    for first in (MAY, JUNE, JULY):
        test_the_rows_come_to_what_the_book_says_came_went_and_died(farm, "B", first)


def test_screen_pdf_and_workbook_say_the_same(farm, reader):
    address = reverse("stock:extract-pond", args=["A"])
    page = html.unescape(reader.get(address, IN_JUNE).content.decode())
    said = text_of(reader.get(address, {**IN_JUNE, "as": "pdf"}).content)
    book = load_workbook(io.BytesIO(reader.get(address, {**IN_JUNE, "as": "xlsx"}).content))
    cells = [tuple(cell.value for cell in row) for row in book["Pond A"].iter_rows()]
    row = ("of 13 May 2024, booked 1 Jun 2024", -5, "Slider females, taken back", "sold")
    assert row in [cell[:4] for cell in cells]
    for text in (page, said):
        assert "of 13 May 2024" in text
        assert "Slider females, taken back" in re.sub(r"\s+", " ", text)
        assert "By the day of booking." in text
    assert "−5" in page


def test_a_pond_retired_before_these_days_is_among_the_farms_where_something_was_booked_for_it(farm, reader):
    farm.post((6, 12), ("FEMALE", "B", "A", 132), ("MALE", "B", "A", 68), pond="B")
    retire(pond=Pond.objects.get(code="B"), on=dt.date(2024, 6, 12), today=TODAY)
    asked = {"since": "2024-07-01", "until": "2024-07-31", "as": "xlsx"}

    def ponds():
        return load_workbook(io.BytesIO(reader.get(reverse("stock:extract"), asked).content)).sheetnames

    assert ponds() == ["Pond A", "Pond C"]
    ledger.close_month(JUNE, by=farm.by, today=TODAY)
    farm.post((6, 11), ("FEMALE", "B", "DIED", 1), pond="B")
    assert ponds() == ["Pond A", "Pond B", "Pond C"]


def test_rows_booked_later_cost_no_queries(farm, owner):
    address = reverse("stock:extract-pond", args=["A"])
    costs = []
    for number in (0, 12):
        for _ in range(number):
            gone = farm.post((5, 21), ("FEMALE", "A", "SOLD", 1))
            farm.post((5, 21), ("FEMALE", "A", "DIED", 1), pond="A")
            ledger.reverse(_move(gone), key=uuid.uuid4(), by=farm.by, today=TODAY)
        cost = []
        for days in (DAYS, IN_JUNE):
            owner.get(address, days)
            with CaptureQueriesContext(connection) as queries:
                assert owner.get(address, days).status_code == 200
            cost.append(len(queries))
        costs.append(cost)
    assert costs[0] == costs[1]
