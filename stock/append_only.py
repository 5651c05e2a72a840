"""The ledger's own triggers: append-only tables, plus what every new row must obey.

On INSERT into the entry table the database itself refuses a change of kind, a change of class other than
"sexed" or "matured" within one place, and a booking into a closed month.
"""

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections

from ponds import guards

APP = "stock"

SAME_KIND = "an entry joins two cells of the same kind"
CLASS_CHANGE = "class changes only by sexed or matured, within one place"
CLOSED = "the month of this booking is closed"

_BAD_KIND = "s.kind_id <> t.kind_id"
_BAD_CLASS = """(s.of_class <> t.of_class AND NOT (
    NEW.reason IN ('SEXED', 'MATURED') AND s.pond_id IS NOT NULL AND s.pond_id = t.pond_id))
    OR (s.of_class = t.of_class AND NEW.reason IN ('SEXED', 'MATURED'))"""
_CELLS = "stock_cell s, stock_cell t WHERE s.id = NEW.source_id AND t.id = NEW.target_id"

SQLITE = {
    "stock_entry_same_kind": (
        "stock_entry",
        f"SELECT RAISE(ABORT, '{SAME_KIND}') FROM {_CELLS} AND ({_BAD_KIND})",
    ),
    "stock_entry_class": (
        "stock_entry",
        f"SELECT RAISE(ABORT, '{CLASS_CHANGE}') FROM {_CELLS} AND ({_BAD_CLASS})",
    ),
    "stock_entry_open_month": (
        "stock_entry",
        f"SELECT RAISE(ABORT, '{CLOSED}') FROM stock_monthclose c "
        "WHERE c.month >= strftime('%Y-%m-01', NEW.booked_on)",
    ),
}

POSTGRESQL_FUNCTION = f"""
CREATE OR REPLACE FUNCTION stock_entry_obeys() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM {_CELLS} AND ({_BAD_KIND})) THEN
        RAISE EXCEPTION '{SAME_KIND}' USING ERRCODE = '23514';
    END IF;
    IF EXISTS (SELECT 1 FROM {_CELLS} AND ({_BAD_CLASS})) THEN
        RAISE EXCEPTION '{CLASS_CHANGE}' USING ERRCODE = '23514';
    END IF;
    IF EXISTS (SELECT 1 FROM stock_monthclose c WHERE c.month >= date_trunc('month', NEW.booked_on)::date) THEN
        RAISE EXCEPTION '{CLOSED}' USING ERRCODE = '23514';
    END IF;
    RETURN NEW;
END $$
"""
POSTGRESQL_TRIGGER = """
CREATE OR REPLACE TRIGGER stock_entry_obeys BEFORE INSERT ON stock_entry
FOR EACH ROW EXECUTE FUNCTION stock_entry_obeys()
"""


def install(connection, at=apps) -> None:
    """Put every trigger of the ledger in place, by today's models or by a migration's (`at`); safe to repeat."""
    guards.install(connection, APP, at)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRESQL_FUNCTION)
            cursor.execute(POSTGRESQL_TRIGGER)
            return
        for name, (table, body) in SQLITE.items():
            # Anew each time, so that a changed rule reaches a database that has the old one.
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
            cursor.execute(f"CREATE TRIGGER {name} BEFORE INSERT ON {table} BEGIN {body}; END")


def remove(connection) -> None:
    """Take every trigger of the ledger away: for a test's tear-down, or a reviewed change of schema."""
    guards.remove(connection, APP)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("DROP TRIGGER IF EXISTS stock_entry_obeys ON stock_entry")
            return
        for name in SQLITE:
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}")


def missing(connection) -> list[str]:
    """Return the names of triggers, of the ponds' tables too, that should stand and do not.

    Of a table that is not there (a database taken back to an earlier migration) none is wanted.
    """
    tables = set(connection.introspection.table_names())
    wanted = {
        name
        for app in ("ponds", APP)
        for name, (table, _) in guards.triggers(connection.vendor, app).items()
        if table in tables
    }
    if connection.vendor == "postgresql":
        wanted.add("stock_entry_obeys")
        query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
    else:
        wanted |= set(SQLITE)
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    with connection.cursor() as cursor:
        cursor.execute(query)
        standing = {name for (name,) in cursor.fetchall()}
    return sorted(wanted - standing)


def install_for_app(sender, using: str = DEFAULT_DB_ALIAS, **kwargs) -> None:
    """Receive `post_migrate`."""
    connection = connections[using]
    existing = set(connection.introspection.table_names())
    if {"stock_entry", "stock_cell", "stock_monthclose"} <= existing:
        install(connection)
