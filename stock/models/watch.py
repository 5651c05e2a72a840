"""What the watch pointed to and an owner has looked into."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, Pond


class WatchNote(AppendOnlyModel):
    """
    That an owner looked into a signal, and what was found.

    ``subject`` tells signals of one pond and kind apart, such as "deaths females"; ``excess`` is how many heads
    it was about then: the signal is not shown again until it grows, or a year is over.
    """

    key = models.UUIDField(unique=True)
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="watch_notes")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    subject = models.CharField(max_length=60)
    excess = models.FloatField()
    sentence = models.TextField(help_text="What the watch said then.")
    note = models.CharField(max_length=500)
    noted_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["-noted_on", "-id"], name="stock_watchnote_newest")]
        constraints = [models.CheckConstraint(condition=~Q(note=""), name="stock_watchnote_says")]

    def __str__(self) -> str:
        return self.note
