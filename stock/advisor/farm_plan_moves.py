"""A solved plan as moves from pond to pond, and what would mend the ponds it leaves out."""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from stock.advisor.farm_plan_program import (
    BOUGHT,
    FEMALES_IN,
    FEMALES_OUT,
    IS_MET,
    MALES_IN,
    MALES_OUT,
    SOLD,
    WIDTH,
    Answer,
    Floats,
    Place,
    Program,
    Rules,
    column,
)

FEMALE, MALE = "FEMALE", "MALE"

SELL, BUY, ROOM, WELFARE, FEW, ALL = (
    "sell males",
    "bought females",
    "head room",
    "welfare",
    "few males",
    "all together",
)
"""What would bring a pond into band that the plan leaves out: see `Unmet`."""

MOST_BOUGHT = 1_000_000


@dataclass(frozen=True)
class PlanMove:
    """So many heads of one kind and class from a pond (None: bought) to a pond (None: sold)."""

    source: str | None
    target: str | None
    kind: str
    of_class: str
    heads: int


def after(place: Place, heads: Floats) -> tuple[float, float]:
    """Return the females and males of a place once whole heads are moved; whole where those standing are."""
    females = place.females - heads[FEMALES_OUT] + heads[FEMALES_IN] + heads[BOUGHT]
    males = place.males - heads[MALES_OUT] - heads[SOLD] + heads[MALES_IN]
    return round(float(females), 6), round(float(males), 6)


def netted(heads: Floats) -> Floats:
    """Take back what goes out of a place and into it again."""
    netted = heads.copy()
    for goes, comes in ((FEMALES_OUT, FEMALES_IN), (MALES_OUT, MALES_IN)):
        both = np.minimum(netted[:, goes], netted[:, comes])
        netted[:, goes] -= both
        netted[:, comes] -= both
    return netted


def paired(places: Sequence[Place], heads: Floats) -> tuple[PlanMove, ...]:
    """Turn what leaves and comes in into moves from pond to pond, few of them: equal loads first, then large."""
    moves = []
    for kind in dict.fromkeys(place.kind for place in places):
        mine = [number for number, place in enumerate(places) if place.kind == kind]
        for of_class, goes, comes in ((FEMALE, FEMALES_OUT, FEMALES_IN), (MALE, MALES_OUT, MALES_IN)):
            gives = {number: int(heads[number, goes]) for number in mine if heads[number, goes] >= 0.5}
            takes = {number: int(heads[number, comes]) for number in mine if heads[number, comes] >= 0.5}
            for giver, taker, count in _loads(gives, takes):
                moves.append(PlanMove(places[giver].pond, places[taker].pond, kind, of_class, count))
        for number in mine:
            if heads[number, SOLD] >= 0.5:
                moves.append(PlanMove(places[number].pond, None, kind, MALE, int(heads[number, SOLD])))
            if heads[number, BOUGHT] >= 0.5:
                moves.append(PlanMove(None, places[number].pond, kind, FEMALE, int(heads[number, BOUGHT])))
    return tuple(moves)


def _loads(gives: dict[int, int], takes: dict[int, int]) -> list[tuple[int, int, int]]:
    loads = []
    while gives and takes:
        alike = next(
            (
                (giver, taker)
                for giver, count in gives.items()
                for taker, wanted in takes.items()
                if count == wanted
            ),
            None,
        )
        giver, taker = alike or (
            max(gives, key=lambda at: (gives[at], -at)),
            max(takes, key=lambda at: (takes[at], -at)),
        )
        count = min(gives[giver], takes[taker])
        loads.append((giver, taker, count))
        for side, at in ((gives, giver), (takes, taker)):
            side[at] -= count
            if not side[at]:
                del side[at]
    return sorted(loads)


def what_helps(
    places: Sequence[Place], rules: Rules, missed: Sequence[int], begun: float, seconds: float
) -> dict[int, tuple[str, ...]]:
    """Lift one rule after the other and see which ponds then come into band, those in band staying so."""
    if not missed:
        return {}
    trials = {
        SELL: replace(rules, may_sell=True),
        BUY: replace(rules, bought=_females_to_fill(places)),
        ROOM: replace(rules, room={}),
        WELFARE: replace(rules, welfare_ratio=0.0),
        FEW: replace(rules, fewest_males=0),
    }
    trials = {name: trial for name, trial in trials.items() if trial != rules}
    found: dict[int, list[str]] = {number: [] for number in missed}
    together = replace(rules, may_sell=True, bought=_females_to_fill(places), room={}, welfare_ratio=0.0)
    for name, trial in (*trials.items(), (ALL, together)):
        wanted = [number for number in missed if name != ALL or not found[number]]
        if not wanted:
            continue
        answer = _lifted(places, trial, missed, wanted, max(0.1, (seconds - (time.monotonic() - begun)) / 3))
        for number in wanted:
            if answer.heads is not None and answer.heads[number, IS_MET] > 0.5:
                found[number].append(name)
    return {number: tuple(names) for number, names in found.items()}


def _females_to_fill(places: Sequence[Place]) -> int:
    return min(MOST_BOUGHT, math.ceil(sum(place.low * place.males + place.short + 3 for place in places)))


def _lifted(
    places: Sequence[Place], rules: Rules, missed: Sequence[int], wanted: Sequence[int], seconds: float
) -> Answer:
    program = Program(places, rules)
    counted = np.zeros((len(places), WIDTH))
    counted[list(wanted), IS_MET] = 1.0
    for number, place in enumerate(places):
        if not place.is_in_band and number not in missed:
            program.low[column(number, IS_MET)] = 1.0
    return program.solve(-counted.ravel(), seconds)
