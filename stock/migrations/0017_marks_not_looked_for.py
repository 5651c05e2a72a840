"""A catch in which nobody looked for marks is told from one that carried none; measures are found by their day.

What was booked before wrote an empty field as 0. Where a haul shows that somebody looked for marks (one was met, put
on or scanned), its 0 stays; where nothing shows it, nobody can tell, and the field is emptied.
"""

from django.db import migrations, models
from django.db.models import Q
from django.db.models.functions import Coalesce

from stock import append_only


def take_guards_away(apps, schema_editor):
    """Take the guards away while the table is built anew (SQLite) or, going back, its empty fields become 0."""
    connection = schema_editor.connection
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("ALTER TABLE stock_haulline DISABLE TRIGGER USER")
            return
        cursor.execute("SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'")
        for name, table in cursor.fetchall():
            if table.startswith("stock_"):
                cursor.execute(f'DROP TRIGGER "{name}"')


def put_guards_back(apps, schema_editor):
    """Put them back at once: were a later migration to fail, none may be missing."""
    connection = schema_editor.connection
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ALTER TABLE stock_haulline ENABLE TRIGGER USER")
        return
    append_only.install(connection, apps)


def empty_what_nobody_can_tell(apps, schema_editor):
    lines = apps.get_model("stock", "HaulLine").objects.using(schema_editor.connection.alias)
    scanned = apps.get_model("stock", "HaulTurtle").objects.using(schema_editor.connection.alias)
    looked = lines.filter(Q(carrying_marks__gt=0) | Q(newly_marked__gt=0)).values("haul")
    unsaid = lines.filter(carrying_marks=0).exclude(haul__in=looked).exclude(haul__in=scanned.values("haul"))
    unsaid.update(carrying_marks=None)


NAME = "stock_haulline_new_marks_within_catch"


def _new_marks_within(carrying):
    return models.CheckConstraint(
        condition=models.Q(newly_marked__lte=models.F("caught") - carrying), name=NAME
    )


class Migration(migrations.Migration):
    dependencies = [("stock", "0016_reviews_as_signed")]

    operations = [
        migrations.RunPython(take_guards_away, put_guards_back),
        migrations.RemoveConstraint(model_name="haulline", name=NAME),
        migrations.AlterField(
            model_name="haulline",
            name="carrying_marks",
            field=models.PositiveIntegerField(
                null=True, help_text="Empty: nobody looked; 0: none did."
            ),
        ),
        migrations.AddConstraint(
            model_name="haulline",
            constraint=_new_marks_within(Coalesce(models.F("carrying_marks"), 0)),
        ),
        migrations.AddIndex(
            model_name="measure",
            index=models.Index(fields=["turtle", "measured_on"], name="stock_measure_last"),
        ),
        migrations.RunPython(empty_what_nobody_can_tell, migrations.RunPython.noop),
        migrations.RunPython(put_guards_back, take_guards_away),
    ]
