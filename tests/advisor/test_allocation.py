"""The placing against an apportionment of record, integer programming and exhaustive search."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, sparse

from stock.advisor.allocation import allocate

# Apportionment population and seats of each state: United States Census Bureau, 2010 Census.
# Equal proportions (Wright 2012, American Mathematical Monthly 119) gives seat n + 1 the worth
# P^2 (1 / n - 1 / (n + 1)).
CENSUS_2010 = """
AL 4779738 7, AK 710231 1, AZ 6392017 9, AR 2915918 4, CA 37253956 53, CO 5029196 7, CT 3574097 5,
DE 897934 1, FL 18801310 27, GA 9687653 14, HI 1360301 2, ID 1567582 2, IL 12830632 18, IN 6483802 9,
IA 3046355 4, KS 2853118 4, KY 4339367 6, LA 4533372 6, ME 1328361 2, MD 5773552 8, MA 6547629 9,
MI 9883640 14, MN 5303925 8, MS 2967297 4, MO 5988927 8, MT 989415 1, NE 1826341 3, NV 2700551 4,
NH 1316470 2, NJ 8791894 12, NM 2059179 3, NY 19378102 27, NC 9535483 13, ND 672591 1, OH 11536504 16,
OK 3751351 5, OR 3831074 5, PA 12702379 18, RI 1052567 2, SC 4625364 7, SD 814180 1, TN 6346105 9,
TX 25145561 36, UT 2763885 4, VT 625741 1, VA 8001024 11, WA 6724540 10, WV 1852984 3, WI 5686986 8,
WY 563626 1
"""
STATES = [row.split() for row in CENSUS_2010.replace("\n", " ").split(",")]


def seat_worths(population):
    seats = np.arange(1, 60)
    return np.concatenate(([np.inf], population**2 * (1 / seats - 1 / (seats + 1))))


HOUSE = [seat_worths(float(population)) for _, population, _ in STATES]


def test_the_house_of_representatives_of_2010():
    placed = allocate(HOUSE, 435, floors=[1] * 50)
    assert dict(zip([name for name, _, _ in STATES], placed.heads_per_pond, strict=True)) == {
        name: int(seats) for name, _, seats in STATES
    }
    assert placed.unplaced == 0
    assert placed.method == "greedy"
    assert np.isfinite(placed.total)


def test_the_436th_seat_goes_to_north_carolina():
    placed = allocate(HOUSE, 435, floors=[1] * 50)
    best = max(range(50), key=lambda place: placed.next_gains[place])
    assert STATES[best][0] == "NC"
    more = allocate(HOUSE, 436, floors=[1] * 50)
    gained = [
        after - before for after, before in zip(more.heads_per_pond, placed.heads_per_pond, strict=True)
    ]
    assert [STATES[place][0] for place in range(50) if gained[place]] == ["NC"]


def test_the_house_is_the_same_by_dynamic_programming():
    ponds = [*HOUSE, np.array([0.0, 1e9])]
    placed = allocate(ponds, 435, floors=[1] * 50 + [0])
    assert placed.method == "dynamic programming"
    assert placed.heads_per_pond[:50] == tuple(int(seats) for _, _, seats in STATES)


def milp_total(gains, heads, floors, caps, exactly):
    """Best total by HiGHS: one 0/1 choice per pond and number of heads."""
    worth, pond_of, count_of = [], [], []
    for pond, (row, floor, cap) in enumerate(zip(gains, floors, caps, strict=True)):
        for count in range(floor, cap + 1):
            worth.append(sum(row[floor:count]))
            pond_of.append(pond)
            count_of.append(count)
    one_each = sparse.csr_array((np.ones(len(worth)), (pond_of, range(len(worth)))))
    most = min(heads, sum(caps))
    solved = optimize.milp(
        -np.array(worth),
        constraints=[
            optimize.LinearConstraint(one_each, 1, 1),
            optimize.LinearConstraint(np.array(count_of, dtype=float), most if exactly else 0, most),
        ],
        integrality=1,
        bounds=optimize.Bounds(0, 1),
        options={"mip_rel_gap": 0},
    )
    assert solved.success
    return -solved.fun


@pytest.mark.parametrize("exactly", [True, False])
@pytest.mark.parametrize("concave", [True, False])
@pytest.mark.parametrize("seed", range(12))
def test_the_total_equals_that_of_integer_programming(seed, concave, exactly):
    rng = np.random.default_rng(seed)
    ponds = int(rng.integers(2, 9))
    gains = [rng.normal(0.3, 1, rng.integers(1, 12)) for _ in range(ponds)]
    if concave:
        gains = [-np.sort(-row) for row in gains]
    caps = [int(rng.integers(0, len(row) + 1)) for row in gains]
    floors = [int(rng.integers(0, cap + 1)) if rng.random() < 0.3 else 0 for cap in caps]
    heads = sum(floors) + int(rng.integers(0, 25))
    placed = allocate(gains, heads, floors=floors, caps=caps, exactly=exactly)
    assert placed.total == pytest.approx(milp_total(gains, heads, floors, caps, exactly), abs=1e-7)
    assert all(
        floor <= count <= cap for floor, count, cap in zip(floors, placed.heads_per_pond, caps, strict=True)
    )
    assert sum(placed.heads_per_pond) + placed.unplaced == heads
    if exactly:
        assert placed.unplaced == max(0, heads - sum(caps))


small_tables = st.lists(st.lists(st.integers(-3, 5), min_size=0, max_size=4), min_size=1, max_size=4)


@settings(max_examples=300, deadline=None)
@given(small_tables, st.integers(0, 12), st.booleans())
def test_against_every_possible_placing(gains, heads, exactly):
    """Small whole gains make many ties: the total is the best, ties go to the lowest index."""
    rows = [[float(gain) for gain in row] for row in gains]
    most = min(heads, sum(len(row) for row in rows))
    candidates = [
        counts
        for counts in itertools.product(*(range(len(row) + 1) for row in rows))
        if sum(counts) == most or (not exactly and sum(counts) < most)
    ]
    totals = {counts: sum(sum(row[:n]) for row, n in zip(rows, counts, strict=True)) for counts in candidates}
    best = max(totals.values())
    placed = allocate(rows, heads, exactly=exactly)
    assert placed.total == best
    assert totals[placed.heads_per_pond] == best
    winners = [counts for counts in candidates if totals[counts] == best]
    fewest = min(sum(counts) for counts in winners)
    assert sum(placed.heads_per_pond) == fewest
    # The last pond gets as few as any best placing allows, then the one before it.
    assert placed.heads_per_pond[::-1] == min(counts[::-1] for counts in winners if sum(counts) == fewest)
    for pond, loss in enumerate(placed.loss_per_pond):
        assert (loss is None) == (placed.heads_per_pond[pond] == 0)
        if loss is not None and (not exactly or placed.unplaced == 0):
            given_up = list(placed.heads_per_pond)
            given_up[pond] -= 1
            others = [
                totals_of(rows, [n + (place == other) for place, n in enumerate(given_up)])
                for other in range(len(rows))
                if other != pond and given_up[other] < len(rows[other])
            ]
            if not others or not exactly:
                others.append(totals_of(rows, given_up))
            assert loss == best - max(others)


def totals_of(rows, counts):
    return sum(sum(row[:n]) for row, n in zip(rows, counts, strict=True))


def test_losses_of_an_optimum_are_never_negative():
    rng = np.random.default_rng(5)
    placed = allocate(rng.random((20, 10)), 60)
    assert placed.method == "dynamic programming"
    assert min(loss for loss in placed.loss_per_pond if loss is not None) >= -1e-12


def test_ties_go_to_the_lowest_index_and_are_named():
    placed = allocate([[5, 3, 1], [3, 3], [3, 1]], 3)
    assert placed.heads_per_pond == (2, 1, 0)
    assert placed.ties == (1, 2)
    assert placed.next_gains == (1.0, 3.0, 3.0)
    assert placed.loss_per_pond == (0.0, 0.0, None)


def test_floors_are_forced_and_not_in_the_total():
    placed = allocate([[9, 4], [float("nan"), -2, -3]], 3, floors=[0, 2])
    assert placed.heads_per_pond == (1, 2)
    assert placed.total == 9
    assert placed.loss_per_pond[1] is None


def test_no_heads_means_the_floors_only():
    placed = allocate([[1.0], [2.0]], 0)
    assert placed.heads_per_pond == (0, 0)
    assert placed.total == 0
    assert placed.ties == ()
    assert allocate([[1.0, 3.0]], 0).heads_per_pond == (0,)


def test_more_heads_than_room_are_left_over():
    placed = allocate([[1, 1], [1]], 10)
    assert placed.heads_per_pond == (2, 1)
    assert placed.unplaced == 7
    assert placed.next_gains == (None, None)
    assert placed.loss_per_pond == (1.0, 1.0)


def test_at_a_loss_heads_are_placed_only_when_they_must_be():
    assert allocate([[1, -1], [-2]], 3).heads_per_pond == (2, 1)
    stopped = allocate([[1, 0, -1], [-2]], 3, exactly=False)
    assert stopped.heads_per_pond == (1, 0)
    assert stopped.unplaced == 2


def test_a_loss_is_borne_where_a_later_gain_repays_it():
    placed = allocate([[-1, 5], [1, 1]], 2)
    assert placed.heads_per_pond == (2, 0)
    assert not placed.concave
    assert placed.method == "dynamic programming"
    assert allocate([[-1, 5], [1, 1]], 4, exactly=False).heads_per_pond == (2, 2)
    assert allocate([[-5, 1], [1, 1]], 4, exactly=False).heads_per_pond == (0, 2)


def test_a_cap_hides_what_lies_beyond_it():
    placed = allocate([[1, 9], [1]], 2, caps=[1, None])
    assert placed.concave
    assert placed.heads_per_pond == (1, 1)
    assert allocate([[1.0]], 3, caps=[50]).unplaced == 2


def test_without_ponds_all_heads_are_left_over():
    placed = allocate([], 5)
    assert placed.unplaced == 5
    assert placed.heads_per_pond == ()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"heads": -1}, "heads: -1 is below zero"),
        ({"floors": [0, 3]}, "Pond 2 of 2: its floor of 3 is above its cap of 2"),
        ({"floors": [2, 2]}, "Pond 2 of 2: with its floor of 2 the floors ask for 4 heads, but there are 3"),
        ({"floors": [1]}, "1 were given for 2 ponds"),
        ({"caps": [1, -1]}, "Pond 2 of 2, caps: -1"),
        ({"gains": [[1, float("nan")], [1, 1]]}, "Pond 1 of 2: a gain"),
        ({"gains": [[1], [[1, 1]]]}, "Pond 2 of 2: its gains are not one row"),
    ],
)
def test_impossible_placings_are_refused_by_name(arguments, words):
    asked = {"gains": [[2, 1], [2, 1]], "heads": 3} | arguments
    with pytest.raises(ValueError, match=words):
        allocate(asked.pop("gains"), asked.pop("heads"), **asked)


@pytest.mark.parametrize(("concave", "levels"), [(True, 10_000), (False, 200)])
def test_ten_thousand_heads_over_five_hundred_ponds_are_placed(concave, levels):
    rng = np.random.default_rng(1)
    gains = rng.random((500, levels))
    if concave:
        gains = -np.sort(-gains, axis=1)
    placed = allocate(gains, 10_000)
    assert sum(placed.heads_per_pond) == 10_000
    assert placed.concave is concave
