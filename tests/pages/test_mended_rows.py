"""What is put right that is no move: on the extract of its days, and among what a closed month was told later."""

import datetime as dt
import html
import io
import time
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from ponds import lot_book, nest_book
from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft, LotDraft, TemperatureDraft
from ponds.models import Farm, Kind, NestDay, Pond
from ponds.units import measure
from stock import ledger
from stock.drafts import CountDraft
from stock.extract import extract_of
from tests.page_rules import page_faults
from tests.pages.hand_worked import MAY, TODAY, make_farm
from tests.pages.test_extract import DAYS, LAST, table, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

APRIL, IN_JUNE = dt.date(2024, 4, 1), dt.date(2024, 6, 1)
JUNE_ENDS = dt.date(2024, 6, 30)


class Books:
    """The farm of `make_farm` with a count, a lot of three baskets (two of A, one of B), and what was counted of it."""

    def __init__(self, by):
        self.by = by
        self.farm = make_farm(by)
        self.kind = Kind.objects.get()
        self.a, self.b = Pond.objects.get(code="A"), Pond.objects.get(code="B")
        draft = CountDraft(
            "A", "slider", dt.date(2024, 5, 15), "SEINED", females=330, females_se=10, males=115, males_se=6
        )
        self.count = ledger.accept_count(draft, key=uuid.uuid4(), by=by, today=TODAY)
        baskets = tuple(
            BasketDraft(pond, dt.date(2024, 5, 20), eggs)
            for pond, eggs in ((self.a, 60), (self.a, 50), (self.b, 40))
        )
        set_on = dt.date(2024, 5, 21)
        self.lot = lot_book.open_lot(
            LotDraft(
                uuid.uuid4(), "2024-001", self.kind, set_on, "Room 1", measure("82", "F"), baskets=baskets
            ),
            by=by,
            today=TODAY,
        ).first

    @property
    def said(self):
        return {"by": self.by, "today": TODAY, "key": uuid.uuid4()}

    @property
    def nests(self) -> NestDay:
        return NestDay.objects.standing().get(pond=self.a)

    def close_may(self):
        # SQLite's clock has milliseconds: before and after the close must not fall into its own.
        time.sleep(0.01)
        for month in (APRIL, MAY):
            ledger.close_month(month, by=self.by, today=TODAY)
        time.sleep(0.01)


@pytest.fixture
def books(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    Farm.objects.get_or_create(only=True)
    return Books(owner.user)


def corrected(pond, first=MAY, last=LAST):
    return [
        row[0:1] + row[2:5]
        for row in table(extract_of(pond, Farm.objects.get(), first, last), "Every correction").rows
    ]


def later(client, code=""):
    """Return the rows of what was logged later, of the month's page or a pond's."""
    where = "stock:review-pond" if code else "stock:review"
    page = client.get(reverse(where, args=["2024-05", code] if code else ["2024-05"]))
    assert page_faults(page) == []
    said = html.unescape(page.content.decode())
    if "What was logged later for these days?" not in said:
        return []
    part = said.split("What was logged later for these days?")[1].split("</table>")[0]
    return [row.split("</td>")[0] for row in part.split('data-label="What">')[1:]]


def test_a_count_taken_back_is_told(books, owner):
    books.close_may()
    ledger.take_back_count(books.count, reason="wrong pond", **books.said)
    what = "head count of Slider (seined): females 330 ± 20, males 115 ± 12"
    assert ("15 May 2024", "taken back", what, "wrong pond") in corrected(books.a)
    assert not any("head count" in row[2] for row in corrected(books.b))
    assert not any("head count" in row[2] for row in corrected(books.a, IN_JUNE, JUNE_ENDS))
    for code in ("", "A"):
        assert f"Taken back: {what}" in later(owner, code)
    assert later(owner, "B") == []


def test_nests_moved_over_the_months_edge_are_told_in_both_months(books, owner):
    books.close_may()
    nest_book.replace(
        row=books.nests,
        kind=books.kind,
        dug_on=IN_JUNE,
        nests=28,
        eggs=250,
        note="read wrongly",
        **books.said,
    )
    what = "nest book: 30 nests and 270 eggs, Slider, of 20 May 2024; now 28 nests and 250 eggs, Slider, of 1 Jun 2024"
    assert corrected(books.a)[-1] == ("20 May 2024", "put in its place", what, "read wrongly")
    assert corrected(books.a, IN_JUNE, JUNE_ENDS) == [
        ("1 Jun 2024", "put in its place", what, "read wrongly")
    ]
    for code in ("", "A"):
        assert later(owner, code) == [f"Put in its place: {what}"]


def test_nests_entered_mended_and_taken_back_after_the_close_are_told(books, owner):
    assert corrected(books.a) == []
    books.close_may()
    assert later(owner) == []  # what was entered before it
    fresh = nest_book.record(
        pond=books.b, kind=None, dug_on=dt.date(2024, 5, 23), nests=1, eggs=1, **books.said
    )
    assert later(owner, "B") == ["nest book: 1 nest and 1 egg, kind not known"]
    assert later(owner, "A") == []
    nest_book.take_back(row=fresh, note="another farm's", **books.said)
    assert later(owner, "B") == [
        "Taken back: nest book: 1 nest and 1 egg, kind not known, of 23 May 2024",
        "nest book: 1 nest and 1 egg, kind not known",
    ]
    assert corrected(books.b) == [
        (
            "23 May 2024",
            "taken back",
            "nest book: 1 nest and 1 egg, kind not known, of 23 May 2024",
            "another farm's",
        )
    ]


def test_lots_baskets_candlings_hatches_and_temperatures_are_told(books, owner):
    lot = books.lot
    candled = lot_book.candle(
        lot=lot, draft=CandlingDraft(dt.date(2024, 5, 30), clear=7, dead=2, basket=1), **books.said
    )
    hatched = lot_book.log_hatch(
        lot=lot, draft=HatchDraft(dt.date(2024, 5, 31), hatched=0, dead=3), **books.said
    )
    read = lot_book.log_temperature(
        lot=lot, draft=TemperatureDraft(dt.date(2024, 5, 29), measure("83", "F")), **books.said
    )
    books.close_may()
    second = lot.baskets.get(number=2)
    lot_book.mend(row=second, changes={"pond": books.b, "eggs": 45}, **books.said)
    lot_book.mend(row=candled, changes={"candled_on": IN_JUNE, "clear": 6}, **books.said)
    lot_book.take_back(row=hatched, note="of another lot", **books.said)
    lot_book.mend(row=read, changes={"temperature_mk": 300000, "temperature_typed": "80.3"}, **books.said)
    lot_book.mend(row=lot, changes={"incubator": "Room 2"}, **books.said)
    basket = (
        "egg lot 2024-001, basket 2: 50 eggs of pond A in container 1, of 20 May 2024; "
        "now 45 eggs of pond B in container 1"
    )
    candling = (
        "egg lot 2024-001, basket 1, candling: 7 clear, 2 dead, of 30 May 2024; "
        "now 6 clear, 2 dead, of 1 Jun 2024"
    )
    hatch = "egg lot 2024-001, hatch: 0 hatched, 0 clear, 3 dead, of 31 May 2024"
    degrees = "egg lot 2024-001, temperature: 83 °F, of 29 May 2024; now 80.3 °F"
    room = "egg lot 2024-001: Slider in Room 1, 82 °F, of 21 May 2024; now Slider in Room 2, 82 °F"
    # Written within one millisecond, they may stand in any order.
    assert sorted(corrected(books.a)) == [
        ("20 May 2024", "put in its place", basket, ""),
        ("21 May 2024", "put in its place", room, ""),
        ("29 May 2024", "put in its place", degrees, ""),
        ("30 May 2024", "put in its place", candling, ""),
        ("31 May 2024", "taken back", hatch, "of another lot"),
    ]
    # Basket 1 was never one of B's.
    assert {row[2] for row in corrected(books.b)} == {basket, hatch, degrees, room}
    assert [row[2] for row in corrected(books.a, IN_JUNE, JUNE_ENDS)] == [candling]
    pond_c = Pond.objects.get(code="C")
    assert not any("egg lot" in row[2] for row in corrected(pond_c))
    told = sorted(
        f"{'Taken back' if row == hatch else 'Put in its place'}: {row}"
        for row in (room, degrees, hatch, candling, basket)
    )
    assert sorted(later(owner)) == sorted(later(owner, "A")) == told


def test_screen_pdf_and_workbook_hold_them(books, owner, reader):
    books.close_may()
    ledger.take_back_count(books.count, reason="wrong pond", **books.said)
    address = reverse("stock:extract-pond", args=["A"])
    assert "head count of Slider" in html.unescape(reader.get(address, DAYS).content.decode())
    for where, asked in ((address, DAYS), (reverse("stock:review", args=["2024-05"]), {})):
        assert "head count of Slider" in text_of(reader.get(where, {**asked, "as": "pdf"}).content)
        book = load_workbook(io.BytesIO(reader.get(where, {**asked, "as": "xlsx"}).content))
        cells = [str(cell.value) for row in book.worksheets[0].iter_rows() for cell in row]
        assert any("head count of Slider" in cell for cell in cells)


def test_their_number_costs_no_queries(books, owner):
    books.close_may()
    addresses = (
        (reverse("stock:extract-pond", args=["A"]), DAYS),
        (reverse("stock:review", args=["2024-05"]), {}),
        (reverse("stock:review-pond", args=["2024-05", "A"]), {}),
    )
    costs = []
    for number in (1, 6):
        for place in range(number):
            lot = lot_book.open_lot(
                LotDraft(
                    uuid.uuid4(), f"2024-1{number}{place}", books.kind, dt.date(2024, 5, 21), "Room 1",
                    baskets=(BasketDraft(books.a, dt.date(2024, 5, 20), 30),),
                ),
                by=books.by, today=TODAY,
            ).first  # fmt: skip
            candled = lot_book.candle(lot=lot, draft=CandlingDraft(dt.date(2024, 5, 30), 3, 1), **books.said)
            lot_book.mend(row=candled, changes={"clear": 2}, **books.said)
            dug = nest_book.record(
                pond=books.a, kind=books.kind, dug_on=dt.date(2024, 5, 2), nests=3, eggs=27, **books.said
            )
            nest_book.take_back(row=dug, **books.said)
        cost = []
        for address, asked in addresses:
            owner.get(address, asked)
            with CaptureQueriesContext(connection) as queries:
                assert owner.get(address, asked).status_code == 200
            cost.append(len(queries))
        costs.append(cost)
    assert costs[0] == costs[1]
    assert costs[0][0] <= 45
