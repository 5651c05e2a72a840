"""Posting processes killed one after the other: what was acknowledged stands."""

from __future__ import annotations

from stock.bench.contention import faults
from stock.bench.registry import Measured
from stock.bench.scratch import run_module, scratch_database

KILLS = 200


def measure() -> Measured:
    """Kill `KILLS` processes mid-post and count what is lost; the reference is what they were told."""
    with scratch_database() as environment:
        race = run_module(environment, "stock.bench.race", "--one-by-one", "--kills", str(KILLS))
    return Measured(
        "kills",
        f"{race['killed']} kills: of {race['accepted']} acknowledged moves {race['lost']} lost, "
        f"{race['torn_or_doubled']} torn or doubled; {race['never_told']} commits whose process was killed before "
        "it could say so.",
        race,
        tuple(faults(race)),
    )
