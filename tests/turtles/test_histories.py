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
