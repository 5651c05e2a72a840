from django.db import migrations, models


class Migration(migrations.Migration):
    """A nullable column: no row is rewritten, so the guards stay where they are."""

    dependencies = [("stock", "0015_refused_set_aside")]

    operations = [
        migrations.AddField(
            model_name="pondreview",
            name="figures",
            field=models.JSONField(
                help_text="The standing that was signed, by code of kind; null of what was signed before this.",
                null=True,
            ),
        ),
    ]
