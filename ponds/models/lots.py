"""Egg lots: what was set, in which baskets, and what became of it.

Every row is written once. A mistake is mended by a row that replaces the wrong one, or by one that takes it
back (`is_void`). Whatever belongs to a lot points at the row that first named its code, and what belongs to a
basket at the row that first named its number, so that a mended lot or basket keeps all that was counted.
"""

from __future__ import annotations

from django.db import models

from ponds.models.append_only import MendedModel, void_replaces
from ponds.models.kinds import Kind
from ponds.models.places import Farm, Pond
from ponds.svg_marks import day_text


class EggLot(MendedModel):
    """Eggs of one kind set together; the code is never used again."""

    code = models.CharField(max_length=20)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="egg_lots")
    set_on = models.DateField()
    incubator = models.CharField(max_length=60, blank=True, help_text="Incubator, room or shelf.")
    temperature_mk = models.PositiveIntegerField(null=True, blank=True)
    temperature_typed = models.CharField(max_length=20, blank=True)
    temperature_unit = models.CharField(max_length=1, choices=Farm.TemperatureUnit, blank=True)

    class Meta:
        indexes = [models.Index(fields=["code"], name="ponds_egglot_code")]
        constraints = [
            models.UniqueConstraint(
                fields=["code"], condition=models.Q(replaces=None), name="ponds_egglot_code_once"
            ),
            models.CheckConstraint(
                condition=models.Q(temperature_mk=None)
                | (models.Q(temperature_mk__gt=0) & ~models.Q(temperature_typed="")),
                name="ponds_egglot_temperature_as_typed",
            ),
            void_replaces("ponds_egglot_void_replaces"),
        ]

    def __str__(self) -> str:
        return f"lot {self.code}"


class Basket(MendedModel):
    """Eggs of one pond, dug on one day, in one basket of a lot; two baskets stand in a container."""

    lot = models.ForeignKey(EggLot, on_delete=models.PROTECT, related_name="baskets")
    number = models.PositiveSmallIntegerField()
    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="baskets")
    dug_on = models.DateField()
    eggs = models.PositiveIntegerField()
    container = models.PositiveSmallIntegerField()

    class Meta:
        indexes = [models.Index(fields=["pond", "dug_on"], name="ponds_basket_pond_day")]
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "number"], condition=models.Q(replaces=None), name="ponds_basket_number_once"
            ),
            models.CheckConstraint(
                condition=models.Q(is_void=True) | models.Q(eggs__gte=1), name="ponds_basket_holds_eggs"
            ),
            models.CheckConstraint(
                condition=models.Q(number__gte=1) & models.Q(container__gte=1), name="ponds_basket_from_one"
            ),
            void_replaces("ponds_basket_void_replaces"),
        ]

    def __str__(self) -> str:
        return f"basket {self.number}"


class Candling(MendedModel):
    """What candling found on one day and was taken out: clear eggs and dead ones; `basket` None: the whole lot."""

    lot = models.ForeignKey(EggLot, on_delete=models.PROTECT, related_name="candlings")
    basket = models.ForeignKey(
        Basket, null=True, blank=True, on_delete=models.PROTECT, related_name="candlings"
    )
    candled_on = models.DateField()
    clear = models.PositiveIntegerField()
    dead = models.PositiveIntegerField()

    class Meta:
        constraints = [void_replaces("ponds_candling_void_replaces")]

    def __str__(self) -> str:
        return f"{self.clear} clear, {self.dead} dead on {day_text(self.candled_on)}"


class Hatch(MendedModel):
    """What came of the eggs still in on one day; `is_last` says that nothing is left; `basket` None: the whole lot."""

    lot = models.ForeignKey(EggLot, on_delete=models.PROTECT, related_name="hatches")
    basket = models.ForeignKey(
        Basket, null=True, blank=True, on_delete=models.PROTECT, related_name="hatches"
    )
    hatched_on = models.DateField()
    hatched = models.PositiveIntegerField()
    clear = models.PositiveIntegerField(default=0)
    dead = models.PositiveIntegerField(default=0)
    is_last = models.BooleanField(default=False)

    class Meta:
        verbose_name_plural = "hatches"
        constraints = [void_replaces("ponds_hatch_void_replaces")]

    def __str__(self) -> str:
        return f"{self.hatched} hatched, {self.clear} clear, {self.dead} dead on {day_text(self.hatched_on)}"


class EggTemperature(MendedModel):
    """A temperature read beside the eggs of a lot, which may differ from the room's."""

    lot = models.ForeignKey(EggLot, on_delete=models.PROTECT, related_name="temperatures")
    measured_on = models.DateField()
    temperature_mk = models.PositiveIntegerField()
    temperature_typed = models.CharField(max_length=20)
    temperature_unit = models.CharField(max_length=1, choices=Farm.TemperatureUnit)
    probe = models.CharField(max_length=80, blank=True, help_text="Where the probe lay.")

    class Meta:
        constraints = [void_replaces("ponds_eggtemperature_void_replaces")]

    def __str__(self) -> str:
        return f"{self.temperature_typed} °{self.temperature_unit} on {day_text(self.measured_on)}"
