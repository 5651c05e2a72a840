"""Studies of yields and seasons on simulated farms: ``python -m tests.simulator.season_studies [--farms N]``.

Ten seasons of 40 ponds a farm: before each season its nests, eggs and hatched eggs are foretold from the seasons
before; in some of them the season is foretold again after each week. Every cell is printed, none is left out; the
last lines say which of the stated limits were missed.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import itertools
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stock.advisor.coming import ComingSeason, SeasonPrior, coming_season
from stock.advisor.falling_behind import falling_behind
from stock.advisor.laying_curve import learn_curve
from stock.advisor.nesting_dates import CURVES
from stock.advisor.season_book import SeasonBook
from stock.advisor.season_eggs import forecast_eggs
from stock.advisor.season_forecast import SeasonForecast, forecast
from stock.advisor.season_learning import PublishedFigures, YieldsLearnt, learn_yields
from tests.simulator.nests import Floats, NestHistory, NestPlan, live_seasons

KINDS = ("red-eared-slider", "river-cooter")
PUBLISHED = {
    "red-eared-slider": PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11)),
    "river-cooter": PublishedFigures((0.6, 0.85, 1), (1, 2.5, 5), (12, 16, 18)),
}
FIRST_SEASON = 2001
WEEKS = (28, *range(31, 48))
"""Weeks of the nesting year after which the season is foretold again: from 6 March, then 30 March to 26 July."""
MID_SEASON = range(36, 45)
"""From 4 May, the week before the sliders' peak, to 5 July; in April the few first nests tell more of weather."""
RULE_NESTS, RULE_EGGS = 3.0, 9.0


def book_of(history: NestHistory, seasons: int) -> SeasonBook:
    """Return what the farm had in its books before the given season."""
    ponds = len(history.kind)
    pond, season = (axis.ravel() for axis in np.meshgrid(np.arange(ponds), np.arange(seasons), indexing="ij"))
    at = pond, season
    return SeasonBook(
        pond, FIRST_SEASON + season, history.females[at], history.female_se[at], history.found.sum(axis=2)[at],
        history.opened[at], history.opened_eggs[at], history.eggs_set[at], history.hatched[at], history.clear[at],
    )  # fmt: skip


def foretell(history: NestHistory, season: int, seed: int) -> tuple[YieldsLearnt, ComingSeason]:
    """Learn from the seasons before, and draw the one asked about."""
    kinds = [KINDS[kind] for kind in history.kind]
    learnt = learn_yields(book_of(history, season), kinds, PUBLISHED, season=FIRST_SEASON + season)
    females, error = history.females[:, season], history.female_se[:, season]
    return learnt, coming_season(learnt, females, female_se=error, draws=2000, rng=seed)


def by_week(days: Floats) -> Floats:
    """Return sums by week of the last axis, 365 days, as 53 weeks."""
    padded = np.concatenate([days, np.zeros((*days.shape[:-1], 6))], axis=-1)
    return padded.reshape(*days.shape[:-1], 53, 7).sum(axis=-1)


COLUMNS = ("farm", "season", "nests", "eggs", "hatched", "farm nests", "farm eggs", "width")
WEEK_COLUMNS = (
    "farm",
    "season",
    "kind",
    "week",
    "nests",
    "eggs",
    "farm nests",
    "error",
    "farm error",
    "width",
    "own draws",
)
FIGURES = ("learnt nests", "own nests", "rule of 3", "learnt eggs", "own eggs", "rule of 9")
ERROR_COLUMNS = ("season", "kind", *FIGURES, *(f"{figure}, relative" for figure in FIGURES))
NAME_COLUMNS = ("farm", "season", "ponds", "in order", "named in order", "failed", "named failed", "week")


@dataclass(frozen=True)
class Cases:
    """All that was foretold and came true: tables with the columns named above."""

    coming: Floats
    weeks: Floats
    errors: Floats
    names: Floats


def ask(plan: NestPlan, farms: int, seed: int, *, weekly_farms: int, weekly_every: int = 3) -> Cases:
    """Let farms lay and foretell every season; on some farms every so many seasons week by week."""
    coming: list[list[float]] = []
    weeks: list[list[float]] = []
    errors: list[list[float]] = []
    names: list[list[float]] = []
    for farm in range(farms):
        history = live_seasons(plan, seed + farm)
        for season in range(plan.seasons):
            learnt, told = foretell(history, season, seed + 100 * farm + season)
            coming.append([farm, season, *_covered(history, season, told)])
            errors += _errors(history, season, learnt)
            # Each farm begins with another season, so that all seasons are looked at.
            if farm < weekly_farms and (season + farm) % weekly_every == 0:
                for kind in range(len(KINDS)):
                    if (history.kind == kind).any():
                        weeks += _weeks(history, season, kind, told, farm)
                        names.append(_names(history, season, kind, told, farm))
    return Cases(
        np.array(coming).reshape(-1, len(COLUMNS)),
        np.array(weeks).reshape(-1, len(WEEK_COLUMNS)),
        np.array(errors).reshape(-1, len(ERROR_COLUMNS)),
        np.array(names).reshape(-1, len(NAME_COLUMNS)),
    )


def _inside(spread, truth) -> float:
    return float(((spread.low <= truth) & (truth <= spread.high)).mean())


def _covered(history: NestHistory, season: int, told: ComingSeason) -> list[float]:
    nests, eggs = history.found[:, season].sum(axis=1), history.eggs[:, season]
    # Hatched eggs of all found, at the share of those set: where none were set there is nothing to hold against.
    is_set = history.eggs_set[:, season] > 0
    hatched = history.hatched[:, season] * eggs / np.maximum(history.eggs_set[:, season], 1)
    within = (told.hatched.low <= hatched) & (hatched <= told.hatched.high)
    return [
        _inside(told.nests, nests),
        _inside(told.eggs, eggs),
        float(within[is_set].mean()),
        _inside(told.total_nests, nests.sum()),
        _inside(told.total_eggs, eggs.sum()),
        float((told.nests.high / np.maximum(told.nests.low, 1)).mean()),
    ]


def _errors(history: NestHistory, season: int, learnt: YieldsLearnt) -> list[list[float]]:
    """Return squared errors, plain and relative, of a pond's learnt figure, its own mean and the rule."""
    if not season:
        return []
    found = history.found[:, :season].sum(axis=(1, 2)) / history.females[:, :season].sum(axis=1)
    opened = history.opened[:, :season].sum(axis=1)
    eggs = history.opened_eggs[:, :season].sum(axis=1) / np.maximum(opened, 1)
    rate, a_nest = history.true_rate[:, season], history.true_eggs[:, season]
    figures = (
        (np.array([pond.value for pond in learnt.nests.ponds]), rate),
        (found, rate),
        (np.full_like(rate, RULE_NESTS), rate),
        (np.array([pond.value for pond in learnt.eggs.ponds]), a_nest),
        (eggs, a_nest),
        (np.full_like(rate, RULE_EGGS), a_nest),
    )
    squares = np.stack(
        [(figure - truth) ** 2 for figure, truth in figures]
        + [(figure / truth - 1) ** 2 for figure, truth in figures]
    )
    squares[:, opened == 0] = np.nan
    return [
        [season, kind, *np.nanmean(squares[:, history.kind == kind], axis=1)]
        for kind in range(len(KINDS))
        if (history.kind == kind).any()
    ]


def _prior_of(prior: SeasonPrior, at: Floats) -> SeasonPrior:
    return SeasonPrior(prior.median[at], prior.own_sd[at], prior.shared_sd)


def _curve(history: NestHistory, season: int, kind: int):
    past = by_week(history.found[history.kind == kind, :season].sum(axis=0)) if season else []
    return learn_curve(CURVES[KINDS[kind]], past)


def _weeks(history: NestHistory, season: int, kind: int, told: ComingSeason, farm: int) -> list[list[float]]:
    at = history.kind == kind
    curve = _curve(history, season, kind)
    dug, opened, eggs = (
        by_week(table[at, season]) for table in (history.found, history.opened_by_day, history.eggs_by_day)
    )
    nests, all_eggs = dug.sum(axis=1), history.eggs[at, season]
    rows = []
    for week in WEEKS:
        now = forecast(curve, dug[:, :week], _prior_of(told.nest_prior, at), draws=1500, rng=farm)
        of_eggs, _ = forecast_eggs(
            now, _prior_of(told.egg_prior, at), opened=opened[:, :week].sum(axis=1),
            eggs=eggs[:, :week].sum(axis=1), rng=farm,
        )  # fmt: skip
        rows.append([
            farm, season, kind, week, _inside(now.nests, nests), _inside(of_eggs, all_eggs),
            _inside(now.total_nests, nests.sum()),
            float(np.abs(np.log(now.nests.expected / np.maximum(nests, 1))).mean()),
            abs(float(np.log(now.total_nests.expected / nests.sum()))),
            float((now.nests.high / np.maximum(now.nests.low, 1)).mean()), _own_draws(now),
        ])  # fmt: skip
    return rows


def _own_draws(now: SeasonForecast) -> float:
    """Return the share of a forecast's own draws inside its limits: more than 90 % where few whole nests are left."""
    season = now.dug[:, np.newaxis] + now.remaining
    low, high = now.nests.low[:, np.newaxis], now.nests.high[:, np.newaxis]
    return float(((low <= season) & (season <= high)).mean())


def _names(history: NestHistory, season: int, kind: int, told: ComingSeason, farm: int) -> list[float]:
    """Name ponds after each week; one named in any week is named."""
    at = history.kind == kind
    curve, prior = _curve(history, season, kind), _prior_of(told.nest_prior, at)
    dug, failed = by_week(history.found[at, season]), history.failed[at, season]
    first = np.zeros(at.sum(), dtype=int)
    for week in WEEKS:
        named = falling_behind(curve, dug[:, :week], prior, rng=farm).named
        first[named & (first == 0)] = week
    weeks = first[failed & (first > 0)]
    return [
        farm, season, at.sum(), (~failed).sum(), (first[~failed] > 0).sum(), failed.sum(),
        (first[failed] > 0).sum(), weeks.mean() if weeks.size else np.nan,
    ]  # fmt: skip


@dataclass(frozen=True)
class Study:
    """All of it as printed lines, the ratios of squared errors, and the sentences on missed limits."""

    lines: list[str]
    ratios: dict[str, float]
    missed: list[str]


def study(
    plan: NestPlan, farms: int, seed: int, *, weekly_farms: int, weekly_every: int = 3, failing: int = 2
) -> Study:
    """Run the studies and hold them against the stated limits; ``failing`` more farms have ponds that fail."""
    cases = ask(plan, farms, seed, weekly_farms=weekly_farms, weekly_every=weekly_every)
    lines: list[str] = []
    missed: list[str] = []
    _tell_coming(cases.coming, lines, missed)
    ratios = _tell_errors(cases.errors, lines, missed)
    if len(cases.weeks):
        _tell_weeks(cases.weeks, lines, missed)
        fails = dataclasses.replace(plan, fails=0.05)
        of_failing = ask(fails, failing, seed + 5000, weekly_farms=failing, weekly_every=weekly_every).names
        _tell_names(cases.names, of_failing, lines, missed)
    return Study(lines, ratios, missed)


def _tell_coming(rows: Floats, lines: list[str], missed: list[str]) -> None:
    lines.append("Before the season, 90 % limits: share of ponds, and of farms, inside")
    lines.append(
        f"{'seasons known':16s}{'farms':>7s}"
        + "".join(f"{name:>12s}" for name in COLUMNS[2:-1])
        + "   high/low"
    )
    for season in [*sorted(set(rows[:, 1])), None]:
        part = rows if season is None else rows[rows[:, 1] == season]
        means = part[:, 2:].mean(axis=0)
        name = "all" if season is None else f"{season:.0f}"
        lines.append(f"{name:16s}{len(part):7d}" + "".join(f"{mean:12.3f}" for mean in means))
        if season is None:
            for what, covered in zip(("nests", "eggs"), means[:2], strict=True):
                if not 0.87 <= covered <= 0.93:
                    missed.append(f"season {what} covered {covered:.3f}, not 0.87 to 0.93")


def _tell_errors(rows: Floats, lines: list[str], missed: list[str]) -> dict[str, float]:
    lines += ["", "Squared error of the learnt figure against others' (below 1: the learnt one is better)"]
    names = ("nests/own", "nests/rule", "eggs/own", "eggs/rule")
    names = (*names, *(f"rel. {name}" for name in names))
    lines.append(f"{'kind, seasons known':26s}" + "".join(f"{name:>16s}" for name in names))
    found = {}
    for kind, of_kind in (*enumerate(KINDS), (None, "all")):
        for season in (*sorted(set(rows[:, 0])), None):
            part = rows[(rows[:, 1] == kind) | (kind is None)]
            error = part[(part[:, 0] == season) | (season is None)][:, 2:].mean(axis=0).reshape(4, 3)
            ratios = (error[:, [0]] / error[:, 1:]).ravel().tolist()
            name = f"{of_kind}, {'all' if season is None else int(season)}"
            lines.append(f"{name:26s}" + "".join(f"{ratio:16.3f}" for ratio in ratios))
            if season is None:
                found |= {f"{of_kind}: {what}": ratio for what, ratio in zip(names, ratios, strict=True)}
    # The limit is on the plain squared error over all; the relative one, and each cell, are shown beside it.
    missed += [
        f"squared error of {what} {found[f'all: {what}']:.3f}, not below 1"
        for what in names[:4]
        if found[f"all: {what}"] >= 1
    ]
    return found


def _tell_weeks(rows: Floats, lines: list[str], missed: list[str]) -> None:
    lines += [
        "",
        "Week by week, 90 % limits, mean error of the total in logarithms; own draws: what whole nests make of 90 %",
    ]
    lines.append(f"{'kind, week':28s}{'cases':>6s}" + "".join(f"{name:>12s}" for name in WEEK_COLUMNS[4:]))
    errors = []
    for kind, of_kind in ((None, "all"), *enumerate(KINDS)):
        for week in [*WEEKS, None]:
            part = rows[(rows[:, 2] == kind) | (kind is None)]
            part = part[(part[:, 3] == week) | (week is None)]
            if not len(part):
                continue
            means = part[:, 4:].mean(axis=0)
            name = f"{of_kind}, {'all' if week is None else week}"
            lines.append(f"{name:28s}{len(part):6d}" + "".join(f"{mean:12.3f}" for mean in means))
            if kind is not None:
                continue
            for what, covered in zip(("nests", "eggs"), means[:2], strict=True):
                if week is None and not 0.87 <= covered <= 0.93:
                    missed.append(f"all weeks: {what} covered {covered:.3f}, not 0.87 to 0.93")
                if week is not None and covered < 0.83:
                    missed.append(f"week {week}: {what} covered {covered:.3f}, below 0.83")
            if week in MID_SEASON:
                errors.append((week, means[3]))
    for (_, before), (week, after) in itertools.pairwise(errors):
        if after >= before:
            missed.append(f"week {week}: error {after:.3f}, not below the {before:.3f} of the week before")


def _tell_names(rows: Floats, failing: Floats | None, lines: list[str], missed: list[str]) -> None:
    per_forty = 40 * rows[:, 4].sum() / rows[:, 3].sum()
    lines += [
        "",
        f"Ponds in order named in a season: {per_forty:.2f} in 40 ({rows[:, 3].sum():.0f} looked at)",
    ]
    if per_forty > 1:
        missed.append(f"{per_forty:.2f} false names a season in 40 ponds, above 1")
    if failing is not None and failing[:, 5].sum():
        lines.append(
            f"Ponds that lay but half: {failing[:, 6].sum():.0f} of {failing[:, 5].sum():.0f} named, "
            f"in week {np.nanmean(failing[:, 7]):.1f} on average; beside them "
            f"{40 * failing[:, 4].sum() / failing[:, 3].sum():.2f} in 40 named that were in order"
        )


def tell(done: Study) -> str:
    """Return the studies as text."""
    return "\n".join([*done.lines, "", *([f"missed: {line}" for line in done.missed] or ["all limits met"])])


def main(words: Sequence[str] | None = None) -> int:
    """Print the studies; 1 where a limit is missed."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--farms", type=int, default=40)
    asked.add_argument("--weekly-farms", type=int, default=12, help="farms foretold week by week; 0: none")
    asked.add_argument("--seed", type=int, default=1000)
    asked.add_argument("--plan", default="{}", help="changes to the plan, as a Python dict")
    asked.add_argument("--weekly-every", type=int, default=3, help="1: every season of these")
    asked.add_argument("--json", action="store_true")
    given = asked.parse_args(words)
    plan = dataclasses.replace(NestPlan(), **ast.literal_eval(given.plan))
    done = study(
        plan, given.farms, given.seed, weekly_farms=given.weekly_farms, weekly_every=given.weekly_every
    )
    sys.stdout.write((json.dumps(dataclasses.asdict(done)) if given.json else tell(done)) + "\n")
    return int(bool(done.missed))


if __name__ == "__main__":
    raise SystemExit(main())
