"""Factories for places and people only; what the ledger and the nest book hold comes from their own doors."""

from __future__ import annotations

import datetime as dt

import factory
from django.contrib.auth.models import User

from ponds.models import Kind, KindFigure, Pond, PondState
from ponds.names import next_pond_code
from ponds.roles import give_role

FIGURES = {
    KindFigure.Name.LAYING_SHARE: ("0.4", "0.7", "0.95", "SHARE"),
    KindFigure.Name.NESTS: ("1", "2", "3.5", ""),
    KindFigure.Name.EGGS: ("6.5", "9", "11", ""),
    KindFigure.Name.HATCH_SHARE: ("0.7", "0.8", "0.9", "SHARE"),
    KindFigure.Name.INCUBATION_TEMPERATURE: ("81", "82", "83", "F"),
    KindFigure.Name.INCUBATION_DAYS: ("62", "67", "72", ""),
    KindFigure.Name.SURVIVAL: ("0.77", "0.9", "0.97", "SHARE"),
}


class KindFactory(factory.django.DjangoModelFactory):
    """A kind with a slider's figures; `figures=False` leaves those out."""

    class Meta:
        model = Kind
        skip_postgeneration_save = True

    code = factory.Sequence(lambda number: f"kind-{number}")
    common_name = factory.LazyAttribute(lambda kind: kind.code.replace("-", " ").capitalize())
    marginals_a_side = 12

    @factory.post_generation
    def figures(self, create, extracted, **kwargs):
        if not create or extracted is False:
            return
        from ponds.figures import read_range

        for name, (low, expected, high, unit) in FIGURES.items():
            found = read_range(name, low, expected, high, unit)
            KindFigure.objects.create(
                kind=self,
                name=name,
                low=found.low,
                expected=found.expected,
                high=found.high,
                low_typed=low,
                expected_typed=expected,
                high_typed=high,
                unit_typed=unit,
                source="assumption",
            )


class PondFactory(factory.django.DjangoModelFactory):
    """A pond with the next free code, in use since it opened; `kinds=[...]` says which may live in it."""

    class Meta:
        model = Pond
        skip_postgeneration_save = True

    code = factory.LazyFunction(lambda: next_pond_code(list(Pond.objects.values_list("code", flat=True))))
    opened_on = dt.date(2015, 1, 1)

    @factory.post_generation
    def kinds(self, create, extracted, **kwargs):
        if not create:
            return
        PondState.objects.create(pond=self, from_on=self.opened_on, state=PondState.State.IN_USE)
        if extracted:
            self.kinds_allowed.set(extracted)


class UserFactory(factory.django.DjangoModelFactory):
    """A person; `UserFactory(role="owner")` puts them into the group of that name."""

    class Meta:
        model = User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda number: f"person-{number}")

    @factory.post_generation
    def role(self, create, extracted, **kwargs):
        if create and extracted:
            give_role(self, extracted)
