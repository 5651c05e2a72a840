"""Surveys: the hauls of one pond that are read together."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import Kind, Pond
from stock.models.cells import HeadClass
from stock.models.hauls import Haul


class Survey(models.Model):
    """
    The hauls of one pond that are read together.

    What belongs to a survey may change until the pond is known; a count accepted from it keeps the hauls it
    was read from (`CountHaul`), so nothing accepted changes with it.
    """

    key = models.UUIDField(unique=True, default=uuid.uuid4)
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="surveys")
    note = models.CharField(max_length=300, blank=True)
    marks_both = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="Of recaptured turtles that had been given two marks: both still there.",
    )
    marks_first_only = models.PositiveIntegerField(null=True, blank=True)
    marks_second_only = models.PositiveIntegerField(null=True, blank=True)
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(marks_both=None, marks_first_only=None, marks_second_only=None)
                | Q(
                    marks_both__isnull=False,
                    marks_first_only__isnull=False,
                    marks_second_only__isnull=False,
                ),
                name="stock_survey_marks_together",
            ),
        ]

    def __str__(self) -> str:
        return f"survey {self.pk}"


class SurveyHaul(models.Model):
    """A haul that is read in a survey; one survey at a time."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="members")
    haul = models.OneToOneField(Haul, on_delete=models.PROTECT, related_name="in_survey")

    def __str__(self) -> str:
        return f"haul {self.haul_id} in survey {self.survey_id}"


class SurveyMarked(models.Model):
    """Marked heads of one kind and class that were at large in the pond before the survey's first haul."""

    survey = models.ForeignKey(Survey, on_delete=models.CASCADE, related_name="marked_before")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    of_class = models.CharField("class", max_length=8, choices=HeadClass)
    heads = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["survey", "kind", "of_class"], name="stock_surveymarked_once"),
            models.CheckConstraint(
                condition=Q(of_class__in=HeadClass.values), name="stock_surveymarked_class_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.heads} marked"
