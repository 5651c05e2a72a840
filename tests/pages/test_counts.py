"""Counts: the list of counts accepted and of surveys, and the planner."""

from __future__ import annotations

import html
import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stock import ledger
from stock.drafts import BatchDraft, CountDraft, Line
from stock.ledger import opening_draft
from stock.models import Count
from tests.page_rules import page_faults
from tests.pages.bank import held, make_farm, today
from tests.pages.survey_farm import ago, haul, passes, survey

pytestmark = pytest.mark.django_db

COUNTS, PLAN = "/counts/", "/counts/plan/"


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return (
        re.sub(r"\s+", " ", html.unescape(response.content.decode()))
        .replace("\u202f", " ")
        .replace("\xa0", " ")
    )


def count(*, pond="A", days=10, females=90.0, males=36.0, **more) -> Count:
    figures = {"females": females, "females_se": 5.0, "males": males, "males_se": 3.0}
    draft = CountDraft(pond, "slider", ago(days), more.pop("how", "SEINED"), **figures)
    return ledger.accept_count(draft, key=uuid.uuid4(), by=more.pop("by", None), today=today(), **more)


def test_counts_are_listed_with_their_doubt_and_against_the_book(reader):
    count()
    response = reader.get(COUNTS)
    text = words(response)
    # 1.96 x 5 is 9.8, 1.96 x 3 is 5.9; the book holds 100 females and 40 males, and its unsexed were not counted.
    assert "90 ± 10" in text
    assert "36 ± 6" in text
    assert "14 fewer than the book’s 140" in text
    assert page_faults(response) == []


def test_a_count_that_reset_the_book_is_held_against_the_book_before_it(owner):
    count(resets_book=True, reason="recounted", by=owner.user)
    haul({"FEMALE": 5}, days=2, lines=(Line("slider", "FEMALE", "A", "SOLD", 5),))
    assert "14 fewer than the book’s 140" in words(owner.get(COUNTS))


def test_a_count_that_fell_with_its_haul_is_taken_back_on_its_page_and_the_book_with_it(owner, reader):
    drained = haul({"FEMALE": 91, "MALE": 38, "UNSEXED": 3}, method="DRAIN_DOWN", is_complete=True)
    fallen = count(
        days=3, females=91.0, males=38.0, by=owner.user, hauls=[drained], resets_book=True, reason="drained"
    )
    assert held("A")[:2] == (91, 38)
    ledger.reverse(drained.move, key=uuid.uuid4(), by=owner.user, today=today())
    page, back = (reverse(f"stock:count-{name}", args=[fallen.pk]) for name in ("detail", "take-back"))
    text = words(owner.get(page))
    assert "fell with a haul" in text
    assert "The book is still reset to it" in text
    assert f'action="{back}"' in text
    assert back not in words(reader.get(page))
    assert owner.post(back, {"key": str(uuid.uuid4()), "reason": "the haul was wrong"}).status_code == 303
    assert held("A")[:2] == (100, 40)
    text = words(owner.get(page))
    assert back not in text
    assert "still reset" not in text


def test_an_opening_is_a_count_that_made_the_book(reader):
    batch = BatchDraft("B-OPEN", "OPENING", ago(20))
    opened = opening_draft(
        pond="B",
        kind="slider",
        day=ago(20),
        heads={"FEMALE": 30},
        how_known="NOTEBOOK",
        batch=batch,
        key=uuid.uuid4(),
    )
    ledger.record(opened, by=None, today=today())
    text = words(reader.get(COUNTS))
    assert "the opening" in text
    assert "from the notebook" in text
    shown = words(reader.get(reverse("stock:count-detail", args=[Count.objects.get().pk])))
    assert "was opened with it" in shown


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, {"A", "B"}),
        ({"pond": "B"}, {"B"}),
        ({"how": "GUESS"}, {"B"}),
        ({"how": "SURVEY"}, set()),
        ({"q": "levee"}, {"A"}),
        ({"until": "2020-01-01"}, set()),
        ({"standing": "on"}, {"A"}),
    ],
)
def test_filters_and_search(owner, asked, found):
    made = {"A": count(reason="seen from the levee"), "B": count(pond="B", how="GUESS")}
    ledger.take_back_count(made["B"], key=uuid.uuid4(), by=owner.user, today=today(), reason="wrong pond")
    text = words(owner.get(COUNTS, asked))
    assert {
        pond for pond, one in made.items() if reverse("stock:count-detail", args=[one.pk]) in text
    } == found


def test_the_list_is_sorted_and_exported(reader):
    count()
    for sort in ("pond", "-pond", "kind", "how", "females", "-males", "by_name", "as_of"):
        assert reader.get(COUNTS, {"sort": sort}).status_code == 200
    heading, line = reader.get(COUNTS, {"_export": "csv"}).content.decode().splitlines()
    assert heading.startswith("Day,Pond,Kind,How,Females,Females plus or minus,Males,Males plus or minus")
    assert line.startswith(f"{ago(10)},A,Slider,seined,90.0,9.79")


def test_open_surveys_stand_above_the_counts_and_in_a_list_of_their_own(reader, owner):
    one = survey(*passes((28, 10), (20, 6), (8, 4)), note="before the sale")
    text = words(reader.get(COUNTS))
    assert "Surveys still open" in text
    assert "before the sale" in text
    listed = reader.get(reverse("stock:survey-list"), {"state": "open", "sort": "-haul_count"})
    assert reverse("stock:survey-detail", args=[one.pk]) in words(listed)
    assert "No surveys here" in words(reader.get(reverse("stock:survey-list"), {"state": "accepted"}))
    assert f"{ago(3)},A,{ago(3)},3,before the sale,open" in (
        reader.get(reverse("stock:survey-list"), {"_export": "csv"}).content.decode()
    )


def test_the_lists_ask_as_many_queries_of_3_rows_as_of_100(reader):
    def queries(address: str) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert reader.get(address, {"per_page": 100}).status_code == 200
        return len(asked)

    def more(number: int) -> None:
        for place in range(number):
            count(days=1 + place)
            survey(haul({"FEMALE": 3}, days=1 + place % 20))

    more(3)
    few = {address: queries(address) for address in (COUNTS, reverse("stock:survey-list"))}
    assert max(few.values()) <= 12
    more(97)
    assert {address: queries(address) for address in few} == few


# The planner


def test_the_planner_answers_how_many_to_mark_and_to_catch(reader):
    response = reader.get(PLAN, {"method": "marks", "expected": "500", "within": "25"})
    text = words(response)
    assert page_faults(response) == []
    # Robson and Regier (1964): equal hauls of 143 of 500 keep within a quarter at 95 %.
    assert response.context["answer"].is_reached
    assert "To mark, and again to catch, by how well it is wanted" in text
    assert "Salmonella" in text


def test_the_planner_fills_in_what_the_pond_holds_by_the_book(reader):
    text = words(reader.get(PLAN, {"method": "marks", "pond": "A", "kind": "slider"}))
    assert "Pond A holds 150 adults of Slider by the book" in text
    assert 'value="150"' in text


@pytest.mark.parametrize(
    ("asked", "heading"),
    [
        ({"method": "passes", "expected": "400", "chance": "40"}, "What each further pass buys"),
        ({"method": "sexing", "expected": "400", "ratio": "3"}, "To sex, by how well the share is wanted"),
        ({"method": "marks", "expected": "400", "marked": "90"}, "To catch, by how well it is wanted"),
    ],
)
def test_the_planner_answers_for_every_method(reader, asked, heading):
    response = reader.get(PLAN, asked)
    assert heading in words(response)
    assert page_faults(response) == []


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"expected": ""}, "Say how many adults you expect in the pond"),
        ({"expected": "many"}, "“many” is not a whole number."),
        ({"within": "0"}, "0 is not between 0.1 and 100."),
        ({"within": "x"}, "x"),
        ({"method": "guess"}, "There is no method “guess”."),
        ({"method": "passes", "chance": "100"}, "100 is not between 0.1 and 99.9."),
        ({"marked": "700"}, "marked"),
        ({"pond": "ZZZ"}, "There is no pond “ZZZ”."),
    ],
)
def test_each_wrong_question_has_its_sentence(reader, wrong, sentence):
    response = reader.get(PLAN, {"method": "marks", "expected": "500", "within": "25", **wrong})
    assert response.status_code == 200
    assert response.context["answer"] is None
    assert sentence in words(response)
    assert "Error: " in response.content.decode().split("</title>")[0]


def test_a_pond_expected_empty_is_answered_without_a_figure(reader):
    for method in ("marks", "passes", "sexing"):
        assert reader.get(PLAN, {"method": method, "expected": "0"}).status_code == 200
