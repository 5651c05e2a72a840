"""Season yields and the assumed curves."""

import numpy as np
import pytest
from scipy import stats

from stock.advisor.yields import check_ranges, draw_ranges, female_survival, fertility, season_yield

SLIDER = {"laying": (0.4, 0.7, 0.95), "nests": (1, 2, 3.5), "eggs": (6.5, 9, 11)}


def fixed(figure):
    return (figure, figure, figure)


@pytest.mark.parametrize(
    ("laying", "nests", "eggs", "expected_nests", "expected_eggs"),
    [
        # The trade's rule of thumb, 3 nests of 9 eggs a female: common practice, no source.
        (1.0, 3, 9, 900, 8100),
        # The same pond with 70 % laying twice.
        (0.7, 2, 9, 420, 3780),
        # Frazer et al. (1990): 2.56 eggs per adult female and year in wild South Carolina sliders.
        (1.0, 1, 2.56, 300, 768),
    ],
)
def test_300_females_by_plain_arithmetic(laying, nests, eggs, expected_nests, expected_eggs):
    season = season_yield([300], laying=fixed(laying), nests=fixed(nests), eggs=fixed(eggs), rng=1)
    for spread, expected in ((season.nests, expected_nests), (season.eggs, expected_eggs)):
        for figure in (spread.low, spread.expected, spread.high, spread.arithmetic):
            assert figure[0] == pytest.approx(expected)
    assert season.hatched is None
    assert season.total_hatched is None


@pytest.mark.parametrize(
    ("ranges", "high"),
    [
        ((0.4, 0.7, 0.95), 1.0),
        ((0.6, 0.85, 1.0), 1.0),
        ((1, 2, 3.5), np.inf),
        ((6.5, 9, 11), np.inf),
        ((0.8, 1, 1), np.inf),
        ((0, 0.1, 2), np.inf),
    ],
)
def test_draws_meet_the_low_middle_and_high_they_were_given(ranges, high):
    """400,000 draws: the error of a 5 % point is about 0.0005 of a share of the draws."""
    drawn = draw_ranges([ranges], 400_000, np.random.default_rng(2), high=high)[0]
    for figure, level in zip(ranges, (0.05, 0.5, 0.95), strict=True):
        assert (drawn < figure).mean() <= level + 0.002
        assert (drawn <= figure).mean() >= level - 0.002
    assert drawn.min() >= 0
    assert drawn.max() <= high


def test_extremes_are_never_multiplied():
    season = season_yield([300], **SLIDER, rng=1)
    assert season.eggs.low[0] > 300 * 0.4 * 1 * 6.5
    assert season.eggs.high[0] < 300 * 0.95 * 3.5 * 11
    assert season.eggs.low[0] < season.eggs.expected[0] < season.eggs.high[0]
    assert season.eggs.arithmetic[0] == pytest.approx(3780)


def test_yield_against_an_independent_simulation():
    """Each range sampled anew by the inverse of its distribution, written out here."""
    levels = np.random.default_rng(9).random((3, 200_000))
    product = np.full(200_000, 300.0)
    for level, (low, middle, high) in zip(levels, SLIDER.values(), strict=True):
        lower_half = stats.norm(middle, (middle - low) / 1.6448536)
        upper_half = stats.norm(middle, (high - middle) / 1.6448536)
        product *= np.where(level < 0.5, lower_half.ppf(level), upper_half.ppf(level)).clip(
            0, 1 if high <= 1 else None
        )
    season = season_yield([300], **SLIDER, draws=200_000, rng=4)
    got = (season.eggs.low[0], season.eggs.expected[0], season.eggs.high[0])
    wanted = (np.quantile(product, 0.05), product.mean(), np.quantile(product, 0.95))
    assert got == pytest.approx(wanted, rel=0.01)


def test_the_same_seed_gives_the_same_season():
    one, other = (
        season_yield([300], **SLIDER, rng=1),
        season_yield([300], **SLIDER, rng=np.random.default_rng(1)),
    )
    assert np.array_equal(one.eggs.expected, other.eggs.expected)
    assert one.eggs.expected[0] != season_yield([300], **SLIDER, rng=2).eggs.expected[0]


def test_ponds_of_one_kind_share_what_is_not_known():
    together = season_yield([100, 200], **SLIDER, kinds=["slider", "slider"], rng=1)
    assert together.eggs.low[1] == pytest.approx(2 * together.eggs.low[0])
    assert float(together.total_eggs.high) == pytest.approx(3 * together.eggs.high[0])
    apart = season_yield([100, 200], **SLIDER, rng=1)
    assert float(apart.total_eggs.high) < apart.eggs.high.sum()
    assert float(apart.total_eggs.arithmetic) == pytest.approx(3780)


def test_hatched_eggs_and_joint_draws_of_females():
    season = season_yield(
        [[90, 110], [0, 0]], laying=fixed(1), nests=fixed(1), eggs=fixed(10), hatch=fixed(0.5), rng=1
    )
    assert season.hatched.expected == pytest.approx([500, 0])
    assert season.hatched.low[0] == pytest.approx(5 * (90 + 0.05 * 20))
    assert float(season.total_hatched.arithmetic) == pytest.approx(500)


def test_a_farm_without_ponds_yields_nothing():
    season = season_yield([], **SLIDER, rng=1)
    assert season.eggs.expected.shape == (0,)
    assert float(season.total_eggs.expected) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"laying": (0.4, 0.7, 1.2)}, "laying: 0.4, 0.7, 1.2 must be .* none may exceed 1"),
        ({"nests": (2, 1, 3)}, "nests: 2, 1, 3 must"),
        ({"eggs": (-1, 1, 3)}, "eggs"),
        ({"eggs": (1, np.nan, 3)}, "eggs"),
        ({"eggs": (1, 3)}, "give low, expected and high"),
        ({"eggs": [(1, 2, 3)] * 2}, "give low, expected and high"),
        ({"females": [-3]}, "heads must be 0 or more"),
        ({"females": 3}, "one number of heads"),
        ({"kinds": ["a", "b"]}, "2 were given for 1"),
    ],
)
def test_impossible_seasons_are_refused(arguments, words):
    asked = {"females": [300]} | SLIDER | arguments
    with pytest.raises(ValueError, match=words):
        season_yield(asked.pop("females"), **asked, rng=1)


def test_ranges_may_differ_by_row():
    assert check_ranges([(1, 2, 3), (4, 5, 6)], 2, "eggs")[1, 0] == 4


def test_fertility_is_full_to_five_females_a_male():
    # (5 / r)^a beyond 5:1, an assumption: no published curve is known.
    assert fertility([0, 3, 5, 10, np.inf]) == pytest.approx([1, 1, 1, 0.5, 0])
    assert fertility([20], exponent=0.5) == pytest.approx([0.5])
    assert fertility([np.inf], exponent=0) == pytest.approx([0])
    for arguments in (([-1], {}), ([np.nan], {}), ([1], {"full_to": 0}), ([1], {"exponent": -1})):
        with pytest.raises(ValueError, match=r"ratio|full_to|exponent"):
            fertility(arguments[0], **arguments[1])


def test_female_survival_falls_below_one_and_a_half():
    # A straight line to 80 % of the survival, an assumption.
    assert female_survival([0, 0.75, 1.5, 3, np.inf], 0.9) == pytest.approx([0.72, 0.81, 0.9, 0.9, 0.9])
    assert female_survival([0, 3], 0.9, falls_below=0) == pytest.approx([0.9, 0.9])
    for arguments in (([-1], 0.9), ([1], 1.2), ([np.nan], 0.9)):
        with pytest.raises(ValueError, match=r"ratio|survival"):
            female_survival(*arguments)
