"""Studies of the standing on simulated farms: ``python -m tests.simulator.studies [--farms N] [--seed N]``.

Every cell is printed, none is left out; the last lines say which of the stated limits were missed.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from stock.advisor.ratio import verdict
from stock.advisor.standing import (
    Counts,
    Deaths,
    DetectionPrior,
    Groups,
    Hauls,
    LossPrior,
    Moves,
    Standing,
    standing,
)
from stock.advisor.standing_farm import rates_of
from stock.advisor.standing_filter import Catch, pass_through
from stock.advisor.standing_steps import Steps, lay_out
from tests.simulator.farm import FarmHistory, end_of_month, live
from tests.simulator.oracle import oracle
from tests.simulator.rates import FarmPlan, Floats

Z_90 = 1.6448536269514722
MONTHS_ASKED = (15, 24, 36, 48, 60)
AGES = {"under 6 months": (0, 183), "6 to 18 months": (183, 548), "over 18 months": (548, np.inf)}
SIZES = {
    "under 150 heads": (0, 150),
    "150 to 500": (150, 500),
    "500 to 1,500": (500, 1500),
    "over": (1500, np.inf),
}
BAND, CERTAINTY, SHORT_RATIO, SEXED = (2.5, 4.5), 0.8, 2.0, 100


def groups_of(history: FarmHistory, day: float) -> Groups:
    """Return what was in the log on a day as the standing takes it; an accepted count holds at its day's end."""
    known = history.known_by(day)

    def columns(name: str) -> dict[str, Floats]:
        rows = known[name]
        return {"group": rows[:, 0].astype(int), "day": rows[:, 1]}

    counted, moved, died, hauled = (known[name] for name in ("counts", "moves", "deaths", "hauls"))
    return Groups(
        history.plan.ponds,
        Counts(
            **columns("counts"),
            females=counted[:, 2],
            female_se=counted[:, 3],
            males=counted[:, 4],
            male_se=counted[:, 5],
            covariance=counted[:, 6],
        ),
        Moves(**columns("moves"), females=moved[:, 2], males=moved[:, 3]),
        Deaths(**columns("deaths"), females=died[:, 2], males=died[:, 3]),
        Hauls(**columns("hauls"), females=hauled[:, 2], males=hauled[:, 3]),
    )


@dataclass(frozen=True)
class Cases:
    """One row a pond and day asked: truth, limits (lower, upper) of both answers, and what the pond is like."""

    truth: Floats
    ratio: Floats
    limits: Floats
    ratio_limits: Floats
    best: Floats
    best_ratio: Floats
    age: Floats
    size: Floats
    sexed: Floats
    p_below: Floats
    is_said: Floats


def ask(plan: FarmPlan, farms: int, seed: int, months: Sequence[int] = MONTHS_ASKED) -> Cases:
    """Let farms live, ask for the standing on several days, and note what was true."""
    rows: list[Cases] = []
    for farm in range(farms):
        history = live(plan, seed + farm)
        rows += [_asked_once(history, month) for month in months]
    return Cases(
        *(
            np.concatenate([getattr(case, column.name) for case in rows], axis=-1)
            for column in dataclasses.fields(Cases)
        )
    )


def stand(history: FarmHistory, month: int) -> Standing:
    day = end_of_month(month)
    return standing(groups_of(history, day), day, loss_prior=LossPrior(), detection_prior=DetectionPrior())


def _asked_once(history: FarmHistory, month: int) -> Cases:
    told = stand(history, month)
    truth = history.truth[month].T.astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = truth[0] / truth[1]
        mean, own = oracle(history, month)
        mean = np.maximum(mean, 1.0)
        log_se = np.sqrt(
            own[0, 0] / mean[0] ** 2 + own[1, 1] / mean[1] ** 2 - 2 * own[0, 1] / mean[0] / mean[1]
        )
    se = np.sqrt(own[[0, 1], [0, 1]])
    log_ratio = np.log(mean[0] / mean[1])
    verdicts = [
        verdict(
            told.females[pond],
            told.female_se[pond],
            told.males[pond],
            told.male_se[pond],
            covariance=_within(told, pond),
            band=BAND,
            certainty=CERTAINTY,
        )
        for pond in range(history.plan.ponds)
    ]
    day = end_of_month(month)
    sexed = np.zeros(history.plan.ponds)
    for pond, when, females, males in history.known_by(day)["hauls"]:
        if when > day - 365:
            sexed[int(pond)] = max(sexed[int(pond)], females + males)
    return Cases(
        truth=truth,
        ratio=ratio,
        limits=np.stack([told.female_limits, told.male_limits]),
        ratio_limits=told.ratio_limits,
        best=np.stack([mean - Z_90 * se, mean + Z_90 * se], axis=1),
        best_ratio=np.exp(np.stack([log_ratio - Z_90 * log_se, log_ratio + Z_90 * log_se])),
        age=told.age,
        size=truth.sum(axis=0),
        sexed=sexed,
        p_below=np.array([found.p_below for found in verdicts], dtype=float),
        is_said=np.array([found.verdict == "short of females" for found in verdicts]),
    )


def _within(told: Standing, pond: int) -> float:
    most = told.female_se[pond] * told.male_se[pond]
    return float(np.clip(told.covariance[pond], -most, most))


@dataclass(frozen=True)
class Cell:
    """Coverage of 90 % limits in one cell, and mean width against that of the oracle."""

    name: str
    cases: int
    females: float
    males: float
    ratio: float
    width: float
    ratio_width: float


def cells_of(cases: Cases) -> Iterator[Cell]:
    """Yield every cell: overall, by age of the count, by size of the pond, and each of one with each of the other."""
    every = np.isfinite(cases.age)
    by_age = {name: (cases.age >= low) & (cases.age < high) for name, (low, high) in AGES.items()}
    by_size = {name: (cases.size >= low) & (cases.size < high) for name, (low, high) in SIZES.items()}
    yield _cell("all", cases, every)
    for name, where in {**by_age, **by_size}.items():
        yield _cell(name, cases, where)
    for age, of_age in by_age.items():
        for size, of_size in by_size.items():
            yield _cell(f"{age}, {size}", cases, of_age & of_size)


def _cell(name: str, cases: Cases, where: Floats) -> Cell:
    def covered(truth: Floats, limits: Floats) -> float:
        inside = (limits[0] <= truth) & (truth <= limits[1])
        return float(inside[where].mean()) if where.any() else np.nan

    def width(limits: Floats, best: Floats, scale: Floats) -> float:
        both = where & np.isfinite(limits).all(axis=0) & np.isfinite(best).all(axis=0) & (scale > 0)
        both &= np.isfinite(scale)
        if not both.any():
            return np.nan
        return float(
            ((limits[1] - limits[0])[both] / scale[both]).mean()
            / ((best[1] - best[0])[both] / scale[both]).mean()
        )

    return Cell(
        name,
        int(where.sum()),
        covered(cases.truth[0], cases.limits[0]),
        covered(cases.truth[1], cases.limits[1]),
        covered(cases.ratio, cases.ratio_limits),
        width(cases.limits[0], cases.best[0], cases.truth[0]),
        width(_log(cases.ratio_limits), _log(cases.best_ratio), np.ones_like(cases.ratio)),
    )


def _log(limits: Floats) -> Floats:
    """Return limits of a ratio on the log scale, where one without a bound does not swamp all others."""
    with np.errstate(divide="ignore"):
        return np.log(limits)


@dataclass(frozen=True)
class Shortage:
    """How often "short of females" was said where it was true, and was true where it was said."""

    name: str
    cases: int
    said: float
    times_said: int
    claimed: float
    true: float


def shortages_of(cases: Cases) -> Iterator[Shortage]:
    """Yield the power of the verdict, and its honesty, by age of the count."""
    is_sexed, is_short = cases.sexed >= SEXED, cases.ratio < SHORT_RATIO
    for name, where in {
        "counted within a year, 100 or more sexed": (cases.age <= 365) & is_sexed,
        "counted within a year, fewer or none sexed": (cases.age <= 365) & ~is_sexed,
        "counted longer ago": cases.age > 365,
        "all": np.isfinite(cases.age),
    }.items():
        power, said = where & is_short, where & (cases.is_said > 0)
        yield Shortage(
            name,
            int(power.sum()),
            float(cases.is_said[power].mean()) if power.any() else np.nan,
            int(said.sum()),
            float(cases.p_below[said].mean()) if said.any() else np.nan,
            float((cases.ratio < BAND[0])[said].mean()) if said.any() else np.nan,
        )


def speed(ponds: int = 400, seed: int = 1) -> dict[str, float]:
    """
    Return processor seconds for a farm: the whole answer, and one pass together and pond by pond.

    The pass is the part that a plain loop would do for each pond; laying out, learning the farm's rates and the
    limits belong to the whole answer.
    """
    history = live(FarmPlan(ponds=ponds, heads=(50, 800)), seed)
    day = end_of_month(12 * history.plan.years)
    groups = groups_of(history, day)
    steps = lay_out(groups, day)
    steps = steps.take(np.argsort(-steps.length))
    alone = [steps.take(np.array([pond])) for pond in range(ponds)]
    alone = [Steps(**{name: _cut(name, column, one) for name, column in vars(one).items()}) for one in alone]
    rates = rates_of(np.array([[-2.4, 0.2, 0.0, -0.8, -0.9, -3.5]]))
    catch = Catch(1.5, 0.2, 0.008)

    def seconds(*works: Callable[[], object]) -> float:
        began = time.process_time()
        for work in works:
            work()
        return time.process_time() - began

    def whole() -> object:
        return standing(groups, day, loss_prior=LossPrior(), detection_prior=DetectionPrior())

    def together() -> object:
        return pass_through(steps, rates, catch)

    whole(), together()
    return {
        "whole": min(seconds(whole) for _ in range(3)),
        "together": min(seconds(together) for _ in range(3)),
        "one by one": seconds(*(partial(pass_through, one, rates, catch) for one in alone)),
    }


def _cut(name: str, column: Floats, steps: Steps) -> Floats:
    """Return a pond's own steps without the empty ones at the end."""
    return column if name in ("length", "known", "age") else column[: int(steps.length[0])]


@dataclass(frozen=True)
class Study:
    """All of it: cells, shortages, seconds (None where not asked) and the sentences on missed limits."""

    cells: list[Cell]
    shortages: list[Shortage]
    seconds: dict[str, float] | None
    missed: list[str]


def study(plan: FarmPlan, farms: int, seed: int, *, with_speed: bool = True) -> Study:
    """Run the studies and hold them against the stated limits."""
    cases = ask(plan, farms, seed)
    cells, shortages = list(cells_of(cases)), list(shortages_of(cases))
    missed: list[str] = []
    # Limits are stated for all together, each age of the count and each size; crossed cells are small and shown.
    for number, cell in enumerate(cells[: 1 + len(AGES) + len(SIZES)]):
        least, most = (0.83, 1.0) if number else (0.87, 0.93)
        for what, covered in (("females", cell.females), ("ratio", cell.ratio)):
            if cell.cases and not least <= covered <= most:
                missed.append(f"{cell.name}: {what} covered {covered:.3f}, not {least} to {most}")
    for what, wide in (("females", cells[0].width), ("ratio", cells[0].ratio_width)):
        if wide > 1.3:
            missed.append(f"all: {what} {wide:.2f} times the oracle's width, above 1.3")
    if shortages[0].said < 0.8:
        missed.append(f"{shortages[0].name}: said in {shortages[0].said:.3f}, below 0.8")
    for number, row in enumerate(shortages):
        # The limit is stated for a fresh count; elsewhere the verdict must keep the certainty it was asked for,
        # and the table shows how far its probability was from what happened.
        claimed = row.claimed if number == 0 else CERTAINTY
        chance = 2 * (claimed * (1 - claimed) / max(row.times_said, 1)) ** 0.5 if number == 0 else 0.0
        if row.true < claimed - chance:
            missed.append(f"{row.name}: true in {row.true:.3f}, claimed {claimed:.3f}")
    seconds = speed() if with_speed else None
    if seconds is not None:
        times = seconds["one by one"] / seconds["together"]
        if times < 20:
            missed.append(f"speed {times:.1f} times a loop, below 20")
        if seconds["whole"] > 0.4:
            missed.append(f"whole answer {1000 * seconds['whole']:.0f} ms, above 400")
    return Study(cells, shortages, seconds, missed)


def tell(done: Study) -> str:
    """Return the studies as tables."""
    lines = [f"{'cell, 90 % limits':36s}  cases  females    males    ratio  width F  width r"]
    lines += [
        f"{cell.name:36s}{cell.cases:7d}{cell.females:9.3f}{cell.males:9.3f}{cell.ratio:9.3f}"
        f"{cell.width:9.2f}{cell.ratio_width:9.2f}"
        for cell in done.cells
    ]
    lines += ["", f"{'short of females':44s}  short     said  said in  claimed    true"]
    lines += [
        f"{row.name:44s}{row.cases:7d}{row.said:9.3f}{row.times_said:9d}{row.claimed:9.3f}{row.true:8.3f}"
        for row in done.shortages
    ]
    if done.seconds is not None:
        told = ", ".join(f"{name} {1000 * second:.0f} ms" for name, second in done.seconds.items())
        lines += ["", f"400 ponds, processor time: {told}"]
    return "\n".join([*lines, "", *([f"missed: {line}" for line in done.missed] or ["all limits met"])])


def main(words: Sequence[str] | None = None) -> int:
    """Print the studies; 1 where a limit is missed."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--farms", type=int, default=60)
    asked.add_argument("--seed", type=int, default=1000)
    asked.add_argument("--plan", default="{}", help="changes to the plan, as a Python dict")
    asked.add_argument("--no-speed", action="store_true")
    asked.add_argument("--json", action="store_true")
    given = asked.parse_args(words)
    plan = dataclasses.replace(FarmPlan(), **ast.literal_eval(given.plan))
    done = study(plan, given.farms, given.seed, with_speed=not given.no_speed)
    sys.stdout.write((json.dumps(dataclasses.asdict(done)) if given.json else tell(done)) + "\n")
    return int(bool(done.missed))


if __name__ == "__main__":
    raise SystemExit(main())
