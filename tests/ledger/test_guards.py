"""What is never changed or deleted cannot be walked round: by overwriting on SQLite, by emptying on PostgreSQL."""

import datetime as dt
import uuid

import pytest
from django.db import IntegrityError, connection, transaction

from ponds import guards
from ponds.models import Kind, Pond
from stock import append_only, ledger
from stock.check import differences
from stock.drafts import BatchDraft, Draft, Line, MarkDraft
from stock.models import Cell, Entry, Turtle

pytestmark = [pytest.mark.django_db, pytest.mark.both_databases]

MAY, TODAY = dt.date(2026, 5, 10), dt.date(2026, 6, 30)
TABLES = sorted({**guards.guarded_tables("ponds"), **guards.guarded_tables("stock")})


@pytest.fixture
def farm(make_person):
    """Two ponds of sliders, and 40 females bought for pond A, two of them marked."""
    slider = Kind.objects.create(code="slider", common_name="Slider")
    for code in "AB":
        Pond.objects.create(code=code, opened_on=dt.date(2024, 1, 1)).kinds_allowed.add(slider)
    draft = Draft(
        uuid.uuid4(),
        MAY,
        (Line("slider", "FEMALE", "BOUGHT", "A", 40, batch="P1"),),
        batches=(BatchDraft("P1", "BOUGHT", MAY),),
        marks=tuple(MarkDraft(code, "slider", "FEMALE", "A") for code in ("T1", "T2")),
    )
    ledger.record(draft, by=make_person("owner", "wren"), today=TODAY)
    connection.check_constraints()


def refused(statement, *values):
    with (
        pytest.raises(IntegrityError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement, values)


@pytest.mark.parametrize("table", TABLES)
def test_no_guarded_table_is_emptied_at_once(farm, table):
    if connection.vendor == "postgresql":
        refused(f"TRUNCATE {table} CASCADE")
        return
    # SQLite has no TRUNCATE: an unbounded DELETE is optimized into one, but never past a trigger.
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT COUNT(*) FROM {table}")
        (rows,) = cursor.fetchone()
    if rows:
        refused(f"DELETE FROM {table}")
    assert f"{table}_no_delete" not in append_only.missing(connection)


# SQLite's ways to overwrite; PostgreSQL has one, which is an UPDATE to its triggers.
SAME_ID = {
    "sqlite": "INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE id = %s",
    "postgresql": "INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE id = %s "
    "ON CONFLICT (id) DO UPDATE SET id = excluded.id",
}


def overwrite(model, **changed):
    """Overwrite the first row of a table; what `changed` names is written anew, None leaves it out."""
    table = model._meta.db_table
    pk = model.objects.order_by("pk").values_list("pk", flat=True)[0]
    columns = [
        field.column for field in model._meta.concrete_fields if changed.get(field.column, "") is not None
    ]
    refused(SAME_ID[connection.vendor].format(table=table, columns=", ".join(columns)), pk)


@pytest.mark.parametrize(
    "table", ["stock_entry", "stock_move", "stock_batch", "stock_cell", "stock_markstep", "stock_turtle"]
)
def test_no_row_is_overwritten_under_its_own_number(farm, table):
    model = {model._meta.db_table: model for model in connection.introspection.installed_models([table])}
    if connection.vendor == "postgresql" and table == "stock_turtle":
        # Turtles may be updated; on PostgreSQL an overwriting row is an update and takes no row away.
        refused("DELETE FROM stock_turtle")
        return
    overwrite(model[table])


@pytest.mark.parametrize("table", ["stock_entry", "stock_move", "stock_batch", "stock_cell"])
def test_no_row_is_overwritten_under_its_other_keys(farm, table):
    model = {model._meta.db_table: model for model in connection.introspection.installed_models([table])}
    if connection.vendor == "postgresql":
        # ON CONFLICT over any key ends in an UPDATE, which the row's trigger refuses.
        refused(f"UPDATE {table} SET id = id")
        return
    overwrite(model[table], id=None)


def test_no_update_takes_another_row_away(farm):
    """`UPDATE OR REPLACE` on SQLite deletes the row that holds the key; PostgreSQL knows no such thing."""
    if connection.vendor == "postgresql":
        refused("DELETE FROM ponds_pond WHERE code = 'B'")
        return
    refused("UPDATE OR REPLACE ponds_pond SET code = 'B' WHERE code = 'A'")
    refused("UPDATE OR REPLACE stock_turtle SET code = 'T2' WHERE code = 'T1'")
    refused(
        "UPDATE OR REPLACE stock_turtle SET id = (SELECT id FROM stock_turtle WHERE code = 'T2') WHERE code = 'T1'"
    )


def test_new_rows_and_allowed_updates_still_go_through(farm):
    Pond.objects.filter(code="A").update(code="A1")
    turtle = Turtle.objects.get(code="T1")
    Turtle.objects.filter(pk=turtle.pk).update(last_seen_on=TODAY)
    # No guard holds the day, which postings write too; the ledger's check does.
    assert [said.split(":")[0] for said in differences()] == ["Turtle T1"]
    Turtle.objects.filter(pk=turtle.pk).update(last_seen_on=turtle.last_seen_on)
    slider, pond = Kind.objects.get(), Pond.objects.get(code="B")
    # The same class and kind in two ponds, and outside twice over, are four cells and no clash.
    for of_class in ("UNSEXED", "MALE"):
        Cell.objects.create(pond=pond, kind=slider, of_class=of_class)
        Cell.objects.create(outside="SOLD", kind=slider, of_class=of_class)
    assert Entry.objects.count() == 1
    assert differences() == []


@pytest.mark.parametrize("app", ["ponds", "stock"])
def test_every_trigger_is_missed_when_it_is_gone(farm, app):
    wanted = guards.triggers(connection.vendor, app)
    guards.remove(connection, app)
    assert append_only.missing(connection) == sorted(wanted)
    guards.install(connection, app)
    guards.install(connection, app)
    assert append_only.missing(connection) == []
    kind_of = "_no_truncate" if connection.vendor == "postgresql" else "_no_replace"
    assert {name.removesuffix(kind_of) for name in wanted if name.endswith(kind_of)} == set(
        guards.guarded_tables(app)
    )
