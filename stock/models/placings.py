"""Placings that were saved: how many new females were to go to which pond, on what grounds, and what became of it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, Pond
from stock.models.tasks import Task


class SavedPlacing(AppendOnlyModel):
    """
    A placing as it was saved, with all it rested on.

    ``heads`` is how many were asked about; its stops may hold fewer. ``grounds`` is what
    `stock.placing_grounds.grounds_of` wrote: the ponds as they stood, the figures, the draws and their seed.
    """

    key = models.UUIDField(unique=True)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    source = models.ForeignKey(
        Pond,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The pond they stand in; none where they are not on the farm yet.",
    )
    heads = models.PositiveIntegerField()
    is_by_hand = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)
    grounds = models.JSONField()
    saved_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["-saved_on", "-id"], name="stock_savedplacing_newest")]
        constraints = [models.CheckConstraint(condition=Q(heads__gt=0), name="stock_savedplacing_heads")]

    def __str__(self) -> str:
        return f"placing of {self.saved_on} by {self.by_name}"


class PlacingStop(AppendOnlyModel):
    """One pond of a saved placing: the heads that go there, and what the best placing gave it."""

    placing = models.ForeignKey(SavedPlacing, on_delete=models.PROTECT, related_name="stops")
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="+")
    heads = models.PositiveIntegerField()
    best = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["placing", "pond"], name="stock_placingstop_once"),
            models.CheckConstraint(condition=Q(heads__gt=0), name="stock_placingstop_heads"),
        ]

    def __str__(self) -> str:
        return f"{self.heads} heads"


class PlacingTask(AppendOnlyModel):
    """A task made for a stop. One that was dropped may be followed by another for what is left."""

    stop = models.ForeignKey(PlacingStop, on_delete=models.PROTECT, related_name="tasks")
    task = models.OneToOneField(Task, on_delete=models.PROTECT, related_name="placing_stop")

    def __str__(self) -> str:
        return f"task {self.task_id} of stop {self.stop_id}"


class PlacingEnd(AppendOnlyModel):
    """That a saved placing is not carried out any further: cancelled for a reason, or another took its place."""

    placing = models.OneToOneField(SavedPlacing, on_delete=models.PROTECT, related_name="end")
    why = models.CharField(max_length=300)
    replaced_by = models.ForeignKey(
        SavedPlacing, null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    def __str__(self) -> str:
        return self.why
