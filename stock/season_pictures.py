"""The pictures of a season: nests by week with what was expected, and what the hatchery must hold. Reads no rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from ponds.seasons import Season
from ponds.svg_marks import figure_text
from stock.charts import Chart, Interval, Series, interval_strip, line_chart
from stock.season_now import KindSeason, SeasonNow
from stock.season_shelf import NO_EGGS, ShelfWeek
from stock.templatetags.stock_format import percent

LEAST_SHARE = 0.002
"""Weeks with less of a season's nests are not drawn, unless something was dug."""


def weeks_chart(kind: KindSeason, season: Season) -> Chart | None:
    """Draw a kind's nests by week: expected before, dug, and expected now with its limits; None without dates."""
    running = kind.running
    if running is None:
        return None
    over = running.weeks_dug
    by_week = running.total_by_week
    before, low, high = (np.asarray(part) for part in (by_week.arithmetic, by_week.low, by_week.high))
    now = np.asarray(by_week.expected)
    total = max(float(before.sum()), 1e-9)
    drawn = [
        week
        for week in range(len(now))
        if before[week] / total > LEAST_SHARE or (week < over and now[week] > 0)
    ]
    if not drawn:
        return None
    weeks = range(drawn[0], drawn[-1] + 1)
    rounded: list[tuple[str, list[float | None]]] = [
        ("expected before", [round(float(before[week]), 1) for week in weeks]),
        ("dug", [float(now[week]) if week < over else None for week in weeks]),
        ("now expected", [None if week < over else round(float(now[week]), 1) for week in weeks]),
        ("at least", [None if week < over else round(float(low[week]), 1) for week in weeks]),
        ("at most", [None if week < over else round(float(high[week]), 1) for week in weeks]),
    ]
    series = [Series(name, tuple(values)) for name, values in rounded if any(v is not None for v in values)]
    labels = [_day(season.starts_on + dt.timedelta(days=7 * week)) for week in weeks]
    return line_chart(
        f"{kind.kind.name}: nests by week", labels, series, unit="nests", summary=_summary(kind)
    )


def _summary(kind: KindSeason) -> str:
    running, now = kind.running, kind.now.nests
    dug = int(kind.dug_by_week.sum())
    if running is None or not dug:
        return (
            f"None dug yet; {figure_text(now.expected, 0)} nests are expected of the season, "
            f"{figure_text(now.low, 0)} to {figure_text(now.high, 0)}."
        )
    late = float(running.days_late.expected)
    when = (
        "about on time" if abs(late) < 2 else f"some {abs(late):.0f} days {'late' if late > 0 else 'early'}"
    )
    if now.low == now.high:
        return f"{figure_text(dug)} dug in the whole season, {when}."
    return (
        f"{figure_text(dug)} dug, about {percent(float(running.share_dug.expected))} of the season, {when}; "
        f"{figure_text(now.expected, 0)} expected in all, {figure_text(now.low, 0)} to {figure_text(now.high, 0)}."
    )


def ponds_strip(kind: KindSeason) -> Chart | None:
    """Draw each pond's nests as they are now expected, with their limits."""
    rows = [
        Interval(
            f"Pond {one.pond}",
            round(one.now.nests.expected),
            round(one.now.nests.low),
            round(one.now.nests.high),
        )
        for one in kind.ponds
    ]
    if len(rows) < 2 or len(rows) > 60:
        return None
    return interval_strip(f"{kind.kind.name}: nests of the season by pond", rows, unit="nests")


def shelf_chart(weeks: Sequence[ShelfWeek]) -> Chart | None:
    """Draw the shelf places taken by week, a line a kind and one for all."""
    return _by_week("Shelf places", weeks, lambda week: float(week.shelf_places), "containers")


def eggs_chart(weeks: Sequence[ShelfWeek]) -> Chart | None:
    """Draw the eggs set by week, a line a kind."""
    return _by_week("Eggs to set", weeks, lambda week: round(week.eggs), "eggs")


def hatch_chart(weeks: Sequence[ShelfWeek]) -> Chart | None:
    """Draw the eggs that hatch by week, a line a kind."""
    return _by_week("Eggs that hatch", weeks, lambda week: round(week.hatching), "eggs")


def _by_week(name: str, weeks: Sequence[ShelfWeek], figure, unit: str) -> Chart | None:
    kinds = list(dict.fromkeys(week.kind for week in weeks if week.kind != NO_EGGS))
    if not kinds:
        return None
    first, last = min(week.starts_on for week in weeks), max(week.starts_on for week in weeks)
    # Every week has its place, one that a search leaves out too.
    days = [first + dt.timedelta(days=at) for at in range(0, (last - first).days + 1, 7)]
    of = {(week.kind, week.starts_on): figure(week) for week in weeks}
    totals = {kind: sum(of.get((kind, day), 0.0) for day in days) for kind in kinds}
    # A chart holds few lines: the kinds with least are told in the table alone.
    drawn = sorted(kinds, key=lambda kind: -totals[kind])[:8]
    series = [Series(kind, tuple(of.get((kind, day), 0.0) for day in days)) for kind in drawn]
    if len(kinds) > 1:
        series.append(
            Series("all kinds", tuple(sum(of.get((kind, day), 0.0) for kind in kinds) for day in days))
        )
    sums = series[-1].values
    most = max(range(len(days)), key=lambda at: sums[at] or 0.0)
    words = f"The most, {figure_text(sums[most], 0)} {unit}, in the week from {_day(days[most])}."
    return line_chart(f"{name} by week", [_day(day) for day in days], series, unit=unit, summary=words)


def answer(found: SeasonNow) -> str:
    """Answer the page's question in a sentence."""
    if not found.kinds:
        return "Nothing can be expected yet: no settled females stand in any pond by the book, and no nest was dug."
    said = []
    for kind in found.kinds:
        now = kind.now.nests
        if now.high and found.is_past:
            first = kind.before.nests
            said.append(
                f"{kind.kind.name} {figure_text(now.expected, 0)} nests, where "
                f"{figure_text(first.expected, 0)} were expected "
                f"({figure_text(first.low, 0)} to {figure_text(first.high, 0)})"
            )
        elif now.high:
            said.append(
                f"{kind.kind.name} {figure_text(now.expected, 0)} nests ({figure_text(now.low, 0)} to "
                f"{figure_text(now.high, 0)})"
            )
    behind = len(found.named)
    falls = "fell" if found.is_past else "falls" if behind == 1 else "fall"
    tail = "" if not behind else f" {behind} {'pond' if behind == 1 else 'ponds'} {falls} behind."
    return (f"{'; '.join(said)}." if said else "No females stand in any pond by the book.") + tail


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"
