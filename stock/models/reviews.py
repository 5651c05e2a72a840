"""The monthly review: that a pond was looked at, what was decided and why, and who signed."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Pond


class PondReview(AppendOnlyModel):
    """One pond's month, signed. Signed again, the newest holds and the older ones stay to be read."""

    key = models.UUIDField(unique=True)
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="reviews")
    month = models.DateField(help_text="Its first day.")
    words = models.TextField(blank=True, help_text="What was decided, and why.")
    figures = models.JSONField(
        null=True,
        help_text="The standing that was signed, by code of kind; null of what was signed before this.",
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["month", "pond", "-id"], name="stock_pondreview_newest")]

    def __str__(self) -> str:
        return f"{self.month:%B %Y} signed"
