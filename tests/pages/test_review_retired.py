"""A pond that was retired inside a month is among the month's ponds: on its page, print, JSON, and unsigned."""

import csv
import datetime as dt
import html
import io
import json

import pytest
from django.core.management import call_command
from django.urls import reverse
from openpyxl import load_workbook

from stock import ledger, review
from stock.review_rows import unsigned_codes
from tests.page_rules import page_faults
from tests.pages.hand_worked import JULY, JUNE, MAY, TODAY, empty_b, make_farm
from tests.pages.test_extract import text_of
from tests.pages.test_review import figures, kind_of

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

APRIL = dt.date(2024, 4, 1)


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    return make_farm(owner.user)


def words(response) -> str:
    return html.unescape(response.content.decode())


def test_a_pond_retired_inside_a_month_is_among_its_ponds(farm, owner, reader, capsys):
    empty_b(farm, 5, 28)
    found = review.month_review(MAY, TODAY)
    b = {row: figures(found)["B", row] for row in ("females", "males")}
    # Opening, in, out, dead, closing: 120 + 12 come, 10 + 68 males go, by hand.
    assert b == {"females": (120, 12, 120, 12, 0), "males": (80, 0, 78, 2, 0)}
    assert kind_of(found, "B").died.total == 14
    assert sum(row[3] for row in figures(found).values()) == 15
    address = reverse("stock:review", args=["2024-05"])
    page = reader.get(address)
    assert page_faults(page) == []
    assert 'aria-label="Review pond B"' in words(page)
    assert "3 of 3 ponds not signed yet" in words(page)
    table = list(csv.DictReader(io.StringIO(reader.get(address, {"_export": "csv"}).content.decode())))
    assert {row["Pond"]: row["Dead"] for row in table} == {"A": "1", "B": "14", "C": "0"}
    # The worst first: what died there is what needs a decision.
    assert found.ponds[0].pond_code == "B"
    said = text_of(reader.get(address, {"as": "pdf"}).content)
    assert "Pond B: May 2024" in said
    assert "28 May 2024" in said.split("Pond B: May 2024")[1]
    book = load_workbook(io.BytesIO(reader.get(address, {"as": "xlsx"}).content))
    assert "Pond B" in book.sheetnames
    call_command("review", "2024-05", format="json")
    printed = {pond["pond"]: pond for pond in json.loads(capsys.readouterr().out)["ponds"]}
    assert printed["B"]["kinds"][0]["died"] == 14
    assert "The pond was retired on 28 May 2024." in words(
        owner.get(reverse("stock:review-pond", args=["2024-05", "B"]))
    )


def test_it_is_among_the_unsigned_until_it_is_signed_and_not_in_the_months_after(farm, owner):
    empty_b(farm, 5, 28)
    assert unsigned_codes(MAY) == ["A", "B", "C"]
    assert [pond.pond_code for pond in review.month_review(JUNE, TODAY).ponds] == ["A", "C"]
    assert unsigned_codes(JUNE) == ["A", "C"]
    ledger.close_month(APRIL, by=farm.by, today=TODAY)
    assert "Nobody has signed ponds A, B, C for May 2024" in words(owner.get(reverse("stock:month-close")))


def test_a_pond_retired_before_is_among_a_month_that_books_a_correction_for_it(farm):
    empty_b(farm, 5, 28)
    for month in (APRIL, MAY):
        ledger.close_month(month, by=farm.by, today=TODAY)
    farm.post((5, 28), ("FEMALE", "B", "DIED", 1), pond="B")
    june = review.month_review(JUNE, TODAY)
    assert sorted(pond.pond_code for pond in june.ponds) == unsigned_codes(JUNE) == ["A", "B", "C"]
    assert "for days of earlier, closed months." in " ".join(kind_of(june, "B").to_explain)
    assert unsigned_codes(JULY) == ["A", "C"]
