from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("stock", "0002_choices_hold"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="haul",
            index=models.Index(fields=["-happened_on", "-id"], name="stock_haul_newest_day"),
        ),
    ]
