"""Triggers that keep a table append-only, on SQLite and PostgreSQL alike.

Installed after every `migrate` (never by a migration: SQLite drops a table's triggers whenever it
rebuilds the table). A model asks for them with `append_only = True`; `never_deleted = True` guards
against DELETE only.
"""

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections

REFUSAL = "{table} is append-only: post a reversal or a replacement instead"

POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION scutebook_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: post a reversal or a replacement instead', TG_TABLE_NAME
        USING ERRCODE = '23514';
END $$
"""


def guarded_tables(app_label: str) -> dict[str, tuple[str, ...]]:
    """Return table name -> the statements refused on it, for the models of one app."""
    tables: dict[str, tuple[str, ...]] = {}
    for model in apps.get_app_config(app_label).get_models(include_auto_created=True):
        if getattr(model, "append_only", False):
            tables[model._meta.db_table] = ("UPDATE", "DELETE")
        elif getattr(model, "never_deleted", False):
            tables[model._meta.db_table] = ("DELETE",)
    return tables


def install(connection, app_label: str) -> None:
    """Put the triggers of one app's tables in place; safe to repeat."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRESQL_FUNCTION)
        for table, verbs in guarded_tables(app_label).items():
            for verb in verbs:
                cursor.execute(_create(connection.vendor, table, verb))


def remove(connection, app_label: str) -> None:
    """Take the triggers of one app's tables away, for a test's tear-down or a reviewed schema change."""
    with connection.cursor() as cursor:
        for table, verbs in guarded_tables(app_label).items():
            for verb in verbs:
                cursor.execute(_drop(connection.vendor, table, verb))


def install_for_app(sender, using: str = DEFAULT_DB_ALIAS, **kwargs) -> None:
    """Receive `post_migrate`."""
    connection = connections[using]
    existing = set(connection.introspection.table_names())
    if set(guarded_tables(sender.label)) <= existing:
        install(connection, sender.label)


def _name(table: str, verb: str) -> str:
    return f"{table}_no_{verb.lower()}"


def _create(vendor: str, table: str, verb: str) -> str:
    name = _name(table, verb)
    if vendor == "postgresql":
        return (
            f'CREATE OR REPLACE TRIGGER "{name}" BEFORE {verb} ON "{table}" '
            "FOR EACH ROW EXECUTE FUNCTION scutebook_append_only()"
        )
    return (
        f'CREATE TRIGGER IF NOT EXISTS "{name}" BEFORE {verb} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL.format(table=table)}'); END"
    )


def _drop(vendor: str, table: str, verb: str) -> str:
    on_table = f' ON "{table}"' if vendor == "postgresql" else ""
    return f'DROP TRIGGER IF EXISTS "{_name(table, verb)}"{on_table}'
