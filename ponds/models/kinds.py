"""The kinds kept, and their breeding figures."""

from __future__ import annotations

from django.db import models

from ponds.models.append_only import NeverChanged
from ponds.names import name_key


class Kind(models.Model):
    """A species or subspecies kept, with its ratio target and band; its figures are `KindFigure` rows."""

    code = models.SlugField(max_length=40, unique=True)
    common_name = models.CharField(max_length=80)
    scientific_name = models.CharField(max_length=120, blank=True)
    name_key = models.CharField(max_length=80, unique=True, editable=False)
    marginals_a_side = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        help_text="Marginal scutes on each side; empty where there are none (softshells).",
    )
    target = models.FloatField(default=3.0, help_text="Females per male.")
    band_low = models.FloatField(default=2.5)
    band_high = models.FloatField(default=4.5)
    space_a_head = models.FloatField(
        default=1.0, help_text="How much of a pond's head limit one adult takes; 1 for a slider."
    )
    listing = models.CharField(
        max_length=120, blank=True, help_text="Protection that asks for papers, such as CITES App. II."
    )
    listing_source = models.CharField(max_length=200, blank=True)
    not_with = models.ManyToManyField("self", blank=True, symmetrical=True)
    note = models.TextField(blank=True, max_length=4000)

    never_deleted = True

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(band_low__gt=0)
                & models.Q(band_low__lte=models.F("target"))
                & models.Q(target__lte=models.F("band_high")),
                name="ponds_kind_band_in_order",
                violation_error_message="The band must hold the target: low, then target, then high, all above 0.",
            ),
            models.CheckConstraint(
                condition=models.Q(space_a_head__gt=0),
                name="ponds_kind_space_positive",
                violation_error_message="Space a head must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return self.common_name

    def save(self, *args, **kwargs):
        self.name_key = name_key(self.common_name)
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise NeverChanged(f"{self.common_name} is never deleted: moves and nests name it.")


class KindFigure(models.Model):
    """One breeding figure of a kind: low and high are the 5 % and 95 % points, each figure with a source.

    `low`, `expected` and `high` are in the figure's own unit: shares 0 to 1, nests a season, eggs a nest,
    days, millikelvin. What was typed is kept beside them.
    """

    class Name(models.TextChoices):
        LAYING_SHARE = "LAYING_SHARE", "Share of females laying in a season"
        NESTS = "NESTS", "Nests a laying female a season"
        EGGS = "EGGS", "Eggs a nest"
        HATCH_SHARE = "HATCH_SHARE", "Share of eggs that hatch"
        INCUBATION_TEMPERATURE = "INCUBATION_TEMPERATURE", "Incubation temperature"
        INCUBATION_DAYS = "INCUBATION_DAYS", "Days of incubation"
        SURVIVAL = "SURVIVAL", "Adults surviving a year"

    kind = models.ForeignKey(Kind, on_delete=models.CASCADE, related_name="figures")
    name = models.CharField(max_length=24, choices=Name)
    low = models.FloatField()
    expected = models.FloatField()
    high = models.FloatField()
    low_typed = models.CharField(max_length=20)
    expected_typed = models.CharField(max_length=20)
    high_typed = models.CharField(max_length=20)
    unit_typed = models.CharField(max_length=12, blank=True)
    source = models.CharField(max_length=300)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="ponds_kindfigure_once"),
            models.CheckConstraint(
                condition=models.Q(low__lte=models.F("expected")) & models.Q(expected__lte=models.F("high")),
                name="ponds_kindfigure_in_order",
                violation_error_message="Low, expected and high must rise in that order.",
            ),
            models.CheckConstraint(
                condition=models.Q(low__gte=0),
                name="ponds_kindfigure_not_negative",
                violation_error_message="A figure cannot be below 0.",
            ),
            models.CheckConstraint(
                condition=~models.Q(name__in=["LAYING_SHARE", "HATCH_SHARE", "SURVIVAL"])
                | models.Q(high__lte=1),
                name="ponds_kindfigure_share_at_most_one",
                violation_error_message="A share is at most 1 (100 %).",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.low_typed} - {self.expected_typed} - {self.high_typed}"
