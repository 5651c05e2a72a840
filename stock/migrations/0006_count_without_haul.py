from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("stock", "0005_counted_hauls"),
    ]

    operations = [
        migrations.RemoveField(
            model_name="count",
            name="haul",
        ),
    ]
