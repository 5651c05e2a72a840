"""Whole things shared out in proportion."""

import numpy as np
import pytest

from stock.advisor.whole_shares import share_whole
from stock.pond_rows import KindRow, Range
from stock.yield_book import laying_females
from stock.yield_rows import Laying, NestSums, share_out, share_out_weeks


def one_by_one(things, sizes):
    """Return the same by the rule itself: each next one where size / (2 so far + 1) is largest."""
    parts = dict.fromkeys(sizes, 0)
    for _ in range(things):
        parts[max(sizes, key=lambda who: (sizes[who] / (2 * parts[who] + 1), -who))] += 1
    return parts


def test_seven_seats_of_three_parties():
    """A common example of Sainte-Laguë's method: quotients 53, 24, 23, 17.67, 10.6, 8, 7.67 (from memory)."""
    assert share_whole(7, {1: 53_000, 2: 24_000, 3: 23_000}) == {1: 3, 2: 2, 3: 2}


@pytest.mark.parametrize("seed", range(20))
def test_it_is_the_rule_and_nobody_gives_one_back(seed):
    rng = np.random.default_rng(seed)
    sizes = {who: float(size) for who, size in enumerate(rng.integers(1, 400, rng.integers(1, 6)))}
    before = dict.fromkeys(sizes, 0)
    for things in range(120):
        found = share_whole(things, sizes)
        assert found == one_by_one(things, sizes)
        assert sum(found.values()) == things
        assert all(found[who] >= before[who] for who in sizes)
        before = found


def test_nobody_gets_nothing_and_ties_go_to_the_first():
    assert share_whole(5, {}) == {}
    assert share_whole(1, {4: 2.5, 2: 2.5}) == {4: 0, 2: 1}


@pytest.mark.parametrize("seed", range(20))
def test_nests_by_week_come_to_those_of_the_season(seed):
    """A pond's season by week and in whole is one figure, also of a week in the middle of it."""
    rng = np.random.default_rng(seed)
    weeks = rng.poisson(rng.uniform(0.2, 4), 53).astype(float)
    females = {1: 294.4, 2: 208.1, 3: 143.9, 4: 0.0}
    by_week = share_out_weeks(weeks, females)
    for through in (20, 53):
        whole = share_out(NestSums(int(weeks[:through].sum())), females)
        assert {kind: int(part[:through].sum()) for kind, part in by_week.items()} == {
            kind: sums.nests for kind, sums in whole.items()
        }
    assert all((part >= 0).all() for part in by_week.values())
    np.testing.assert_array_equal(sum(by_week.values()), weeks)


def test_without_females_no_week_is_shared():
    assert share_out_weeks(np.ones(53), {}) == {}


def test_nests_of_no_known_kind_go_to_the_females_that_lay():
    """60 sliders of which 70 % lay and 60 snappers of which half do: 7 to 5, by hand."""
    lay = {(1, 1): Laying(60.0, 60.0, 3.0), (1, 2): Laying(60.0, 60.0, 3.0), (2, 1): Laying(9.0, 9.0, 3.0)}
    kinds = {
        kind: KindRow(kind, "", "", "", 3.0, (2.0, 4.0), 1.0, {"LAYING_SHARE": Range(0.1, share, 0.9)}, {})
        for kind, share in ((1, 0.7), (2, 0.5))
    }
    females = laying_females(lay, 1, kinds)
    assert females == {1: pytest.approx(42.0), 2: pytest.approx(30.0)}
    assert {kind: one.nests for kind, one in share_out(NestSums(24), females).items()} == {1: 14, 2: 10}
    # A kind without the figure counts with all that are settled.
    assert laying_females(lay, 1, {1: kinds[1]})[2] == 60.0
