"""Head counts accepted: what was known to stand in a pond on a day, and how well."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, Pond
from stock.models.hauls import Haul
from stock.models.moves import Move


class Count(AppendOnlyModel):
    """A head count of one pond and kind with its standard error; an opening is the first one.

    A class that was not counted is left empty, which is not the same as 0.
    """

    class HowKnown(models.TextChoices):
        DRAINED = "DRAINED", "drained"
        SEINED = "SEINED", "seined"
        NOTEBOOK = "NOTEBOOK", "from the notebook"
        GUESS = "GUESS", "a guess"

    key = models.UUIDField(unique=True)
    content_sha256 = models.CharField(max_length=64)
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="counts")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    as_of = models.DateField()
    how_known = models.CharField(max_length=8, choices=HowKnown)
    females = models.FloatField(null=True)
    females_se = models.FloatField(null=True)
    males = models.FloatField(null=True)
    males_se = models.FloatField(null=True)
    covariance = models.FloatField(default=0.0, help_text="Of females and males, heads squared.")
    unsexed = models.FloatField(null=True)
    unsexed_se = models.FloatField(null=True)
    juveniles = models.FloatField(null=True)
    juveniles_se = models.FloatField(null=True)
    haul = models.ForeignKey(Haul, null=True, on_delete=models.PROTECT, related_name="counts")
    move = models.ForeignKey(
        Move,
        null=True,
        on_delete=models.PROTECT,
        related_name="counts",
        help_text="The move that reset the book.",
    )
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["pond", "kind", "-as_of", "-id"], name="stock_count_newest")]
        constraints = [
            models.CheckConstraint(
                condition=Q(how_known__in=["DRAINED", "SEINED", "NOTEBOOK", "GUESS"]),
                name="stock_count_how_known",
            ),
            models.CheckConstraint(
                condition=(Q(females=None) | Q(females__gte=0))
                & (Q(males=None) | Q(males__gte=0))
                & (Q(unsexed=None) | Q(unsexed__gte=0))
                & (Q(juveniles=None) | Q(juveniles__gte=0)),
                name="stock_count_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"count as of {self.as_of:%Y-%m-%d}"
