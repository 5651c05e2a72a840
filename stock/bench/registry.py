"""What a benchmark hands back, and the list of them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, field

# Each module has a function `measure()`; in this order they run.
BENCHMARKS = {
    "marks": "stock.bench.marks",
    "turtles": "stock.bench.turtles",
    "placing": "stock.bench.placing",
    "placing-cases": "stock.bench.placing_cases",
    "yields": "stock.bench.yields",
    "farm-plan": "stock.bench.farm_plan",
    "many-ponds": "stock.bench.many_ponds",
    "charts": "stock.bench.drawing",
    "sheets": "stock.bench.hostile_sheets",
    "standing": "stock.bench.standing",
    "reading": "stock.bench.reading",
    "posting": "stock.bench.posting",
    "race": "stock.bench.contention",
    "kills": "stock.bench.kills",
    "watch": "stock.bench.watch",
    "coverage": "stock.bench.coverage",
    "estimators": "stock.bench.estimators",
}


@dataclass(frozen=True)
class Measured:
    """
    One benchmark's outcome.

    Parameters
    ----------
    name : str
        Its name in `BENCHMARKS`.
    says : str
        One sentence with the figures, the reference's among them.
    figures : dict
        The same as numbers; times in seconds unless the name says otherwise.
    missed : tuple of str
        A sentence for each stated limit that was missed.
    """

    name: str
    says: str
    figures: dict[str, object] = field(default_factory=dict)
    missed: tuple[str, ...] = ()


def measure(name: str) -> Measured:
    """Run one benchmark by name."""
    run: Callable[[], Measured] = importlib.import_module(BENCHMARKS[name]).measure
    return run()
