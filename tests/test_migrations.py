"""The migrations say what the models say."""

import uuid

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration(capsys):
    call_command("makemigrations", check=True, dry_run=True, verbosity=1)
    assert "No changes detected" in capsys.readouterr().out


@pytest.mark.both_databases
@pytest.mark.django_db(transaction=True)
def test_keys_of_marks_come_to_a_register_that_has_rows_and_go_again(make_person):
    """A register taken back to an earlier migration comes forward again, with its rows and its guards."""
    from django.db import connection

    from stock import append_only
    from stock.models import Mark, MarkEvent
    from tests.turtles.one_turtle import MAY, marked_turtle, put_mark

    mark = put_mark(marked_turtle(make_person("hand", "hand")))
    MarkEvent.objects.create(mark=mark, what="READ", happened_on=MAY, by_name="hand")
    try:
        call_command("migrate", "stock", "0013", verbosity=0)
        with connection.cursor() as cursor:
            columns = {
                one.name for one in connection.introspection.get_table_description(cursor, "stock_mark")
            }
        assert "key" not in columns
    finally:
        call_command("migrate", verbosity=0)
    assert (Mark.objects.get(), Mark.objects.get().key) == (mark, None)
    assert MarkEvent.objects.get().mark == mark
    assert append_only.missing(connection) == []


@pytest.mark.both_databases
@pytest.mark.django_db(transaction=True)
def test_guards_stand_after_each_migration_by_itself_forward_and_back(make_person):
    """Were the next migration to fail, no signal would bring them back: what takes them away puts them back."""
    from django.db import DatabaseError, connection, transaction
    from django.db.migrations.executor import MigrationExecutor

    from stock import append_only
    from tests.turtles.one_turtle import marked_turtle, put_mark

    mark = put_mark(marked_turtle(make_person("hand", "hand")))
    guarded = _guards(connection)
    assert {"stock_mark", "stock_entry", "stock_markstep"} <= {table for table, _ in guarded}
    try:
        steps = ("0016_reviews_as_signed", "0017_marks_not_looked_for", "0016_reviews_as_signed")
        for name in (
            *steps,
            "0013_watch_notes",
            "0014_keys_of_marks",
            "0013_watch_notes",
            "0014_keys_of_marks",
        ):
            # The executor alone sends no signal.
            MigrationExecutor(connection).migrate([("stock", name)])
            # The tables that are not there yet have none.
            tables = set(connection.introspection.table_names())
            assert _guards(connection) == {one for one in guarded if one[0] in tables}, name
            for words in (
                f"UPDATE stock_mark SET note = 'x' WHERE id = {mark.pk}",
                f"DELETE FROM stock_mark WHERE id = {mark.pk}",
                "UPDATE stock_entry SET heads = heads + 1",
            ):
                with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
                    connection.cursor().execute(words)
            # What the guards name is there: a row written again is refused for what it is, a new one is taken.
            if connection.vendor == "sqlite":
                copied = f"INSERT OR REPLACE INTO stock_mark SELECT * FROM stock_mark WHERE id = {mark.pk}"
                with pytest.raises(DatabaseError, match="stands under this key"), transaction.atomic():
                    connection.cursor().execute(copied)
            with connection.cursor() as cursor:
                cursor.execute(
                    "INSERT INTO stock_sexstep (turtle_id, sex, method, certainty, sexed_on, by_name, note) "
                    f"VALUES ({mark.turtle_id}, 'FEMALE', 'CLAWS', 'CERTAIN', '2024-06-01', 'hand', '')"
                )
    finally:
        call_command("migrate", verbosity=0)
    assert _guards(connection) == guarded
    assert append_only.missing(connection) == []


@pytest.mark.both_databases
@pytest.mark.django_db(transaction=True)
def test_marks_nobody_looked_for_become_0_going_back_and_are_told_apart_again(owner):
    """Written as 0 by an older register: emptied where nothing in the haul shows that somebody looked."""
    from django.db import connection

    from stock.drafts import CatchLine, HaulDraft
    from stock.models import HaulLine
    from tests.turtles.marked_farm import MarkedFarm

    farm = MarkedFarm(owner.user)
    farm.haul(10, "A", 4)
    looked = (
        CatchLine("slider", "FEMALE", 5, carrying_marks=2),
        CatchLine("slider", "MALE", 3, carrying_marks=0),
    )
    farm.post(11, pond="A", haul=HaulDraft("SEINE", looked))
    said = HaulLine.objects.order_by("pk").values_list("carrying_marks", flat=True)
    assert list(said) == [None, 2, 0]
    try:
        call_command("migrate", "stock", "0016", verbosity=0)
        with connection.cursor() as cursor:
            cursor.execute("SELECT carrying_marks FROM stock_haulline ORDER BY id")
            assert cursor.fetchall() == [(0,), (2,), (0,)]
    finally:
        call_command("migrate", verbosity=0)
    assert list(said.all()) == [None, 2, 0]


@pytest.mark.django_db
def test_markings_taken_back_before_their_reversal_said_so_are_typed_by_mistake(owner):
    from importlib import import_module
    from types import SimpleNamespace

    from django.apps import apps
    from django.db import connection

    from stock import append_only, ledger
    from stock.models import Mark, MarkEvent, Move
    from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

    farm = MarkedFarm(owner.user)
    ghost, stays = (farm.register(5, tag(f"98511300739000{number}")) for number in range(2))
    move = Move.objects.get(marks__turtle=ghost)
    ledger.reverse(move, key=uuid.uuid4(), by=owner.user, today=TODAY)
    append_only.remove(connection)
    try:
        MarkEvent.objects.all()._raw_delete("default")
    finally:
        append_only.install(connection)
    mend = import_module("stock.migrations.0020_markings_taken_back").say_that_they_never_were
    for _ in range(2):
        mend(apps, SimpleNamespace(connection=connection))
        event = MarkEvent.objects.get()
        assert (event.mark, event.what, event.move) == (ghost.marks.get(), "MISTAKEN", move.reversed_by)
    assert Mark.objects.get(turtle=stays).events.count() == 0


def _guards(connection):
    """Return the table and the name of every guard of the stock that stands."""
    names = {
        "sqlite": "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE NOT tgisinternal",
    }
    with connection.cursor() as cursor:
        cursor.execute(names[connection.vendor])
        return {(table, name) for table, name in cursor.fetchall() if table.startswith("stock_")}


@pytest.mark.both_databases
@pytest.mark.django_db(transaction=True)
def test_turtles_of_hauls_taken_back_are_last_seen_by_what_holds(make_person):
    """A register from before the ledger did so itself."""
    import uuid

    from stock import ledger
    from stock.check import differences
    from stock.models import Move, Turtle
    from tests.turtles.marked_farm import TODAY, MarkedFarm, tag

    farm = MarkedFarm(make_person("owner", "wren"))
    turtle = farm.register(5, tag("985113007399202"))
    kept = farm.register(5, tag("985113007399203"))
    mistaken = farm.haul(9, "A", 4, turtle.code)
    farm.haul(8, "A", 4, kept.code)
    ledger.reverse(Move.objects.get(pk=mistaken.move_id), key=uuid.uuid4(), by=farm.person, today=TODAY)
    Turtle.objects.filter(pk=turtle.pk).update(last_seen_on=farm.day(9))
    assert differences() != []
    try:
        call_command("migrate", "stock", "0017", verbosity=0)
    finally:
        call_command("migrate", verbosity=0)
    seen = dict(Turtle.objects.values_list("pk", "last_seen_on"))
    assert seen == {turtle.pk: farm.day(5), kept.pk: farm.day(8)}
    assert differences() == []
