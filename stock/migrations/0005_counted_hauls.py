from django.db import migrations


def keep_hauls(apps, schema_editor):
    """Carry the haul a count was read from over to its own table."""
    count_haul = apps.get_model("stock", "CountHaul")
    read_from = apps.get_model("stock", "Count").objects.exclude(haul=None)
    count_haul.objects.bulk_create(
        count_haul(count_id=count, haul_id=haul) for count, haul in read_from.values_list("pk", "haul")
    )


class Migration(migrations.Migration):
    dependencies = [
        ("stock", "0004_surveys"),
    ]

    operations = [
        migrations.RunPython(keep_hauls, migrations.RunPython.noop, elidable=True),
    ]
