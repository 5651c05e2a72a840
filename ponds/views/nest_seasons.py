"""The nest book summed: by week and season, and the season so far, drawn."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from ponds.charts import Chart, Series, figure_text, line_chart, sparkline
from ponds.computed_lists import ComputedListPage
from ponds.farm import the_farm
from ponds.models import Kind
from ponds.nest_totals import (
    SEASON,
    WEEK,
    NestTotal,
    PondSeason,
    SeasonSoFar,
    season_so_far,
    seasons_in_book,
    totals,
)
from ponds.nest_totals_list import EVERY, TotalsFilterForm, TotalsTable
from ponds.roles import SignedRequest
from ponds.seasons import Season, season_of

NOT_KNOWN = "not-known"


class NestTotals(ComputedListPage):
    """Sums by week or by season, of each pond or of all together."""

    table_class = TotalsTable
    filter_form_class = TotalsFilterForm
    template_name = "ponds/nest_totals.html"
    export_name = "nest-totals"
    search_label = "Pond or kind"

    def get_rows(self) -> list[NestTotal]:
        asked = self.request.GET
        self.seasons = seasons_in_book()
        by = SEASON if asked.get("by") == SEASON else WEEK
        season = asked.get("season", "")
        newest = self.seasons[0] if self.seasons and by == WEEK and season != EVERY else None
        known = season.isdecimal() and len(season) < 5 and int(season) in self.seasons
        return totals(by=by, season=int(season) if known else newest, each_pond=asked.get("ponds") == EVERY)

    def words_of(self, row: NestTotal) -> str:
        return f"pond {row.pond} {row.kind}"

    def get_filter_form(self, rows: list[NestTotal]) -> TotalsFilterForm:
        kinds = sorted({row.kind for row in rows})
        asked = self.request.GET.get("kind", "")
        names = [*kinds, *([asked] if asked and asked not in kinds and _is_kind(asked) else [])]
        return TotalsFilterForm(self.request.GET, seasons=self.seasons, kinds=names)


def _is_kind(name: str) -> bool:
    return Kind.objects.filter(common_name=name).exists()


@dataclass(frozen=True)
class PondLine:
    """A pond's row of the season's page, with its small picture."""

    held: PondSeason
    spark: Chart


@require_safe
def nest_season(request: SignedRequest) -> HttpResponse:
    """Draw what a season has given so far, by week, beside the season before."""
    today = the_farm().today()
    seasons = seasons_in_book() or [season_of(today).year]
    asked = request.GET.get("season", "")
    chosen = Season(int(asked) if asked in {str(year) for year in seasons} else seasons[0])
    kinds = list(Kind.objects.filter(nest_days__isnull=False).distinct().order_by("name_key"))
    kind = request.GET.get("kind", "")
    code = {NOT_KNOWN: "", "": None}.get(kind, kind if kind in {one.code for one in kinds} else None)
    found = season_so_far(chosen, today=today, kind=code)
    pond = request.GET.get("pond", "").upper()
    one = next((held for held in found.ponds if held.pond == pond), None)
    context: dict[str, Any] = {
        "found": found,
        "seasons": seasons,
        "kinds": kinds,
        "kind": kind,
        "not_known": NOT_KNOWN,
        "one": one,
        "shown": one or found.farm,
        "chart": season_chart(found, one or found.farm),
        "lines": [PondLine(held, _spark(found, held)) for held in found.ponds],
        "query": _query(chosen, kind),
    }
    return render(request, "ponds/nest_season.html", context)


def season_chart(found: SeasonSoFar, held: PondSeason) -> Chart:
    """Draw nests by week of a season beside the one before; weeks to come are gaps."""
    of = f"Pond {held.pond}" if held.pond else "All ponds"
    last_week = found.season.week_of(found.last_on)
    now = tuple(held.by_week.get(week, 0) if week <= last_week else None for week in found.weeks)
    before = tuple(held.before_by_week.get(week, 0) for week in found.weeks)
    series = [Series(str(found.season.year), now), Series(str(found.season.year - 1), before)]
    if not held.before_by_week:
        series.pop()
    return line_chart(
        f"{of}: nests by week",
        [_day(found.starts_on(week)) for week in found.weeks],
        series,
        unit="nests",
        summary=_summary(found, held),
    )


def _summary(found: SeasonSoFar, held: PondSeason) -> str:
    weeks = [(nests, week) for week, nests in held.by_week.items() if nests]
    if not weeks:
        return f"No nests in season {found.season.year} yet."
    most, week = max(weeks)
    words = (
        f"{figure_text(held.nests)} nests by {_day(found.last_on)}; the most, {figure_text(most)}, in the week from "
        f"{_day(found.starts_on(week))}."
    )
    if held.before_by_week:
        words += f" The season before had {figure_text(held.nests_before)} by the same day."
    return words


def _spark(found: SeasonSoFar, held: PondSeason) -> Chart:
    last_week = found.season.week_of(found.last_on)
    weeks = [week for week in found.weeks if week <= last_week]
    return sparkline(
        f"Pond {held.pond}: nests by week",
        [_day(found.starts_on(week)) for week in weeks],
        [held.by_week.get(week, 0) for week in weeks],
        unit="nests",
    )


def _query(season: Season, kind: str) -> str:
    return f"season={season.year}" + (f"&kind={kind}" if kind else "")


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"
