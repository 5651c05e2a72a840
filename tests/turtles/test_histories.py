"""What marked turtles say: survival by sex as the estimator has it, and the share of marks against the book."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from stock import ledger
from stock.drafts import CatchLine, Draft, HaulDraft, MarkDraft, Seen, SexDraft
from stock.estimators.histories import from_histories
from stock.estimators.recapture import recapture_survival
from stock.models import Turtle
from stock.templatetags.stock_format import percent
from stock.turtle_histories import shares_of_marks, survival_by_sex
from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]
SEEN_IN = {2026: range(12), 2027: range(9), 2028: (0, 1, 2, 3, 4, 5, 9)}


@pytest.fixture
def farm(owner):
    farm = MarkedFarm(owner.user)
    marks = tuple(
        MarkDraft(f"+{n:02}", "slider", "FEMALE", "A", (tag(f"98511300739{n:04}"),), SexDraft("FEMALE"))
        for n in range(12)
    )
    farm.post(1, pond="A", marks=marks)
    return farm


def test_recaptures_of_marked_females_give_the_survival_of_their_histories(farm, owner):

    codes = list(Turtle.objects.order_by("pk").values_list("code", flat=True))
    today = dt.date(2028, 9, 1)
    for year, numbers in SEEN_IN.items():
        seen = tuple(Seen(codes[n], "slider", "FEMALE") for n in numbers)
        catch = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 15),))
        draft = Draft(uuid.uuid4(), dt.date(year, 6, 1), pond="A", haul=catch, seen=seen)
        ledger.record(draft, by=farm.person, today=today)
    row = survival_by_sex(today)[0]
    histories = ["".join(str(int(n in SEEN_IN[year])) for year in SEEN_IN) for n in range(12)]
    captures = from_histories(histories)
    expected = recapture_survival({"F": (captures.released, captures.first_recaptures)}).survival["F"][0]
    assert (row.turtles, row.seen_again) == (12, 10)
    assert row.survival.value == pytest.approx(expected.value)
    assert owner.get(reverse("stock:turtle-survival")).status_code == 200


def test_fewer_marks_than_the_book_has_are_said(farm):
    farm.post(9, pond="A", haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 20, carrying_marks=2),)))
    row = shares_of_marks(TODAY)[0]
    # 12 of 20 are marked by the book; Wilson's limits of 2 in 20 end at 30 % (Newcombe 1998, method 3).
    assert (row.by_book, row.share) == (0.6, 0.1)
    assert row.upper == pytest.approx(0.301, abs=0.001)
    assert row.sentence.startswith("Fewer marks than the book has")


def sliders(caught, **more):
    return HaulDraft("SEINE", (CatchLine("slider", "FEMALE", caught, **more),))


def test_a_haul_in_which_nobody_looked_for_marks_does_not_count(farm, owner):
    unread = farm.post(8, pond="A", haul=sliders(20))
    (row,) = shares_of_marks(TODAY)
    assert (row.caught, row.share, row.by_book) == (0, None, None)
    assert row.sentence.startswith("Not looked for")
    assert "not looked for" in owner.get(reverse("stock:move-detail", args=[unread.key])).content.decode()
    read = farm.post(9, pond="A", haul=sliders(10, carrying_marks=6))
    (row,) = shares_of_marks(TODAY)
    # By hand: 6 of the 10 that were looked at, 12 of 20 by the book; the 20 of the day before are left out.
    assert (row.carrying, row.caught, row.share, row.by_book) == (6, 10, 0.6, 0.6)
    assert row.sentence.startswith("As many")
    assert "not looked for" not in owner.get(reverse("stock:move-detail", args=[read.key])).content.decode()
    shown = owner.get(reverse("stock:turtle-survival")).content.decode()
    assert percent(0.6) in shown
    # Whoever looked and found none says so with a 0, and that counts.
    farm.post(10, pond="A", haul=sliders(10, carrying_marks=0))
    (row,) = shares_of_marks(TODAY)
    assert (row.carrying, row.caught) == (6, 20)


def test_hauls_before_the_marks_say_nothing_of_them(owner):
    farm = MarkedFarm(owner.user)
    farm.post(2, pond="A", haul=sliders(20))
    farm.register(5, tag("985113007390001"))
    (row,) = shares_of_marks(TODAY)
    assert row.share is None
    assert row.sentence.startswith("Not known yet")
    assert "not known yet" in owner.get(reverse("stock:turtle-survival")).content.decode()


def test_each_haul_is_held_against_the_marks_of_its_own_day(owner):
    farm = MarkedFarm(owner.user)
    for number in range(2):
        farm.register(5, tag(f"98511300739000{number}"))
    farm.post(6, pond="A", haul=sliders(10, carrying_marks=1))
    for number in range(2, 10):
        farm.register(7, tag(f"98511300739000{number}"))
    (row,) = shares_of_marks(TODAY)
    # 2 of 20 were marked on the day of the haul, 10 of 20 are now.
    assert row.by_book == pytest.approx(0.1)
    farm.post(8, pond="A", haul=sliders(10, carrying_marks=5))
    (row,) = shares_of_marks(TODAY)
    # (10 of 2 in 20, and 10 of 10 in 20) / 20 = 30 %.
    assert row.by_book == pytest.approx(0.3)
    assert (row.carrying, row.caught) == (6, 20)
