from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("stock", "0007_reviews"),
    ]

    operations = [
        migrations.CreateModel(
            name="KeptFlows",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("month", models.DateField(help_text="The month's first day.", unique=True)),
                ("rows", models.BinaryField()),
            ],
        ),
    ]
