"""Gains of new females, caps, reasons and rival placings."""

import itertools

import numpy as np
import pytest

from stock.advisor.allocation import allocate
from stock.advisor.placing import compare_placings, gains_table, how_often, pond_cap, reason, why_not


def fixed(figure):
    return (figure, figure, figure)


PLAIN = {
    "laying": fixed(0.7),
    "nests": fixed(2),
    "eggs": fixed(9),
    "hatch": fixed(0.8),
    "survival": fixed(0.9),
}
WIDE = {
    "laying": (0.4, 0.7, 0.95),
    "nests": (1, 2, 3.5),
    "eggs": (6.5, 9, 11),
    "hatch": (0.5, 0.7, 0.9),
    "survival": (0.77, 0.9, 0.97),
}
A_FEMALE = 0.7 * 2 * 9 * 0.8


def by_hand(females, males, added, seasons=5, settle=(0.4, 0.7, 1.0), survival=0.9, male_survival=0.9):
    """Expected hatched eggs of one pond, year by year in plain Python."""
    alive, standing_males, hatched = 1.0, males, 0.0
    for season in range(seasons):
        ratio = (females + added) * alive / standing_males
        alive *= survival * (1 - 0.2 * max(0.0, 1 - ratio / 1.5))
        standing_males *= male_survival
        ratio = (females + added) * alive / standing_males
        fertile = 1.0 if ratio <= 5 else 5 / ratio
        share = settle[min(season, len(settle) - 1)]
        hatched += (females + added * share) * alive * A_FEMALE * fertile
    return hatched


@pytest.mark.parametrize(("females", "males"), [(240, 100), (60, 100), (480, 100), (130, 100)])
def test_gains_follow_the_formula_year_by_year(females, males):
    table = gains_table([females], [males], **PLAIN, max_heads=60, draws=3, rng=1)
    expected = np.diff([by_hand(females, males, added) for added in range(61)])
    assert table.gains[0] == pytest.approx(expected, abs=1e-5)
    assert table.present[0] == pytest.approx(by_hand(females, males, 0))
    assert table.draw_gains.shape == (3, 1, 60)


def test_in_band_a_new_female_is_worth_the_sum_of_her_seasons():
    # 0.4 x 0.9 + 0.7 x 0.81 + 0.729 + 0.6561 + 0.59049 seasons of 10.08 hatched eggs: common practice, no source.
    seasons = 0.4 * 0.9 + 0.7 * 0.81 + 0.9**3 + 0.9**4 + 0.9**5
    table = gains_table([300], [100], **PLAIN, max_heads=10, draws=2, rng=1)
    assert table.gains[0] == pytest.approx(np.full(10, seasons * A_FEMALE), abs=1e-5)
    placed = allocate(table.gains, 4)
    assert placed.concave


def test_males_that_die_slower_move_the_ratio():
    table = gains_table(
        [480], [100], **PLAIN, male_survival=fixed(0.95), max_heads=20, draws=2, seasons=4, settle=[1], rng=1
    )
    expected = np.diff([by_hand(480, 100, n, 4, (1.0,), male_survival=0.95) for n in range(21)])
    assert table.gains[0] == pytest.approx(expected, abs=1e-5)


def test_a_pond_without_males_gains_nothing():
    table = gains_table([50, 0], [0, 0], **PLAIN, max_heads=5, draws=2, rng=1)
    assert not table.gains.any()
    assert not table.present.any()


def test_females_not_yet_settled_lay_less_in_the_first_season():
    all_settled = gains_table([300, 0], [100, 5], **PLAIN, max_heads=1, seasons=2, draws=2, rng=1)
    half = gains_table([300, 0], [100, 5], **PLAIN, max_heads=1, seasons=2, draws=2, rng=1, settled=[150, 0])
    assert all_settled.present[0] - half.present[0] == pytest.approx(150 * 0.9 * A_FEMALE)
    with pytest.raises(ValueError, match="more settled females"):
        gains_table([300], [100], **PLAIN, max_heads=1, rng=1, settled=[301])


def test_gains_are_seeded_and_average_joint_draws():
    rng = np.random.default_rng(4)
    females = rng.normal([[240], [300]], 10, (2, 400))
    males = rng.normal([[70], [150]], 8, (2, 400))
    one = gains_table(females, males, **WIDE, kinds=["a", "a"], max_heads=20, rng=3)
    other = gains_table(females, males, **WIDE, kinds=["a", "a"], max_heads=20, rng=3)
    assert np.array_equal(one.gains, other.gains)
    assert one.draw_gains.shape == (100, 2, 20)
    few = gains_table(females, males, **WIDE, kinds=["a", "a"], max_heads=20, keep=400, rng=3)
    assert few.draw_gains.mean(axis=0) == pytest.approx(few.gains, rel=1e-5)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"males": [1, 2]}, "2 ponds were given, but 1"),
        ({"seasons": 0}, "at least one season"),
        ({"settle": []}, "at least one season"),
        ({"settle": [2]}, "settle"),
        ({"hatch": fixed(2)}, "hatch"),
    ],
)
def test_impossible_tables_are_refused(arguments, words):
    asked = {"females": [300], "males": [100], "max_heads": 3, "rng": 1} | PLAIN | arguments
    with pytest.raises(ValueError, match=words):
        gains_table(asked.pop("females"), asked.pop("males"), **asked)


@pytest.mark.parametrize(
    ("females", "males", "head_room", "cap"),
    [
        (240, 100, 500, 210),
        (240, 100, 30, 30),
        (460, 100, 500, 0),
        (240, 100, -5, 0),
        (10, 0, 50, 0),
        (0, 3, 50, 13),
    ],
)
def test_caps_by_head_room_and_top_of_band(females, males, head_room, cap):
    assert pond_cap(females, males, head_room, 4.5) == cap


def codes(**given):
    asked = {"females": 240, "males": 100, "head_room": 50, "band_high": 4.5} | given
    return [obstacle.code for obstacle in why_not(**asked)]


def test_every_obstacle_has_its_reason():
    assert codes() == []
    assert codes(in_quarantine=True) == ["quarantine"]
    assert codes(is_other_kind=True) == ["other-kind"]
    assert codes(is_losing=True) == ["losing-heads"]
    assert codes(males=0) == ["no-males"]
    assert codes(females=120) == ["too-many-males"]
    assert codes(females=150) == []
    assert codes(head_room=0) == ["no-head-room"]
    assert codes(females=450) == ["band-top"]
    assert codes(females=449) == []
    assert codes(in_quarantine=True, females=120, head_room=-3) == [
        "quarantine",
        "too-many-males",
        "no-head-room",
    ]


def test_the_obstacle_names_the_males_that_must_leave():
    (obstacle,) = why_not(females=120, males=100, head_room=50, band_high=4.5)
    assert "120 females to 100 males (1.20 : 1)" in obstacle.sentence
    assert "20 males must leave" in obstacle.sentence


def test_reasons_carry_their_numbers():
    gains = [30.0, 20.0, 10.0]
    pond = {"females": 240, "males": 100, "cap": 3, "gains": gains}
    assert reason(**pond, given=2) == (
        "Gets 2: 240 females to 100 males (2.40 : 1) become 242 (2.42 : 1); they add 50 hatched eggs over "
        "5 seasons, the last one 20.0. The next one would add 10.0."
    )
    assert reason(**pond, given=3).endswith("More do not fit under its cap of 3.")
    assert reason(**(pond | {"cap": 9}), given=3).endswith("the last one 10.0.")
    assert "its first one would add 30.0 hatched eggs over the next season" in reason(
        **pond, given=0, seasons=1
    )
    assert reason(**(pond | {"cap": 0}), given=0) == "Gets none: there is no room for a further female."
    obstacles = why_not(females=240, males=100, head_room=0, band_high=4.5)
    assert reason(**pond, given=0, obstacles=obstacles).startswith("Gets none. No head room")


def test_the_best_placing_beside_two_by_eye():
    gains = np.array([[5.0, 4, 3, 2], [9, 8, 1, 1], [2, 2, 2, 2]])
    compared = compare_placings(gains, [4, 3, 2], 5, females=[100, 300, 50], males=[100, 100, 0])
    every = [counts for counts in itertools.product(range(5), range(4), range(3)) if sum(counts) == 5]
    assert compared.best.total == max(
        sum(gains[pond, :n].sum() for pond, n in enumerate(counts)) for counts in every
    )
    assert compared.even_split.heads_per_pond == (2, 2, 1)
    assert compared.even_split.total == 9 + 17 + 2
    assert compared.worst_ratio_first.heads_per_pond == (4, 1, 0)
    assert compared.worst_ratio_first.total == 14 + 9


def test_even_split_and_worst_first_respect_caps_and_leave_the_rest():
    compared = compare_placings(np.ones((2, 3)), [1, 50], 10, females=[10, 90], males=[10, 30])
    for placing in (compared.best, compared.even_split, compared.worst_ratio_first):
        assert placing.heads_per_pond == (1, 3)


def test_how_often_the_advice_holds():
    first_better, second_better, alike = [[10, 10], [1, 1]], [[1, 1], [10, 10]], [[10, 10], [9.99, 9.99]]
    draws = np.array([first_better, first_better, second_better, alike])
    assert how_often(draws, [2, 0], [2, 2]) == 0.75
    assert how_often(draws, [0, 2], [2, 2]) == 0.5
    assert how_often(draws, [0, 2], [2, 2], within=0) == 0.25


def test_how_often_refuses_what_it_cannot_compare():
    with pytest.raises(ValueError, match="no draws"):
        how_often(np.zeros((0, 2, 2)), [1, 1], [2, 2])
    with pytest.raises(ValueError, match="Pond 2: 3 placed is above its cap of 2"):
        how_often(np.zeros((1, 2, 2)), [0, 3], [2, 5])


@pytest.mark.parametrize("settings", [{}, {"full_to": 2.6, "exponent": 0.7, "seasons": 2}])
def test_in_band_the_short_way_gives_what_year_by_year_gives(settings):
    females, males = np.array([240.0, 300, 150]), np.array([100.0, 70, 100])
    asked = WIDE | {"kinds": ["a", "a", "b"], "max_heads": 40, "rng": 9, "settled": [200, 300, 0]} | settings
    short = gains_table(females, males, **asked, draws=300)
    # Joint draws that are all alike take the long way.
    long = gains_table(np.repeat(females[:, None], 300, axis=1), males, **asked)
    assert short.gains == pytest.approx(long.gains, abs=2e-6)
    assert short.present == pytest.approx(long.present)
    assert short.draw_gains == pytest.approx(long.draw_gains, rel=1e-5, abs=1e-4)


@pytest.mark.parametrize("seed", range(10))
def test_the_best_of_a_draw_is_what_allocate_finds(seed):
    rng = np.random.default_rng(seed)
    draws = rng.normal(5, 3, (6, 3, 5))
    draws[:3] = -np.sort(-draws[:3], axis=2)
    caps = rng.integers(0, 7, 3).tolist()
    heads = [min(cap, 2) for cap in caps]
    totals = [sum(draw[pond, :n].sum() for pond, n in enumerate(heads)) for draw in draws]
    best = [allocate(draw, sum(heads), caps=caps).total for draw in draws]
    good = [total >= top - 0.2 * abs(top) - 1e-9 for total, top in zip(totals, best, strict=True)]
    assert how_often(draws, heads, caps, within=0.2) == np.mean(good)
