"""The nest book: nests dug, eggs picked, and single clutches."""

from __future__ import annotations

from django.db import models

from ponds.models.append_only import AppendOnlyModel, MendedModel, void_replaces
from ponds.models.kinds import Kind
from ponds.models.places import Pond
from ponds.nest_checks import nests_text
from ponds.svg_marks import day_text


class NestDay(MendedModel):
    """The nest book: nests dug and eggs picked in one pond, of one kind (or kind not known), on one day.

    A mistake is mended by a new row that replaces the old one; `is_void` replaces it with nothing.
    """

    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="nest_days")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, null=True, blank=True, related_name="nest_days")
    dug_on = models.DateField()
    nests = models.PositiveIntegerField()
    eggs = models.PositiveIntegerField(null=True, blank=True)
    broken = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["pond", "dug_on"], name="ponds_nestday_pond_day")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(broken=None) | models.Q(eggs__gte=models.F("broken")),
                name="ponds_nestday_broken_within_eggs",
                violation_error_message="Broken eggs are part of the eggs picked, so they cannot be more.",
            ),
            void_replaces("ponds_nestday_void_replaces"),
        ]

    def __str__(self) -> str:
        return f"{nests_text(self.nests)} on {day_text(self.dug_on)}"


class Clutch(AppendOnlyModel):
    """One opened nest of a nest-book row whose eggs were counted by themselves."""

    nest_day = models.ForeignKey(NestDay, on_delete=models.PROTECT, related_name="clutches")
    eggs = models.PositiveIntegerField()
    broken = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "clutches"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(broken__lte=models.F("eggs")), name="ponds_clutch_broken_within_eggs"
            ),
        ]

    def __str__(self) -> str:
        return f"clutch of {self.eggs}"
