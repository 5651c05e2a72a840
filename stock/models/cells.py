"""Where heads are counted: cells, and what the posting stores of them at each month's end."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, Pond


class HeadClass(models.TextChoices):
    FEMALE = "FEMALE", "female"
    MALE = "MALE", "male"
    UNSEXED = "UNSEXED", "unsexed"
    JUVENILE = "JUVENILE", "juvenile"


class Outside(models.TextChoices):
    """Where heads come from and go to beyond the ponds."""

    OPENING = "OPENING", "opening"
    BOUGHT = "BOUGHT", "bought"
    RAISED = "RAISED", "raised"
    WILD = "WILD", "wild"
    DIED = "DIED", "died"
    SOLD = "SOLD", "sold"
    CULLED = "CULLED", "culled"
    ESCAPED = "ESCAPED", "escaped"
    UNSEEN = "UNSEEN", "unseen"


class Cell(models.Model):
    """One place, kind and class. The place is a pond or an outside place, never both."""

    pond = models.ForeignKey(Pond, null=True, on_delete=models.PROTECT, related_name="cells")
    outside = models.CharField(max_length=10, blank=True, choices=Outside)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="cells")
    of_class = models.CharField("class", max_length=8, choices=HeadClass)

    append_only = True

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["pond", "kind", "of_class"],
                condition=Q(pond__isnull=False),
                name="stock_cell_one_a_pond",
            ),
            models.UniqueConstraint(
                fields=["outside", "kind", "of_class"],
                condition=Q(pond__isnull=True),
                name="stock_cell_one_outside",
            ),
            models.CheckConstraint(
                condition=(Q(pond__isnull=True) & Q(outside__in=Outside.values))
                | (Q(pond__isnull=False) & Q(outside="")),
                name="stock_cell_pond_or_outside",
            ),
            models.CheckConstraint(condition=Q(of_class__in=HeadClass.values), name="stock_cell_class_known"),
        ]

    def __str__(self) -> str:
        return f"cell {self.pk}"


class MonthEnd(models.Model):
    """What a cell held at a month's end, kept by the posting itself; only months with entries have a row.

    `lowest` is the lowest close of day within the month and `lowest_unmarked` the same of heads less marked
    heads, so that a back-dated posting is checked against every later day without reading those days.
    """

    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="month_ends")
    month = models.DateField(help_text="The month's first day.")
    is_pond = models.BooleanField()
    heads = models.IntegerField()
    lowest = models.IntegerField()
    marked = models.IntegerField(default=0)
    lowest_unmarked = models.IntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["cell", "month"], name="stock_monthend_once"),
            models.CheckConstraint(
                condition=Q(is_pond=False) | (Q(lowest__gte=0) & Q(heads__gte=0)),
                name="stock_monthend_not_below_zero",
            ),
            models.CheckConstraint(
                condition=Q(is_pond=False) | Q(lowest_unmarked__gte=0),
                name="stock_monthend_marks_within_heads",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.heads} at the end of {self.month:%Y-%m}"


class MonthClose(AppendOnlyModel):
    """The farm-wide lock of a month. There is no reopening: late facts are booked on the first open day."""

    month = models.DateField(unique=True, help_text="The month's first day.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    closed_at = models.DateTimeField(db_default=Now(), editable=False)
    note = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.month:%Y-%m} closed"


class StockMix(models.Model):
    """Of a cell at a month's end: its heads by batch and by the season they came into the pond.

    Computed, not booked; kept so that a page never replays the farm's life. `by_batch` maps a batch's id to
    [expected, at least, at most]; `by_season` maps a year to expected heads.
    """

    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="mixes")
    month = models.DateField()
    state = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["cell", "month"], name="stock_stockmix_once")]
        indexes = [models.Index(fields=["month"], name="stock_stockmix_month")]

    def __str__(self) -> str:
        return f"mix at the end of {self.month:%Y-%m}"


class KeptFlows(models.Model):
    """Of a month that is over: the heads that really came and went, by pond, kind, class and the animals' day.

    Computed from the entries, kept so that no page's cost grows with the moves (`stock/flows.py`); a posting
    drops the months it touches.
    """

    month = models.DateField(unique=True, help_text="The month's first day.")
    rows = models.BinaryField()

    def __str__(self) -> str:
        return f"flows of {self.month:%Y-%m}"
