"""From rows to the standing: what is a count, what moves heads, which hauls go in, and that nothing is stale."""

import datetime as dt
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ponds.models import Kind, Pond
from stock import flows, ledger, standing_facts
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line, MarkDraft
from stock.models import Count, Haul, Move
from stock.standing_facts import standings
from tests.factories import KindFactory, PondFactory

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

OPENED, TODAY = dt.date(2026, 1, 1), dt.date(2026, 6, 30)
MAY = dt.date(2026, 5, 9)


@pytest.fixture
def farm(make_person):
    """Pond A opened with 300 females and 100 males, drained to the last head; B empty."""
    by = make_person("owner", "wren")
    slider = KindFactory(code="slider", common_name="Slider")
    for code in "AB":
        PondFactory(code=code, kinds=[slider])
    opening(by, "A", FEMALE=300, MALE=100)
    return by


def opening(by, pond, *, day=OPENED, half=None, how="DRAINED", **heads):
    draft = ledger.opening_draft(
        pond=pond, kind="slider", day=day, heads=heads, how_known=how, plus_or_minus=half,
        batch=BatchDraft(f"OPEN-{pond}", "OPENING", day), key=uuid.uuid4(),
    )  # fmt: skip
    return ledger.record(draft, by=by, today=TODAY)


def post(by, *lines, on=MAY, **more):
    drawn = tuple(Line("slider", *line[:4], **(line[4] if len(line) > 4 else {})) for line in lines)
    return ledger.record(Draft(uuid.uuid4(), on, drawn, "BANK", pond="A", **more), by=by, today=TODAY)


def haul(by, females, males, on=MAY):
    catch = (CatchLine("slider", "FEMALE", females), CatchLine("slider", "MALE", males))
    return post(by, on=on, haul=HaulDraft("SEINE", catch))


def of_pond(code="A", day=TODAY):
    where = Pond.objects.get(code=code).pk, Kind.objects.get(code="slider").pk
    return standings(day).get(where)


def test_on_the_day_of_the_count_the_standing_is_the_count(farm):
    found = of_pond(day=OPENED)
    assert (found.females, found.males) == pytest.approx((300, 100), abs=0.01)
    assert (found.age_days, found.count.is_opening, found.count_ratio) == (0, True, 3.0)
    assert found.unseen == pytest.approx(0, abs=0.01)


def test_an_openings_plus_or_minus_is_its_error(farm):
    opening(farm, "B", half={"FEMALE": 39.2, "MALE": 19.6}, how="SEINED", FEMALE=200, MALE=80)
    found = of_pond("B", OPENED)
    # 39.2 is 1.96 standard errors of 20; the sexes taken for each other add a little (0.009 x 280 = 2.5 heads squared).
    assert found.female_se == pytest.approx((400 + 2.52 + (0.009 * 120) ** 2) ** 0.5, rel=0.01)
    assert found.female_limits == pytest.approx(
        (200 - 1.645 * found.female_se, 200 + 1.645 * found.female_se), abs=0.5
    )


def test_moves_and_deaths_are_booked_once_and_the_rest_is_unseen(farm):
    post(farm, ("FEMALE", "A", "SOLD", 40), ("FEMALE", "A", "DIED", 5), ("MALE", "A", "B", 10))
    found = of_pond()
    assert (found.moved_females, found.moved_males, found.died_females) == (-40, -10, 5)
    assert found.females == pytest.approx(300 - 40 - 5 - found.unseen_females + found.rest_females)
    assert abs(found.rest_females) < 1
    assert found.females < 255
    assert of_pond(day=MAY - dt.timedelta(days=1)).moved_females == 0


def test_moves_of_the_opening_day_come_after_it_and_those_of_a_count_before(farm):
    post(farm, ("FEMALE", "A", "SOLD", 40), on=OPENED)
    assert of_pond(day=OPENED).females == pytest.approx(260, abs=0.1)
    count = CountDraft("A", "slider", MAY, "DRAINED", females=250, females_se=0, males=99, males_se=0)
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY)
    post(farm, ("FEMALE", "A", "SOLD", 40), on=MAY)
    # The count was made after them: 250 were left, though by the opening there would be about 218.
    assert 240 < of_pond(day=MAY).females < 250.1
    assert of_pond(day=MAY).moved_females == 0


def test_what_was_found_beyond_the_book_is_no_arrival(farm):
    post(farm, ("FEMALE", "A", "SOLD", 310))
    found = of_pond()
    assert found.moved_females == -310
    # 310 females that left stood there the day before.
    assert of_pond(day=MAY - dt.timedelta(days=1)).known_females == 310
    assert of_pond(day=MAY - dt.timedelta(days=1)).is_bounded


def test_a_move_taken_back_counts_for_nothing(farm):
    before = of_pond()
    receipt = post(farm, ("FEMALE", "A", "SOLD", 40))
    assert of_pond().females < before.females - 39
    ledger.reverse(Move.objects.get(pk=receipt.move_id), key=uuid.uuid4(), by=farm, today=TODAY)
    assert of_pond().females == pytest.approx(before.females)


def test_kept_months_and_entries_give_the_same_standing(farm):
    post(farm, ("FEMALE", "A", "SOLD", 40), ("FEMALE", "A", "DIED", 5))
    before = of_pond()
    flows.keep(TODAY)
    standing_facts.forget()
    assert of_pond() == before


def test_heads_that_came_unsexed_are_split_until_they_are_sexed(farm):
    batch = BatchDraft("NEW", "BOUGHT", MAY)
    post(farm, ("UNSEXED", "BOUGHT", "A", 40, {"batch": "NEW"}), batches=(batch,))
    found = of_pond()
    # Shared out as the count had it, three to one.
    assert (found.moved_females, found.moved_males) == (30, 10)
    sexed = (
        ("UNSEXED", "A", "A", 12, {"to_class": "FEMALE"}),
        ("UNSEXED", "A", "A", 28, {"to_class": "MALE"}),
    )
    post(farm, *sexed, on=MAY + dt.timedelta(days=9))
    found = of_pond()
    assert (found.moved_females, found.moved_males) == (12, 28)
    assert of_pond(day=MAY).moved_females == 30


def test_sexing_heads_that_were_counted_unsexed_moves_nobody(farm):
    opening(farm, "B", FEMALE=150, MALE=50, UNSEXED=40)
    before = of_pond("B")
    assert before.females == pytest.approx(180 - before.unseen_females, abs=1)
    lines = (Line("slider", "UNSEXED", "B", "B", 40, to_class="MALE"),)
    ledger.record(Draft(uuid.uuid4(), MAY, lines, "BANK", pond="B"), by=farm, today=TODAY)
    assert of_pond("B").moved_males == 0
    assert of_pond("B").females == pytest.approx(before.females)


def test_without_a_count_of_both_sexes_there_is_no_standing(farm):
    opening(farm, "B", FEMALE=50)
    assert of_pond("B") is None
    PondFactory(code="C", kinds=[Kind.objects.get(code="slider")])
    opening(farm, "C", UNSEXED=50)
    assert of_pond("C") is None


def test_unsexed_heads_in_a_pond_where_nobody_was_ever_sexed_make_no_standing(farm):
    count = CountDraft("B", "slider", OPENED, "DRAINED", females=0, females_se=0, males=0, males_se=0)
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY)
    assert of_pond("B").females == 0
    lines = (Line("slider", "UNSEXED", "BOUGHT", "B", 40, batch="NEW"),)
    draft = Draft(uuid.uuid4(), MAY, lines, "BANK", pond="B", batches=(BatchDraft("NEW", "BOUGHT", MAY),))
    ledger.record(draft, by=farm, today=TODAY)
    assert of_pond("B") is None


def test_a_count_joins_and_falls_again_when_it_is_taken_back(farm):
    before = of_pond()
    count = CountDraft("A", "slider", MAY, "SEINED", females=250, females_se=5, males=100, males_se=5)
    accepted = ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY)
    assert of_pond().females < before.females - 20
    assert of_pond().count.as_of == MAY
    ledger.take_back_count(accepted, key=uuid.uuid4(), by=farm, today=TODAY, reason="wrong pond")
    assert of_pond() == before


def test_hauls_of_a_count_are_not_taken_twice(farm):
    receipt = haul(farm, 60, 60)
    alone = of_pond()
    assert alone.hauls == 1
    assert alone.ratio < 3.0
    count = CountDraft("A", "slider", MAY, "SEINED", females=290, females_se=30, males=97, males_se=20)
    evidence = Haul.objects.filter(move=receipt.move_id)
    ledger.accept_count(count, key=uuid.uuid4(), by=farm, today=TODAY, hauls=list(evidence))
    assert of_pond().hauls == 0
    assert of_pond().ratio > alone.ratio


def test_a_haul_of_one_sex_alone_says_nothing_of_the_share(farm):
    before = of_pond()
    post(farm, haul=HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 60),)))
    assert of_pond().hauls == 0
    assert of_pond().ratio == pytest.approx(before.ratio)


def test_marked_heads_seen_lately_are_a_floor(farm):
    opening(farm, "B", half={"FEMALE": 40, "MALE": 20}, how="SEINED", FEMALE=20, MALE=20)
    marks = tuple(MarkDraft(f"T{number}", "slider", "FEMALE", "B") for number in range(20))
    ledger.record(Draft(uuid.uuid4(), MAY, (), "BANK", pond="B", marks=marks), by=farm, today=TODAY)
    found = of_pond("B")
    assert found.known_females == 20
    assert found.females >= 20
    assert found.female_limits[0] >= 20


def test_an_answer_is_kept_until_anything_is_added(farm):
    standing_facts.forget()

    def asked():
        with CaptureQueriesContext(connection) as queries:
            found = of_pond()
        return len(queries) - 2, found.females

    first, again = asked(), asked()
    assert (first[0], again[0]) == (6, 1)
    assert first[1] == again[1]
    post(farm, ("FEMALE", "A", "SOLD", 1))
    assert asked()[0] == 6


def test_six_queries_whatever_the_ponds(farm):
    slider = Kind.objects.get(code="slider")
    for number in range(30):
        code = f"X{chr(65 + number % 26)}{chr(65 + number // 26)}"
        PondFactory(code=code, kinds=[slider])
        opening(farm, code, FEMALE=50, MALE=20)
    standing_facts.forget()
    with CaptureQueriesContext(connection) as queries:
        assert len(standings(TODAY)) == 31
    assert len(queries) == 6
    only = Pond.objects.get(code="A").pk
    assert {pond for pond, _ in standings(TODAY, pond_ids=[only])} == {only}


def test_a_pond_counted_more_than_ten_years_ago_has_none(farm):
    opening(farm, "B", day=dt.date(2016, 6, 29), FEMALE=50, MALE=20)
    assert of_pond("B") is None
    assert Count.objects.filter(pond__code="B").exists()
