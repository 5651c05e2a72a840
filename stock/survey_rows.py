"""Surveys as the lists read them: how many hauls, of which days, and whether a count was accepted."""

from __future__ import annotations

from django.db.models import Count as CountOf
from django.db.models import Exists, Max, Min, OuterRef, QuerySet

from stock.models import Count


def with_hauls(surveys: QuerySet) -> QuerySet:
    """Annotate `haul_count`, `first_on`, `last_on` and `is_accepted` (by a count that stands)."""
    accepted = Count.objects.standing().filter(survey=OuterRef("pk"))
    return surveys.select_related("pond").annotate(
        haul_count=CountOf("members"),
        first_on=Min("members__haul__happened_on"),
        last_on=Max("members__haul__happened_on"),
        is_accepted=Exists(accepted),
    )
