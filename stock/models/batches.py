"""Heads that arrived together, and the papers of what came and went."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel


class Batch(AppendOnlyModel):
    """Heads that arrived together: the day, where from, and of which generation."""

    class Source(models.TextChoices):
        OPENING = "OPENING", "stood here when the register was opened"
        BOUGHT = "BOUGHT", "bought"
        RAISED = "RAISED", "raised on this farm"
        WILD = "WILD", "taken from the wild"

    class Generation(models.TextChoices):
        NOT_KNOWN = "NOT_KNOWN", "not known"
        WILD = "WILD", "wild"
        FIRST = "FIRST", "first generation raised"
        SECOND = "SECOND", "second generation or later"

    code = models.CharField(max_length=24, unique=True)
    source = models.CharField(max_length=8, choices=Source)
    arrived_on = models.DateField()
    party = models.CharField("seller or place", max_length=120, blank=True)
    generation = models.CharField(max_length=10, choices=Generation, default=Generation.NOT_KNOWN)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        verbose_name_plural = "batches"
        constraints = [
            models.CheckConstraint(
                condition=Q(source__in=["OPENING", "BOUGHT", "RAISED", "WILD"]),
                name="stock_batch_source_known",
            ),
            models.CheckConstraint(
                condition=Q(generation__in=["NOT_KNOWN", "WILD", "FIRST", "SECOND"]),
                name="stock_batch_generation_known",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Paper(AppendOnlyModel):
    """A document of what came (for a batch) or went (for a move). Added when it is there, never changed."""

    batch = models.ForeignKey(Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="papers")
    move = models.ForeignKey(
        "stock.Move", null=True, blank=True, on_delete=models.PROTECT, related_name="papers"
    )
    party = models.CharField("seller or buyer", max_length=120, blank=True)
    licence = models.CharField("their licence number", max_length=60, blank=True)
    document = models.CharField("document and number", max_length=120, blank=True)
    purpose = models.CharField(max_length=120, blank=True)
    disposal = models.CharField("means of disposal", max_length=120, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(batch__isnull=True) ^ Q(move__isnull=True),
                name="stock_paper_of_a_batch_or_a_move",
            ),
            models.CheckConstraint(
                condition=~Q(party="", licence="", document="", purpose="", disposal="", note=""),
                name="stock_paper_says_something",
                violation_error_message="A paper needs at least a party, a licence, a document or a note.",
            ),
        ]

    def __str__(self) -> str:
        return self.document or self.licence or self.party or self.note
