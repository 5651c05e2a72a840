"""The monthly review against a month of three ponds worked by hand, every figure written out."""

import csv
import datetime as dt
import html
import io
import json
import uuid

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.models import Kind, Pond
from stock import ledger, review
from stock.models import PondReview, Task
from tests.page_rules import page_faults
from tests.pages.hand_worked import JUNE, MAY, TODAY, make_farm

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

# Opening, in, out, dead, closing: worked by hand from the moves of `farm` below.
BY_HAND = {
    ("A", "females"): (300, 0, 12, 1, 287),
    ("A", "males"): (100, 0, 4, 0, 96),
    ("A", "juveniles"): (0, 3, 0, 0, 3),
    ("B", "females"): (120, 12, 0, 0, 132),
    ("B", "males"): (80, 0, 10, 2, 68),
    ("C", "females"): (90, 44, 0, 0, 134),
    ("C", "males"): (20, 12, 0, 0, 32),
    ("C", "unsexed"): (10, 0, 6, 0, 4),
    ("C", "juveniles"): (0, 3, 3, 0, 0),
}


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    return make_farm(owner.user)


def figures(found):
    return {
        (pond.pond_code, row.words): (row.opening, row.came, row.went, row.dead, row.closing)
        for pond in found.ponds
        for kind in pond.kinds
        for row in kind.classes
    }


def kind_of(found, code):
    return next(pond for pond in found.ponds if pond.pond_code == code).kinds[0]


def words(response) -> str:
    return html.unescape(response.content.decode())


def test_the_month_of_three_ponds_is_the_one_worked_by_hand(farm):
    found = review.month_review(MAY, TODAY)
    assert figures(found) == BY_HAND
    a, b, c = (kind_of(found, code) for code in "ABC")
    assert [kind.died.total for kind in (a, b, c)] == [1, 2, 0]
    assert (a.nests.month.nests, a.nests.month.eggs, a.nests.month.eggs_a_nest) == (30, 270, 9)
    assert (b.nests.month.nests, b.nests.month.eggs_a_nest) == (8, None)
    assert c.nests is None
    assert [row.came_words for row in c.classes] == [
        "bought 40, sexed 4", "moved 10, sexed 2", "", "beyond the book 3",
    ]  # fmt: skip
    assert a.classes[0].went_words == "moved 12"
    assert "3 Slider beyond the book" in c.to_explain[0]
    assert "Papers missing of P7." in c.to_explain


def test_the_next_month_opens_with_what_the_last_one_closed_with(farm):
    farm.post((6, 4), ("MALE", "A", "SOLD", 6))
    june = figures(review.month_review(JUNE, TODAY))
    assert {key: row[0] for key, row in june.items()} == {
        key: row[4] for key, row in BY_HAND.items() if row[4]
    }
    assert june["A", "males"] == (96, 0, 6, 0, 90)
    # What happened since changes nothing in the month before.
    assert figures(review.month_review(MAY, TODAY)) == BY_HAND


def test_what_is_logged_after_the_close_is_listed_on_the_month_and_booked_in_the_next(farm, owner):
    for month in (dt.date(2024, 4, 1), MAY):
        ledger.close_month(month, by=farm.by, today=TODAY)
    farm.post((5, 30), ("FEMALE", "A", "DIED", 2), pond="A")
    assert figures(review.month_review(MAY, TODAY)) == BY_HAND
    assert kind_of(review.month_review(MAY, TODAY), "A").died.females == 3  # by the animals' days
    june = review.month_review(JUNE, TODAY)
    assert figures(june)["A", "females"] == (287, 0, 0, 2, 285)
    assert "2 heads booked here for days of earlier, closed months." in kind_of(june, "A").to_explain
    page = words(owner.get(reverse("stock:review", args=["2024-05"])))
    assert "What was logged later for these days?" in page
    assert "30 May 2024" in page.split("What was logged later for these days?")[1]
    assert "Closed by owner" in page


def test_what_was_signed_is_shown_as_signed_and_what_came_late_is_counted(farm, owner):
    address = reverse("stock:review-pond", args=["2024-05", "A"])
    before = kind_of(review.month_review(MAY, TODAY), "A").facts.standing
    sign = reverse("stock:review-sign", args=["2024-05", "A"])
    assert owner.post(sign, {"key": uuid.uuid4(), "words": "Seen."}).status_code == 303
    assert "When it was signed" not in words(owner.get(address))
    for month in (dt.date(2024, 4, 1), MAY):
        ledger.close_month(month, by=farm.by, today=TODAY)
    farm.post((5, 30), ("FEMALE", "A", "DIED", 3), pond="A")
    after = kind_of(review.month_review(MAY, TODAY), "A")
    assert round(after.facts.standing.females) < round(before.females)
    assert any(
        line.startswith("1 move of this month's days was logged after it was closed")
        for line in after.to_explain
    )
    assert not any(
        "logged after" in line for line in kind_of(review.month_review(MAY, TODAY), "B").to_explain
    )
    page = words(owner.get(address))
    signed = page.split("When it was signed</dt><dd>")[1].split("</dd>")[0]
    assert signed.startswith(f"{round(before.females)} females (")
    assert f" and {round(before.males)} males (" in signed
    table = owner.get(reverse("stock:review", args=["2024-05"]), {"_export": "csv"}).content.decode()
    (row,) = [one for one in csv.DictReader(io.StringIO(table)) if one["Pond"] == "A"]
    assert int(row["To explain"]) == len(after.to_explain) > 0


def test_the_month_stands_on_a_page_searched_filtered_and_exported(farm, owner, reader):
    address = reverse("stock:review", args=["2024-05"])
    response = reader.get(address)
    assert page_faults(response) == []
    page = words(response)
    assert "3 of 3 ponds not signed yet" in page
    assert "Review pond" not in page.split("</h1>")[1].split("<table")[0]  # a reader decides nothing
    table = owner.get(address, {"_export": "csv"}).content.decode()
    rows = {row["Pond"]: row for row in csv.DictReader(io.StringIO(table))}
    sums = {
        code: [sum(row[column] for (pond, _), row in BY_HAND.items() if pond == code) for column in range(5)]
        for code in "ABC"
    }
    for code in "ABC":
        assert [int(rows[code][name]) for name in ("Opening", "Came", "Went", "Dead", "Closing")] == sums[
            code
        ]
    assert rows["A"]["Nests"] == "30"
    # Drained on 1 April with 300 females and 100 males: 60 days before the month's end.
    assert (float(rows["A"]["At its count"]), rows["A"]["Days since count"]) == (3.0, "60")
    assert "2 months ago" in page
    only = words(owner.get(address, {"show": "to-explain"}))
    assert 'aria-label="Review pond C"' in only
    assert 'aria-label="Review pond B"' not in only


def test_a_pond_is_reviewed_decided_and_signed_and_the_next_one_comes(farm, owner, reader):
    address = reverse("stock:review-pond", args=["2024-05", "B"])
    response = owner.get(address)
    assert page_faults(response) == []
    page = words(response)
    assert "120" in page
    assert "out: moved 10" in page
    assert "of eight" not in page
    assert "its count is 2 months old. The ratio rose from 1.50 : 1 at the count to" in page
    decide = next(
        link for link in page.split('href="') if link.startswith("/tasks/add/") and "TAKE_OUT" in link
    ).split('"')[0]
    filled = owner.get(decide).context["form"].initial
    sent = {**filled, "review": "2024-05", "next": address}
    assert owner.post(reverse("stock:task-add"), sent).status_code == 303
    task = Task.objects.get()
    assert (task.review_month, task.of_class) == (MAY, "MALE")
    assert "Take out" in words(owner.get(address)).split("What is decided?")[1]
    key = uuid.uuid4()
    sign = reverse("stock:review-sign", args=["2024-05", "B"])
    assert reader.post(sign, {"key": key, "words": "x"}).status_code == 403
    for _ in range(2):  # pressed twice, signed once
        answer = owner.post(sign, {"key": key, "words": "Males leave in June."})
        assert answer.status_code == 303
    signature = PondReview.objects.get()
    assert (signature.month, signature.words, signature.by_name) == (MAY, "Males leave in June.", "owner")
    assert answer.url in [reverse("stock:review-pond", args=["2024-05", code]) for code in "AC"]
    assert "Males leave in June." in words(reader.get(address))
    assert "2 of 3 ponds not signed yet" in words(owner.get(reverse("stock:review", args=["2024-05"])))
    assert "Nobody has signed ponds A, B, C for April 2024" in words(owner.get(reverse("stock:month-close")))


@pytest.mark.parametrize(
    ("month", "words_typed", "sentence"),
    [
        ("2024-08", "", "August 2024 is not over yet: it can be signed from 1 Sep 2024 on."),
        ("2024-04", "", "April 2024 is closed"),
        ("2024-05", "x" * 2001, "What was decided has 2\u202f001 characters; 2\u202f000 fit."),
    ],
)
def test_what_cannot_be_signed_says_why_and_keeps_what_was_typed(farm, owner, month, words_typed, sentence):
    ledger.close_month(dt.date(2024, 4, 1), by=farm.by, today=TODAY)
    typed = words_typed or "Left as it is."
    response = owner.post(
        reverse("stock:review-sign", args=[month, "A"]), {"key": uuid.uuid4(), "words": typed}
    )
    assert response.status_code == 422
    assert sentence in words(response)
    assert typed in words(response)
    assert not PondReview.objects.exists()


@pytest.mark.parametrize("month", ["2024-09", "2024-13", "may", "2024-5", "0001-01"])
def test_a_month_that_is_none_is_not_found(farm, owner, month):
    assert owner.get(reverse("stock:review", args=[month])).status_code == 404
    assert owner.get(reverse("stock:review-pond", args=[month, "A"])).status_code == 404


def test_a_pond_opened_later_and_one_that_is_none_are_not_found(farm, owner):
    Pond.objects.create(code="D", opened_on=dt.date(2024, 7, 1))
    for code in "DX":
        assert owner.get(reverse("stock:review-pond", args=["2024-05", code])).status_code == 404


def test_the_menu_leads_to_the_latest_month_that_is_over(farm, owner):
    assert owner.get(reverse("stock:review-latest")).url == reverse("stock:review", args=["2024-07"])


def test_the_command_prints_the_same_month(farm, capsys):
    call_command("review", "2024-05", format="json")
    said = json.loads(capsys.readouterr().out)
    assert said["last_day"] == "2024-05-31"
    rows = {
        (pond["pond"], row["class"]): tuple(row[name] for name in ("opening", "in", "out", "dead", "closing"))
        for pond in said["ponds"]
        for kind in pond["kinds"]
        for row in kind["classes"]
    }
    assert rows == BY_HAND
    call_command("review", "2024-05", pond="A", format="csv")
    table = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [int(row["closing"]) for row in table] == [287, 96, 3]
    call_command("review", "2024-05", pond="B")
    assert "80 + 0 - 10 - 2 dead = 68" in capsys.readouterr().out
    for month, pond, sentence in (
        ("2024-5x", None, "is no month"),
        ("2024-09", None, "has not begun"),
        ("2024-05", "X", "no such pond"),
    ):
        with pytest.raises(CommandError, match=sentence):
            call_command("review", month, pond=pond)


def test_the_review_costs_the_same_at_three_ponds_and_at_thirty(farm, owner):
    slider = Kind.objects.get()
    address = reverse("stock:review", args=["2024-05"])
    costs = []
    for number in (3, 30):
        for place in range(Pond.objects.count(), number):
            code = f"P{chr(65 + place % 26)}{'' if place < 26 else 'A'}"
            Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
        owner.get(address)
        with CaptureQueriesContext(connection) as queries:
            assert owner.get(address).status_code == 200
        costs.append(len(queries))
    assert costs[0] == costs[1] <= 45
