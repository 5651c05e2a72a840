"""Where new females go, on simulated farms: ``python -m tests.simulator.placing_study [--farms N] [--seed N]``.

On each farm the advice sees what a farm would know: four seasons of nest book and hatch log, and heads with their
error. Its placing, an even split and worst ratio first put the same females into the same ponds under the same caps;
then the seasons that follow are lived through with each, under the assumed law of fertility and under nine others.
Beside it, as "sure", stands the advice that draws everything but where full fertility ends. Laws called harsh take
more than a tenth of the eggs where nothing shows a loss; they are printed and set no limit.
Every farm on which the advice is beaten is printed; the last lines say which of the stated limits were missed.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from stock.advisor.allocation import allocate
from stock.advisor.curve_doubt import ends_of_full_fertility, gains_in_doubt
from stock.advisor.eggs_a_female import EggsAFemale, eggs_a_female
from stock.advisor.joint_draws import joint_draws
from stock.advisor.placed import share_ties
from stock.advisor.placing import compare_placings, pond_cap, why_not
from stock.advisor.season_learning import learn_yields
from tests.simulator.herds import LAWS, Herd, Years
from tests.simulator.nests import Floats, NestPlan, live_seasons
from tests.simulator.season_studies import FIRST_SEASON, KINDS, PUBLISHED, book_of

PLAN = NestPlan(ponds=20, cooter_ponds=0, seasons=5, heads=(60, 900))
SEASONS, DRAWS, BAND_TOP = 5, 400, 4.5
SURVIVAL = (0.77, 0.9, 0.97)
COLUMNS = {
    "advice": "advice", "advice, sure of its curve": "sure", "even split": "even", "worst ratio first": "worst",
    "of even": "of even", "of worst": "of worst", "lost to even": "lost to even", "lost to worst": "lost to worst",
}  # fmt: skip
FULL_TO = (3.0, 5.0, 8.0)
"""Females per male at which full fertility ends, as the page asks: at the soonest, as expected, at the latest."""


@dataclass(frozen=True)
class Farm:
    """
    One farm: its seed, females placed, ponds open, and the eggs they add.

    ``added`` has shape (laws, 4): by the advice, the advice sure of its curve, an even split, worst ratio first.
    """

    seed: int
    heads: int
    open_ponds: int
    added: Floats


def place_on_farm(seed: int, plan: NestPlan = PLAN) -> Farm:
    """Let one farm keep its books, place new females in four ways, and live on with each."""
    rng = np.random.default_rng([seed, 7])
    known = plan.seasons - 1
    history = live_seasons(plan, seed)
    ponds = plan.ponds
    kinds = [KINDS[kind] for kind in history.kind]
    learnt = learn_yields(book_of(history, known), kinds, PUBLISHED, season=FIRST_SEASON + known)
    # The farm believes one thing; the truth lies about it by the error it states.
    believed, error = history.females[:, known], history.female_se[:, known]
    females = np.maximum(5.0, np.rint(rng.normal(believed, error)))
    males = np.maximum(3.0, np.rint(females / np.exp(rng.uniform(*np.log([1.2, 5.5]), ponds))))
    male_error = males * rng.uniform(0.05, 0.2, ponds)
    males_believed = np.maximum(1.0, np.rint(rng.normal(males, male_error)))
    seen, seen_males = np.rint(believed).astype(int), males_believed.astype(int)
    rooms = rng.integers(10, 400, ponds)
    caps = [
        0
        if why_not(females=int(f), males=int(m), head_room=int(room), band_high=BAND_TOP)
        else pond_cap(int(f), int(m), int(room), BAND_TOP)
        for f, m, room in zip(seen, seen_males, rooms, strict=True)
    ]
    opened = np.flatnonzero(caps)
    room = [caps[pond] for pond in opened]
    heads = max(1, int(sum(room) * rng.uniform(0.1, 0.6)))
    drawn = joint_draws(
        seen[opened], seen_males[opened], error[opened], male_error[opened], np.zeros(len(opened)),
        draws=DRAWS, rng=1,
    )  # fmt: skip
    yields = eggs_a_female(learnt, seasons=SEASONS, draws=DRAWS, rng=1)
    stands = {"females": seen[opened], "males": seen_males[opened]}
    ways = []
    for ends in (ends_of_full_fertility(*FULL_TO), FULL_TO[1:2]):
        table = gains_in_doubt(
            drawn.females, drawn.males, full_to=ends, learnt=_of(yields, opened), survival=SURVIVAL,
            max_heads=min(heads, max(room)), seasons=SEASONS, kinds=["kind"] * len(opened), draws=DRAWS, keep=20, rng=1,
        )  # fmt: skip
        ways.append(share_ties(allocate(table.gains, heads, caps=room), table.gains, caps=room, **stands))
    rivals = compare_placings(table.gains, room, heads, **stands)
    placed = [np.array(way.heads_per_pond) for way in (*ways, rivals.even_split, rivals.worst_ratio_first)]
    truth = Herd(
        females[opened],
        males[opened],
        (history.true_rate[:, known] * history.true_eggs[:, known] * history.true_hatch)[opened],
        np.ones(len(opened)),
    )
    years = Years(len(opened), min(heads, max(room)), SEASONS, rng)
    none = np.zeros(len(opened), dtype=np.int64)
    added = np.array(
        [
            [years.hatched(truth, way, law) - years.hatched(truth, none, law) for way in placed]
            for law in LAWS.values()
        ]
    )
    return Farm(seed, heads, len(opened), added)


def _of(yields: EggsAFemale, ponds: NDArray[np.intp]) -> EggsAFemale:
    return EggsAFemale(yields.mean[ponds], yields.draws[ponds])


@dataclass(frozen=True)
class Study:
    """What is printed, the figures of each curve, and what was missed."""

    lines: list[str]
    figures: dict[str, dict[str, float]]
    missed: list[str]


def study(farms: int, seed: int, plan: NestPlan = PLAN) -> Study:
    """Place on so many farms and set the ways side by side, curve by curve."""
    done = [place_on_farm(seed + number, plan) for number in range(farms)]
    added = np.array([farm.added for farm in done])
    lines = [
        f"{farms} farms, seeds {seed} to {seed + farms - 1}; hatched eggs added over {SEASONS} seasons, mean a farm",
        f"{'law of fertility':28s}" + "".join(f"{name:>15s}" for name in COLUMNS.values()),
    ]
    figures: dict[str, dict[str, float]] = {}
    missed: list[str] = []
    beaten: list[str] = []
    for place, (name, law) in enumerate(LAWS.items()):
        ours, sure, even, worst = added[:, place].T
        figures[name] = {
            "advice": float(ours.mean()),
            "advice, sure of its curve": float(sure.mean()),
            "even split": float(even.mean()),
            "worst ratio first": float(worst.mean()),
            "of even": float(ours.sum() / even.sum()),
            "of worst": float(ours.sum() / worst.sum()),
            "lost to even": int((ours < even).sum()),
            "lost to worst": int((ours < worst).sum()),
        }
        cells = (f"{figures[name][key]:15.{3 if key.startswith('of ') else 0}f}" for key in COLUMNS)
        lines.append(f"{name:28s}" + "".join(cells))
        for way, rival in (("even split", even), ("worst ratio first", worst)):
            gain = ours - rival
            error = gain.std(ddof=1) / np.sqrt(farms) if farms > 1 else np.inf
            if gain.mean() <= 2 * error and not law.is_harsh:
                missed.append(
                    f"{name}: {gain.mean():.0f} eggs a farm more than {way}, not two standard errors "
                    f"({error:.0f}) above 0"
                )
            beaten += [
                f"  seed {done[farm].seed}, {name}, {way}: {ours[farm]:.0f} against {rival[farm]:.0f} eggs "
                f"({100 * (ours[farm] / rival[farm] - 1):+.1f} %; {done[farm].heads} females, "
                f"{done[farm].open_ponds} ponds)"
                for farm in np.flatnonzero(gain < 0)
            ]
    lines += [
        "",
        f"Where the advice was beaten: {len(beaten)} of {added.shape[0] * len(LAWS) * 2} comparisons",
        *beaten,
    ]
    return Study(lines, figures, missed)


def tell(done: Study) -> str:
    """Return the study as text."""
    return "\n".join([*done.lines, "", *([f"missed: {line}" for line in done.missed] or ["all limits met"])])


def main(words: Sequence[str] | None = None) -> int:
    """Print the study; 1 where a limit is missed."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--farms", type=int, default=240)
    asked.add_argument("--seed", type=int, default=5000)
    asked.add_argument("--json", action="store_true")
    given = asked.parse_args(words)
    done = study(given.farms, given.seed)
    sys.stdout.write((json.dumps(asdict(done)) if given.json else tell(done)) + "\n")
    return int(bool(done.missed))


if __name__ == "__main__":
    raise SystemExit(main())
