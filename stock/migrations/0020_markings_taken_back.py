"""Marks of markings that were taken back before their reversal said so were typed by mistake."""

from django.db import migrations


def say_that_they_never_were(apps, schema_editor):
    """Write the ledger's own event (`ledger_marks_back`), of turtles that stand nowhere since."""
    alias = schema_editor.connection.alias
    marks = apps.get_model("stock", "Mark").objects.using(alias)
    events = apps.get_model("stock", "MarkEvent").objects.using(alias)
    taken_back = marks.filter(move__reversed_by__isnull=False, turtle__cell=None)
    for mark in taken_back.select_related("move__reversed_by").order_by("pk"):
        reversal = mark.move.reversed_by
        went_back = reversal.mark_steps.filter(turtle=mark.turtle_id).exists()
        if went_back and not events.filter(mark=mark, what="MISTAKEN").exists():
            events.create(
                mark=mark, move=reversal, what="MISTAKEN", by_id=reversal.by_id, by_name=reversal.by_name,
                happened_on=max([mark.put_on_on, *events.filter(mark=mark).values_list("happened_on", flat=True)]),
                note="Its marking was taken back.",
            )  # fmt: skip


class Migration(migrations.Migration):
    dependencies = [("stock", "0019_turtles_seen_by_what_holds")]

    operations = [migrations.RunPython(say_that_they_never_were, migrations.RunPython.noop)]
