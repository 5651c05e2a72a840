"""From a season's eggs by week to what must stand ready for them: baskets, containers, water, shelf, hatch days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ponds.seasons import Season
from stock.advisor.yields import HatcheryPlan, hatch_days, hatchery_plan
from stock.season_now import KindSeason

KELVIN = 273.15
DEGREES_APART = 0.01


@dataclass(frozen=True)
class ShelfQuestion:
    """How eggs are set; `temperature_c` is None for each kind's own."""

    eggs_a_basket: int
    baskets_a_container: int
    set_share: float = 1.0
    water_liters: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True)
class KindShelf:
    """One kind's plan; None with a sentence where it cannot be made."""

    kind: KindSeason
    plan: HatcheryPlan | None
    why_not: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShelfWeek:
    """One week and kind of the hatchery."""

    kind_code: str
    kind: str
    starts_on: dt.date
    is_over: bool
    eggs: float
    baskets: int
    containers: int
    shelf_places: int
    water_liters: float | None
    hatching: float
    hatch_from: dt.date | None
    hatch_until: dt.date | None


def shelf_of(kind: KindSeason, question: ShelfQuestion) -> KindShelf:
    """Return what has to stand ready for one kind's eggs."""
    name = kind.kind.name
    if kind.eggs_by_week is None:
        return KindShelf(
            kind, None, f"{name}: no nesting dates are published here, so its weeks are not known."
        )
    figures = kind.kind.figures
    if "INCUBATION_DAYS" not in figures or "INCUBATION_TEMPERATURE" not in figures:
        return KindShelf(
            kind,
            None,
            f"{name}: the kind has no days or no temperature of incubation. Add them under Settings, Kinds.",
        )
    days = figures["INCUBATION_DAYS"]
    at_c = figures["INCUBATION_TEMPERATURE"].expected / 1000 - KELVIN
    asked = question.temperature_c
    kept_c = at_c if asked is None or abs(asked - at_c) < DEGREES_APART else asked
    try:
        found = hatch_days((days.low, days.expected, days.high), at_c, kept_c)
    except ValueError as refused:
        return KindShelf(kind, None, f"{name}: {refused}")
    eggs = kind.now.eggs.expected / max(kind.now.nests.expected, 1e-9)
    plan = hatchery_plan(
        # Part of a nest expected in a week far from the season's middle fills no basket.
        np.where(kind.eggs_by_week < eggs, 0.0, kind.eggs_by_week),
        found,
        eggs_a_basket=question.eggs_a_basket,
        baskets_a_container=question.baskets_a_container,
        hatch_share=kind.hatch_share,
        set_share=question.set_share,
        water_liters=question.water_liters,
    )
    return KindShelf(kind, plan, notes=found.notes)


def weeks_of(shelves: Sequence[KindShelf], season: Season, weeks_over: int) -> list[ShelfWeek]:
    """Return the weeks in which anything is set, stands or hatches, by day and kind."""
    found = []
    for shelf in shelves:
        for week in shelf.plan.weeks if shelf.plan else ():
            if not (week.baskets or week.shelf_places or week.hatching >= 1):
                continue
            found.append(
                ShelfWeek(
                    shelf.kind.kind.code,
                    shelf.kind.kind.name,
                    _on(season, 7 * (week.week - 1)),
                    week.week <= weeks_over,
                    week.eggs_set,
                    week.baskets,
                    week.containers,
                    week.shelf_places,
                    week.water_liters,
                    week.hatching,
                    None if week.hatch_from is None else _on(season, week.hatch_from),
                    None if week.hatch_until is None else _on(season, week.hatch_until),
                )
            )
    return sorted(found, key=lambda week: (week.starts_on, week.kind))


def _on(season: Season, days: int) -> dt.date:
    return season.starts_on + dt.timedelta(days=days)
