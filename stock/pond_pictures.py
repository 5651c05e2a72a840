"""The small charts of ponds: a pond's own on its sheet, and a panel for each in the farm's picture. No queries."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from stock.charts import Series
from stock.pond_facts import year_before
from stock.pond_kind import PondKind
from stock.pond_rows import months_between
from stock.small_charts import (
    PANEL,
    Panel,
    RatioRow,
    SmallChart,
    month_bars,
    panel_chart,
    ratio_chart,
    run_chart,
)
from stock.templatetags.stock_format import how_old, ratio_interval
from stock.templatetags.stock_format import ratio as ratio_words

MONTHS = 13
FEWEST_ABREAST, PANELS_ABREAST = 2, 6
PAGE_WIDE, PAGE_HIGH = 540.0, 600.0
"""Points of a letter page between its margins, less its title and notes."""
LETTERS = (("F", "females"), ("M", "males"), ("U", "unsexed"), ("J", "juveniles"))


def charts_of(facts: Sequence[PondKind]) -> tuple[tuple[SmallChart, ...], ...]:
    """Return a row of three charts for each kind of a pond: heads, deaths, ratio; one scale down each column."""
    drawn = [one for one in facts if one.heads.total or any(heads.total for _, heads in one.history)]
    most_heads = max((max(run) for one in drawn for _, run in _runs(one)), default=0)
    by_month = {one.kind_id: deaths_by_month(one) for one in drawn}
    most_deaths = max((max(deaths) for deaths in by_month.values()), default=0)
    rows = []
    for one in drawn:
        points = one.history[-MONTHS:]
        labels = [f"{month:%b %y}" for month, _ in points]
        months = [f"{month:%b %y}" for month in months_between(year_before(one.day), one.day)]
        series = [Series(name, tuple(run)) for name, run in _runs(one)]
        rows.append(
            (
                run_chart(
                    f"{one.kind_name}, heads by the book at month ends", f"{one.kind_name}: heads", labels, series,
                    top=most_heads,
                ),
                month_bars(
                    f"{one.kind_name}, found dead by month", f"Found dead: {one.deaths.total} in the year", months,
                    by_month[one.kind_id], top=most_deaths,
                ),
                ratio_chart(
                    f"{one.kind_name}, females per male", f"Females per male, band {one.band[0]:g} to {one.band[1]:g}",
                    ratio_rows(one), band=one.band,
                ),
            )
        )  # fmt: skip
    return tuple(rows)


def panels_of(facts: Iterable[PondKind]) -> list[SmallChart]:
    """Return a panel for each pond and kind that holds or held heads within the year, all on the same scales."""
    shown = _worth_a_panel(facts)
    runs = {id(one): _adults(one) for one in shown}
    deaths = {id(one): deaths_by_month(one) for one in shown}
    most_heads = max((max(run, default=0) for run in runs.values()), default=0)
    most_deaths = max((max(of_pond) for of_pond in deaths.values()), default=0)
    return [
        panel_chart(
            _panel(one, runs[id(one)], deaths[id(one)]), most_heads=most_heads, most_deaths=most_deaths
        )
        for one in shown
    ]


def rows_of_panels(panels: Sequence[SmallChart]) -> tuple[tuple[SmallChart, ...], ...]:
    """Return the panels in rows as they are printed: as large as one page holds them all, if any page does."""
    wide, high = PANEL

    def size(columns: int) -> float:
        tall = math.ceil(len(panels) / columns) * (high / wide * PAGE_WIDE / columns + 6)
        return min(1.0, PAGE_HIGH / max(tall, 1.0)) / columns

    abreast = max(range(FEWEST_ABREAST, PANELS_ABREAST + 1), key=size)
    return tuple(tuple(panels[at : at + abreast]) for at in range(0, len(panels), abreast))


def ratio_rows(one: PondKind) -> list[RatioRow]:
    """Return what each source says of the ratio: the standing, the last sexed haul, the book."""
    rows = []
    if one.standing is not None:
        limits = one.standing.ratio_limits
        words = f"{ratio_words(one.standing.ratio)} ({ratio_interval(*limits)})"
        rows.append(RatioRow("Standing", one.standing.ratio, *limits, words))
    if one.last_haul is not None:
        found = one.last_haul.ratio
        words = f"{ratio_words(found.value)} ({ratio_interval(found.lower, found.upper)})"
        rows.append(RatioRow("Last haul", found.value, found.lower, found.upper, words))
    heads = one.heads
    if heads.females or heads.males:
        by_book = heads.females / heads.males if heads.males else math.inf
        rows.append(RatioRow("Book", by_book, None, None, ratio_words(by_book)))
    return rows


def deaths_by_month(one: PondKind) -> tuple[int, ...]:
    """Return the recorded deaths of the months that the year to the day touches, the oldest first."""
    died: dict = defaultdict(int)
    for death in one.deaths_by_cause:
        died[death.month] += death.heads
    return tuple(died[month] for month in months_between(year_before(one.day), one.day))


def _worth_a_panel(facts: Iterable[PondKind]) -> list[PondKind]:
    """Return those with heads now or within the year; of a pond with none, its first kind, so that none is missing."""
    by_pond: dict[int, list[PondKind]] = defaultdict(list)
    for one in facts:
        by_pond[one.pond_id].append(one)
    shown: list[PondKind] = []
    for of_pond in by_pond.values():
        held = [
            one
            for one in of_pond
            if one.heads.total or one.deaths.total or any(h.total for _, h in one.history)
        ]
        shown += held or of_pond[:1]
    return shown


def _panel(one: PondKind, run: tuple[int, ...], deaths: tuple[int, ...]) -> Panel:
    heads = tuple((letter, count) for letter, count in _heads(one) if count)
    rows = ratio_rows(one) if one.heads.total else []
    best = rows[0] if rows else RatioRow("Ratio", None, None, None, "no ratio")
    if best.label == "Book":
        best = RatioRow("Book", best.value, None, None, f"{best.words} by the book")
    worst = one.tags[0]
    return Panel(
        code=one.pond_code,
        kind=one.kind_name,
        verdict=worst.words,
        is_bad=worst.tone == "bad",
        heads=heads,
        ratio=best,
        band=one.band,
        deaths=deaths,
        run=run,
        heads_by="by the book" if one.standing is None else "probably",
        counted=f"count {how_old(one.last_count.as_of, one.day)}" if one.last_count else "never counted",
    )


def _heads(one: PondKind) -> list[tuple[str, int]]:
    """Return the heads that the ratio beside them is made from: a standing holds the unsexed shared out already."""
    if one.standing is None:
        return [(letter, getattr(one.heads, name)) for letter, name in LETTERS]
    return [("F", one.females_now), ("M", one.males_now), ("J", one.heads.juveniles)]


def _adults(one: PondKind) -> tuple[int, ...]:
    return tuple(heads.total - heads.juveniles for _, heads in one.history[-MONTHS:])


def _runs(one: PondKind) -> list[tuple[str, list[int]]]:
    points = [heads for _, heads in one.history[-MONTHS:]]
    runs = [(name.capitalize(), [getattr(heads, name) for heads in points]) for _, name in LETTERS]
    return [(name, run) for name, run in runs if any(run)]
