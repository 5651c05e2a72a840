"""Signing a month pond by pond: retired ones are signed like any other, and the walk leads to what can be signed."""

import datetime as dt
import html
import uuid

import pytest
from django.urls import reverse

from ponds.models import Pond
from stock import ledger, review
from stock.models import PondReview
from stock.review_rows import unsigned_codes
from tests.page_rules import page_faults
from tests.pages.hand_worked import MAY, TODAY, empty_b, make_farm

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    return make_farm(owner.user)


def words(response) -> str:
    return html.unescape(response.content.decode())


def test_the_walk_leads_to_pages_that_can_be_signed_until_none_is_left(farm, owner, reader):
    empty_b(farm, 6, 5)
    address = reverse("stock:review-pond", args=["2024-05", "A"])
    seen = []
    while address != "/review/2024-05/":
        page = words(owner.get(address))
        assert f'action="{address}sign/"' in page
        key = page.split('name="key" value="')[1].split('"')[0]
        answer = owner.post(f"{address}sign/", {"key": key, "words": "Seen."})
        assert answer.status_code == 303
        seen.append(address)
        address = answer.url
        assert address not in seen
    assert sorted(seen) == [reverse("stock:review-pond", args=["2024-05", code]) for code in "ABC"]
    assert "Every pond is signed." in words(owner.get(address))
    assert set(PondReview.objects.values_list("pond__code", flat=True)) == {"A", "B", "C"}


def test_a_retired_pond_is_signed_and_nothing_else_is_decided_there(farm, owner, reader):
    address = reverse("stock:review-pond", args=["2024-05", "B"])
    assert "/tasks/add/" in words(owner.get(address))
    empty_b(farm, 6, 5)
    page = owner.get(address)
    assert page_faults(page) == []
    assert "Sign May 2024 of pond B" in words(page)
    assert "/tasks/add/" not in words(page)
    assert "Sign May 2024" not in words(reader.get(address))


def test_a_month_after_it_was_retired_offers_no_signature_and_refuses_one(farm, owner):
    empty_b(farm, 6, 5)
    address = reverse("stock:review-pond", args=["2024-07", "B"])
    assert "Sign July 2024" not in words(owner.get(address))
    answer = owner.post(f"{address}sign/", {"key": uuid.uuid4(), "words": "Seen."})
    assert answer.status_code == 422
    assert "Pond B was retired on 5 Jun 2024, before July 2024" in words(answer)
    assert not PondReview.objects.exists()


def test_a_month_before_the_first_close_leads_to_no_signature(farm, owner):
    ledger.close_month(MAY, by=farm.by, today=TODAY)
    page = words(owner.get(reverse("stock:review", args=["2024-04"])))
    assert "Before the first month that was closed" in page
    assert "Review pond A</a>" not in page
    assert "Sign April 2024" not in words(owner.get(reverse("stock:review-pond", args=["2024-04", "A"])))


def test_a_pond_without_a_kind_is_among_the_walk_as_it_is_among_the_unsigned(farm, owner):
    Pond.objects.create(code="D", opened_on=dt.date(2024, 1, 1))
    found = review.month_review(MAY, TODAY)
    assert sorted(pond.pond_code for pond in found.ponds) == unsigned_codes(MAY) == ["A", "B", "C", "D"]
    assert found.ponds[-1].pond_code == "D"
    address = reverse("stock:review-pond", args=["2024-05", "D"])
    page = owner.get(address)
    assert page_faults(page) == []
    assert "No kind stood here in this month." in words(page)
    answer = owner.post(f"{address}sign/", {"key": uuid.uuid4(), "words": "Dry."})
    assert (answer.status_code, unsigned_codes(MAY)) == (303, ["A", "B", "C"])
    assert "3 of 4 ponds not signed yet" in words(owner.get(reverse("stock:review", args=["2024-05"])))
    assert owner.get(reverse("stock:review", args=["2024-05"]), {"as": "pdf"}).status_code == 200
