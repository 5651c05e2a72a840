"""From a season's eggs by week to what must stand ready for them: baskets, containers, water, shelf, hatch days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ponds.seasons import Season
from stock.advisor.yields import HatcheryPlan, HatcheryWeek, hatch_days, hatchery_plan
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
    """One week and kind of the hatchery; `own_eggs` are those of the season itself, of the eggs set."""

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
    own_eggs: float = 0.0


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


WEEKS_A_SEASON = 52
NO_EGGS = "no eggs"


def weeks_of(
    shelves: Sequence[KindShelf],
    season: Season,
    weeks_over: int,
    *,
    before: Sequence[KindShelf] = (),
    after: Sequence[KindShelf] = (),
    kind: str = "",
) -> list[ShelfWeek]:
    """
    Return the weeks from the first to the last in which anything of a season is set, stands or hatches.

    What eggs of the seasons before and after hold in those weeks is in their figures; a season's weeks begin a day
    or two beside the other's, which is left out. A week without anything is there too, so that weeks stay even.

    Parameters
    ----------
    shelves, before, after : sequence of KindShelf
        Of the season, of the one before and of the one after it.
    weeks_over : int
        Whole weeks of the season that are over.
    kind : str, optional
        Code of the only kind asked for.
    """
    own, earlier, later = (
        _by_kind_and_week(these, weeks, kind)
        for these, weeks in ((shelves, 0), (before, -WEEKS_A_SEASON), (after, WEEKS_A_SEASON))
    )
    shown = [week for _, week in (*own, *earlier) if week >= 0]
    if not shown:
        return []
    names = {shelf.kind.kind.code: shelf.kind.kind.name for shelf in (*before, *after, *shelves)}
    found = []
    for week in range(min(shown), max(shown) + 1):
        here = {code for code, of_week in (*own, *earlier, *later) if of_week == week}
        for code in here or {kind}:
            parts = [cells[code, week] for cells in (own, earlier, later) if (code, week) in cells]
            found.append(
                _week(
                    (code, names[code] if here else NO_EGGS),
                    _on(season, 7 * week),
                    week < weeks_over,
                    parts,
                    own.get((code, week)),
                    season,
                )
            )
    return sorted(found, key=lambda row: (row.starts_on, row.kind))


def _by_kind_and_week(
    shelves: Sequence[KindShelf], weeks: int, kind: str
) -> dict[tuple[str, int], HatcheryWeek]:
    """Return what each kind sets, holds or hatches by week (from 0) of a season that many weeks before its own."""
    return {
        (shelf.kind.kind.code, week.week - 1 + weeks): week
        for shelf in shelves
        if shelf.plan is not None and (not kind or shelf.kind.kind.code == kind)
        for week in shelf.plan.weeks
        if week.baskets or week.shelf_places or week.hatching >= 1
    }


def _week(
    kind: tuple[str, str],
    starts_on: dt.date,
    is_over: bool,
    parts: Sequence[HatcheryWeek],
    own: HatcheryWeek | None,
    season: Season,
) -> ShelfWeek:
    water = [part.water_liters for part in parts if part.water_liters is not None]
    return ShelfWeek(
        *kind,
        starts_on,
        is_over,
        sum(part.eggs_set for part in parts),
        sum(part.baskets for part in parts),
        sum(part.containers for part in parts),
        sum(part.shelf_places for part in parts),
        sum(water) if water else None,
        sum(part.hatching for part in parts),
        None if own is None or own.hatch_from is None else _on(season, own.hatch_from),
        None if own is None or own.hatch_until is None else _on(season, own.hatch_until),
        own.eggs_set if own is not None else 0.0,
    )


def _on(season: Season, days: int) -> dt.date:
    return season.starts_on + dt.timedelta(days=days)
