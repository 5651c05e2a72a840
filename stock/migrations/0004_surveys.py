import django.db.models.deletion
import django.db.models.functions.datetime
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("ponds", "0001_tables"),
        ("stock", "0003_haul_newest_day"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="count",
            name="method",
            field=models.CharField(
                blank=True, help_text="How the survey was read; none for an opening.", max_length=20
            ),
        ),
        migrations.AddField(
            model_name="count",
            name="method_reason",
            field=models.CharField(
                blank=True,
                help_text="Why another method than the one the survey's form asks for.",
                max_length=300,
            ),
        ),
        migrations.CreateModel(
            name="CountReversal",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.UUIDField(unique=True)),
                ("content_sha256", models.CharField(max_length=64)),
                ("reason", models.CharField(max_length=300)),
                ("by_name", models.CharField(max_length=150)),
                (
                    "recorded_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "count",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reversed_by",
                        to="stock.count",
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Survey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("note", models.CharField(blank=True, max_length=300)),
                (
                    "marks_both",
                    models.PositiveIntegerField(
                        blank=True,
                        help_text="Of recaptured turtles that had been given two marks: both still there.",
                        null=True,
                    ),
                ),
                ("marks_first_only", models.PositiveIntegerField(blank=True, null=True)),
                ("marks_second_only", models.PositiveIntegerField(blank=True, null=True)),
                (
                    "started_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(), editable=False
                    ),
                ),
                (
                    "pond",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="surveys", to="ponds.pond"
                    ),
                ),
                (
                    "started_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="count",
            name="survey",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="counts",
                to="stock.survey",
            ),
        ),
        migrations.CreateModel(
            name="SurveyHaul",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "haul",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="in_survey", to="stock.haul"
                    ),
                ),
                (
                    "survey",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="members", to="stock.survey"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SurveyMarked",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "of_class",
                    models.CharField(
                        choices=[
                            ("FEMALE", "female"),
                            ("MALE", "male"),
                            ("UNSEXED", "unsexed"),
                            ("JUVENILE", "juvenile"),
                        ],
                        max_length=8,
                        verbose_name="class",
                    ),
                ),
                ("heads", models.PositiveIntegerField()),
                (
                    "kind",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="ponds.kind"
                    ),
                ),
                (
                    "survey",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="marked_before",
                        to="stock.survey",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CountHaul",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="evidence", to="stock.count"
                    ),
                ),
                (
                    "haul",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counted_in",
                        to="stock.haul",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("count", "haul"), name="stock_counthaul_once")
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="survey",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("marks_both", None), ("marks_first_only", None), ("marks_second_only", None)),
                    models.Q(
                        ("marks_both__isnull", False),
                        ("marks_first_only__isnull", False),
                        ("marks_second_only__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="stock_survey_marks_together",
            ),
        ),
        migrations.AddConstraint(
            model_name="surveymarked",
            constraint=models.UniqueConstraint(
                fields=("survey", "kind", "of_class"), name="stock_surveymarked_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="surveymarked",
            constraint=models.CheckConstraint(
                condition=models.Q(("of_class__in", ["FEMALE", "MALE", "UNSEXED", "JUVENILE"])),
                name="stock_surveymarked_class_known",
            ),
        ),
    ]
