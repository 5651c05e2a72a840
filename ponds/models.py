"""The ground floor: the farm, its kinds, its ponds, and the nest book. Nothing here knows of stock."""

from __future__ import annotations

import datetime as dt
import uuid
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models.functions import Length, Now
from django.utils import timezone

from ponds.names import name_key


class NeverChanged(Exception):
    """A row that is never changed or deleted was asked to be; the message says what to do instead."""


class AppendOnlyQuerySet(models.QuerySet):
    """A QuerySet of rows that are only ever added. The trigger is the real guard; this one speaks sooner."""

    def update(self, **kwargs):
        raise NeverChanged(f"{self.model._meta.verbose_name} rows are never changed; add a new one.")

    def delete(self):
        raise NeverChanged(f"{self.model._meta.verbose_name} rows are never deleted; add a new one.")


class AppendOnlyModel(models.Model):
    """A row that is written once."""

    append_only = True

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise NeverChanged(f"A {self._meta.verbose_name} is never changed; add a new one.")
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise NeverChanged(f"A {self._meta.verbose_name} is never deleted; add a new one.")


class Farm(models.Model):
    """The one farm of this database: its identifiers, its time zone, the units it thinks in."""

    class AreaUnit(models.TextChoices):
        ACRE = "ACRE", "acres"
        HECTARE = "HECTARE", "hectares"
        SQUARE_METER = "SQUARE_METER", "square metres"

    class TemperatureUnit(models.TextChoices):
        FAHRENHEIT = "F", "°F"
        CELSIUS = "C", "°C"

    class LengthUnit(models.TextChoices):
        INCH = "INCH", "inches"
        MILLIMETER = "MM", "mm"

    only = models.BooleanField(default=True, unique=True, editable=False)
    name = models.CharField(max_length=80, default="My farm")
    code = models.CharField("farmer code", max_length=30, blank=True)
    licence = models.CharField("licence number", max_length=60, blank=True)
    licence_expires_on = models.DateField(null=True, blank=True)
    zone = models.CharField("time zone", max_length=60, default="America/Chicago")
    area_unit = models.CharField(max_length=12, choices=AreaUnit, default=AreaUnit.ACRE)
    temperature_unit = models.CharField(
        max_length=1, choices=TemperatureUnit, default=TemperatureUnit.FAHRENHEIT
    )
    length_unit = models.CharField(max_length=4, choices=LengthUnit, default=LengthUnit.INCH)
    is_demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(only=True), name="ponds_farm_only_one"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def tzinfo(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    def today(self, at: dt.datetime | None = None) -> dt.date:
        """Return the farm's own calendar day at an instant (now, unless one is given)."""
        return timezone.localdate(at, timezone=self.tzinfo)


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


class PondQuerySet(models.QuerySet):
    def in_letter_order(self) -> PondQuerySet:
        """Order A to Z, then AA, AB and on: the order of the map filed with the licence."""
        return self.order_by(Length("code"), "code")

    def not_retired(self) -> PondQuerySet:
        return self.filter(retired_on=None)


class Pond(models.Model):
    """A fenced water body with its nesting bank. Its code is a legal identifier: never changed or reused."""

    code = models.CharField(
        max_length=3,
        unique=True,
        validators=[
            RegexValidator(
                r"^[A-Z]{1,3}\Z", "A pond's code is one to three capital letters: A to Z, then AA."
            )
        ],
    )
    name = models.CharField(max_length=60, blank=True)
    opened_on = models.DateField()
    retired_on = models.DateField(null=True, blank=True)
    water_area_cm2 = models.BigIntegerField(null=True, blank=True)
    water_area_typed = models.CharField(max_length=24, blank=True)
    water_area_unit = models.CharField(max_length=12, blank=True, choices=Farm.AreaUnit)
    bank_area_cm2 = models.BigIntegerField(null=True, blank=True)
    bank_area_typed = models.CharField(max_length=24, blank=True)
    bank_area_unit = models.CharField(max_length=12, blank=True, choices=Farm.AreaUnit)
    head_limit = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="Most heads it should hold, counted as sliders; kinds weigh by their space.",
    )
    kinds_allowed = models.ManyToManyField(Kind, related_name="ponds_allowed", blank=True)
    note = models.TextField(blank=True, max_length=4000)

    objects = PondQuerySet.as_manager()
    never_deleted = True

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(retired_on=None) | models.Q(retired_on__gte=models.F("opened_on")),
                name="ponds_pond_retired_after_opened",
                violation_error_message="A pond cannot be retired before it was opened.",
            ),
            models.CheckConstraint(
                condition=models.Q(water_area_cm2=None) | models.Q(water_area_cm2__gt=0),
                name="ponds_pond_water_positive",
                violation_error_message="The water area must be above 0.",
            ),
            models.CheckConstraint(
                condition=models.Q(bank_area_cm2=None) | models.Q(bank_area_cm2__gt=0),
                name="ponds_pond_bank_positive",
                violation_error_message="The bank area must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return f"Pond {self.code}"

    def clean(self) -> None:
        before = Pond.objects.filter(pk=self.pk).values_list("code", flat=True).first() if self.pk else None
        if before and before != self.code:
            raise ValidationError(
                {"code": f"Pond {before} keeps its code for ever: papers and maps name it."}
            )

    def delete(self, *args, **kwargs):
        raise NeverChanged(
            f"Pond {self.code} is never deleted: its code is never used again. Retire it instead."
        )


class PondState(AppendOnlyModel):
    """What a pond is used as from a day on; the latest row on or before a day holds."""

    class State(models.TextChoices):
        IN_USE = "IN_USE", "in use"
        RESTING = "RESTING", "resting"
        QUARANTINE = "QUARANTINE", "quarantine"

    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="states")
    from_on = models.DateField()
    state = models.CharField(max_length=12, choices=State)
    ends_on = models.DateField(null=True, blank=True, help_text="Quarantine: the day it is due to end.")
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["pond", "from_on", "id"], name="ponds_state_on_a_day")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=["IN_USE", "RESTING", "QUARANTINE"]),
                name="ponds_pondstate_known",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_on=None) | models.Q(ends_on__gte=models.F("from_on")),
                name="ponds_pondstate_ends_after_start",
                violation_error_message="A state cannot end before it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_state_display()} from {self.from_on:%Y-%m-%d}"


class NestDayQuerySet(AppendOnlyQuerySet):
    def standing(self) -> NestDayQuerySet:
        """Rows that hold: those no later row has replaced, leaving out rows that only take one back."""
        return self.filter(replaced_by=None, is_void=False)


class NestDay(AppendOnlyModel):
    """The nest book: nests dug and eggs picked in one pond, of one kind (or kind not known), on one day.

    A mistake is mended by a new row that replaces the old one; `is_void` replaces it with nothing.
    """

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="nest_days")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, null=True, blank=True, related_name="nest_days")
    dug_on = models.DateField()
    nests = models.PositiveIntegerField()
    eggs = models.PositiveIntegerField(null=True, blank=True)
    broken = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    is_void = models.BooleanField(default=False)

    objects = NestDayQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["pond", "dug_on"], name="ponds_nestday_pond_day")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(broken=None) | models.Q(eggs__gte=models.F("broken")),
                name="ponds_nestday_broken_within_eggs",
                violation_error_message="Broken eggs are part of the eggs picked, so they cannot be more.",
            ),
            models.CheckConstraint(
                condition=models.Q(is_void=False) | models.Q(replaces__isnull=False),
                name="ponds_nestday_void_replaces",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.nests} nests on {self.dug_on:%Y-%m-%d}"


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
