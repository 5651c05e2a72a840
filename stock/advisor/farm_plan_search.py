"""The stages of the whole-farm plan: most ponds in band, then least short or over, then the aim."""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stock.advisor.farm_plan_moves import after, netted
from stock.advisor.farm_plan_program import (
    BOUGHT,
    FEMALES_IN,
    FEMALES_OUT,
    IS_MET,
    MALES_OUT,
    SOLD,
    WIDTH,
    Answer,
    Floats,
    Place,
    Program,
    Rules,
)

FEWEST_HEADS = "fewest heads handled"
MOST_EGGS = "most eggs"
AIMS = (FEWEST_HEADS, MOST_EGGS)
PONDS_IN_BAND, SHORT_OR_OVER = "ponds brought into band", "females short or over"
"""Names of the stages before the aim."""

_TIDIED_IN = 0.3
"""Seconds that must be left to look for fewer ponds to handle the same heads at."""


@dataclass(frozen=True)
class Stage:
    """One step of the search: what it looked for, what it reached, and what no plan can beat.

    Not proven where time ran out, or where the solver gave an error (``has_failed``).
    """

    name: str
    reached: float
    bound: float
    is_proven: bool
    has_failed: bool = False


Say = Callable[[str], None]


def search(
    places: Sequence[Place], rules: Rules, aim: str, begun: float, seconds: float, say: Say
) -> tuple[Floats, list[Stage]]:
    """Solve stage by stage, each kept in the next; what a stage cannot better in time stays as it was.

    Returns the heads by place and column, and the stages.
    """
    heads = np.zeros((len(places), WIDTH))
    if not places:
        return heads, [Stage(aim, 0.0, 0.0, is_proven=True)]

    def left(share: float) -> float:
        return max(0.1, (seconds - (time.monotonic() - begun)) * share)

    program = Program(places, rules)
    heads, stages = _into_band(program, heads, left, say)
    say(f"Looking for the {aim}.")
    costs = program.every(females_out=1.0, males_out=1.0, sold=1.0, bought=1.0)
    if aim == MOST_EGGS:
        costs *= rules.eggs_a_head
        costs -= program.every(fertile=1.0) * np.repeat([place.staying_eggs for place in places], WIDTH)
    answer = program.solve(costs, left(0.7))
    found = [heads] if answer.heads is None else [heads, answer.heads]
    if not answer.is_proven:
        # With every yes or no as the stages before left it only heads are sought, which is quick.
        settled = program.settled_as(heads).solve(costs, left(0.4))
        found += [] if settled.heads is None else [settled.heads]
    heads = min(found, key=lambda each: _cost(program, each, aim))
    stages.append(_last_stage(program, heads, aim, answer))
    if answer.is_proven and left(1.0) > _TIDIED_IN:
        heads = _tidied(program, heads, costs, aim, answer, min(left(0.5), 1.0 + 0.1 * seconds), say)
    return heads, stages


def _into_band(
    program: Program, heads: Floats, left: Callable[[float], float], say: Say
) -> tuple[Floats, list[Stage]]:
    """Bring as many ponds into band as can be, then leave the rest as little short or over as can be."""
    places = program.places
    outside = [number for number, place in enumerate(places) if not place.is_in_band]
    if not outside:
        return heads, []
    say(f"Bringing as many as can be of {len(outside)} ponds into band.")
    counted = np.zeros((len(places), WIDTH))
    counted[outside, IS_MET] = 1.0
    answer = program.solve(-counted.ravel(), left(0.35))
    heads = heads if answer.heads is None else answer.heads
    reached = float(heads[outside, IS_MET].sum())
    most = float(len(outside))
    if math.isfinite(answer.bound):
        most = min(most, float(math.floor(-answer.bound + 1e-6)))
    stages = [Stage(PONDS_IN_BAND, reached, most, answer.is_proven, answer.has_failed)]
    program.require(counted.ravel(), reached, len(outside))
    if reached < len(outside):
        say(f"{reached:g} can be; leaving the fewest females short or over in the rest.")
        gaps = program.every(short=1.0, over=1.0)
        answer = program.solve(gaps, left(0.3))
        heads = heads if answer.heads is None else answer.heads
        still = _gap(places, heads)
        least = still if answer.is_proven else max(0.0, answer.bound)
        stages.append(Stage(SHORT_OR_OVER, still, least, answer.is_proven, answer.has_failed))
        program.require(gaps, 0.0, still)
    return heads, stages


def _last_stage(program: Program, heads: Floats, aim: str, answer: Answer) -> Stage:
    cost = _cost(program, heads, aim)
    reached = cost if aim == FEWEST_HEADS else -cost
    if answer.is_proven:
        return Stage(aim, reached, reached, is_proven=True)
    if aim == MOST_EGGS:
        return Stage(aim, reached, -answer.bound, is_proven=False, has_failed=answer.has_failed)
    bound = math.ceil(answer.bound - 1e-6) if math.isfinite(answer.bound) else 0.0
    return Stage(aim, reached, max(0.0, bound), is_proven=False, has_failed=answer.has_failed)


def _tidied(
    program: Program, heads: Floats, costs: Floats, aim: str, answer: Answer, seconds: float, say: Say
) -> Floats:
    """Return an equally good plan that touches fewer ponds, where one is found in time."""
    cost = _cost(program, heads, aim)
    if not cost:
        return heads
    say("Looking for few ponds to handle them at.")
    program.require(costs, -math.inf, max(cost, answer.value))
    found = program.solve(program.count_touched(cost if aim == FEWEST_HEADS else math.inf), seconds)
    if found.heads is None or not math.isclose(_cost(program, found.heads, aim), cost, rel_tol=1e-9):
        return heads
    return found.heads


def _gap(places: Sequence[Place], heads: Floats) -> float:
    ended = [
        replace(place, females=females, males=males)
        for place, (females, males) in zip(
            places, (after(*pair) for pair in zip(places, heads, strict=True)), strict=True
        )
    ]
    return math.fsum(place.short + place.over for place in ended)


def _cost(program: Program, heads: Floats, aim: str) -> float:
    """Return what the aim makes as small as can be: heads handled, or eggs taken below 0."""
    handled = float(netted(heads)[:, [FEMALES_OUT, MALES_OUT, SOLD, BOUGHT]].sum())
    if aim == FEWEST_HEADS:
        return handled
    places = program.places
    return program.rules.eggs_a_head * handled - math.fsum(eggs_of(places, heads, range(len(places))))


def eggs_of(given: Sequence[Place], heads: Floats, within: Sequence[int]) -> list[float]:
    """Return the eggs of the females of each place; those not within, such as ponds left alone, are as they are."""
    rows = dict(zip(within, heads, strict=True))
    found = []
    for number, place in enumerate(given):
        row = rows.get(number, np.zeros(WIDTH))
        females, males = after(place, row)
        came = float(row[FEMALES_IN] + row[BOUGHT])
        laid = place.staying_eggs * (females - came) + place.moved_eggs * came
        found.append(laid * min(1.0, place.full_to * males / females) if females else 0.0)
    return found
