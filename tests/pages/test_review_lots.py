"""The egg lots of a month's review: whose are due, and what came of them beside what was learnt."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from ponds.lot_drafts import BasketDraft, CandlingDraft, HatchDraft
from ponds.models import KindFigure, Pond
from stock.review_lots import lots_due
from tests.pages.farm_of_ponds import FarmOfPonds
from tests.ponds.lots import a_lot

pytestmark = pytest.mark.django_db
TODAY, MAY = dt.date(2024, 8, 15), (dt.date(2024, 5, 1), dt.date(2024, 5, 31))


@pytest.fixture
def farm(owner, monkeypatch):
    monkeypatch.setattr("ponds.models.Farm.today", lambda self: TODAY)
    made = FarmOfPonds(owner.user)
    for code in "AB":
        made.pond(code, days=500, females=300, males=100, how_known="DRAINED")
    return made


def lot(code: str, set_on: dt.date, eggs: dict[str, int], **counts) -> None:
    baskets = tuple(
        BasketDraft(Pond.objects.get(code=pond), set_on - dt.timedelta(days=1), number)
        for pond, number in eggs.items()
    )
    a_lot(code, set_on=set_on, baskets=baskets, today=TODAY, temperature=None, **counts)


def test_the_eggs_of_the_lots_due_are_told_by_pond_beside_what_should_hatch(farm, owner):
    days = KindFigure.Name.INCUBATION_DAYS
    farm.slider.figures.filter(name=days).delete()
    KindFigure.objects.create(
        kind=farm.slider, name=days, low=55, expected=60, high=70, source="common practice"
    )
    hatched_on = dt.date(2024, 5, 12)
    # Expected on 9 May, 60 days after 10 March; the second one on 9 June, the third is mixed and counted whole.
    lot(
        "X", dt.date(2024, 3, 10), {"A": 20, "B": 40},
        candlings=(CandlingDraft(dt.date(2024, 3, 30), 2, 0, 1),),
        hatches=(HatchDraft(hatched_on, 15, 1, 2, 1), HatchDraft(hatched_on, 30, 8, 2, 2)),
    )  # fmt: skip
    lot("Y", dt.date(2024, 4, 10), {"A": 10})
    lot("Z", dt.date(2024, 3, 20), {"A": 5, "B": 7}, hatches=(HatchDraft(dt.date(2024, 5, 20), 9, 2, 1),))
    found = lots_due(*MAY, TODAY)
    a, b = found["A", "slider"], found["B", "slider"]
    assert (sorted(a.lots), a.eggs_set, a.eggs_followed, a.eggs_untraced) == (["X", "Z"], 25, 20, 5)
    assert (a.hatch_share, a.clear_share) == (15 / 20, 3 / 20)
    assert (b.hatch_share, b.clear_share, b.eggs_open) == (30 / 40, 8 / 40, 0)
    assert list(lots_due(dt.date(2024, 6, 1), dt.date(2024, 6, 30), TODAY)) == [("A", "slider")]
    page = owner.get(reverse("stock:review-pond", args=["2024-05", "A"])).content.decode()
    assert "Of 20 followed to their end 75\u202f% hatched and 15\u202f% were clear." in page
    assert "should hatch and" in page
    assert "5 lie in lots of several ponds" in page


def test_a_kind_without_days_goes_by_the_last_count_and_no_lot_costs_one_query(farm):
    with CaptureQueriesContext(connection) as queries:
        assert lots_due(*MAY, TODAY) == {}
    assert len(queries) == 1
    farm.slider.figures.filter(name=KindFigure.Name.INCUBATION_DAYS).delete()
    lot("X", dt.date(2024, 3, 10), {"A": 20}, hatches=(HatchDraft(dt.date(2024, 5, 12), 12, 4, 4),))
    lot("Y", dt.date(2024, 3, 10), {"A": 20})
    due = lots_due(*MAY, TODAY)["A", "slider"]
    assert (due.lots, due.hatched, due.clear) == (("X",), 12, 4)


def test_what_hatched_after_the_month_shows_in_the_month_it_was_counted_in(farm):
    days = KindFigure.Name.INCUBATION_DAYS
    farm.slider.figures.filter(name=days).delete()
    KindFigure.objects.create(
        kind=farm.slider, name=days, low=55, expected=60, high=70, source="common practice"
    )
    lot("X", dt.date(2024, 3, 10), {"A": 20}, hatches=(HatchDraft(dt.date(2024, 6, 3), 15, 3, 2),))
    may = lots_due(*MAY, TODAY)["A", "slider"]
    assert (may.lots, may.eggs_open, may.hatched, may.hatch_share) == (("X",), 20, 0, None)
    june = lots_due(dt.date(2024, 6, 1), dt.date(2024, 6, 30), TODAY)["A", "slider"]
    assert (june.lots, june.eggs_open, june.hatched, june.clear) == (("X",), 0, 15, 3)
    assert lots_due(dt.date(2024, 7, 1), dt.date(2024, 7, 31), TODAY) == {}
