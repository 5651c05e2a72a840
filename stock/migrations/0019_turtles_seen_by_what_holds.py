"""Turtles of moves and hauls taken back were last seen, and first marked, by what holds without them."""

from django.db import migrations
from django.db.models import Max, Min, Q


def see_by_what_holds(apps, schema_editor):
    """Write both days anew as the ledger does from now on; only of the turtles that a move taken back had in hand."""
    turtles, steps = apps.get_model("stock", "Turtle"), apps.get_model("stock", "MarkStep")
    in_hauls = apps.get_model("stock", "HaulTurtle")
    touched = turtles.objects.filter(
        Q(pk__in=steps.objects.filter(move__reversed_by__isnull=False).values("turtle"))
        | Q(pk__in=in_hauls.objects.filter(haul__move__reversed_by__isnull=False).values("turtle"))
    )
    in_hand = ("MARKED", "MOVED", "SEEN", "FOUND")
    for turtle in touched.order_by("pk"):
        marked = steps.objects.filter(turtle=turtle, how="MARKED")
        first = (
            marked.filter(move__reversed_by=None).aggregate(first=Min("move__happened_on"))["first"]
            or marked.aggregate(first=Min("move__happened_on"))["first"]
        )
        if first is None:
            continue
        mine = steps.objects.filter(turtle=turtle, how__in=in_hand, move__reversed_by=None)
        hauls = in_hauls.objects.filter(turtle=turtle, haul__move__reversed_by=None)
        stepped = mine.aggregate(last=Max("move__happened_on"))["last"]
        hauled = hauls.aggregate(last=Max("haul__happened_on"))["last"]
        turtle.first_marked_on = first
        turtle.last_seen_on = max(day for day in (first, stepped, hauled) if day is not None)
        turtle.save(update_fields=["first_marked_on", "last_seen_on"])


class Migration(migrations.Migration):
    dependencies = [("stock", "0018_taken_back_late")]

    operations = [migrations.RunPython(see_by_what_holds, migrations.RunPython.noop)]
