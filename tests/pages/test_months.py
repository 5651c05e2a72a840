"""Months: who closed which, and closing the next one in order."""

from __future__ import annotations

import datetime as dt
import html

import pytest
from django.urls import reverse

from stock import ledger
from stock.models import MonthClose, Move
from tests.page_rules import page_faults
from tests.pages.bank import STOOD_ON, make_farm, sent_log, today

pytestmark = pytest.mark.django_db

MONTHS = "/months/"
CLOSE = "/months/close/"
FIRST = STOOD_ON.replace(day=1)


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def words(response) -> str:
    return html.unescape(response.content.decode())


def test_every_month_is_listed_newest_first_and_only_the_next_can_be_closed(owner):
    ledger.close_month(FIRST, by=owner.user, today=today(), note="all papers in")
    response = owner.get(MONTHS)
    text = words(response)
    assert text.index(f">{today():%B %Y}</a>") < text.index(">July 2024</a>") < text.index(">June 2024</a>")
    june = text.split(">June 2024</a>")[1].split("</tr>")[0]
    assert "closed" in june
    assert ">owner<" in june
    assert "all papers in" in june
    assert ">open<" in text.split(">July 2024</a>")[1].split("</tr>")[0]
    assert "The first day that the book still takes is 1 Jul 2024." in text
    assert text.count(f'href="{CLOSE}"') == 1
    assert "Close July 2024" in text
    assert page_faults(response) == []


def test_a_month_is_closed_after_saying_what_that_means(owner):
    response = owner.get(CLOSE)
    text = words(response)
    for sentence in (
        "Close June 2024?",
        "booked on the first open day: 1 Jul 2024",
        "There is no reopening.",
    ):
        assert sentence in text
    assert page_faults(response) == []
    assert not MonthClose.objects.exists()
    answer = owner.post(CLOSE, {"month": "2024-06", "note": "done"})
    assert (answer.status_code, answer.headers["Location"]) == (303, MONTHS)
    close = MonthClose.objects.get()
    assert (close.month, close.by, close.note) == (FIRST, owner.user, "done")
    late = sent_log({"of_class": "FEMALE", "back": "20"}, day="2024-06-20")
    asked = owner.post("/log/", late).context
    assert asked["asked"][0].startswith("20 Jun 2024 is ")
    assert owner.post("/log/", {**late, "confirmed": asked["asked_name"]}).status_code == 303
    move = Move.objects.get(made_as="BANK")
    assert (move.happened_on, move.booked_on) == (dt.date(2024, 6, 20), dt.date(2024, 7, 1))


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({}, "The page did not say which month."),
        ({"month": "June"}, "The page did not say which month."),
        ({"month": "2024-06"}, "June 2024 is closed already"),
        ({"month": "2024-08"}, "Months are closed in order: close July 2024 first."),
        ({"month": "2999-01"}, "January 2999 is not over yet"),
        ({"month": "2024-07", "note": "x" * 301}, "The note has 301 characters"),
        ({"month": "2024-07", "note": "a\0b"}, "a character (code 0) that is no text"),
    ],
)
def test_what_cannot_be_closed_is_refused_with_the_reason(owner, sent, sentence):
    ledger.close_month(FIRST, by=owner.user, today=today())
    response = owner.post(CLOSE, sent)
    assert response.status_code == 422
    text = words(response)
    assert "Nothing was closed" in text
    assert sentence in text
    assert MonthClose.objects.count() == 1


def test_once_all_is_closed_there_is_nothing_to_close(owner):
    month = FIRST
    while month < today().replace(day=1):
        ledger.close_month(month, by=owner.user, today=today())
        month = (month + dt.timedelta(days=32)).replace(day=1)
    assert CLOSE not in words(owner.get(MONTHS))
    assert "there is nothing to close now" in words(owner.get(CLOSE, follow=True))


def test_all_read_which_months_are_closed_and_only_an_owner_closes_one(farm, owner, hand, reader):
    assert f'href="{CLOSE}"' in words(owner.get(MONTHS))
    for client in (hand, reader):
        page = client.get(MONTHS)
        assert (page.status_code, page_faults(page)) == (200, [])
        assert "Which months are closed?" in words(page)
        assert CLOSE not in words(page)
        assert client.get(CLOSE).status_code == 403
        assert client.post(CLOSE, {"month": "2024-06"}).status_code == 403
        assert f'href="{MONTHS}"' not in words(client.get("/"))
    assert not MonthClose.objects.exists()


def test_today_leads_to_the_review_of_the_oldest_open_month_and_settings_to_the_months(owner):
    assert f'href="/review/{FIRST:%Y-%m}/"' in words(owner.get("/"))
    assert f'href="{MONTHS}"' in words(owner.get(reverse("ponds:settings")))
