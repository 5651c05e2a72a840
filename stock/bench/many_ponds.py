"""Placing ten thousand females over five hundred ponds, with gains that fall and with gains that do not."""

from __future__ import annotations

import time

import numpy as np

from stock.advisor.allocation import allocate
from stock.bench.registry import Measured

PONDS, HEADS = 500, 10_000
# Levels of the table, whether the gains fall, and the most seconds of processor time.
CASES = {"falling": (10_000, True, 1.0), "rising and falling": (200, False, 5.0)}


def measure() -> Measured:
    """Time the exact placing of both cases; each must place every head."""
    rng = np.random.default_rng(1)
    seconds: dict[str, object] = {}
    missed = []
    for name, (levels, falls, limit) in CASES.items():
        gains = rng.random((PONDS, levels))
        if falls:
            gains = -np.sort(-gains, axis=1)
        began = time.process_time()
        placed = allocate(gains, HEADS)
        taken = time.process_time() - began
        seconds[name] = taken
        if taken > limit:
            missed.append(f"placing with {name} gains takes {taken:.2f} s; the limit is {limit:g} s.")
        if sum(placed.heads_per_pond) != HEADS:
            missed.append(f"placing with {name} gains leaves heads over.")
    words = ", ".join(f"{name} gains in {taken:.2f} s" for name, taken in seconds.items())
    return Measured("many-ponds", f"{HEADS:,} heads over {PONDS} ponds: {words}.", seconds, tuple(missed))
