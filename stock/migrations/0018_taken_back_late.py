"""Moves taken back after their month was closed leave no trace in origins; what is kept since the first goes.

The origins kept at month ends are only a saving of work: what is dropped here is replayed when it is read, and kept
again after the next postings.
"""

from django.db import migrations, models
from django.db.models import F, Min, Q


def forget_since_the_first_late_entry(apps, schema_editor):
    entries = apps.get_model("stock", "Entry").objects.using(schema_editor.connection.alias)
    first = entries.filter(booked_on__gt=F("happened_on")).aggregate(first=Min("booked_on"))["first"]
    if first is not None:
        mixes = apps.get_model("stock", "StockMix").objects.using(schema_editor.connection.alias)
        mixes.filter(month__gte=first.replace(day=1)).delete()


class Migration(migrations.Migration):
    dependencies = [("stock", "0017_marks_not_looked_for")]

    operations = [
        migrations.AddIndex(
            model_name="move",
            index=models.Index(
                fields=["booked_on"], condition=Q(reverses__isnull=False), name="stock_move_taken_back"
            ),
        ),
        migrations.RunPython(forget_since_the_first_late_entry, migrations.RunPython.noop),
    ]
