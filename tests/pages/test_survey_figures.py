"""What a count accepted from a survey says: errors, floors and classes, each once a wrong number."""

from __future__ import annotations

import datetime as dt
import math
import uuid

import pytest

from stock import ledger
from stock.count_book import against_book, with_book
from stock.drafts import CountDraft, Draft, Line
from stock.estimators.sex_ratio import survey_ratio
from stock.models import Count
from stock.refusals import CannotReset
from stock.survey_floor import Flow, LaterCatch, floor_of
from stock.survey_page import ratio_of
from stock.surveys import read
from tests.pages.bank import held, make_farm, today
from tests.pages.survey_farm import ago, haul, passes, survey

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 5, 1)


@pytest.fixture(autouse=True)
def farm(db):
    make_farm()


def read_one(*hauls):
    (one,) = read(survey(*hauls))
    return one


def marked_and_seen(marked, caught, seen):
    """Two hauls: newly marked of the first, then caught and carrying marks of the second, females and males."""
    sexes = ("FEMALE", "MALE")
    first = haul(dict(zip(sexes, marked, strict=True)), newly=dict(zip(sexes, marked, strict=True)), days=6)
    second = haul(dict(zip(sexes, caught, strict=True)), carrying=dict(zip(sexes, seen, strict=True)), days=3)
    return first, second


def test_a_sex_of_which_every_mark_was_seen_again_is_not_taken_as_exactly_known():
    one = read_one(*marked_and_seen((100, 30), (80, 10), (20, 10)))
    reading = one.reading.headline
    assert reading.males.value == 30
    assert reading.males.upper > 31
    figures = one.figures(reading)
    # The upper arm of the exact limits: (upper - value) / 1.96.
    assert figures.males_se == pytest.approx((reading.males.upper - 30) / 1.959964)


def test_every_marked_animal_seen_again_can_be_accepted_with_its_limits():
    one = read_one(*marked_and_seen((12, 4), (9, 3), (9, 3)))
    assert one.refusal == ""
    reading = one.reading.headline
    assert reading.total.value == 16
    assert math.isfinite(reading.total.upper)
    assert one.figures(reading).adults_se > 0


def test_the_ratio_shown_has_the_limits_that_were_studied():
    one = read_one(*marked_and_seen((60, 8), (50, 6), (15, 2)))
    reading = one.reading.headline
    studied = survey_ratio(reading)
    assert ratio_of(reading) == (studied.value, studied.lower, studied.upper)
    assert studied.lower < studied.value < studied.upper


def test_unsexed_arrivals_sold_as_females_did_not_stand_there_before():
    flows = [
        Flow(1, DAY + dt.timedelta(9), 1, "UNSEXED", 50, "BOUGHT"),
        Flow(1, DAY + dt.timedelta(31), 2, "FEMALE", -40, "SOLD"),
    ]
    assert floor_of(DAY, flows, [], {}).females == 0
    caught = [LaterCatch(1, DAY + dt.timedelta(40), 7, "FEMALE", 40)]
    assert floor_of(DAY, flows[:1], caught, {}).females == 0
    # Beyond what came, they stood there.
    sold = [flows[0], Flow(1, DAY + dt.timedelta(31), 2, "FEMALE", -60, "SOLD")]
    assert floor_of(DAY, sold, [], {}).females == 10


def test_adults_that_left_unsexed_lift_what_was_estimated_by_sex():
    one = read_one(*passes((40, 14), (20, 6), (9, 3), days=40))
    put = Line("slider", "UNSEXED", "A", "SOLD", 300)
    ledger.record(Draft(uuid.uuid4(), ago(10), (put,), pond="A"), by=None, today=today())
    (one,) = read(survey_of(one))
    figures = one.figures(one.reading.headline)
    assert figures.females + figures.males == pytest.approx(300)
    assert any("at least 300 adults" in words for words in figures.raised)


def survey_of(one):
    return one.hauls[0].in_survey.survey


def test_a_drain_down_keeps_to_what_was_counted_whatever_marks_say():
    one = read_one(haul({"FEMALE": 30, "MALE": 12}, method="DRAIN_DOWN", is_complete=True, days=3))
    one = type(one)(**{**vars(one), "marked": {"FEMALE": 45}})
    figures = one.figures(one.reading.headline)
    assert (figures.females, figures.males, figures.raised) == (30, 12, ())
    assert one.floor().females == 45


@pytest.mark.parametrize(("caught", "said"), [({}, None), ({"JUVENILE": 0}, 0), ({"JUVENILE": 7}, 7)])
def test_juveniles_nobody_wrote_down_were_not_counted(owner, caught, said):
    one = read_one(haul({"FEMALE": 91, "MALE": 38, **caught}, method="DRAIN_DOWN", is_complete=True, days=3))
    assert one.figures(one.reading.headline).juveniles == said


def test_the_book_is_not_reset_to_adults_nobody_sexed():
    count = CountDraft("A", "slider", ago(3), "SEINED", unsexed=111.0, unsexed_se=5.0)
    with pytest.raises(
        CannotReset, match="holds 140 adults by sex in the book, and this count did not sex them"
    ):
        ledger.accept_count(
            count, key=uuid.uuid4(), by=None, today=today(), resets_book=True, reason="Counted."
        )
    assert held("A") == (100, 40, 10)
    accepted = ledger.accept_count(count, key=uuid.uuid4(), by=None, today=today())
    against = against_book(with_book(Count.objects.filter(pk=accepted.pk)).get())
    assert (against.counted, against.book) == (111, 150)


def test_another_counts_reset_of_that_day_stays_in_the_book():
    def reset(females):
        draft = CountDraft("A", "slider", ago(3), "SEINED", females=females, females_se=1.0)
        return ledger.accept_count(
            draft, key=uuid.uuid4(), by=None, today=today(), resets_book=True, reason="Counted."
        )

    first, second = reset(90.0), reset(80.0)
    books = {
        count.pk: against_book(count).book
        for count in with_book(Count.objects.filter(pk__in=[first.pk, second.pk]))
    }
    # Each is held against the book without its own reset, the other's in it.
    assert books == {first.pk: 100 - 10, second.pk: 100 - 10}


def test_a_batch_of_juveniles_that_matured_is_no_female_of_before():
    flows = [
        Flow(1, DAY + dt.timedelta(5), 1, "FEMALE", 20, "MATURED"),
        Flow(1, DAY + dt.timedelta(9), 2, "FEMALE", -20, "SOLD"),
    ]
    assert floor_of(DAY, flows, [], {}).females == 0
