"""Keys of marks, what became of them, sexes told and schemes confirmed: what is sent twice is written once."""

from django.db import migrations, models

from stock import append_only


def take_guards_away(apps, schema_editor):
    """Take SQLite's triggers away while tables are built anew; the migration's other end puts them back.

    SQLite refuses to rename a table while a trigger names a column that is not there, as one does that was made by
    these models on a register that was taken back to an earlier migration.
    """
    if schema_editor.connection.vendor != "sqlite":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'")
        for name, table in cursor.fetchall():
            if table.startswith("stock_"):
                cursor.execute(f'DROP TRIGGER "{name}"')


def put_guards_back(apps, schema_editor):
    """Put them back by the models as they are here: were a later migration to fail, none may be missing."""
    if schema_editor.connection.vendor == "sqlite":
        append_only.install(schema_editor.connection, apps)


class Migration(migrations.Migration):
    dependencies = [
        ("stock", "0013_watch_notes"),
    ]

    operations = [
        migrations.RunPython(take_guards_away, put_guards_back),
        *(
            migrations.AddField(
                model_name=name,
                name="key",
                field=models.UUIDField(editable=False, null=True, unique=True),
            )
            for name in ("mark", "markevent", "schemeconfirmation", "sexstep")
        ),
        migrations.RunPython(put_guards_back, take_guards_away),
    ]
