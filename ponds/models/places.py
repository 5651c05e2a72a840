"""The farm, its ponds and what each is used as."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.db.models.functions import Length, Now
from django.utils import timezone

from ponds.models.append_only import AppendOnlyModel, NeverChanged
from ponds.models.kinds import Kind
from ponds.svg_marks import day_text


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
    published_weight = models.FloatField(
        "weight of the published ranges",
        null=True,
        blank=True,
        help_text="Seasons of one pond that they count as much as; by their own width where none is given.",
    )
    is_demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(only=True), name="ponds_farm_only_one"),
            models.CheckConstraint(
                condition=models.Q(published_weight=None) | models.Q(published_weight__gt=0),
                name="ponds_farm_published_weight_positive",
                violation_error_message="The weight of the published ranges must be above 0.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def tzinfo(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    def today(self, at: dt.datetime | None = None) -> dt.date:
        """Return the farm's own calendar day at an instant (now, unless one is given)."""
        return timezone.localdate(at, timezone=self.tzinfo)


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
        return f"{self.get_state_display()} from {day_text(self.from_on)}"
