"""Triggers that keep a table append-only, on SQLite and PostgreSQL alike.

Installed after every `migrate`, for SQLite drops a table's triggers whenever it rebuilds the table. A migration
that takes guards away puts them back itself, by its own models (`at`): a later one may fail. A model asks for
them with `append_only = True`; `never_deleted = True` guards against DELETE only. Both are guarded against what
empties or overwrites without an UPDATE or a DELETE: TRUNCATE on PostgreSQL, and on SQLite `OR REPLACE`, for
which DELETE triggers do not fire.
"""

from collections.abc import Iterator

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import UniqueConstraint

REFUSAL = "{table} is append-only: post a reversal or a replacement instead"
REPLACED = "a row of {table} stands under this key already, and is append-only: it is never replaced"

POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION scutebook_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: post a reversal or a replacement instead', TG_TABLE_NAME
        USING ERRCODE = '23514';
END $$
"""


def guarded_tables(app_label: str, at=apps) -> dict[str, tuple[str, ...]]:
    """Return table name -> the statements refused on it, for the models of one app."""
    tables: dict[str, tuple[str, ...]] = {}
    today = {model._meta.label: model for model in _models(app_label, apps)}
    for model in _models(app_label, at):
        # A migration's models carry their fields and nothing else: what is asked of them stands on today's.
        asking = today.get(model._meta.label)
        if getattr(asking, "append_only", False):
            tables[model._meta.db_table] = ("UPDATE", "DELETE")
        elif getattr(asking, "never_deleted", False):
            tables[model._meta.db_table] = ("DELETE",)
    return tables


def _models(app_label: str, at):
    return at.get_app_config(app_label).get_models(include_auto_created=True)


def triggers(vendor: str, app_label: str, at=apps) -> dict[str, tuple[str, str]]:
    """
    Return trigger name -> (its table, the statement that makes it), for the models of one app.

    `at` holds the models: those of today, or those that a migration is given.
    """
    found: dict[str, tuple[str, str]] = {}
    for table, verbs in guarded_tables(app_label, at).items():
        for verb in (*verbs, "TRUNCATE") if vendor == "postgresql" else verbs:
            name = f"{table}_no_{verb.lower()}"
            found[name] = (table, _create(vendor, table, verb, name))
    if vendor != "postgresql":
        found.update(_against_replacing(app_label, at))
    return found


def install(connection, app_label: str, at=apps) -> None:
    """Put the triggers of one app's tables in place, of those that stand; safe to repeat."""
    # A database taken back to an earlier migration lacks the later tables.
    existing = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRESQL_FUNCTION)
        for name, (table, statement) in triggers(connection.vendor, app_label, at).items():
            if table not in existing:
                continue
            if connection.vendor != "postgresql":
                # Anew each time: a table's keys, which a trigger names, may have changed.
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"')
            cursor.execute(statement)


def remove(connection, app_label: str) -> None:
    """Take the triggers of one app's tables away, for a test's tear-down or a reviewed schema change."""
    with connection.cursor() as cursor:
        for name, (table, _) in triggers(connection.vendor, app_label).items():
            on_table = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on_table}')


def install_for_app(sender, using: str = DEFAULT_DB_ALIAS, **kwargs) -> None:
    """Receive `post_migrate`."""
    connection = connections[using]
    install(connection, sender.label)


def _create(vendor: str, table: str, verb: str, name: str) -> str:
    if vendor == "postgresql":
        each = "STATEMENT" if verb == "TRUNCATE" else "ROW"
        return (
            f'CREATE OR REPLACE TRIGGER "{name}" BEFORE {verb} ON "{table}" '
            f"FOR EACH {each} EXECUTE FUNCTION scutebook_append_only()"
        )
    return (
        f'CREATE TRIGGER "{name}" BEFORE {verb} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL.format(table=table)}'); END"
    )


def _against_replacing(app_label: str, at) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield the triggers that refuse a row whose key stands already, before SQLite takes the old row away."""
    guarded = guarded_tables(app_label, at)
    for model in _models(app_label, at):
        table = model._meta.db_table
        if table not in guarded:
            continue
        same = " OR ".join(f"({key})" for key in _keys(model))
        refuse = f"SELECT RAISE(ABORT, '{REPLACED.format(table=table)}') FROM \"{table}\" AS was WHERE"
        name = f"{table}_no_replace"
        yield (
            name,
            (table, f'CREATE TRIGGER "{name}" BEFORE INSERT ON "{table}" BEGIN {refuse} {same}; END'),
        )
        if "UPDATE" not in guarded[table]:
            name = f"{table}_no_replace_by_update"
            other = f'was."{model._meta.pk.column}" <> OLD."{model._meta.pk.column}"'
            yield (
                name,
                (
                    table,
                    f'CREATE TRIGGER "{name}" BEFORE UPDATE ON "{table}" BEGIN {refuse} {other} AND ({same}); END',
                ),
            )


def _keys(model) -> Iterator[str]:
    """Yield, for each key of a model, the SQL by which the row `was` and the new one agree in it."""
    for field in model._meta.concrete_fields:
        if field.unique:
            yield f'was."{field.column}" = NEW."{field.column}"'
    column = {field.name: field.column for field in model._meta.concrete_fields}
    for names in model._meta.unique_together:
        yield " AND ".join(f'was."{column[name]}" = NEW."{column[name]}"' for name in names)
    for constraint in model._meta.constraints:
        if isinstance(constraint, UniqueConstraint):
            same = [f'was."{column[name]}" = NEW."{column[name]}"' for name in constraint.fields]
            # Rows that agree in what a condition asks about are both under it, or neither.
            asked = constraint.condition.referenced_base_fields if constraint.condition else set()
            same += [
                f'was."{column[name]}" IS NEW."{column[name]}"'
                for name in sorted(asked - {*constraint.fields})
            ]
            yield " AND ".join(same)
