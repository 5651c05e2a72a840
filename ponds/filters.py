"""The filters of this app's lists."""

from __future__ import annotations

import datetime as dt

import django_filters as filters
from django.db.models import Min, QuerySet

from ponds.farm import the_farm
from ponds.models import Kind, NestDay, Pond, PondState
from ponds.seasons import Season, season_of, seasons_between
from ponds.svg_marks import day_text

NOT_KNOWN = "not-known"
RETIRED = "RETIRED"


class KindFilter(filters.FilterSet):
    listed = filters.ChoiceFilter(
        label="Listing",
        method="by_listing",
        choices=[("yes", "listed"), ("no", "not listed")],
        empty_label="any",
    )

    class Meta:
        model = Kind
        fields: tuple[str, ...] = ()

    def by_listing(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return rows.filter(listing="") if value == "no" else rows.exclude(listing="")


class PondSettingsFilter(filters.FilterSet):
    state = filters.ChoiceFilter(
        label="Used as",
        method="by_state",
        choices=[*PondState.State.choices, (RETIRED, "retired")],
        empty_label="any",
    )

    class Meta:
        model = Pond
        fields: tuple[str, ...] = ()

    def by_state(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        if value == RETIRED:
            return rows.exclude(retired_on=None)
        return rows.filter(retired_on=None, state_now=value)


class NestFilter(filters.FilterSet):
    pond = filters.ModelChoiceFilter(
        queryset=Pond.objects.in_letter_order(), to_field_name="code", empty_label="any", label="Pond"
    )
    kind = filters.ChoiceFilter(label="Kind", method="by_kind", empty_label="any")
    season = filters.ChoiceFilter(label="Season", method="by_season", empty_label="any")

    class Meta:
        model = NestDay
        fields: tuple[str, ...] = ()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        kinds = Kind.objects.order_by("name_key").values_list("code", "common_name")
        self.filters["kind"].extra["choices"] = [*kinds, (NOT_KNOWN, "not known")]
        self.filters["season"].extra["choices"] = [
            (str(season.year), f"{season.year} (from {day_text(season.starts_on)})") for season in _seasons()
        ]

    def by_kind(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        return rows.filter(kind=None) if value == NOT_KNOWN else rows.filter(kind__code=value)

    def by_season(self, rows: QuerySet, name: str, value: str) -> QuerySet:
        season = Season(int(value))
        return rows.filter(dug_on__range=(season.starts_on, season.ends_on))


def _seasons() -> list[Season]:
    """Return the seasons from the first nest in the book to today."""
    today: dt.date = the_farm().today()
    earliest = NestDay.objects.aggregate(earliest=Min("dug_on"))["earliest"] or today
    return seasons_between(earliest, today) or [season_of(today)]
