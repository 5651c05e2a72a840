"""What a placing stands on: its bound, doubt about the curve, learnt yields, and how it fares on simulated farms."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from stock.advisor.allocation import allocate
from stock.advisor.allocation_bound import bracket, most_possible
from stock.advisor.curve_doubt import ends_of_full_fertility, gains_in_doubt
from stock.advisor.eggs_a_female import EggsAFemale, eggs_a_female
from stock.advisor.placing import gains_table
from stock.advisor.season_book import SeasonBook
from stock.advisor.season_learning import PublishedFigures, learn_yields
from stock.bench.placing_cases import compare
from tests.simulator.herds import LAWS
from tests.simulator.placing_study import PLAN, Study, study, tell

SLIDER = PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11))
NO_BOOK = SeasonBook(*([[]] * 10))
FIXED = {name: (value,) * 3 for name, value in (("laying", 0.7), ("nests", 2), ("eggs", 9), ("hatch", 0.8))}


def test_a_part_of_the_thousand_cases_equals_the_solver():
    """`manage.py bench placing-cases` runs all 1,000; step by step must be wrong in at least 3 of 10."""
    wrong, worst = compare(100)
    assert worst < 1e-9
    assert wrong >= 30


@pytest.mark.parametrize("exactly", [True, False])
def test_no_placing_exceeds_the_bound_and_falling_gains_reach_it(exactly):
    rng = np.random.default_rng(3)
    for _ in range(60):
        gains = [rng.normal(0.3, 1, rng.integers(1, 9)) for _ in range(int(rng.integers(1, 6)))]
        caps = [int(rng.integers(0, row.size + 1)) for row in gains]
        heads = int(rng.integers(0, 15))
        total = allocate(gains, heads, caps=caps, exactly=exactly).total
        if exactly:
            reached, most = bracket(gains, heads, caps=caps)
            assert reached <= total + 1e-9
            assert most == pytest.approx(most_possible(gains, heads, caps=caps))
        assert total <= most_possible(gains, heads, caps=caps, exactly=exactly) + 1e-9
        falling = [-np.sort(-row) for row in gains]
        total = allocate(falling, heads, caps=caps, exactly=exactly).total
        assert total == pytest.approx(most_possible(falling, heads, caps=caps, exactly=exactly))


def test_the_bound_by_hand():
    # Gains 1 then 3 are worth 2 and 2 on their hull; beside 1.5, three heads gain at most 2 + 2 + 1.5.
    assert most_possible([[1, 3], [1.5]], 3) == pytest.approx(5.5)
    # One head alone never comes to the second gain.
    assert most_possible([[1, 3], [1.5]], 1) == pytest.approx(1.5)
    assert most_possible([], 3) == most_possible([[1.0]], 0) == 0
    with pytest.raises(ValueError, match="not a finite number"):
        most_possible([[np.nan]], 1)


def test_gains_in_doubt_are_the_mean_over_the_ends():
    asked = FIXED | {"survival": (0.9,) * 3, "max_heads": 30, "seasons": 3}
    ends = ends_of_full_fertility(3, 4, 6)
    assert len(ends) == 5
    assert ends[2] == 4
    table = gains_in_doubt([380], [100], full_to=ends, draws=10, keep=10, rng=1, **asked)
    alone = [gains_table([380], [100], full_to=end, draws=2, rng=1, **asked).gains for end in ends]
    assert table.gains == pytest.approx(np.mean(alone, axis=0), abs=1e-8)
    assert table.draw_gains.shape == (10, 1, 30)
    sure = gains_in_doubt([380], [100], full_to=(4.0,), draws=10, keep=10, rng=1, **asked)
    assert np.array_equal(sure.gains, alone[2])
    for wrong in ((5, 4, 6), (0, 4, 6)):
        with pytest.raises(ValueError, match="in order, above 0"):
            ends_of_full_fertility(*wrong)
    with pytest.raises(ValueError, match="2 draws do not suffice"):
        gains_in_doubt([380], [100], full_to=ends, draws=2, keep=2, rng=1, **asked)


def test_learnt_yields_of_a_farm_without_books_tie_to_the_last_bit():
    learnt = learn_yields(NO_BOOK, ["slider"] * 3, {"slider": SLIDER}, season=2020)
    yields = eggs_a_female(learnt, seasons=3, draws=300, rng=1)
    assert yields.mean[0] == yields.mean[1] == yields.mean[2]
    assert yields.draws.mean(axis=1) == pytest.approx(yields.mean)
    # Between half and twice 0.7 x 2 x 9 x 0.8 = 10.08 by the published middles.
    assert 5 < yields.mean[0] < 20
    assert not np.array_equal(yields.draws[0], yields.draws[1])
    table = gains_table(
        [300, 300, 300], [100] * 3, learnt=yields, survival=(0.77, 0.9, 0.97), kinds=["slider"] * 3, max_heads=20,
        draws=300, rng=1,
    )  # fmt: skip
    assert np.array_equal(table.gains[0], table.gains[2])
    assert table.draw_gains.shape == (100, 3, 20)


def test_a_pond_that_gave_more_gets_the_females():
    ponds, seasons = 6, 4
    pond, season = (axis.ravel() for axis in np.meshgrid(range(ponds), range(2016, 2020), indexing="ij"))
    nests = np.where(pond == 2, 400, 200)
    eggs = 9 * nests
    size = ponds * seasons
    book = SeasonBook(
        pond, season, np.full(size, 150.0), np.full(size, 3.0), nests, nests, eggs, eggs, (0.8 * eggs).astype(int),
        (0.08 * eggs).astype(int),
    )  # fmt: skip
    learnt = learn_yields(book, ["slider"] * ponds, {"slider": SLIDER}, season=2020)
    yields = eggs_a_female(learnt, seasons=5, draws=200, rng=2)
    # 400 nests of 150 females, 9 eggs, 80 % hatched: 19.2, drawn a little toward the other ponds' 9.6.
    assert 15 < yields.mean[2] < 20
    assert np.delete(yields.mean, 2) == pytest.approx(9.9, rel=0.1)
    table = gains_table(
        [150] * ponds, [50] * ponds, learnt=yields, survival=(0.9,) * 3, kinds=[0] * ponds, max_heads=75, draws=200,
        rng=1,
    )  # fmt: skip
    assert allocate(table.gains, 60).heads_per_pond == (0, 0, 60, 0, 0, 0)


def test_what_was_learnt_must_fit():
    asked = {"survival": (0.9,) * 3, "max_heads": 3, "draws": 4, "rng": 1}
    with pytest.raises(ValueError, match="one mean a pond"):
        gains_table([10, 10], [5, 5], learnt=EggsAFemale(np.ones(1), np.ones((1, 4))), **asked)
    with pytest.raises(ValueError, match="0 or more in every draw"):
        gains_table([10], [5], learnt=EggsAFemale(np.ones(1), np.full((1, 4), -1.0)), **asked)
    with pytest.raises(ValueError, match="laying: give its range, or what was learnt"):
        gains_table([10], [5], **asked)
    with pytest.raises(ValueError, match="at least one season"):
        eggs_a_female(learn_yields(NO_BOOK, [], {}, season=2020), seasons=0, draws=4, rng=1)


def test_on_simulated_farms_the_advice_adds_more_than_the_other_ways():
    """A small part of `python -m tests.simulator.placing_study`: fewer farms, smaller, with seeds of their own."""
    plan = dataclasses.replace(PLAN, ponds=10, seasons=4, heads=(60, 400))
    done = study(8, seed=77, plan=plan)
    for name, law in LAWS.items():
        if not law.is_harsh:
            figures = done.figures[name]
            assert min(figures["of even"], figures["of worst"]) > 1.02, (name, figures)
    told = tell(done)
    beaten = sum(figures["lost to even"] + figures["lost to worst"] for figures in done.figures.values())
    assert told.count("  seed ") == beaten
    assert "missed: too few" in tell(Study([], {}, ["too few"]))


def test_laws_of_fertility_are_shares_and_start_near_full():
    ratios = np.linspace(1.5, 12, 40)
    for law in LAWS.values():
        share = law.curve(ratios)
        assert ((share >= 0) & (share <= 1)).all()
        assert law.curve(np.array([3.0]))[0] > 0.9
    assert sum(law.is_harsh for law in LAWS.values()) < len(LAWS) / 2
    assert len({(*law.curve(ratios), law.delay) for law in LAWS.values()}) == len(LAWS)
