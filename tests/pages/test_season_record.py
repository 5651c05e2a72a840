"""The season record: worked by hand from its books, its three lists, exports, and what they cost."""

import csv
import datetime as dt
import io

import pytest
from django.urls import reverse

from ponds.kinds_shipped import load_shipped_kinds
from ponds.models import Kind, Pond
from ponds.seasons import Season
from ponds.sheets import load, registered_sheets
from stock.season_now import season_now
from stock.season_record import batch_records, lot_records, pond_records, season_record
from stock.yield_book import forget

pytestmark = pytest.mark.django_db
KIND = "red-eared-slider"
TODAY = dt.date(2026, 1, 10)
STOCK = f"""pond,kind,day,females,males,how known,batch
A,{KIND},2023-01-02,400,130,drained,OPEN-A
B,{KIND},2023-01-02,200,70,drained,OPEN-B
"""
MOVES = f"""day,move,kind,class,from,to,heads,batch,seller or buyer
2023-02-02,,{KIND},female,bought,B,100,P-7,Bend Hatchery
"""
NESTS = f"""dug on,pond,kind,nests,eggs
2024-05-10,A,{KIND},300,2700
2025-05-10,A,{KIND},500,4500
2025-05-12,B,{KIND},300,2400
"""
LOTS = "lot,kind,set on,basket,pond,dug on,eggs,hatched on,hatched,nothing left\n" + "".join(
    f"s-{number},{KIND},2025-05-15,1,{pond},{day},{eggs},2025-07-20,{hatched},yes\n"
    for number, (pond, day, eggs, hatched) in enumerate(
        (("A", "2025-05-10", 100, 85), ("A", "2025-05-10", 100, 80), ("B", "2025-05-12", 100, 40),
         ("B", "2025-05-12", 3, 3), ("A", "2025-05-10", 100, 83)), start=1)
)  # fmt: skip


@pytest.fixture(autouse=True)
def farm():
    forget()
    load_shipped_kinds()
    for code in "AB":
        pond = Pond.objects.create(code=code, opened_on=dt.date(2020, 1, 1))
        pond.kinds_allowed.add(Kind.objects.get(code=KIND))
    for what, text in (("stock", STOCK), ("moves", MOVES), ("nests", NESTS), ("lots", LOTS)):
        outcome = load(registered_sheets()[what], f"{what}.csv", text.encode())
        assert outcome.bad_rows == []


def test_a_pond_s_season_is_that_of_its_books():
    one, other = pond_records(season_record(TODAY, Season(2025)))
    assert (one.pond, one.settled, one.nests, one.eggs, one.before) == ("A", 400, 500, 4500, 300)
    # 4,500 eggs of 400 females; 85 + 80 + 83 hatched of 300 eggs.
    assert one.eggs_each == pytest.approx(11.25)
    assert (one.followed, one.hatched, other.followed, other.hatched) == (300, 248, 103, 43)
    # Two ponds are too few to tell apart: all nests over all settled females.
    both = 800 / (400 + other.settled)
    assert [row.nests_each.value for row in (one, other)] == pytest.approx([both, both])
    assert one.hatchlings_each.value == pytest.approx(both * 9 * one.share.value)
    assert one.hatchlings_each.lower < one.hatchlings_each.value < one.hatchlings_each.upper
    assert one.against in ("as forecast", "more than forecast", "fewer than forecast")


def test_its_forecast_is_the_one_that_the_season_tells():
    """What was expected before the first nest is one figure on both pages."""
    before = {one.pond: one.before.nests for one in season_now(TODAY, Season(2025)).ponds}
    for row in pond_records(season_record(TODAY, Season(2025))):
        assert (row.expected_low, row.expected_high) == (before[row.pond].low, before[row.pond].high)


def test_a_lucky_small_lot_does_not_come_first_and_a_bad_one_is_told():
    lots = lot_records(season_record(TODAY, Season(2025)))
    assert [row.code for row in lots][:1] == ["S-1"]
    by_code = {row.code: row for row in lots}
    assert by_code["S-4"].raw == 1.0
    assert by_code["S-4"].share.value < by_code["S-1"].share.value + 0.1
    assert by_code["S-3"].standing == "worse than most"


def test_a_mixed_batch_cannot_be_told_and_one_that_fills_its_pond_can():
    batches = {row.code: row for row in batch_records(season_record(TODAY, Season(2025)), TODAY)}
    assert batches["OPEN-A"].nests_each is not None
    assert "a good batch and a good pond look alike" in batches["OPEN-A"].told
    assert batches["P-7"].nests_each is None
    assert "cannot be told: mixed with others, 33\u202f%" in batches["P-7"].told
    assert (batches["P-7"].at_least, batches["P-7"].females, batches["P-7"].at_most) == (100, 100, 100)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("stock:season-record", "What did each pond give in season 2025?"),
        ("stock:season-record-lots", "worse than most"),
        ("stock:season-record-batches", "cannot be told"),
    ],
)
def test_each_list_is_shown_searched_exported_and_costs_the_same_on_a_second_look(
    name, says, reader, django_assert_max_num_queries
):
    client = reader
    address = reverse(name)
    page = client.get(address, {"season": "2025"})
    assert says in page.content.decode()
    # What was learnt is kept: what is left does not grow with the farm's age (six seasons at most are drawn).
    with django_assert_max_num_queries(60):
        client.get(address, {"season": "2025"})
    sheet = client.get(address, {"season": "2025", "_export": "csv"})
    rows = list(csv.reader(io.StringIO(sheet.content.decode().lstrip("\ufeff"))))
    assert len(rows) > 2
    assert client.get(address, {"season": "1066", "kind": "toad"}).status_code == 200
    assert "pond Q" not in client.get(address, {"q": "pond Q"}).content.decode().split("<table")[-1]
