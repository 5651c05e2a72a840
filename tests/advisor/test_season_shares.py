"""Hatch shares learnt together: against scipy's beta-binomial, and what a lucky small lot comes to."""

import numpy as np
import pytest
from scipy import optimize, stats

from stock.advisor.season_shares import shrink_shares

HATCHED = (80, 70, 60, 90, 33, 41, 3, 12)
EGGS = (100, 100, 100, 100, 50, 45, 3, 20)


def test_the_likeliest_beta_is_that_of_scipys_own_beta_binomial():
    # scipy.stats.betabinom (its own gamma functions) and another optimizer, over the logarithms of a and b.
    def loss(logs):
        return -stats.betabinom.logpmf(HATCHED, EGGS, *np.exp(logs)).sum()

    a, b = np.exp(optimize.minimize(loss, (1.0, 0.0), method="BFGS").x)
    found = shrink_shares(HATCHED, EGGS)
    assert found.worth == pytest.approx(a + b, rel=1e-3)
    assert found.overall == pytest.approx(a / (a + b), rel=1e-4)
    for share, hatched, eggs in zip(found.shares, HATCHED, EGGS, strict=True):
        beta = stats.beta(hatched + a, eggs - hatched + b)
        assert (share.value, share.lower, share.upper) == pytest.approx(
            (beta.mean(), *beta.interval(0.9)), rel=1e-3
        )


def test_three_lucky_eggs_do_not_win():
    shares = shrink_shares(HATCHED, EGGS).shares
    lucky, best = shares[6], max(shares, key=lambda share: share.lower)
    assert lucky.value < 1
    assert best is shares[3]


@pytest.mark.parametrize(
    ("hatched", "eggs", "says"),
    [
        ((8, 9), (10, 10), "Fewer than 4"),
        ((50,) * 5, (100,) * 5, "no more than by chance"),
        ((0,) * 5, (9,) * 5, "chance"),
    ],
)
def test_lots_that_cannot_be_told_apart_are_alike_and_it_is_said(hatched, eggs, says):
    found = shrink_shares(hatched, eggs)
    assert says in found.notes[0]
    assert len(set(found.shares)) == 1
    assert found.shares[0].lower <= sum(hatched) / sum(eggs) <= found.shares[0].upper


def test_no_eggs_no_share_and_impossible_figures_are_refused():
    assert shrink_shares([0, 0], [0, 0]) is None
    with pytest.raises(ValueError, match="number 2: 5 cannot hatch of 4 eggs"):
        shrink_shares([1, 5], [2, 4])
    with pytest.raises(ValueError, match="give one for each"):
        shrink_shares([1], [2, 4])
