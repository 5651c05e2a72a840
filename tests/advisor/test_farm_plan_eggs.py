"""What a female gives in each pond of a whole-farm plan, by what was learnt, and the limits of the eggs it adds."""

from __future__ import annotations

import numpy as np
import pytest

from stock.advisor.eggs_a_female import EggsAFemale, eggs_a_female
from stock.advisor.farm_plan import MOST_EGGS, PondStock, farm_plan
from stock.advisor.farm_plan_eggs import eggs_gained, eggs_of_places
from stock.advisor.season_book import SeasonBook
from stock.advisor.season_learning import PublishedFigures, learn_yields

SLIDER = PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11))
NO_BOOK = SeasonBook(*([[]] * 10))
DRAWN = {"seasons": 5, "draws": 400, "rng": 7}


@pytest.fixture
def learnt():
    """Six ponds over four seasons, 150 females each: pond 2 dug 400 nests a season, the others 200."""
    pond, season = (axis.ravel() for axis in np.meshgrid(range(6), range(2016, 2020), indexing="ij"))
    nests = np.where(pond == 2, 400, 200)
    eggs = 9 * nests
    book = SeasonBook(
        pond, season, np.full(24, 150.0), np.full(24, 3.0), nests, nests, eggs, eggs, (0.8 * eggs).astype(int),
        (0.08 * eggs).astype(int),
    )  # fmt: skip
    return learn_yields(book, ["slider"] * 6, {"slider": SLIDER}, season=2020)


def test_a_pond_has_what_new_females_are_placed_by(learnt):
    found, same = eggs_of_places(learnt, [2, 0], ["slider"] * 2, **DRAWN), eggs_a_female(learnt, **DRAWN)
    assert found.mean.tolist() == [same.mean[2], same.mean[0]]
    assert np.array_equal(found.draws, same.draws[[2, 0]])
    # 400 nests of 150 females, 9 eggs, 80 % hatched: 19.2, drawn a little toward the other ponds' 9.6.
    assert 15 < found.mean[0] < 20


def test_a_pond_where_nobody_laid_is_any_pond_of_its_kind(learnt):
    ponds = eggs_a_female(learnt, **DRAWN)
    found = eggs_of_places(learnt, [None, 2], ["slider"] * 2, **DRAWN)
    # Between the poorest and the best, nearer to the five that are alike; less is known of it than of any of them.
    assert np.sort(ponds.mean)[0] < found.mean[0] < ponds.mean[2]
    assert found.draws[0].mean() == pytest.approx(found.mean[0])
    assert found.draws[0].std() / found.mean[0] > (ponds.draws.std(axis=1) / ponds.mean).max()
    assert np.array_equal(found.draws, eggs_of_places(learnt, [None, 2], ["slider"] * 2, **DRAWN).draws)
    with pytest.raises(ValueError, match="nothing was learnt of snapper"):
        eggs_of_places(learnt, [None], ["snapper"], **DRAWN)


def test_without_books_a_new_pond_is_worth_what_the_others_are():
    learnt = learn_yields(NO_BOOK, ["slider"], {"slider": SLIDER}, season=2020)
    found = eggs_of_places(learnt, [0, None], ["slider"] * 2, **DRAWN)
    assert found.mean[1] == pytest.approx(found.mean[0], rel=1e-6)


def ends(draws):
    """Return the 90 % limits of moving a hundred females from the first pond to the second."""
    return np.quantile(100 * (draws[1] - draws[0]), [0.05, 0.95])


def test_ponds_where_nobody_laid_share_what_is_not_known_of_their_kind():
    """They are drawn as the model draws ponds of its own without a season: together, seasons included."""
    learnt = learn_yields(NO_BOOK, ["slider"] * 2, {"slider": SLIDER}, season=2020)
    many = DRAWN | {"draws": 6000}
    known, found = (
        eggs_of_places(learnt, rows, ["slider"] * 2, **many).draws for rows in ([0, 1], [None, None])
    )
    assert np.corrcoef(known)[0, 1] > 0.4
    assert np.corrcoef(found)[0, 1] == pytest.approx(np.corrcoef(known)[0, 1], abs=0.07)
    assert ends(found) == pytest.approx(ends(known), rel=0.12)
    # One that is known and one that is not share them too, and each has its own level beside.
    one_each = eggs_of_places(learnt, [0, None], ["slider"] * 2, **many).draws
    assert ends(one_each) == pytest.approx(ends(known), rel=0.12)


def test_beside_ponds_that_laid_one_that_did_not_is_as_the_books_hold_it(learnt):
    """The same books with a seventh pond that has no season: its row, and any pond of its kind, are the same."""
    pond, season = (axis.ravel() for axis in np.meshgrid(range(6), range(2016, 2020), indexing="ij"))
    nests = np.where(pond == 2, 400, 200)
    eggs = 9 * nests
    book = SeasonBook(
        pond, season, np.full(24, 150.0), np.full(24, 3.0), nests, nests, eggs, eggs, (0.8 * eggs).astype(int),
        (0.08 * eggs).astype(int),
    )  # fmt: skip
    seventh = learn_yields(book, ["slider"] * 7, {"slider": SLIDER}, season=2020)
    many = DRAWN | {"draws": 6000}
    of_row = eggs_of_places(seventh, [0, 6], ["slider"] * 2, **many)
    any_pond = eggs_of_places(learnt, [0, None], ["slider"] * 2, **many)
    assert any_pond.mean == pytest.approx(of_row.mean, rel=1e-3)
    assert any_pond.draws.std(axis=1) == pytest.approx(of_row.draws.std(axis=1), rel=0.06)
    assert np.corrcoef(any_pond.draws)[0, 1] == pytest.approx(np.corrcoef(of_row.draws)[0, 1], abs=0.05)
    assert np.corrcoef(any_pond.draws)[0, 1] > 0.05


def test_eggs_gained_go_up_and_down_with_the_ponds():
    # 150 females leave A, 20 eggs each there, for B, 21 each: 150 eggs more.
    stocks = [
        PondStock("A", "slider", 400, 100, eggs=(20.0, 14.0)),
        PondStock("B", "slider", 300, 100, eggs=(30.0, 21.0)),
    ]
    plan = farm_plan(stocks, room={"A": 0.0, "B": 150.0}, aim=MOST_EGGS)
    even = np.array([[20.0] * 101, [30.0] * 101])
    assert eggs_gained(plan, EggsAFemale(even[:, 0], even)) == pytest.approx((150, 150, 150))
    spread = even * np.array([np.ones(101), np.linspace(0.9, 1.1, 101)])
    low, more, high = eggs_gained(plan, EggsAFemale(even[:, 0], spread))
    # The 5 % and 95 % points of an even spread from 0.9 to 1.1 lie at 0.91 and 1.09; 3,150 of B's eggs are new.
    assert (low, more, high) == pytest.approx((150 - 0.09 * 3150, 150, 150 + 0.09 * 3150))
    with pytest.raises(ValueError, match="1 rows were given for 2 stocks"):
        eggs_gained(plan, EggsAFemale(even[:1, 0], even[:1]))


def test_a_farm_without_ponds_gains_nothing():
    none = EggsAFemale(np.zeros(0), np.zeros((0, 3)))
    assert eggs_gained(farm_plan([], aim=MOST_EGGS), none) == (0, 0, 0)
