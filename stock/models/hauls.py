"""What a haul brought: the sample behind every later estimate."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from ponds.models import AppendOnlyModel, Kind, Pond
from stock.models.cells import HeadClass
from stock.models.moves import Move


class Haul(AppendOnlyModel):
    """One drawing of the seine, round of traps, or drain-down, in one pond.

    It stands as long as its move is not reversed; a haul of which everything went back has a move without
    entries.
    """

    class Method(models.TextChoices):
        SEINE = "SEINE", "seine"
        TRAPS = "TRAPS", "traps"
        DRAIN_DOWN = "DRAIN_DOWN", "drain-down"

    move = models.OneToOneField(Move, on_delete=models.PROTECT, related_name="haul")
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="hauls")
    happened_on = models.DateField()
    method = models.CharField(max_length=10, choices=Method)
    effort = models.FloatField(null=True, blank=True, help_text="Net drags, or trap-nights.")
    effort_typed = models.CharField(max_length=20, blank=True)
    water_mk = models.IntegerField(null=True, blank=True, help_text="Water temperature in millikelvin.")
    water_typed = models.CharField(max_length=20, blank=True)
    water_unit = models.CharField(max_length=1, blank=True)
    is_held_out = models.BooleanField(default=False, help_text="The catch was held out until the last haul.")
    is_complete = models.BooleanField(default=False, help_text="Drained to the last head.")

    class Meta:
        indexes = [
            models.Index(fields=["pond", "-happened_on", "-id"], name="stock_haul_pond_newest"),
            models.Index(fields=["-happened_on", "-id"], name="stock_haul_newest_day"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(method__in=["SEINE", "TRAPS", "DRAIN_DOWN"]), name="stock_haul_method"
            ),
            models.CheckConstraint(
                condition=Q(effort=None) | Q(effort__gt=0), name="stock_haul_effort_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} on {self.happened_on:%Y-%m-%d}"


class HaulLine(AppendOnlyModel):
    """The catch of one kind and class in a haul."""

    haul = models.ForeignKey(Haul, on_delete=models.PROTECT, related_name="lines")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    of_class = models.CharField("class", max_length=8, choices=HeadClass)
    caught = models.PositiveIntegerField()
    carrying_marks = models.PositiveIntegerField(null=True, help_text="Empty: nobody looked; 0: none did.")
    newly_marked = models.PositiveIntegerField(default=0)
    dead_in_net = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["haul", "kind", "of_class"], name="stock_haulline_once"),
            models.CheckConstraint(
                condition=Q(of_class__in=HeadClass.values), name="stock_haulline_class_known"
            ),
            models.CheckConstraint(
                condition=Q(carrying_marks__lte=F("caught")), name="stock_haulline_marks_within_catch"
            ),
            models.CheckConstraint(
                condition=Q(dead_in_net__lte=F("caught")), name="stock_haulline_dead_within_catch"
            ),
            models.CheckConstraint(
                condition=Q(newly_marked__lte=F("caught") - Coalesce(F("carrying_marks"), 0)),
                name="stock_haulline_new_marks_within_catch",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.caught} caught"
