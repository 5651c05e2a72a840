"""Posting one move: as cheap at the end of ten years as at the end of one; and a long batch's rate."""

from __future__ import annotations

from stock.bench.reading import OLD, YOUNG, farms
from stock.bench.registry import Measured

LIMIT = 2.0


def measure() -> Measured:
    """Compare single posts on the old and the young farm."""
    old, young = farms()
    ratio = old["post_ms"] / young["post_ms"]
    missed: tuple[str, ...] = ()
    if ratio > LIMIT:
        missed = (
            f"posting: a move takes {ratio:.1f} times as long after {OLD} years; the limit is {LIMIT:g}.",
        )
    rate = old["moves"] / old["filled_seconds"]
    return Measured(
        "posting",
        f"a move in {old['post_ms']:.1f} ms after {OLD} years, {young['post_ms']:.1f} ms after {YOUNG}: {ratio:.2f} "
        f"times; dated half a year back {old['post_back_dated_ms']:.1f} and {young['post_back_dated_ms']:.1f} ms; as "
        f"one batch {rate:.0f} moves/s, {rate * old['post_ms'] / 1000:.0f} times the rate of single posts.",
        {"ratio": ratio, "limit": LIMIT, "batch_moves_per_second": rate, "old": old, "young": young},
        missed,
    )
