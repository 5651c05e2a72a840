"""Moves and their entries: the ledger itself. Only `stock/ledger.py` writes them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, AppendOnlyQuerySet, Pond
from stock.models.batches import Batch
from stock.models.cells import Cell


class Reason(models.TextChoices):
    """Why heads left one cell for another."""

    OPENING = "OPENING", "opening"
    BOUGHT = "BOUGHT", "bought"
    RAISED = "RAISED", "raised"
    WILD = "WILD", "from the wild"
    MOVED = "MOVED", "moved"
    SOLD = "SOLD", "sold"
    CULLED = "CULLED", "culled"
    DIED = "DIED", "died"
    ESCAPED = "ESCAPED", "escaped"
    SEXED = "SEXED", "sexed"
    MATURED = "MATURED", "matured"
    BEYOND_BOOK = "BEYOND_BOOK", "beyond the book"
    COUNT_RESET = "COUNT_RESET", "book reset to a count"


class Cause(models.TextChoices):
    """Short causes of a death; "not known" is allowed and common."""

    NOT_KNOWN = "NOT_KNOWN", "not known"
    DROWNED = "DROWNED", "drowned in the net"
    INJURY = "INJURY", "injury"
    BITES = "BITES", "bites"
    PREDATOR = "PREDATOR", "predator"
    DISEASE = "DISEASE", "looked sick"
    WEATHER = "WEATHER", "heat or cold"
    EGG_BOUND = "EGG_BOUND", "egg-bound"
    OTHER = "OTHER", "other, see note"


class Move(AppendOnlyModel):
    """One dated, signed posting with one key; its heads are in its entries.

    `happened_on` is the animal's day and `booked_on` the book's; they differ only where the month of the
    animal's day was closed already.
    """

    class MadeAs(models.TextChoices):
        OPENING = "OPENING", "opening"
        BANK = "BANK", "logged at the bank"
        OFFICE = "OFFICE", "office move"
        COUNT = "COUNT", "count accepted"
        REVERSAL = "REVERSAL", "reversal"

    key = models.UUIDField(unique=True)
    content_sha256 = models.CharField(max_length=64)
    made_as = models.CharField(max_length=8, choices=MadeAs)
    pond = models.ForeignKey(Pond, null=True, on_delete=models.PROTECT, related_name="moves_logged")
    happened_on = models.DateField()
    booked_on = models.DateField()
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    note = models.TextField(blank=True, max_length=2000)
    reverses = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="reversed_by")
    replaces = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="replaced_by")

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["-happened_on", "-id"], name="stock_move_newest_day"),
            models.Index(fields=["-recorded_at"], name="stock_move_newest_recorded"),
            models.Index(
                fields=["booked_on"], condition=Q(reverses__isnull=False), name="stock_move_taken_back"
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(booked_on__gte=F("happened_on")), name="stock_move_booked_not_before"
            ),
            models.CheckConstraint(
                condition=(Q(made_as="REVERSAL") & Q(reverses__isnull=False))
                | (~Q(made_as="REVERSAL") & Q(reverses__isnull=True)),
                name="stock_move_reversal_names_its_move",
            ),
            models.CheckConstraint(
                condition=Q(made_as__in=["OPENING", "BANK", "OFFICE", "COUNT", "REVERSAL"]),
                name="stock_move_made_as_known",
            ),
        ]

    def __str__(self) -> str:
        return f"move {self.key} of {self.happened_on:%Y-%m-%d}"


class Entry(AppendOnlyModel):
    """So many heads from one cell to another of the same kind. A balance is entries in less entries out."""

    move = models.ForeignKey(Move, on_delete=models.PROTECT, related_name="entries")
    line = models.PositiveSmallIntegerField()
    source = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="entries_out")
    target = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="entries_in")
    heads = models.PositiveIntegerField()
    reason = models.CharField(max_length=12, choices=Reason)
    cause = models.CharField(max_length=10, choices=Cause, blank=True)
    batch = models.ForeignKey(Batch, null=True, on_delete=models.PROTECT, related_name="entries")
    happened_on = models.DateField()
    booked_on = models.DateField()

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "entries"
        indexes = [
            models.Index(fields=["source", "booked_on"], name="stock_entry_out_booked"),
            models.Index(fields=["target", "booked_on"], name="stock_entry_in_booked"),
            models.Index(fields=["booked_on"], name="stock_entry_booked"),
            models.Index(fields=["reason", "happened_on"], name="stock_entry_reason_day"),
            models.Index(fields=["batch"], name="stock_entry_batch", condition=Q(batch__isnull=False)),
        ]
        constraints = [
            models.UniqueConstraint(fields=["move", "line"], name="stock_entry_line_once"),
            models.CheckConstraint(condition=Q(heads__gt=0), name="stock_entry_heads_positive"),
            models.CheckConstraint(condition=~Q(source=F("target")), name="stock_entry_two_cells"),
            models.CheckConstraint(condition=Q(reason__in=Reason.values), name="stock_entry_reason_known"),
            models.CheckConstraint(
                condition=Q(cause="") | Q(cause__in=Cause.values), name="stock_entry_cause_known"
            ),
            models.CheckConstraint(
                condition=Q(booked_on__gte=F("happened_on")), name="stock_entry_booked_not_before"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.heads} {self.reason.lower()}"
