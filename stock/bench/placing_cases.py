"""Placing against an integer solver on many small random cases, most of which step-by-step choice gets wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from stock.advisor.allocation import allocate
from stock.advisor.solver_words import without_noise
from stock.bench.registry import Measured

CASES, FEWEST_WRONG = 1000, 300
SEED = 2026


@dataclass(frozen=True)
class Case:
    """One case: gains by pond (rows of differing length), caps, and heads to place."""

    gains: tuple[np.ndarray, ...]
    caps: tuple[int, ...]
    heads: int


def measure() -> Measured:
    """Solve every case both ways; the totals must agree, and enough of the cases must be hard."""
    wrong, worst = compare(CASES)
    missed = []
    if worst > 1e-7:
        missed.append(
            f"placing and the solver differ by {worst:.2g} in one of {CASES} cases; they must agree."
        )
    if wrong < FEWEST_WRONG:
        missed.append(f"step by step is wrong in {wrong} of {CASES} cases; {FEWEST_WRONG} must be that hard.")
    return Measured(
        "placing-cases",
        f"{CASES:,} random cases equal to the integer solver of scipy (HiGHS) to {worst:.1g}; choosing step by step "
        f"is wrong in {wrong} of them.",
        {"cases": CASES, "step_by_step_wrong": wrong, "largest_difference": worst, "limit": FEWEST_WRONG},
        tuple(missed),
    )


def compare(cases: int, seed: int = SEED) -> tuple[int, float]:
    """Return in how many cases step-by-step choice is wrong, and the largest difference from the solver."""
    wrong, worst = 0, 0.0
    for case in draw_cases(cases, seed):
        best = by_solver(case)
        placed = allocate(case.gains, case.heads, caps=case.caps)
        worst = max(worst, abs(placed.total - best))
        wrong += step_by_step(case) < best - 1e-9
    return wrong, worst


def draw_cases(cases: int, seed: int) -> Iterator[Case]:
    """Draw cases of 2 to 8 ponds; one in ten has gains that only fall, the rest rise and fall."""
    rng = np.random.default_rng(seed)
    for number in range(cases):
        rows = [rng.gamma(0.7, 1.0, int(rng.integers(2, 11))) for _ in range(int(rng.integers(2, 9)))]
        if number % 10 == 0:
            rows = [-np.sort(-row) for row in rows]
        caps = tuple(int(rng.integers(0, row.size + 1)) for row in rows)
        yield Case(tuple(rows), caps, int(rng.integers(1, max(2, sum(caps)))))


def step_by_step(case: Case) -> float:
    """Return what is gained by giving each next head to the pond where it gains most at that moment."""
    placed, total = [0] * len(case.gains), 0.0
    for _ in range(min(case.heads, sum(case.caps))):
        offers = [
            (float(row[count]), -pond)
            for pond, (row, count, cap) in enumerate(zip(case.gains, placed, case.caps, strict=True))
            if count < cap
        ]
        gain, pond = max(offers)
        placed[-pond] += 1
        total += gain
    return total


def by_solver(case: Case) -> float:
    """Return the best total by mixed-integer programming: one yes-or-no for each pond and number of heads."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    pairs = [(pond, count) for pond, cap in enumerate(case.caps) for count in range(cap + 1)]
    worth = np.array([float(case.gains[pond][:count].sum()) for pond, count in pairs])
    ponds, counts = (np.array(column) for column in zip(*pairs, strict=True))
    one_each = csr_array((np.ones(len(pairs)), (ponds, np.arange(len(pairs)))))
    most = min(case.heads, sum(case.caps))
    with without_noise():
        solved = milp(
            -worth,
            constraints=[
                LinearConstraint(one_each, 1, 1),
                LinearConstraint(counts.astype(float), most, most),
            ],
            integrality=np.ones(len(pairs)),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0},
        )
    if not solved.success:
        raise RuntimeError(f"the solver found nothing: {solved.message}")
    return -float(solved.fun)
