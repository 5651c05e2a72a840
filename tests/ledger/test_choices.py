"""Words from a fixed list: the rules refuse another one with a sentence, and the database refuses it at all."""

import datetime as dt
import uuid

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from ponds.models import Kind, Pond
from stock import append_only, ledger, ledger_rows, ledger_rules
from stock.check import differences
from stock.drafts import BatchDraft, CatchLine, Draft, HaulDraft, Line
from stock.models import Batch, Entry, HaulLine, Move
from stock.models.moves import Cause
from stock.refusals import BadLine, LedgerRefusal

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

TODAY, MAY, JUNE = dt.date(2026, 6, 30), dt.date(2026, 5, 10), dt.date(2026, 6, 10)
BOUGHT = Line("slider", "FEMALE", "BOUGHT", "A", 40, batch="P1")
P1 = BatchDraft("P1", "BOUGHT", MAY)


@pytest.fixture
def farm(make_person):
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
    return make_person("owner", "wren")


def post(wren, *lines, on=MAY, **more):
    draft = Draft(uuid.uuid4(), on, lines, **more)
    return Move.objects.get(pk=ledger.record(draft, by=wren, today=TODAY).move_id)


def test_the_rules_know_the_same_words_as_the_models():
    assert set(ledger_rules.GENERATIONS) == set(Batch.Generation.values)
    assert set(ledger_rules.CAUSES) == set(Cause.values)
    assert {*ledger_rules.WAYS_TO_POST, "COUNT", "REVERSAL"} == set(Move.MadeAs.values)


@pytest.mark.parametrize("made_as", ["COUNT", "REVERSAL", "bank", "", "SOMETHING"])
def test_a_move_is_posted_as_one_of_three_and_nothing_else(farm, made_as):
    with pytest.raises(BadLine, match=f"cannot be posted as “{made_as}”; use one of BANK, OFFICE, OPENING"):
        post(farm, BOUGHT, batches=(P1,), made_as=made_as)
    assert not Move.objects.exists()


def test_an_unknown_generation_is_refused(farm):
    with pytest.raises(
        BadLine, match="Batch P1 is said to be of the generation “THIRD”; use one of NOT_KNOWN"
    ):
        post(farm, BOUGHT, batches=(BatchDraft("P1", "BOUGHT", MAY, generation="THIRD"),))
    assert not Batch.objects.exists()


def test_an_unknown_cause_is_refused_on_a_line_that_changes_class_too(farm):
    post(farm, Line("slider", "UNSEXED", "BOUGHT", "A", 9, batch="P1"), batches=(P1,))
    with pytest.raises(BadLine, match="“BOREDOM” is not a cause of death") as refused:
        post(farm, Line("slider", "UNSEXED", "A", "A", 2, to_class="FEMALE", cause="BOREDOM"), on=JUNE)
    assert refused.value.line == 0


@pytest.mark.parametrize("model", [Move, Entry, HaulLine, Batch])
def test_the_database_takes_no_word_outside_its_list(farm, model):
    """Every column of the ledger's own words, written past the rules by a copy of a good row."""
    haul = HaulDraft("SEINE", (CatchLine("slider", "FEMALE", 3),))
    post(farm, BOUGHT, batches=(P1,))
    post(farm, Line("slider", "FEMALE", "A", "DIED", 1, cause="BITES"), pond="A", haul=haul, on=JUNE)
    connection.check_constraints()
    columns = {
        Move: ("made_as",),
        Entry: ("cause", "reason"),
        HaulLine: ("of_class",),
        Batch: ("source", "generation"),
    }[model]
    append_only.remove(connection)
    for column in columns:
        with (
            pytest.raises(IntegrityError, match=rf"(?i)check constraint.*{model._meta.db_table}_"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(f"UPDATE {model._meta.db_table} SET {column} = 'OTHERS'")
    append_only.install(connection)
    assert differences() == []


@pytest.mark.django_db(transaction=True)
def test_a_farm_with_heads_takes_the_new_checks_with_every_guard_in_place(farm):
    post(farm, BOUGHT, batches=(P1,))
    call_command("migrate", "stock", "0001", verbosity=0)
    assert append_only.missing(connection) == []
    call_command("migrate", verbosity=0)
    assert append_only.missing(connection) == []
    assert Entry.objects.get().heads == 40
    assert differences() == []


def test_a_batch_code_taken_by_another_posting_meanwhile_is_refused(farm, monkeypatch):
    """Two postings over different cells wait for no common lock: the rules of both saw no such batch."""
    write_rows = ledger_rows.write_rows

    def after_another_one(posting, books, work):
        Batch.objects.create(code="P1", source="RAISED", arrived_on=MAY)
        return write_rows(posting, books, work)

    monkeypatch.setattr("stock.ledger_posting.write_rows", after_another_one)
    with pytest.raises(
        LedgerRefusal, match="The batch code P1 was just taken into use for heads raised"
    ) as refused:
        post(farm, BOUGHT, batches=(P1,))
    assert refused.value.field == "batch"
    assert not Move.objects.exists()


def test_a_batch_of_the_same_origin_made_meanwhile_is_shared(farm, monkeypatch):
    write_rows = ledger_rows.write_rows

    def after_another_one(posting, books, work):
        Batch.objects.create(code="P1", source="BOUGHT", arrived_on=MAY)
        return write_rows(posting, books, work)

    monkeypatch.setattr("stock.ledger_posting.write_rows", after_another_one)
    post(farm, BOUGHT, batches=(P1,))
    assert Entry.objects.get().batch == Batch.objects.get()
    assert differences() == []
