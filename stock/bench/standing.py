"""The standing of four hundred ponds against a plain loop over them, and the Ponds page that shows it."""

from __future__ import annotations

import time

import numpy as np

from stock.advisor.standing import (
    Counts,
    Deaths,
    DetectionPrior,
    Groups,
    Hauls,
    LossPrior,
    Moves,
    standing,
)
from stock.advisor.standing_farm import rates_of
from stock.advisor.standing_filter import Catch, Rates, pass_through
from stock.advisor.standing_steps import DAYS_A_YEAR, Floats, Steps, Whole, lay_out
from stock.bench.registry import Measured
from stock.bench.scratch import run_module, scratch_database
from stock.bench.standing_loop import plain_loop

PONDS, YEARS = 400, 5
TIMES_FASTER = 20
MOST_MS = 400
AGREES = 1e-6
ROUNDS = 5
DAY = YEARS * DAYS_A_YEAR
# Mean log loss, log odds seen, males against females, logs of both spreads and of bursts; then one moved at a time.
GUESS = np.array([-2.4, 0.2, 0.0, -0.8, -0.9, -3.5])
GUESSES = GUESS + np.vstack([np.zeros(6), 0.05 * np.eye(6)])


def measure() -> Measured:
    """Time the whole answer, and one pass over all ponds together and pond by pond in plain floats."""
    groups = five_years(PONDS, seed=5)
    steps = lay_out(groups, DAY)
    steps = steps.take(np.argsort(-steps.length, kind="stable"))
    rates, catch = rates_of(GUESSES), Catch(1.5, 0.2, 0.009)

    def whole() -> object:
        return standing(groups, DAY, loss_prior=LossPrior(), detection_prior=DetectionPrior())

    whole()
    answer = min(_processor_seconds(whole) for _ in range(ROUNDS))
    together = min(_processor_seconds(lambda: pass_through(steps, rates, catch)) for _ in range(ROUNDS))
    loop = _processor_seconds(lambda: plain_loop(steps, rates, catch))
    apart = difference(steps, rates, catch)
    ratio = loop / together
    with scratch_database(on_disk=False) as environment:
        page = run_module(environment, "stock.bench.standing_page", "--ponds", str(PONDS))
    missed = []
    if ratio < TIMES_FASTER:
        missed.append(f"the standing is {ratio:.0f} times as fast as the loop; the limit is {TIMES_FASTER}.")
    if 1000 * answer > MOST_MS:
        missed.append(f"the standing of {PONDS} ponds takes {1000 * answer:.0f} ms; the limit is {MOST_MS}.")
    if apart > AGREES:
        missed.append(f"the standing and the loop are {apart:.2g} of their size apart; they must agree.")
    return Measured(
        "standing",
        f"{PONDS} ponds of {YEARS} years in {1000 * answer:.0f} ms; one pass over them {1000 * together:.0f} ms, "
        f"pond by pond in plain floats {1000 * loop:.0f} ms: {ratio:.0f} times as long, same numbers. The Ponds page "
        f"of as many: {page['first_ms']:.0f} ms after a posting, {page['again_ms']:.0f} ms at the next look.",
        {
            "seconds": answer,
            "pass_seconds": together,
            "reference_seconds": loop,
            "ratio": ratio,
            "limit": TIMES_FASTER,
            "apart": apart,
            "page": page,
        },
        tuple(missed),
    )


def difference(steps: Steps, rates: Rates, catch: Catch) -> float:
    """Return the largest difference of both in means and errors, as a share of their size."""
    fast, slow = pass_through(steps, rates, catch), plain_loop(steps, rates, catch)
    worst = 0.0
    for guess, ponds in enumerate(slow):
        for place, (mean, own, likelihood) in enumerate(ponds):
            for told, other in (
                (np.array(mean), fast.mean[:, guess, place]),
                (np.array(own), fast.covariance[..., guess, place]),
                (np.array([likelihood]), fast.log_likelihood[[guess], place]),
            ):
                worst = max(worst, float((np.abs(told - other) / (1 + np.abs(other))).max()))
    return worst


def five_years(ponds: int, *, seed: int) -> Groups:
    """Return made histories: a yearly count, two sexed hauls, some moves and deaths a year; the same at each call."""
    rng = np.random.default_rng(seed)
    females = rng.integers(100, 900, ponds).astype(float)
    males = females / rng.uniform(1.5, 5.0, ponds)
    counted = np.tile(np.arange(YEARS), ponds)
    group = np.repeat(np.arange(ponds), YEARS)
    shrunk = 0.92**counted
    counts = Counts(
        group,
        np.asarray(counted * DAYS_A_YEAR + rng.integers(0, 60, group.size), dtype=np.float64),
        females[group] * shrunk * rng.normal(1, 0.05, group.size),
        0.05 * females[group] * shrunk,
        males[group] * shrunk * rng.normal(1, 0.05, group.size),
        0.05 * males[group] * shrunk,
    )

    def rows(a_year: int) -> tuple[Whole, Floats]:
        place = np.repeat(np.arange(ponds), a_year * YEARS)
        return place, np.floor(rng.uniform(60, DAY, place.size))

    def heads(drawn: Whole) -> Floats:
        return drawn.astype(np.float64)

    moved, died, hauled = rows(6), rows(12), rows(2)
    return Groups(
        ponds,
        counts,
        Moves(*moved, heads(rng.integers(-8, 9, moved[0].size)), heads(rng.integers(-3, 4, moved[0].size))),
        Deaths(*died, heads(rng.poisson(females[died[0]] / 350)), heads(rng.poisson(males[died[0]] / 350))),
        Hauls(
            *hauled,
            heads(rng.binomial(80, 0.75, hauled[0].size)),
            heads(rng.binomial(80, 0.25, hauled[0].size)),
        ),
    )


def _processor_seconds(work) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began
