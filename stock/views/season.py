"""Season: what each pond should give, what it has given, who falls behind, and what the hatchery must hold."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods, require_safe

from ponds.computed_lists import ComputedListPage
from ponds.farm import the_farm
from ponds.models import Kind, Pond
from ponds.nest_totals import seasons_in_book
from ponds.roles import OWNER, SignedRequest, for_owner, role_of
from ponds.seasons import Season, season_of
from ponds.svg_marks import figure_text
from ponds.views.answers import see_other, show_form
from stock import season_figures, season_pictures
from stock.advisor.hatchery import BASKETS_A_CONTAINER
from stock.charts import Chart
from stock.forms.season import EGGS_A_BASKET, SeasonForm, ShelfForm, WeightForm
from stock.links import link, task_link
from stock.season_now import KindSeason, PondSeason, SeasonNow, season_now
from stock.season_shelf import KindShelf, ShelfQuestion, ShelfWeek, shelf_of, weeks_of
from stock.tables.season import SeasonTable, ShelfTable
from stock.templatetags.stock_format import day as day_words

NEXT_OFFERED_FROM = 8
"""From August on the coming season is offered: nearly all of the running one is dug by then."""


@dataclass(frozen=True)
class KindPart:
    """A kind of the season with its pictures."""

    kind: KindSeason
    weeks: Chart | None
    ponds: Chart | None


@dataclass(frozen=True)
class BehindLine:
    """A pond that falls behind, with where to look and what to do."""

    pond: PondSeason
    sentence: str
    url: str
    task_url: str


class _OfSeason(ComputedListPage):
    """What the season's lists share: which season is read, on which day."""

    def read_season(self) -> SeasonNow:
        self.farm = the_farm()
        self.today = self.farm.today()
        self.seasons = offered(self.today)
        asked = SeasonForm(self.request.GET, seasons=self.seasons, kinds=(), today=self.today)
        asked.is_valid()
        self.asked = asked
        self.found = chosen_season(asked.cleaned_data, self.today)
        self.kinds = [(kind.kind.code, kind.kind.name) for kind in self.found.kinds]
        return self.found

    def get_table(self, **kwargs: Any) -> Any:
        return super().get_table(request=self.request, **kwargs)


class SeasonPage(_OfSeason):
    """The season by kind, drawn, and by pond."""

    table_class = SeasonTable
    filter_form_class = SeasonForm
    template_name = "stock/season.html"
    search_fields = ("pond",)
    search_label = "Pond or kind"

    def get_rows(self) -> list[PondSeason]:
        found = self.read_season()
        self.export_name = f"season-{found.season.year}"
        return sorted(
            found.ponds, key=lambda one: (not one.is_behind, len(one.pond), one.pond, one.kind_name)
        )

    def words_of(self, row: PondSeason) -> str:
        return f"pond {row.pond} {row.kind_name} {'falls behind' if row.is_behind else ''}"

    def get_filter_form(self, rows: list[PondSeason]) -> SeasonForm:
        return SeasonForm(self.request.GET, seasons=self.seasons, kinds=self.kinds, today=self.today)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = self.found
        asked = self.request.GET.get("kind", "")
        shown = [kind for kind in found.kinds if not asked or kind.kind.code == asked] or list(found.kinds)
        owner = role_of(self.request.user) == OWNER
        return super().get_context_data(
            found=found,
            is_past=found.is_past,
            as_on=found.day if found.day != self.today and found.day < found.season.ends_on else None,
            others=[one for one in self.seasons if one != found.season][:5],
            answer=season_pictures.answer(found),
            parts=[
                KindPart(
                    kind, season_pictures.weeks_chart(kind, found.season), season_pictures.ponds_strip(kind)
                )
                for kind in shown
            ],
            behind=[
                behind_line(one, found, may_decide=owner and found.season.holds(self.today))
                for one in found.named
            ],
            query=query_of(self.request),
            weight=found.book.weight,
            **kwargs,
        )


class SeasonShelf(_OfSeason):
    """Eggs to set by week, and what must stand ready for them."""

    table_class = ShelfTable
    filter_form_class = ShelfForm
    template_name = "stock/season_shelf.html"
    search_fields = ("kind",)
    search_label = "Search"

    def get_rows(self) -> list[ShelfWeek]:
        found = self.read_season()
        self.export_name = f"hatchery-{found.season.year}"
        last, coming = Season(found.season.year - 1), Season(found.season.year + 1)
        before = season_now(last.ends_on, last)
        kinds = {kind.kind.code: kind.kind.name for kind in (*found.kinds, *before.kinds)}
        self.form = ShelfForm(self.request.GET, kinds=[*kinds.items()], unit=self.farm.temperature_unit)
        self.form.is_valid()
        water = self.form.number("water", -1)
        question = ShelfQuestion(
            eggs_a_basket=int(self.form.number("basket", EGGS_A_BASKET)),
            baskets_a_container=int(self.form.number("container", BASKETS_A_CONTAINER)),
            set_share=self.form.number("share", 100) / 100,
            water_liters=water if water >= 0 else None,
            temperature_c=self.form.cleaned_data.get("temperature"),
        )
        self.shelves = _shelves(found, question)
        return weeks_of(
            self.shelves,
            found.season,
            found.weeks,
            before=_shelves(before, question),
            # A season to come that is offered nowhere is not foretold here either.
            after=_shelves(season_now(self.today, coming), question)
            if coming in self.seasons and not self.asked.cleaned_data.get("on")
            else (),
            kind=self.form.cleaned_data.get("kind", ""),
        )

    def words_of(self, row: ShelfWeek) -> str:
        return row.kind

    def get_filter_form(self, rows: list[ShelfWeek]) -> ShelfForm:
        return self.form

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows: list[ShelfWeek] = kwargs["object_list"]
        days: dict[dt.date, int] = {}
        for row in rows:
            days[row.starts_on] = days.get(row.starts_on, 0) + row.shelf_places
        return super().get_context_data(
            found=self.found,
            wrong=_wrong(self.asked),
            shelves=self.shelves,
            most_places=max(days.values(), default=0),
            eggs=sum(row.own_eggs for row in rows),
            charts=[
                chart
                for chart in (
                    season_pictures.eggs_chart(rows),
                    season_pictures.shelf_chart(rows),
                    season_pictures.hatch_chart(rows),
                )
                if chart is not None
            ],
            query=query_of(self.request),
            **kwargs,
        )


def _shelves(found: SeasonNow, question: ShelfQuestion) -> list[KindShelf]:
    return [shelf_of(kind, question) for kind in found.kinds if kind.now.eggs.high]


@require_safe
def season_pond(request: SignedRequest, code: str, kind: str) -> HttpResponse:
    """Open one pond and kind: its season, and how each of its figures comes about."""
    today = the_farm().today()
    form = SeasonForm(request.GET, seasons=offered(today), kinds=(), today=today)
    form.is_valid()
    found, wrong = chosen_season(form.cleaned_data, today), _wrong(form)
    one = next((row for row in found.ponds if row.pond == code.upper() and row.kind_code == kind), None)
    if one is None:
        pond = Pond.objects.filter(code=code).first()
        named = Kind.objects.filter(code=kind).first()
        if pond is None or named is None:
            raise Http404(f"There is no pond {code}, or no kind {kind}.")
        context = {"found": found, "wrong": wrong, "pond": pond, "kind": named, "query": query_of(request)}
        return render(request, "stock/season_nothing.html", context)
    cards = season_figures.cards_of(found.book, one.place)
    fertility = float(found.book.fertility[one.place])
    context = {
        "found": found,
        "wrong": wrong,
        "one": one,
        "cards": cards,
        "fertility": fertility,
        "product": season_figures.product_words(one, cards, fertility),
        "kind_rows": season_figures.kind_rows(found.book, one.kind_id),
        "curve": next(part.curve for part in found.kinds if part.kind.kind_id == one.kind_id),
        "weight": found.book.weight,
        "notes": found.book.learnt.notes if found.book.learnt else (),
        "query": query_of(request),
    }
    return render(request, "stock/season_pond.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@for_owner
def season_weight(request: SignedRequest) -> HttpResponse:
    """Set how much the published ranges count beside the farm's own books."""
    farm = the_farm()
    first = {"weight": f"{farm.published_weight:g}" if farm.published_weight else ""}
    form = WeightForm(request.POST if request.method == "POST" else None, initial=first)
    if request.method == "POST" and form.is_valid():
        farm.published_weight = form.value
        farm.save(update_fields=["published_weight"])
        words = f"as much as {form.value:g} seasons of one pond" if form.value else "by their own width"
        messages.success(request, f"The published ranges now count {words}.")
        return see_other("stock:season")
    found = season_now(farm.today())
    kinds = [(kind.kind, season_figures.kind_rows(found.book, kind.kind.kind_id)) for kind in found.kinds]
    return show_form(request, "stock/season_weight.html", {"form": form, "found": found, "kinds": kinds})


def offered(today: dt.date) -> list[Season]:
    """Return the seasons that can be asked for, newest first: those in the nest book, this one, the next in time."""
    this = season_of(today)
    years = {*seasons_in_book(), this.year}
    if NEXT_OFFERED_FROM <= today.month < this.starts_on.month:
        years.add(this.year + 1)
    return [Season(year) for year in sorted(years, reverse=True)]


def _wrong(asked: SeasonForm) -> list[str]:
    """Say what of a season and day in the address could not be read, on pages that do not ask for them."""
    return [str(sentence) for name in ("season", "on") for sentence in asked.errors.get(name, ())]


def chosen_season(asked: dict[str, Any], today: dt.date) -> SeasonNow:
    """Return the season asked for; that of the day asked for, else this one. A past one as it ended."""
    on, year = asked.get("on"), asked.get("season")
    season = Season(int(year)) if year else season_of(on or today)
    day = on or today
    if day < season.starts_on and on is not None:
        season = season_of(on)
    return season_now(min(day, season.ends_on), season)


def behind_line(one: PondSeason, found: SeasonNow, *, may_decide: bool) -> BehindLine:
    """Say how far a pond is behind."""
    since = f", since {day_words(one.behind_since)}" if one.behind_since else ""
    sentence = (
        f"Pond {one.pond}, {one.kind_name}: {figure_text(one.dug)} nests dug by {day_words(found.through)}, where "
        f"{figure_text(one.by_now or 0, 0)} should be, the other ponds telling how far the season is{since}."
    )
    why = f"{one.dug} nests dug by {found.through} where {one.by_now or 0:.0f} should be"
    task = task_link(one.pond, "RECOUNT", kind=one.kind_code, why=why) if may_decide else ""
    return BehindLine(one, sentence, link("stock:season-pond", one.pond, one.kind_code), task)


def query_of(request: SignedRequest) -> str:
    """Return the season and day asked for, to be kept in links."""
    kept = [
        f"{name}={request.GET[name]}"
        for name in ("season", "on")
        if request.GET.get(name, "").replace("-", "").isdecimal()
    ]
    return f"?{'&'.join(kept)}" if kept else ""
