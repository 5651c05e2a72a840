"""Reading any day: as fast on a farm of ten years as on one of a single year."""

from __future__ import annotations

from functools import cache

from stock.bench.registry import Measured
from stock.bench.scratch import run_module, scratch_database

OLD, YOUNG = 10, 1
LIMIT = 2.0


@cache
def farms() -> tuple[dict, dict]:
    """Return what the old and the young farm cost; made once for all benchmarks that ask."""
    measured = []
    for years in (OLD, YOUNG):
        # Beside the farm's age only the disk's mood would differ, so there is none.
        with scratch_database(on_disk=False) as environment:
            measured.append(run_module(environment, "stock.bench.old_farm", "--years", str(years)))
    return measured[0], measured[1]


def measure() -> Measured:
    """Compare reading a day on both, beside the sum of all entries."""
    old, young = farms()
    ratio = old["read_ms"] / young["read_ms"]
    against_sum = old["full_sum_ms"] / old["read_ms"]
    missed: tuple[str, ...] = ()
    if ratio > LIMIT:
        missed = (
            f"reading: a day takes {ratio:.1f} times as long after {OLD} years; the limit is {LIMIT:g}.",
        )
    return Measured(
        "reading",
        f"a day of all ponds in {old['read_ms']:.1f} ms after {OLD} years, {young['read_ms']:.1f} ms after {YOUNG}: "
        f"{ratio:.2f} times; adding up all {old['moves']} moves takes {against_sum:.1f} times as long as the book.",
        {"ratio": ratio, "limit": LIMIT, "times_faster_than_sum": against_sum, "old": old, "young": young},
        missed,
    )
