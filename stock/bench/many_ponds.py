"""Placing ten thousand females over five hundred ponds, with gains that fall and with gains that do not."""

from __future__ import annotations

import time

import numpy as np

from stock.advisor.allocation import allocate
from stock.advisor.allocation_bound import most_possible
from stock.bench.registry import Measured

PONDS, HEADS = 500, 10_000
# Levels of the table, whether the gains fall, and the most seconds of processor time.
CASES = {"falling": (10_000, True, 1.0), "rising and falling": (200, False, 5.0)}


def measure() -> Measured:
    """Time the exact placing of both cases with the bound that proves it; each must place every head."""
    rng = np.random.default_rng(1)
    figures: dict[str, object] = {}
    missed, said = [], []
    for name, (levels, falls, limit) in CASES.items():
        gains = rng.random((PONDS, levels))
        if falls:
            gains = -np.sort(-gains, axis=1)
        began = time.process_time()
        placed = allocate(gains, HEADS)
        bound = most_possible(gains, HEADS)
        taken = time.process_time() - began
        gap = bound / placed.total - 1
        figures |= {f"{name}: seconds": taken, f"{name}: total": placed.total, f"{name}: bound": bound}
        said.append(
            f"{name} gains in {taken:.2f} s, {placed.total:,.2f} of at most {bound:,.2f} (proven; "
            f"{100 * max(0.0, gap):.4f} % open)"
        )
        if taken > limit:
            missed.append(f"placing with {name} gains takes {taken:.2f} s; the limit is {limit:g} s.")
        if sum(placed.heads_per_pond) != HEADS:
            missed.append(f"placing with {name} gains leaves heads over.")
        if not -1e-9 <= gap <= 1e-3 or (falls and gap > 1e-9):
            missed.append(f"placing with {name} gains: {placed.total:.6f} against a bound of {bound:.6f}.")
    return Measured(
        "many-ponds", f"{HEADS:,} heads over {PONDS} ponds: {'; '.join(said)}.", figures, tuple(missed)
    )
