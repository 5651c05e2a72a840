"""The seine: which animals it brings, and how they are sexed on the bank."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.simulator.rates import FEMALE, FarmPlan, Floats

Whole = NDArray[np.int64]


def haul_weights(
    sex: Whole, ease: Floats, plan: FarmPlan, female_catch: float, rng: np.random.Generator
) -> Floats:
    """
    Return how easily each animal of a pond is caught in one drawing of the seine.

    Animals lie in patches that the sexes use unevenly, a different way each day, and the seine pulls
    some patches better than others: so a haul is clustered, and its share of females strays more than
    a draw of single animals would.
    """
    weights = ease * np.where(sex == FEMALE, female_catch, 1.0)
    if plan.patches > 1:
        pull = np.exp(rng.normal(0, plan.patch_sd, plan.patches))
        patch = np.empty(sex.size, dtype=np.int64)
        for of_sex in (0, 1):
            use = rng.dirichlet(np.full(plan.patches, plan.patch_evenness))
            who = sex == of_sex
            patch[who] = rng.choice(plan.patches, who.sum(), p=use)
        weights = weights * pull[patch]
    return weights


def draw_without_return(weights: Floats, heads: int, rng: np.random.Generator) -> Whole:
    """Return the places of so many animals, drawn one after the other with chances in proportion to weight."""
    heads = min(heads, weights.size)
    # The largest of log weight + Gumbel noise are such a draw (Efraimidis & Spirakis 2006).
    order = np.log(weights) + rng.gumbel(size=weights.size)
    return np.argpartition(-order, heads - 1)[:heads] if heads else np.empty(0, dtype=np.int64)


def sex_on_the_bank(sex: Whole, error: float, rng: np.random.Generator) -> tuple[int, int]:
    """Return females and males as the bank writes them down."""
    written = np.where(rng.random(sex.size) < error, 1 - sex, sex)
    males = int(written.sum())
    return sex.size - males, males
