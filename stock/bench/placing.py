"""Placing heads over ponds: the exact greedy rule against a general integer solver on the same problem."""

from __future__ import annotations

import time

import numpy as np

from stock.advisor.allocation import allocate
from stock.advisor.solver_words import without_noise
from stock.bench.registry import Measured

PONDS, HEADS, LEVELS = 20, 400, 100
TIMES_FASTER = 50
ROUNDS = 20


def measure() -> Measured:
    """Time both on gains that fall pond by pond; their totals must agree."""
    gains = falling_gains(PONDS, LEVELS)
    own = _fastest(lambda: allocate(gains, HEADS), ROUNDS)
    total = allocate(gains, HEADS).total
    began = time.perf_counter()
    solved = by_solver(gains, HEADS)
    solver = time.perf_counter() - began
    ratio = solver / own
    missed = []
    if ratio < TIMES_FASTER:
        missed.append(f"placing is {ratio:.0f} times as fast as the solver; the limit is {TIMES_FASTER}.")
    if abs(total - solved) > 1e-6 * abs(solved):
        missed.append(f"placing gains {total:.6f}, the solver {solved:.6f}; they must agree.")
    return Measured(
        "placing",
        f"{HEADS} heads over {PONDS} ponds in {1000 * own:.2f} ms; the integer solver of scipy (HiGHS) takes "
        f"{1000 * solver:.0f} ms: {ratio:.0f} times as long, same total.",
        {"seconds": own, "reference_seconds": solver, "ratio": ratio, "limit": TIMES_FASTER},
        tuple(missed),
    )


def falling_gains(ponds: int, levels: int) -> np.ndarray:
    """Return gains of shape (ponds, levels) that never rise along a row; the same at each call."""
    drawn = np.random.default_rng(11).gamma(2.0, 1.0, size=(ponds, levels))
    return -np.sort(-drawn, axis=1)


def by_solver(gains: np.ndarray, heads: int) -> float:
    """Return the best total by mixed-integer programming: one yes-or-no for each pond and head."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    size = gains.size
    with without_noise():
        solved = milp(
            -gains.ravel(),
            constraints=LinearConstraint(csr_array(np.ones((1, size))), heads, heads),
            integrality=np.ones(size),
            bounds=Bounds(0, 1),
        )
    if not solved.success:
        raise RuntimeError(f"the solver found nothing: {solved.message}")
    return -float(solved.fun)


def _fastest(run, rounds: int) -> float:
    best = float("inf")
    for _ in range(rounds):
        began = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - began)
    return best
