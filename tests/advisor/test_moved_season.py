"""A season with and without some moves, drawn from the same chances."""

import numpy as np
import pytest

from stock.advisor.moved_season import moved_season
from stock.advisor.season_book import SeasonBook
from stock.advisor.season_learning import PublishedFigures, learn_yields

PUBLISHED = {"slider": PublishedFigures((0.4, 0.7, 0.95), (1, 2, 3.5), (6.5, 9, 11))}


@pytest.fixture(scope="module")
def learnt():
    """Three ponds of 100 females, four seasons of 140 nests at nine eggs, four of five hatched."""
    pond, season = (axis.ravel() for axis in np.meshgrid(np.arange(3), np.arange(2001, 2005), indexing="ij"))
    full = np.full(pond.size, 1.0)
    book = SeasonBook(
        pond, season, 100 * full, 2 * full, 140 * full, 140 * full, 1260 * full, 1260 * full, 1008 * full, 60 * full
    )  # fmt: skip
    return learn_yields(book, ["slider"] * 3, PUBLISHED, season=2005)


def moves(learnt, stay, come, **more):
    places = range(len(stay))
    return moved_season(
        learnt, list(places), [100.0] * len(stay), female_se=[2.0] * len(stay), stay=stay, come=come, rng=5, **more
    )  # fmt: skip


def test_nothing_moved_changes_nothing_to_the_last_egg(learnt):
    season = moves(learnt, [1.0, 1.0], [0.0, 0.0])
    for without, moved in (season.nests, season.eggs, season.hatched):
        assert np.array_equal(without.low, moved.low)
        assert np.array_equal(without.high, moved.high)
    assert (season.more_eggs.low, season.more_eggs.high) == (0, 0)


def test_forty_females_moved_by_hand(learnt):
    """100 lose 40 of their settled females; those count 0.4 where they come to: 16 settled ones."""
    season = moves(learnt, [0.6, 1.0], [0.0, 16.0])
    without, moved = season.nests
    assert moved.arithmetic / without.arithmetic == pytest.approx([0.6, 1.16])
    assert moved.expected / without.expected == pytest.approx([0.6, 1.16], rel=0.01)
    # By hand: 1.4 nests a female and nine eggs a nest make 12.6 eggs; 24 settled females fewer lay some 302 fewer.
    assert season.more_eggs.expected == pytest.approx(-24 * 1.4 * 9, rel=0.05)
    assert season.more_eggs.low < season.more_eggs.expected < season.more_eggs.high < 0
    # The same chances: the doubt of the change is far less than that of either season.
    eggs = season.eggs[0]
    assert season.more_eggs.high - season.more_eggs.low < 0.6 * (eggs.high - eggs.low).sum()


def test_without_males_nothing_hatches_and_without_females_nothing_is_laid(learnt):
    season = moves(learnt, [0.0], [0.0], fertility=(1.0, 1.0))
    assert season.nests[1].high.tolist() == [0]
    clear = moves(learnt, [1.0], [0.0], fertility=(1.0, 0.0))
    assert clear.hatched[1].high.tolist() == [0]
    assert clear.eggs[1].expected.tolist() == clear.eggs[0].expected.tolist()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"stay": [1.2, 1.0]}, "stay: the share"),
        ({"come": [-1.0, 0.0]}, "come: heads must be 0 or more"),
        ({"come": [1.0]}, "one figure for each of the places"),
        ({"fertility": (1.0, 1.5)}, "fertility"),
        ({"draws": 0}, "at least one draw"),
    ],
)
def test_impossible_moves_are_refused(learnt, change, words):
    asked = {"stay": [1.0, 1.0], "come": [0.0, 0.0]} | change
    with pytest.raises(ValueError, match=words):
        moves(learnt, asked.pop("stay"), asked.pop("come"), **asked)
