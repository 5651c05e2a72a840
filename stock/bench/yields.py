"""Learnt yields against each pond's own mean and the rule of thumb: squared errors on made-up farms."""

from __future__ import annotations

import time

import numpy as np

from stock.advisor.yields import PublishedFigures, SeasonBook, learn_yields
from stock.bench.registry import Measured

FARMS, PONDS, SEASONS, SEED = 40, 40, 4, 71
RULE_NESTS, RULE_EGGS = 3.0, 9.0
"""The trade's rule of thumb, 3 nests of 9 eggs a female: common practice, no source."""
PUBLISHED = {"slider": PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11))}


def measure() -> Measured:
    """Learn from one to four seasons of farms whose true figures are known; every ratio must be below 1."""
    rng = np.random.default_rng(SEED)
    squares = np.zeros((2, 3))
    seconds = 0.0
    for farm in range(FARMS):
        book, nests, eggs, own = _lay(rng, 1 + farm % SEASONS)
        began = time.perf_counter()
        learnt = learn_yields(book, ["slider"] * PONDS, PUBLISHED, season=2000)
        seconds += time.perf_counter() - began
        told = [[pond.value for pond in figure.ponds] for figure in (learnt.nests, learnt.eggs)]
        for row, (truth, rule) in enumerate(((nests, RULE_NESTS), (eggs, RULE_EGGS))):
            for column, figures in enumerate((np.array(told[row]), own[row], np.full(PONDS, rule))):
                squares[row, column] += float(((figures - truth) ** 2).mean())
    ratios = {
        f"{what}, against {whose}": squares[row, 0] / squares[row, column]
        for row, what in enumerate(("nests a female", "eggs a nest"))
        for column, whose in ((1, "the pond's own mean"), (2, "the rule of thumb"))
    }
    shown = "; ".join(f"{name} {ratio:.3f}" for name, ratio in ratios.items())
    return Measured(
        "yields",
        f"squared error of learnt figures, {FARMS} farms of {PONDS} ponds: {shown} (below 1: better); "
        f"{1000 * seconds / FARMS:.0f} ms a farm.",
        {"seconds": seconds / FARMS, "ratios": ratios, "limit": 1.0},
        tuple(f"{name}: ratio {ratio:.3f}, not below 1." for name, ratio in ratios.items() if ratio >= 1),
    )


def _lay(
    rng: np.random.Generator, seasons: int
) -> tuple[SeasonBook, np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """Return a farm's book, its ponds' true nests a female and eggs a nest, and their own means."""
    farm_nests, farm_eggs = 1.45 * rng.gamma(6, 1 / 6), rng.normal(8.9, 1.2)
    nests = farm_nests * rng.gamma(16, 1 / 16, PONDS)
    eggs = farm_eggs * rng.gamma(120, 1 / 120, PONDS)
    females = np.exp(rng.uniform(np.log(15), np.log(400), PONDS))[:, np.newaxis]
    shape = (PONDS, seasons)
    luck = rng.gamma(50, 1 / 50, seasons) * rng.gamma(40, 1 / 40, shape)
    believed = np.maximum(females * (1 + 0.08 * rng.standard_normal(shape)), 1.0)
    dug = rng.poisson(females * nests[:, np.newaxis] * luck)
    opened = rng.binomial(dug, 0.3)
    found = rng.poisson(opened * eggs[:, np.newaxis] * rng.gamma(400, 1 / 400, shape))
    pond, season = (axis.ravel() for axis in np.indices(shape))
    nothing = np.zeros(pond.size)
    book = SeasonBook(
        pond, 2000 - seasons + season, believed.ravel(), 0.08 * believed.ravel(), dug.ravel(), opened.ravel(),
        found.ravel(), nothing, nothing, nothing,
    )  # fmt: skip
    # A pond of which no nest was opened has no mean of its own; it is given the farm's.
    counted = opened.sum(axis=1)
    mean_eggs = found.sum() / max(opened.sum(), 1)
    own_eggs = np.where(counted > 0, found.sum(axis=1) / np.maximum(counted, 1), mean_eggs)
    return book, nests, eggs, (dug.sum(axis=1) / believed.sum(axis=1), own_eggs)
