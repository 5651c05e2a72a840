"""Ties shared out by ratio, and the limits of a placing."""

import itertools

import numpy as np
import pytest

from stock.advisor.allocation import allocate
from stock.advisor.placed import season_lines, share_ties, total_range
from stock.advisor.placing import SETTLE, gains_table


def test_heads_that_gain_the_same_go_where_the_ratio_is_lowest():
    # 20, 25 and 40 females to 10 males: filling up level, the 8th head makes 26 and 27. Worked by hand.
    gains = np.full((3, 20), 7.0)
    found = allocate(gains, 8)
    assert found.heads_per_pond == (8, 0, 0)
    shared = share_ties(found, gains, caps=[20, 20, 20], females=[20, 25, 40], males=[10, 10, 10])
    assert shared.heads_per_pond == (7, 1, 0)
    assert shared.total == found.total == 56
    assert shared.next_gains == (7.0, 7.0, 7.0)
    assert shared.loss_per_pond == (0.0, 0.0, None)
    assert shared.ties == (0, 1, 2)


def test_caps_hold_and_the_rest_goes_on():
    gains = np.full((2, 9), 3.0)
    shared = share_ties(allocate(gains, 6, caps=[2, 9]), gains, caps=[2, 9], females=[1, 30], males=[10, 10])
    assert shared.heads_per_pond == (2, 4)
    assert shared.next_gains == (None, 3.0)
    assert shared.loss_per_pond == (0.0, 3.0)


@pytest.mark.parametrize("seed", range(20))
def test_it_is_as_good_as_trying_everything(seed):
    rng = np.random.default_rng(seed)
    gains = -np.sort(-rng.integers(0, 4, (3, 4)).astype(float), axis=1)
    caps = rng.integers(0, 5, 3).tolist()
    heads = int(rng.integers(0, 7))
    found = allocate(gains, heads, caps=caps)
    shared = share_ties(found, gains, caps=caps, females=rng.integers(0, 9, 3), males=[3, 2, 1])
    best = max(
        sum(gains[pond, :n].sum() for pond, n in enumerate(counts))
        for counts in itertools.product(*(range(min(cap, 4) + 1) for cap in caps))
        if sum(counts) == min(heads, sum(caps))
    )
    assert shared.total == pytest.approx(best)
    assert sum(shared.heads_per_pond) == sum(found.heads_per_pond)
    assert all(count <= cap for count, cap in zip(shared.heads_per_pond, caps, strict=True))


def test_a_placing_of_rising_gains_keeps_its_total_and_shares_its_ties():
    gains = [[1.0, 9.0], [4.0, 4.0]]
    found = allocate(gains, 2)
    assert not found.concave
    assert share_ties(found, gains, caps=[2, 2], females=[1, 1], males=[1, 1]) == found
    # 20 and 21 females to 10 males, all alike up to where a further one spoils most: level at 24 and 24.
    gains = [[5.0, 5, 5, 5, 5, -9, -1], [5.0, 5, 5, 5, 5, -9, -1]]
    found = allocate(gains, 7)
    assert not found.concave
    assert sorted(found.heads_per_pond) == [2, 5]
    shared = share_ties(found, gains, caps=[7, 7], females=[20, 21], males=[10, 10])
    assert shared.heads_per_pond == (4, 3)
    assert shared.total == found.total == 35


def test_where_none_gains_giving_one_up_costs_its_own_gain():
    gains = [[2.0, -1.0], [-3.0, -3.0]]
    found = allocate(gains, 3, exactly=False)
    shared = share_ties(found, gains, caps=[2, 2], females=[1, 1], males=[1, 1], exactly=False)
    assert shared.heads_per_pond == found.heads_per_pond == (1, 0)
    assert shared.loss_per_pond == found.loss_per_pond == (2.0, None)
    assert shared.unplaced == 2


def test_limits_of_a_placing_are_points_of_its_draws():
    # Draw d gives d in pond 1 and 2 d in pond 2 a head: 1 and 2 heads there make 5 d. By numpy's own quantile.
    draws = np.arange(101)[:, np.newaxis, np.newaxis] * np.array([[1.0, 1.0], [2.0, 2.0]])
    assert total_range(draws, [1, 2]) == pytest.approx((25, 475))
    assert total_range(draws, [0, 0]) == (0, 0)
    with pytest.raises(ValueError, match="no draws"):
        total_range(np.zeros((0, 2, 2)), [1, 1])


@pytest.mark.parametrize(("females", "males", "full_to"), [(240, 100, 5.0), (300, 100, 2.8)])
def test_the_arithmetic_written_out_is_what_the_table_adds_up(females, males, full_to):
    alike = {
        "laying": (0.7,) * 3,
        "nests": (2,) * 3,
        "eggs": (9,) * 3,
        "hatch": (0.8,) * 3,
        "survival": (0.9,) * 3,
    }
    table = gains_table(
        [females], [males], **alike, settled=[200], max_heads=30, draws=2, full_to=full_to, rng=1
    )
    lines = season_lines(
        females, males, 30, a_female=0.7 * 2 * 9 * 0.8, survival=0.9, settled=200, seasons=5, settle=SETTLE,
        full_to=full_to,
    )  # fmt: skip
    assert sum(line.added for line in lines) == pytest.approx(table.gains[0].sum())
    assert sum(line.eggs_before for line in lines) == pytest.approx(table.present[0])
    assert [line.settled_share for line in lines] == [0.4, 0.7, 1.0, 1.0, 1.0]


def test_nothing_is_written_out_without_males():
    with pytest.raises(ValueError, match="without males"):
        season_lines(5, 0, 1, a_female=1, survival=0.9, settled=5, seasons=1, settle=SETTLE)
