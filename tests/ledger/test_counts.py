"""Which counts reset the book without a reason, and which stand."""

import datetime as dt
import uuid
from dataclasses import replace

import pytest
from django.db import DatabaseError, transaction

from ponds.models import Kind, Pond
from stock import ledger
from stock.check import differences
from stock.drafts import BatchDraft, CatchLine, CountDraft, Draft, HaulDraft, Line
from stock.models import Count, CountHaul, Haul, Move
from stock.pond_rows import last_counts
from stock.refusals import CannotCount, CannotReset, KeyReused

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

TODAY, MAY, JUNE = dt.date(2026, 6, 30), dt.date(2026, 5, 10), dt.date(2026, 6, 10)
DRAINED = CountDraft("A", "slider", JUNE, "DRAINED", females=38)


@pytest.fixture
def farm(make_person):
    """40 females each in ponds A and B since May."""
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
    wren = make_person("owner", "wren")
    lines = tuple(Line("slider", "FEMALE", "BOUGHT", code, 40, batch="P1") for code in "AB")
    ledger.record(
        Draft(uuid.uuid4(), MAY, lines, batches=(BatchDraft("P1", "BOUGHT", MAY),)), by=wren, today=TODAY
    )
    return wren


@pytest.fixture
def drain(farm):
    """Return a function that drains a pond on a day and returns the haul."""

    def haul_of(pond="A", on=JUNE, **more):
        haul = HaulDraft("DRAIN_DOWN", (CatchLine("slider", "FEMALE", 38),), **{"is_complete": True, **more})
        receipt = ledger.record(Draft(uuid.uuid4(), on, (), pond=pond, haul=haul), by=farm, today=TODAY)
        return Haul.objects.get(move=receipt.move_id)

    return haul_of


@pytest.fixture
def accept(farm):
    def accept_it(draft=DRAINED, *, key=None, **more):
        return ledger.accept_count(draft, key=key or uuid.uuid4(), by=farm, today=TODAY, **more)

    return accept_it


def take_back(move, wren):
    ledger.reverse(move, key=uuid.uuid4(), by=wren, today=TODAY)


def standing(pond="A"):
    return last_counts(TODAY, [Pond.objects.get(code=pond).pk]).get(
        (Pond.objects.get(code=pond).pk, Kind.objects.get().pk)
    )


def test_a_complete_drain_down_of_that_pond_and_day_resets_the_book(drain, accept):
    count = accept(hauls=[drain()], resets_book=True)
    assert [(entry.heads, entry.reason) for entry in count.move.entries.all()] == [(2, "COUNT_RESET")]
    assert standing() == count
    assert differences() == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"on": JUNE - dt.timedelta(days=1)},
        {"is_complete": False},
    ],
)
def test_another_haul_does_not_reset_it_without_a_reason(drain, accept, wrong):
    haul = drain(**wrong)
    with pytest.raises(CannotReset, match="complete drain-down of pond A on 10 Jun 2026 that stands"):
        accept(hauls=[haul], resets_book=True)
    assert not Count.objects.exists()
    assert accept(hauls=[haul], resets_book=True, reason="counted twice by hand").move is not None


def test_a_haul_of_another_pond_neither_resets_nor_proves(drain, accept):
    haul = drain(pond="B")
    with pytest.raises(CannotReset, match="complete drain-down of pond A on 10 Jun 2026 that stands"):
        accept(hauls=[haul], resets_book=True)
    with pytest.raises(CannotCount, match="of another pond than A"):
        accept(hauls=[haul])
    assert not Count.objects.exists()


def test_a_haul_of_a_later_day_proves_nothing(drain, accept):
    haul = drain(on=JUNE + dt.timedelta(days=1))
    with pytest.raises(CannotCount, match="after 10 Jun 2026"):
        accept(hauls=[haul])


def test_a_count_taken_back_falls_and_the_book_with_it(drain, accept, farm):
    count = accept(hauls=[drain()], resets_book=True)
    key = uuid.uuid4()
    with pytest.raises(CannotCount, match="Say why"):
        ledger.take_back_count(count, key=key, by=farm, today=TODAY, reason=" ")
    done = ledger.take_back_count(count, key=key, by=farm, today=TODAY, reason="Misread.")
    assert standing() is None
    assert Move.objects.get(reverses=count.move).note == "Misread."
    assert ledger.take_back_count(count, key=key, by=farm, today=TODAY, reason="Misread.") == done
    with pytest.raises(KeyReused):
        ledger.take_back_count(count, key=key, by=farm, today=TODAY, reason="Another.")
    with pytest.raises(CannotCount, match="already"):
        ledger.take_back_count(count, key=uuid.uuid4(), by=farm, today=TODAY, reason="Again.")
    assert differences() == []


def test_an_opening_is_not_taken_back_as_a_count(farm):
    draft = ledger.opening_draft(
        pond="B", kind="slider", day=JUNE, heads={"FEMALE": 5}, how_known="GUESS",
        batch=BatchDraft("B1", "OPENING", JUNE), key=uuid.uuid4(),
    )  # fmt: skip
    ledger.record(draft, by=farm, today=TODAY)
    with pytest.raises(CannotCount, match="take that move back"):
        ledger.take_back_count(standing("B"), key=uuid.uuid4(), by=farm, today=TODAY, reason="Wrong.")


def test_a_count_keeps_the_hauls_it_was_read_from(drain, accept):
    hauls = [drain(on=MAY), drain()]
    count = accept(hauls=hauls, method="two-sample", method_reason="Marks were seen.")
    assert [row.haul for row in count.evidence.order_by("pk")] == hauls
    with pytest.raises(DatabaseError), transaction.atomic():
        CountHaul.objects.filter(count=count)._raw_delete("default")


def test_a_haul_speaks_once_until_its_count_is_taken_back(drain, accept, farm):
    haul = drain()
    count = accept(hauls=[haul])
    with pytest.raises(CannotCount, match="A haul speaks once"):
        accept(replace(DRAINED, females=37), hauls=[haul, drain(on=MAY)])
    ledger.take_back_count(count, key=uuid.uuid4(), by=farm, today=TODAY, reason="Misread.")
    assert accept(replace(DRAINED, females=37), hauls=[haul]) == standing()


def test_a_haul_taken_back_does_not_reset_it(drain, accept, farm):
    haul = drain()
    take_back(haul.move, farm)
    with pytest.raises(CannotReset, match="that stands"):
        accept(hauls=[haul], resets_book=True)


def test_the_key_of_a_move_is_not_taken_for_a_reset(accept):
    key = Move.objects.get().key
    with pytest.raises(KeyReused, match=str(key)):
        accept(key=key, resets_book=True, reason="counted by hand")
    assert not Count.objects.exists()


def test_a_count_falls_with_the_haul_it_was_made_from(drain, accept, farm):
    earlier = accept(replace(DRAINED, as_of=MAY, how_known="NOTEBOOK", females=40))
    haul = drain()
    count = accept(hauls=[haul])
    assert standing() == count
    take_back(haul.move, farm)
    assert standing() == earlier


def test_a_count_falls_with_its_own_move(farm):
    draft = ledger.opening_draft(
        pond="B", kind="slider", day=JUNE, heads={"FEMALE": 5}, how_known="GUESS",
        batch=BatchDraft("B1", "OPENING", JUNE), key=uuid.uuid4(),
    )  # fmt: skip
    move = Move.objects.get(pk=ledger.record(draft, by=farm, today=TODAY).move_id)
    assert standing("B").move == move
    take_back(move, farm)
    assert standing("B") is None
