"""Head counts accepted: what was known to stand in a pond on a day, and how well."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, AppendOnlyQuerySet, Kind, Pond
from stock.models.hauls import Haul
from stock.models.moves import Move
from stock.models.surveys import Survey


class CountQuerySet(AppendOnlyQuerySet):
    """Head counts."""

    def standing(self) -> CountQuerySet:
        """Return those that stand: a count falls when it, its own move, or a haul it was read from is taken back."""
        fallen = CountHaul.objects.filter(count=OuterRef("pk"), haul__move__reversed_by__isnull=False)
        return self.filter(~Exists(fallen), reversed_by=None, move__reversed_by=None)


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
    survey = models.ForeignKey(Survey, null=True, on_delete=models.PROTECT, related_name="counts")
    method = models.CharField(
        max_length=20, blank=True, help_text="How the survey was read; none for an opening."
    )
    method_reason = models.CharField(
        max_length=300, blank=True, help_text="Why another method than the one the survey's form asks for."
    )
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

    objects = CountQuerySet.as_manager()

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


class CountHaul(AppendOnlyModel):
    """A haul that a count was read from, as the survey stood when the count was accepted."""

    count = models.ForeignKey(Count, on_delete=models.PROTECT, related_name="evidence")
    haul = models.ForeignKey(Haul, on_delete=models.PROTECT, related_name="counted_in")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["count", "haul"], name="stock_counthaul_once")]

    def __str__(self) -> str:
        return f"haul {self.haul_id} in count {self.count_id}"


class CountReversal(AppendOnlyModel):
    """A count taken back, once and with a reason; the move by which it reset the book is reversed with it."""

    count = models.OneToOneField(Count, on_delete=models.PROTECT, related_name="reversed_by")
    key = models.UUIDField(unique=True)
    content_sha256 = models.CharField(max_length=64)
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    def __str__(self) -> str:
        return f"count {self.count_id} taken back"
